//! Rows of second factors and their recovery codes.

use chrono::Utc;

use crate::platform::db::{AccountTx, StoreError};
use crate::platform::ids::{AccountId, DeviceId};

/// A second factor as it is stored.
#[derive(Debug)]
pub struct Factor {
    /// The secret, sealed.
    pub sealed: Vec<u8>,
    /// Whether its owner showed a code of it, so that it counts.
    pub confirmed: bool,
    /// Recovery codes that were not used.
    pub codes: i64,
}

/// Begins a second factor in place of one that was never confirmed.
///
/// # Errors
/// A conflict when there is one that counts.
pub async fn begin(tx: &mut AccountTx, account: AccountId, sealed: &[u8]) -> Result<(), StoreError> {
    let done = sqlx::query!(
        r#"
        insert into second_factors as x (account_id, sealed, created_at)
        values ($1, $2, $3)
        on conflict (account_id) do update
        set sealed = excluded.sealed, created_at = excluded.created_at, last_step = 0
        where x.confirmed_at is null
        "#,
        account.0,
        sealed,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::Conflict("The account has a second factor. Remove it first.".to_owned()));
    }
    Ok(())
}

/// The second factor of an account. The same reads when there is none.
pub async fn find(tx: &mut AccountTx, account: AccountId) -> Result<Option<Factor>, StoreError> {
    let factor = sqlx::query_as!(
        Factor,
        r#"
        select f.sealed, f.confirmed_at is not null as "confirmed!",
          (select count(*) from recovery_codes c where c.account_id = $1) as "codes!"
        from second_factors f
        where f.account_id = $1
        "#,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(factor)
}

/// Uses the code of a step; false when that or a later one was used before. The first use confirms the factor.
pub async fn use_step(tx: &mut AccountTx, account: AccountId, step: i64) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        r#"
        update second_factors
        set last_step = $2, confirmed_at = coalesce(confirmed_at, $3)
        where account_id = $1 and last_step < $2
        "#,
        account.0,
        step,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Uses a recovery code; false when there is no such code any more.
pub async fn use_code(tx: &mut AccountTx, account: AccountId, hash: &[u8]) -> Result<bool, StoreError> {
    let done = sqlx::query!("delete from recovery_codes where account_id = $1 and code_hash = $2", account.0, hash)
        .execute(tx.conn())
        .await?;
    Ok(done.rows_affected() == 1)
}

/// Puts new recovery codes in the place of all others.
pub async fn save_codes(tx: &mut AccountTx, account: AccountId, hashes: &[Vec<u8>]) -> Result<(), StoreError> {
    sqlx::query!("delete from recovery_codes where account_id = $1", account.0).execute(tx.conn()).await?;
    for hash in hashes {
        sqlx::query!("insert into recovery_codes (account_id, code_hash) values ($1, $2)", account.0, hash)
            .execute(tx.conn())
            .await?;
    }
    Ok(())
}

/// Notes that a second factor was shown with a sign-in.
pub async fn mark(tx: &mut AccountTx, account: AccountId, device: DeviceId) -> Result<(), StoreError> {
    sqlx::query!(
        "update devices set second_factor_at = $3 where account_id = $1 and id = $2",
        account.0,
        device.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Removes a second factor with its codes; no sign-in counts as shown with one any more, nor one that an app is about to get.
pub async fn remove(tx: &mut AccountTx, account: AccountId) -> Result<(), StoreError> {
    sqlx::query!("delete from recovery_codes where account_id = $1", account.0).execute(tx.conn()).await?;
    sqlx::query!("delete from second_factors where account_id = $1", account.0).execute(tx.conn()).await?;
    // Before the sign-ins: a code that is being exchanged holds its row, and its sign-in is there when this goes on.
    sqlx::query!("update authorizations set second_factor = false where account_id = $1", account.0)
        .execute(tx.conn())
        .await?;
    sqlx::query!("update devices set second_factor_at = null where account_id = $1", account.0)
        .execute(tx.conn())
        .await?;
    Ok(())
}
