//! The clubs of an account: the account's part of founding a club and of joining one.

use chrono::Utc;

use super::db::{AccountTx, StoreError};
use super::ids::{AccountId, ClubId};

/// Most clubs of one account: its own list reads each of them, and each founded one brings tables of its own to fill.
pub const MAX_CLUBS: i64 = 50;

/// Notes that an account belongs to a club, in the transaction that makes it a member.
///
/// # Errors
/// A conflict when it belongs to [`MAX_CLUBS`] others.
pub async fn join(tx: &mut AccountTx, account: AccountId, club: ClubId) -> Result<(), StoreError> {
    // One at a time for each account, or two at once would both find room; and none whose account is deleted at this moment.
    sqlx::query_scalar!("select account_id from accounts where account_id = $1 for no key update", account.0)
        .fetch_optional(tx.conn())
        .await?
        .ok_or(StoreError::NotFound("account"))?;
    sqlx::query!(
        r#"
        insert into account_club as x (account_id, club_id, joined_at)
        values ($1, $2, $3)
        on conflict (account_id, club_id) do nothing
        "#,
        account.0,
        club.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    let clubs =
        sqlx::query_scalar!(r#"select count(*) as "clubs!" from account_club where account_id = $1"#, account.0)
            .fetch_one(tx.conn())
            .await?;
    if clubs > MAX_CLUBS {
        return Err(StoreError::Conflict(format!(
            "An account belongs to at most {MAX_CLUBS} clubs, and this one does. Have an admin of one of them remove you, or use another account."
        )));
    }
    Ok(())
}
