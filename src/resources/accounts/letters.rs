//! What the mails about an account say, decided when they are sent: a request cannot tell by its own work whether an address
//! has an account, whoever reads its mail can.

use chrono::{DateTime, Utc};

use super::addresses_store as addresses;
use super::model::Purpose;
use super::store::{self, Account};
use crate::platform::db::{AccountTx, Db, StoreError};
use crate::platform::mail::{Claimed, Language, Letter, Mail, Said};
use crate::platform::proof;
use crate::platform::token::Opaque;

fn day(at: DateTime<Utc>) -> String {
    at.date_naive().to_string()
}

fn moment(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d %H:%M UTC").to_string()
}

/// A mail to an account in its language.
fn mail(to: &str, account: &Account, said: Said) -> Mail {
    Mail { to: to.to_owned(), language: account.language, said, gaps: Vec::new(), secret: None }
}

/// A mail with a link.
async fn linked(
    tx: &mut AccountTx,
    (to, account, said): (&str, &Account, Said),
    purpose: Purpose,
) -> Result<Mail, StoreError> {
    let (secret, token) = Opaque::new(account.id.0).map_err(|_| StoreError::Corrupt("random number"))?;
    addresses::insert_link(tx, &token, purpose, to).await?;
    let gaps = vec![("name", account.display_name.clone()), ("day", day(account.created_at))];
    Ok(Mail { gaps, secret: Some(secret), ..mail(to, account, said) })
}

/// Confirm your address, or why that cannot be.
async fn confirm(tx: &mut AccountTx, account: &Account) -> Result<Option<Mail>, StoreError> {
    if account.proven {
        return Ok(None);
    }
    let to = &account.email;
    match proof::holder(tx, to).await?.filter(|other| other.account != account.id) {
        Some(other) if other.proven => Ok(Some(mail(to, account, Said::Taken))),
        Some(other) => {
            let mut mail = linked(tx, (to, account, Said::ConfirmInstead), Purpose::Confirm).await?;
            let earlier = store::find(tx, other.account).await?;
            let since = earlier.map_or(account.created_at, |earlier| earlier.created_at);
            mail.gaps.retain(|(gap, _)| *gap != "day");
            mail.gaps.push(("day", day(since)));
            Ok(Some(mail))
        }
        None => linked(tx, (to, account, Said::Confirm), Purpose::Confirm).await.map(Some),
    }
}

async fn reset(tx: &mut AccountTx, to: &str, language: Option<Language>) -> Result<Mail, StoreError> {
    let Some(account) = store::find_by_email(tx, to).await? else {
        let language = language.unwrap_or_default();
        return Ok(Mail { to: to.to_owned(), language, said: Said::ResetUnknown, gaps: Vec::new(), secret: None });
    };
    let said = if account.proven { Said::Reset } else { Said::ResetUnproven };
    linked(tx, (to, &account, said), Purpose::Reset).await
}

/// What a mail says; none when nobody needs it any more.
///
/// # Errors
/// Database errors.
pub async fn write(db: &Db, claimed: &Claimed) -> Result<Option<Mail>, StoreError> {
    let to = claimed.address.as_str();
    let mut tx = db.account_tx().await?;
    let (Letter::Confirm { account }
    | Letter::SignIn { account, .. }
    | Letter::AppSignIn { account, .. }
    | Letter::MoveTo { account }
    | Letter::MoveFrom { account }
    | Letter::Security { account, .. }) = &claimed.letter
    else {
        if let Letter::AccountEnded { at } = &claimed.letter {
            let (to, language) = (to.to_owned(), claimed.language.unwrap_or_default());
            let gaps = vec![("when", moment(*at))];
            return Ok(Some(Mail { to, language, said: Said::AccountEnded, gaps, secret: None }));
        }
        if claimed.letter != Letter::Reset {
            return Ok(None);
        }
        let mail = reset(&mut tx, to, claimed.language).await?;
        tx.commit().await?;
        return Ok(Some(mail));
    };
    let Some(account) = store::find(&mut tx, *account).await? else { return Ok(None) };
    let own = account.email == to;
    let mail = match &claimed.letter {
        Letter::Confirm { .. } if own => confirm(&mut tx, &account).await?,
        Letter::SignIn { device, at, .. } if own => {
            let gaps = vec![("device", device.clone()), ("when", moment(*at))];
            Some(Mail { gaps, ..mail(to, &account, Said::SignIn) })
        }
        Letter::AppSignIn { app, at, .. } if own => {
            let gaps = vec![("app", app.clone()), ("when", moment(*at))];
            Some(Mail { gaps, ..mail(to, &account, Said::AppSignIn) })
        }
        Letter::MoveTo { .. } if addresses::wanted(&mut tx, account.id).await?.as_deref() == Some(to) => {
            let other = proof::holder(&mut tx, to).await?.filter(|other| other.account != account.id && other.proven);
            match other {
                Some(_) => Some(mail(to, &account, Said::MoveTaken)),
                None => Some(linked(&mut tx, (to, &account, Said::MoveTo), Purpose::MoveTo).await?),
            }
        }
        Letter::MoveFrom { .. } if own && addresses::wanted(&mut tx, account.id).await?.is_some() => {
            Some(linked(&mut tx, (to, &account, Said::MoveFrom), Purpose::MoveFrom).await?)
        }
        // To the address that the account had then.
        Letter::Security { event, at, .. } => {
            Some(Mail { gaps: vec![("when", moment(*at))], ..mail(to, &account, Said::Security(*event)) })
        }
        _ => None,
    };
    tx.commit().await?;
    Ok(mail)
}
