//! What is kept how long: the change log, receipts, decided facts, refused values and devices of the feed.

use chrono::{Duration, Utc};

use crate::platform::chores;
use crate::platform::db::{ClubTx, Db, StoreError};

/// How long all of it is kept, days.
pub const DAYS: i64 = 90;
/// Rows of the log that are kept of each club, however old.
const ROWS: i64 = 10_000;
/// Rows that one transaction deletes.
const STEP: i64 = 10_000;

/// Drops what is too old, club by club; how many rows of the log went.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn compact(db: &Db) -> Result<u64, StoreError> {
    chores::in_clubs(db, step).await
}

/// Drops old receipts, decided facts, refused values and devices, club by club; how many rows.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::in_clubs(db, rest).await
}

/// Drops some rows of the log and moves the mark of the oldest one.
async fn step(tx: &mut ClubTx) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let before = Utc::now() - Duration::days(DAYS);
    let clock =
        sqlx::query!("select seq, oldest_seq from club_clock where club_id = $1", club).fetch_one(tx.conn()).await?;
    let young = sqlx::query_scalar!(
        "select seq from club_change where club_id = $1 and at >= $2 order by seq limit 1",
        club,
        before
    )
    .fetch_optional(tx.conn())
    .await?;
    let many = sqlx::query_scalar!(
        "select seq from club_change where club_id = $1 order by seq desc offset $2 limit 1",
        club,
        ROWS - 1
    )
    .fetch_optional(tx.conn())
    .await?;
    // Without a row at that place the log is shorter than what is kept.
    let Some(many) = many else { return Ok(0) };
    let keep = young.unwrap_or(clock.seq + 1).min(many);
    let last = sqlx::query_scalar!(
        r#"
        select max(t.seq) from (
          select x.seq from club_change x where x.club_id = $1 and x.seq < $2 order by x.seq limit $3
        ) t
        "#,
        club,
        keep,
        STEP
    )
    .fetch_one(tx.conn())
    .await?;
    let Some(last) = last else { return Ok(0) };
    let done = sqlx::query!("delete from club_change where club_id = $1 and seq <= $2", club, last)
        .execute(tx.unsynced())
        .await?;
    sqlx::query!("update club_clock set oldest_seq = $2 where club_id = $1", club, last + 1)
        .execute(tx.unsynced())
        .await?;
    Ok(done.rows_affected())
}

/// Drops some old receipts, decided facts, refused values and devices; how many.
///
/// What is held and not decided stays, however old: it was recorded and nobody said that it may go. A device that was
/// once told to copy afresh stays as well, or its older tokens would be good again.
async fn rest(tx: &mut ClubTx) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let before = Utc::now() - Duration::days(DAYS);
    let receipts = sqlx::query!(
        r#"
        delete from op_receipt
        where club_id = $1 and op_id in (select x.op_id from op_receipt x where x.club_id = $1 and x.at < $2 limit $3)
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    let held = sqlx::query!(
        r#"
        delete from held_item
        where club_id = $1 and (kind, id) in (
          select x.kind, x.id from held_item x where x.club_id = $1 and x.decided_at < $2 limit $3
        )
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    let refused = sqlx::query!(
        r#"
        delete from refused_edit
        where club_id = $1
          and op_id in (select x.op_id from refused_edit x where x.club_id = $1 and x.received_at < $2 limit $3)
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    let devices = sqlx::query!(
        r#"
        delete from sync_device
        where club_id = $1 and generation = 0 and id in (
          select x.id from sync_device x
          where x.club_id = $1 and x.generation = 0 and greatest(x.pulled_at, x.pushed_at) < $2
          limit $3
        )
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    Ok([receipts, held, refused, devices].map(|done| done.rows_affected()).into_iter().sum())
}
