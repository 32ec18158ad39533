//! The mail of an invitation, put into words when it is sent.

use super::invitations_store as store;
use crate::platform::db::{Db, StoreError};
use crate::platform::mail::{self, Claimed, Letter, Mail, Said};
use crate::platform::token::Opaque;

/// What the mail says; none when the invitation cannot be taken any more. Its secret is another one than the admin was
/// shown, so that taking it proves the address.
///
/// # Errors
/// Database errors.
pub async fn write(db: &Db, claimed: &Claimed) -> Result<Option<Mail>, StoreError> {
    let Letter::Invitation { club, invitation } = claimed.letter else { return Ok(None) };
    let (secret, token) = Opaque::new(club.0).map_err(|_| StoreError::Corrupt("random number"))?;
    let Some(post) = store::post(db, (club, invitation), &token).await? else { return Ok(None) };
    let language = match claimed.language {
        Some(language) => language,
        None => mail::language(db, post.invited_by).await?,
    };
    let day = post.expires_at.date_naive().to_string();
    let gaps = vec![("inviter", post.inviter), ("club", post.club), ("day", day)];
    Ok(Some(Mail { to: post.email, language, said: Said::Invitation, gaps, secret: Some(secret) }))
}
