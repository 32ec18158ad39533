//! What is kept long enough of sign-ins.

use chrono::{Duration, Utc};

use crate::platform::chores::{self, STEP};
use crate::platform::db::{AccountTx, Db, StoreError};
use crate::platform::token::REFRESH_SECONDS;

/// How long an ended sign-in is kept, days.
const ENDED_DAYS: i64 = 30;
/// How long a code is kept after it expired, days: so long its replay ends what it gave.
const CODE_DAYS: i64 = 1;

/// Makes a step that drops rows of a table which expired before some days.
macro_rules! expired {
    ($name:ident, $table:tt, $days:expr) => {
        async fn $name(tx: &mut AccountTx) -> Result<u64, StoreError> {
            let old = sqlx::query!(
                "select account_id, token_hash from " + $table + " where expires_at < $1 order by expires_at limit $2",
                Utc::now() - Duration::days($days),
                STEP
            )
            .fetch_all(tx.conn())
            .await?;
            let (accounts, hashes): (Vec<_>, Vec<_>) =
                old.into_iter().map(|row| (row.account_id, row.token_hash)).unzip();
            let done = sqlx::query!(
                "delete from "
                    + $table
                    + r#" x using unnest($1::uuid[], $2::bytea[]) as u (account_id, token_hash)
                    where x.account_id = u.account_id and x.token_hash = u.token_hash"#,
                &accounts,
                &hashes
            )
            .execute(tx.conn())
            .await?;
            Ok(done.rows_affected())
        }
    };
}

expired!(authorizations, "authorizations", CODE_DAYS);
// Those that were used stay until they would have expired, so that a copy is noticed as long as it could be one.
expired!(refresh_tokens, "refresh_tokens", 0);

/// Drops sign-ins that were ended long ago or can never be used again.
async fn sign_ins(tx: &mut AccountTx) -> Result<u64, StoreError> {
    let now = Utc::now();
    let ended = sqlx::query!(
        "select account_id, id from devices where revoked_at < $1 or last_used_at < $2 limit $3",
        now - Duration::days(ENDED_DAYS),
        now - Duration::seconds(REFRESH_SECONDS) - Duration::days(1),
        STEP
    )
    .fetch_all(tx.conn())
    .await?;
    let (owners, devices): (Vec<_>, Vec<_>) = ended.into_iter().map(|row| (row.account_id, row.id)).unzip();
    let done = sqlx::query!(
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
    Ok(done.rows_affected())
}

/// Drops refresh tokens, codes and consents that have expired, and sign-ins that were ended or can never be used again; how
/// many rows.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    Ok(chores::outside_clubs(db, authorizations).await?
        + chores::outside_clubs(db, refresh_tokens).await?
        + chores::outside_clubs(db, sign_ins).await?)
}
