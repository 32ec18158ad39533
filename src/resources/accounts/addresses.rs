//! The address of an account over HTTP: proving it, a forgotten password, another address, the language of mail.
//!
//! What is asked for by an address is answered alike, and after the same work, whether the address has an account: the mail
//! tells the difference.

use actix_web::HttpResponse;
use actix_web::web::Data;
use chrono::Utc;
use secrecy::SecretString;

use super::addresses_shapes::{EmailChange, LanguageChoice, Reset, ResetRequest, Secret};
use super::addresses_store::{self as addresses, Link};
use super::http::own_account;
use super::model::{Agreed, Purpose};
use super::store;
use crate::platform::access::Caller;
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::fault::{Fault, Faults};
use crate::platform::mail::{self, Event, Letter};
use crate::platform::network::Network;
use crate::platform::password;
use crate::platform::password_rules::{self, Owner};
use crate::platform::problem::{Code, Problem};
use crate::platform::proof;
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::Opaque;

/// Whether a stranger may have a mail sent to an address. Without a word: the answer must not say how often others asked, and
/// the links of earlier mails still hold.
///
/// # Errors
/// When the database is away.
pub async fn may_mail(db: &Db, email: &str, from: &Network) -> Result<bool, Problem> {
    let pair = format!("{email} {}", from.as_str());
    Ok(throttle::allows(db, throttle::MAIL_PAIR, &pair).await?
        && throttle::allows(db, throttle::MAIL_ADDRESS, email).await?)
}

fn none() -> Problem {
    Problem::new(Code::NotFound, "This link or code was used before, has expired or never was. Ask for another mail.")
}

/// What a secret from a mail allows; whoever has none cannot look for one without end.
async fn found(db: &Db, from: &Network, secret: &str, purposes: &[Purpose]) -> Result<(Opaque, Link), Problem> {
    if let Some(token) = Opaque::parse(secret.trim()) {
        let mut tx = db.account_tx().await?;
        let link = addresses::find_link(&mut tx, &token).await?;
        drop(tx);
        if let Some(link) = link.filter(|link| purposes.contains(&link.purpose)) {
            return Ok((token, link));
        }
    }
    throttle::take(db, throttle::LINK_UNKNOWN, from.as_str()).await?;
    Err(none())
}

/// Whether a secret from a mail is for a new password; else it confirms an address.
///
/// # Errors
/// 404 for a secret that does not hold.
pub async fn is_reset(db: &Db, from: &Network, secret: &str) -> Result<bool, Problem> {
    let all = [Purpose::Reset, Purpose::Confirm, Purpose::MoveTo, Purpose::MoveFrom];
    Ok(found(db, from, secret, &all).await?.1.purpose == Purpose::Reset)
}

