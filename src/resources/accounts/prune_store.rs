//! What is kept long enough of sign-ins.

use chrono::{Duration, Utc};

use crate::platform::db::{Db, StoreError};
use crate::platform::token::REFRESH_SECONDS;

/// How long an ended sign-in is kept, days.
const ENDED_DAYS: i64 = 30;
/// How long a code is kept after it expired, days: so long its replay ends what it gave.
const CODE_DAYS: i64 = 1;
/// Rows that one transaction deletes.
const STEP: i64 = 1_000;

/// Drops refresh tokens, codes and consents that have expired, and sign-ins that were ended or can never be used again; how
/// many rows.
///
/// Tokens that were used stay until they would have expired, so that a copy is noticed as long as it could be one.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    let mut dropped = authorizations(db).await?;
    loop {
        let now = Utc::now();
        let mut tx = db.account_tx().await?;
        let old = sqlx::query!(
            "select account_id, token_hash from refresh_tokens where expires_at < $1 order by expires_at limit $2",
            now,
            STEP
        )
        .fetch_all(tx.conn())
        .await?;
        let (accounts, hashes): (Vec<_>, Vec<_>) = old.into_iter().map(|row| (row.account_id, row.token_hash)).unzip();
        sqlx::query!(
            r#"
            delete from refresh_tokens t
            using unnest($1::uuid[], $2::bytea[]) as u (account_id, token_hash)
            where t.account_id = u.account_id and t.token_hash = u.token_hash
            "#,
            &accounts,
            &hashes
        )
        .execute(tx.conn())
        .await?;
        let ended = sqlx::query!(
            "select account_id, id from devices where revoked_at < $1 or last_used_at < $2 limit $3",
            now - Duration::days(ENDED_DAYS),
            now - Duration::seconds(REFRESH_SECONDS) - Duration::days(1),
            STEP
        )
        .fetch_all(tx.conn())
        .await?;
        let (owners, devices): (Vec<_>, Vec<_>) = ended.into_iter().map(|row| (row.account_id, row.id)).unzip();
        sqlx::query!(
            r#"
            delete from devices d
            using unnest($1::uuid[], $2::uuid[]) as u (account_id, id)
            where d.account_id = u.account_id and d.id = u.id
            "#,
            &owners,
            &devices
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await?;
        dropped += (accounts.len() + owners.len()) as u64;
        if accounts.len().max(owners.len()) < usize::try_from(STEP).unwrap_or(usize::MAX) {
            return Ok(dropped);
        }
    }
}

async fn authorizations(db: &Db) -> Result<u64, StoreError> {
    let before = Utc::now() - Duration::days(CODE_DAYS);
    let mut dropped = 0;
    loop {
        let mut tx = db.account_tx().await?;
        let old = sqlx::query!(
            "select account_id, token_hash from authorizations where expires_at < $1 order by expires_at limit $2",
            before,
            STEP
        )
        .fetch_all(tx.conn())
        .await?;
        let (accounts, hashes): (Vec<_>, Vec<_>) = old.into_iter().map(|row| (row.account_id, row.token_hash)).unzip();
        sqlx::query!(
            r#"
            delete from authorizations x
            using unnest($1::uuid[], $2::bytea[]) as u (account_id, token_hash)
            where x.account_id = u.account_id and x.token_hash = u.token_hash
            "#,
            &accounts,
            &hashes
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await?;
        dropped += accounts.len() as u64;
        if accounts.len() < usize::try_from(STEP).unwrap_or(usize::MAX) {
            return Ok(dropped);
        }
    }
}
