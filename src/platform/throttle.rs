//! Token buckets in the database, so that a limit holds over several instances.

use chrono::Utc;

use super::db::Db;
use super::problem::{Code, Problem};

/// How much is allowed.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Attempts at once.
    pub burst: f64,
    /// Attempts regained per second.
    pub per_second: f64,
}

/// Takes one attempt from a bucket.
///
/// # Errors
/// 429 with `Retry-After` when the bucket is empty.
pub async fn take(db: &Db, bucket: &str, limit: Limit) -> Result<(), Problem> {
    let mut tx = db.account_tx().await?;
    let taken = sqlx::query_scalar!(
        r#"
        insert into throttles as t (bucket, tokens, refilled_at)
        values ($1, $2::float8 - 1, $4)
        on conflict (bucket) do update
        set tokens = least($2::float8, t.tokens + $3::float8 * extract(epoch from excluded.refilled_at - t.refilled_at)::float8) - 1,
            refilled_at = excluded.refilled_at
        where least($2::float8, t.tokens + $3::float8 * extract(epoch from excluded.refilled_at - t.refilled_at)::float8) >= 1
        returning tokens
        "#,
        bucket,
        limit.burst,
        limit.per_second,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    tx.commit().await?;
    if taken.is_some() {
        return Ok(());
    }
    let wait = (1.0 / limit.per_second).ceil();
    Err(Problem::new(Code::TooMany, format!("Too many attempts. Wait {wait} seconds and try again."))
        .with_header(actix_web::http::header::RETRY_AFTER, &format!("{wait}")))
}