/// Sends a mail with which the password of the account at an address can be chosen anew, within one hour.
///
/// The answer is the same whether the address has an account; the mail says. Few mails go to one address in an hour, also
/// without a word.
#[utoipa::path(
    post, path = "/v1/auth/password-reset", impl_for = request_password_reset, tag = "accounts",
    responses((status = 202, description = "A mail follows"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn request_password_reset(
    from: Network,
    db: Data<Db>,
    body: Body<ResetRequest>,
) -> Result<HttpResponse, Problem> {
    let ResetRequest { email, language } = body.read()?;
    throttle::take(&db, throttle::MAIL_NETWORK, from.as_str()).await?;
    let mut faults = Faults::new();
    let email = faults.email("/email", &email);
    let email = faults.finish(email)?;
    if may_mail(&db, &email, &from).await? {
        let mut tx = db.account_tx().await?;
        mail::put(&mut tx, &Letter::Reset, &email, language).await?;
        tx.commit().await?;
    }
    Ok(HttpResponse::Accepted().finish())
}

/// Chooses a new password with the code from the mail, and ends every sign-in of the account.
///
/// It proves the address too. When nobody had, whoever made the account may have been a stranger: their password and everything
/// else with which one signs in is gone; what is in the account stays. A second factor of an account with a proven address
/// stays.
#[utoipa::path(
    post, path = "/v1/auth/password-reset/complete", impl_for = reset_password, tag = "accounts",
    responses((status = 204, description = "Changed; sign in"),
        (status = 404, description = "The code was used, has expired or never was"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn reset_password(
    from: Network,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<Reset>,
) -> Result<HttpResponse, Problem> {
    let Reset { token, new } = body.read()?;
    choose_password(&db, &config, &from, (&token, new)).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The work of it.
///
/// # Errors
/// 404 for a secret that does not hold, 422 for a password that cannot be chosen.
pub async fn choose_password(
    db: &Db,
    config: &Config,
    from: &Network,
    (secret, new): (&str, SecretString),
) -> Result<(), Problem> {
    let (token, link) = found(db, from, secret, &[Purpose::Reset]).await?;
    let mut tx = db.account_tx().await?;
    let account = store::find(&mut tx, link.account).await?.ok_or_else(none)?;
    drop(tx);
    let mut faults = Faults::new();
    password_rules::check(&mut faults, "/new", &new, Owner { email: &account.email, name: &account.display_name });
    password_rules::check_breached(&mut faults, "/new", &new, config.breached.as_deref()).await?;
    faults.finish(Some(()))?;
    let hash = password::hash(new).await?;
    let mut tx = db.account_tx().await?;
    addresses::take_link(&mut tx, &token).await?.ok_or_else(none)?;
    addresses::reset(&mut tx, &account, &hash).await?;
    let letter = Letter::Security { account: account.id, event: Event::Password, at: Utc::now() };
    mail::put(&mut tx, &letter, &account.email, None).await?;
    Ok(tx.commit().await?)
}

/// Confirms an address with the code from a mail: that of a new account, or one of the two of a change.
#[utoipa::path(
    post, path = "/v1/auth/confirmation", impl_for = confirm_address, tag = "accounts",
    responses((status = 204, description = "Confirmed"),
        (status = 404, description = "The code was used, has expired or never was"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn confirm_address(from: Network, db: Data<Db>, body: Body<Secret>) -> Result<HttpResponse, Problem> {
    confirm(&db, &from, &body.read()?.token).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The work of it.
///
/// # Errors
/// 404 for a secret that does not hold.
pub async fn confirm(db: &Db, from: &Network, secret: &str) -> Result<(), Problem> {
    let purposes = [Purpose::Confirm, Purpose::MoveTo, Purpose::MoveFrom];
    let (token, _) = found(db, from, secret, &purposes).await?;
    let mut tx = db.account_tx().await?;
    let link = addresses::take_link(&mut tx, &token).await?.ok_or_else(none)?;
    if link.purpose == Purpose::Confirm {
        if !proof::prove(&mut tx, link.account, &link.address).await? {
            return Err(none());
        }
    } else if let Agreed::Moved { old } = addresses::agree(&mut tx, &link).await? {
        let letter = Letter::Security { account: link.account, event: Event::Address, at: Utc::now() };
        mail::put(&mut tx, &letter, &old, None).await?;
    }
    Ok(tx.commit().await?)
}

/// Sends the mail that confirms your address once more.
#[utoipa::path(
    post, path = "/v1/me/confirmation", impl_for = request_confirmation, tag = "accounts",
    responses((status = 202, description = "A mail follows, unless the address is confirmed"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn request_confirmation(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    throttle::take(&db, throttle::ADDRESS, &caller.account.to_string()).await?;
    let account = own_account(&db, &caller).await?;
    let mut tx = db.account_tx().await?;
    mail::put(&mut tx, &Letter::Confirm { account: account.id }, &account.email, None).await?;
    tx.commit().await?;
    Ok(HttpResponse::Accepted().finish())
}

/// Asks for another e-mail address. It changes when mails to both are answered within a day; an address that was never
/// confirmed is not asked.
#[utoipa::path(
    post, path = "/v1/me/email", impl_for = change_email, tag = "accounts",
    responses((status = 202, description = "Mails follow"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn change_email(
    from: Network,
    caller: Caller,
    db: Data<Db>,
    body: Body<EmailChange>,
) -> Result<HttpResponse, Problem> {
    let EmailChange { email, password } = body.read()?;
    throttle::take(&db, throttle::PASSWORD, &format!("{} {}", caller.account, caller.device)).await?;
    let account = own_account(&db, &caller).await?;
    let mut faults = Faults::new();
    let email = faults.email("/email", &email);
    if email.as_deref() == Some(account.email.as_str()) {
        faults.add("/email", "same", "is the address that the account has");
    }
    let email = faults.finish(email)?;
    let (fits, _) = password::verify(password, Some(account.password_hash.clone())).await?;
    if !fits {
        return Err(Problem::invalid(vec![Fault::at("/password", "password", "is not the current password")]));
    }
    throttle::take(&db, throttle::ADDRESS, &caller.account.to_string()).await?;
    let mailed = may_mail(&db, &email, &from).await?;
    let mut tx = db.account_tx().await?;
    addresses::ask_change(&mut tx, &account, &email).await?;
    if mailed {
        mail::put(&mut tx, &Letter::MoveTo { account: account.id }, &email, None).await?;
    }
    if account.proven {
        mail::put(&mut tx, &Letter::MoveFrom { account: account.id }, &account.email, None).await?;
    }
    tx.commit().await?;
    Ok(HttpResponse::Accepted().finish())
}

/// Chooses the language of the mails that you get.
#[utoipa::path(
    put, path = "/v1/me/language", impl_for = set_language, tag = "accounts",
    responses((status = 204, description = "Chosen"))
)]
async fn set_language(caller: Caller, db: Data<Db>, body: Body<LanguageChoice>) -> Result<HttpResponse, Problem> {
    let LanguageChoice { language } = body.read()?;
    let mut tx = db.account_tx().await?;
    addresses::save_language(&mut tx, caller.account, language).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(request_password_reset, reset_password, confirm_address, request_confirmation, change_email, set_language);
