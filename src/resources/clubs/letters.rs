//! What the mails about the end of a club say, put into words when they are sent.

use chrono::{DateTime, Utc};

use super::ending_store as store;
use crate::platform::db::{Db, StoreError};
use crate::platform::mail::{self, Claimed, Letter, Mail, Said};

fn day(at: DateTime<Utc>) -> String {
    at.date_naive().to_string()
}

/// What a mail says; none when the club of which it tells something is gone.
///
/// # Errors
/// Database errors.
pub async fn write(db: &Db, claimed: &Claimed) -> Result<Option<Mail>, StoreError> {
    let (account, said, name, on) = match &claimed.letter {
        Letter::ClubEnding { club, account, due_at } => {
            (account, Said::ClubEnding, store::name(db, *club).await?, Some(*due_at))
        }
        Letter::ClubStays { club, account } => (account, Said::ClubStays, store::name(db, *club).await?, None),
        Letter::ClubEnded { name, account, at } => (account, Said::ClubEnded, Some(name.clone()), Some(*at)),
        _ => return Ok(None),
    };
    let Some(name) = name else { return Ok(None) };
    let language = mail::language(db, *account).await?;
    let gaps = [("club", name)].into_iter().chain(on.map(|on| ("day", day(on)))).collect();
    Ok(Some(Mail { to: claimed.address.clone(), language, said, gaps, secret: None }))
}
