//! Deletes an account with everything that hangs from it.

use chrono::Utc;
use uuid::Uuid;

use super::store::Account;
use crate::platform::db::{Db, StoreError};
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::mail::{self, Letter};

/// The clubs of an account.
pub async fn clubs(db: &Db, account: AccountId) -> Result<Vec<ClubId>, StoreError> {
    let mut tx = db.account_tx().await?;
    let clubs =
        sqlx::query_scalar!("select club_id from account_club where account_id = $1 order by club_id", account.0)
            .fetch_all(tx.conn())
            .await?;
    Ok(clubs.into_iter().map(ClubId).collect())
}

/// Those of these accounts that are there.
pub async fn there(db: &Db, accounts: &[Uuid]) -> Result<Vec<AccountId>, StoreError> {
    let mut tx = db.account_tx().await?;
    let there = sqlx::query_scalar!(
        "select account_id from accounts where account_id = any ($1) order by account_id",
        accounts
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(there.into_iter().map(AccountId).collect())
}

/// Deletes the account with its sign-ins, second factor and mail, and tells its address where it is to be told; false, and nothing
/// deleted, while it belongs to a club.
pub async fn delete(db: &Db, account: &Account, tell: bool) -> Result<bool, StoreError> {
    let (id, mut tx) = (account.id.0, db.account_tx().await?);
    // Whoever joins a club at this moment waits for this row, and finds it gone.
    sqlx::query_scalar!("select account_id from accounts where account_id = $1 for update", id)
        .fetch_optional(tx.conn())
        .await?
        .ok_or(StoreError::NotFound("account"))?;
    let left =
        sqlx::query_scalar!(r#"select not exists (select from account_club where account_id = $1) as "left!""#, id)
            .fetch_one(tx.conn())
            .await?;
    if !left {
        return Ok(false);
    }
    for trace in [
        sqlx::query!(
            "delete from mail_outbox where address = $1 or about ->> 'account' = $2",
            account.email,
            id.to_string()
        ),
        sqlx::query!("delete from login_emails where email = $1 and account_id = $2", account.email, id),
        // With devices, tokens, codes, links of mails and consents that were on their way.
        sqlx::query!("delete from accounts where account_id = $1", id),
    ] {
        trace.execute(tx.conn()).await?;
    }
    if tell {
        mail::put(&mut tx, &Letter::AccountEnded { at: Utc::now() }, &account.email, Some(account.language)).await?;
    }
    tx.ends_sign_in(account.id);
    tx.commit().await?;
    Ok(true)
}
