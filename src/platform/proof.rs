//! Whose an e-mail address is.
//!
//! Anybody may say that an address is theirs; only who reads its mail proves it. So an address that nobody proved is held by
//! whoever named it first, and given to whoever proves it: the earlier account then has no address, and every sign-in of it
//! ends. Its records in clubs stay with the clubs, whose admins decide about members; nobody can act as it any more. A proven
//! address goes to nobody else.

use chrono::Utc;
use uuid::Uuid;

use super::config::Config;
use super::db::{AccountTx, StoreError};
use super::ids::{AccountId, DeviceId};
use super::problem::{Code, Problem};

/// Whom an address leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Holder {
    /// The account.
    pub account: AccountId,
    /// Whether it proved the address.
    pub proven: bool,
}

/// Whether an account may found and join clubs without a proven address; see `LANEWRIGHT_PROVEN_ADDRESSES`.
///
/// # Errors
/// 403 naming the remedy.
pub async fn demand(config: &Config, tx: &mut AccountTx, account: AccountId) -> Result<(), Problem> {
    if !config.proof || proven(tx, account).await? { Ok(()) } else { Err(unproven()) }
}

/// Whether what is meant for an account's address may be given to it: it proved the address, or nobody did and it was the first
/// to name it.
///
/// # Errors
/// 403 naming the remedy.
pub async fn holds(tx: &mut AccountTx, account: AccountId) -> Result<(), Problem> {
    let email =
        sqlx::query_scalar!("select email from accounts where account_id = $1", account.0).fetch_one(tx.conn()).await?;
    let holder = holder(tx, &email).await?;
    if holder.is_some_and(|holder| holder.account == account) { Ok(()) } else { Err(unproven()) }
}

fn unproven() -> Problem {
    Problem::new(
        Code::Forbidden,
        "Confirm your e-mail address first: open the link in the mail that was sent to it, or ask for another with POST /v1/me/confirmation.",
    )
}

/// Whether an account proved its address.
///
/// # Errors
/// Database errors.
pub async fn proven(tx: &mut AccountTx, account: AccountId) -> Result<bool, StoreError> {
    let proven = sqlx::query_scalar!(
        r#"select email_proven_at is not null as "proven!" from accounts where account_id = $1"#,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(proven == Some(true))
}

/// Whom an address leads to; an unknown one costs the same two reads.
///
/// # Errors
/// Database errors.
pub async fn holder(tx: &mut AccountTx, email: &str) -> Result<Option<Holder>, StoreError> {
    let id = sqlx::query_scalar!("select account_id from login_emails where email = $1", email)
        .fetch_optional(tx.conn())
        .await?;
    let account = AccountId(id.unwrap_or(Uuid::nil()));
    let proven = proven(tx, account).await?;
    Ok(id.map(|_| Holder { account, proven }))
}

/// Gives an address to an account that proved it just now; false when another account proved it before. The account's own
/// row is for the caller to change.
///
/// # Errors
/// Database errors.
pub async fn give(tx: &mut AccountTx, account: AccountId, email: &str) -> Result<bool, StoreError> {
    // Two who prove one address at once come after one another.
    sqlx::query!(
        r#"
        insert into login_emails as x (email, account_id) values ($1, $2)
        on conflict (email) do update set account_id = x.account_id
        "#,
        email,
        account.0
    )
    .execute(tx.conn())
    .await?;
    match holder(tx, email).await? {
        Some(other) if other.account != account => {
            if other.proven {
                return Ok(false);
            }
            supersede(tx, other.account).await?;
            sqlx::query!("update login_emails set account_id = $2 where email = $1", email, account.0)
                .execute(tx.conn())
                .await?;
        }
        _ => {}
    }
    Ok(true)
}

/// Notes that an account proved the address that it has; false when another account proved it before, or the account has
/// another address by now.
///
/// # Errors
/// Database errors.
pub async fn prove(tx: &mut AccountTx, account: AccountId, email: &str) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update accounts set email_proven_at = coalesce(email_proven_at, $3) where account_id = $1 and email = $2",
        account.0,
        email,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1 && give(tx, account, email).await?)
}

/// Nobody signs in to an account any more, nor resets its password: its address is somebody else's.
async fn supersede(tx: &mut AccountTx, account: AccountId) -> Result<(), StoreError> {
    end_sign_ins(tx, account, None).await?;
    sqlx::query!("delete from mail_links where account_id = $1", account.0).execute(tx.conn()).await?;
    sqlx::query!("delete from email_changes where account_id = $1", account.0).execute(tx.conn()).await?;
    Ok(())
}

/// Ends every sign-in of an account, but for one if it is to stay.
///
/// # Errors
/// Database errors.
pub async fn end_sign_ins(tx: &mut AccountTx, account: AccountId, keep: Option<DeviceId>) -> Result<(), StoreError> {
    tx.ends_sign_in(account);
    // And what is on its way to that of an app.
    sqlx::query!(
        "update authorizations set used_at = $2 where account_id = $1 and used_at is null",
        account.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        r#"
        update devices
        set revoked_at = $3
        where account_id = $1 and id <> $2 and revoked_at is null
        "#,
        account.0,
        keep.map_or(Uuid::nil(), |device| device.0),
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
