//! Who makes which export: an instance claims what is due, holds the export's row for each piece, and says how it ended.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::model::{KEPT, State};
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::ids::{AccountId, AthleteId, ClubId};

/// How long an instance has from one piece to the next. One that died is followed by another after this time.
const LEASE: Duration = Duration::minutes(5);
/// How often an archive is tried.
const TRIES: i32 = 3;
/// How long until it is tried again.
const AGAIN: Duration = Duration::minutes(1);

/// An export that this instance is to make.
#[derive(Clone, Copy, Debug)]
pub struct Claimed {
    /// The export.
    pub id: Uuid,
    /// Its club.
    pub club: ClubId,
    /// Which try this is, from 1.
    pub tries: i32,
    /// This try alone.
    pub turn: Uuid,
}

/// Of whom the archive is, and who asked for it.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// The athlete; none for the whole club.
    pub athlete: Option<AthleteId>,
    /// Who asked.
    pub by: AccountId,
}

/// Takes the export that is due first; no other instance gets it while this one is at it.
pub async fn claim(db: &Db, now: DateTime<Utc>) -> Result<Option<Claimed>, StoreError> {
    let mut tx = db.account_tx().await?;
    let due = sqlx::query!(
        r#"
        select id, club_id, tries
        from export_queue
        where due_at <= $1
        order by due_at
        limit 1
        for update skip locked
        "#,
        now
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(due) = due else { return Ok(None) };
    sqlx::query!(
        "update export_queue set due_at = $3, tries = tries + 1 where club_id = $1 and id = $2",
        due.club_id,
        due.id,
        now + LEASE
    )
    .execute(tx.conn())
    .await?;
    tx.commit().await?;
    Ok(Some(Claimed { id: due.id, club: ClubId(due.club_id), tries: due.tries + 1, turn: Uuid::now_v7() }))
}

/// Begins a try: what an earlier one left goes. None when nobody wants the export any more.
pub async fn begin(db: &Db, one: &Claimed) -> Result<Option<Asked>, StoreError> {
    let mut tx = db.write(one.club, &Actor::NOBODY).await?;
    let row = sqlx::query!(
        r#"
        update exports
        set state = 'running', turn = $3
        where club_id = $1 and id = $2 and state in ('waiting', 'running')
        returning athlete_id, asked_by
        "#,
        one.club.0,
        one.id,
        one.turn
    )
    .fetch_optional(tx.unsynced())
    .await?;
    sqlx::query!("delete from export_pieces where club_id = $1 and export_id = $2", one.club.0, one.id)
        .execute(tx.unsynced())
        .await?;
    tx.commit().await?;
    Ok(row.map(|row| Asked { athlete: row.athlete_id.map(AthleteId), by: AccountId(row.asked_by) }))
}

/// Holds the export for this transaction; whether this try still writes it.
async fn hold(tx: &mut ClubTx, one: &Claimed) -> Result<bool, StoreError> {
    let held = sqlx::query_scalar!(
        r#"
        select id from exports
        where club_id = $1 and id = $2 and state = 'running' and turn = $3
        for no key update
        "#,
        one.club.0,
        one.id,
        one.turn
    );
    Ok(held.fetch_optional(tx.conn()).await?.is_some())
}

/// Stores a piece and asks for time for the next; false when this try is over: the export was taken back, or another instance has it.
pub async fn keep(db: &Db, one: &Claimed, place: i32, bytes: &[u8]) -> Result<bool, StoreError> {
    let mut tx = db.write(one.club, &Actor::NOBODY).await?;
    if !hold(&mut tx, one).await? {
        return Ok(false);
    }
    sqlx::query!(
        "insert into export_pieces as x (club_id, export_id, place, bytes) values ($1, $2, $3, $4)",
        one.club.0,
        one.id,
        place,
        bytes
    )
    .execute(tx.unsynced())
    .await?;
    tx.commit().await?;
    let mut tx = db.account_tx().await?;
    sqlx::query!(
        "update export_queue set due_at = $3 where club_id = $1 and id = $2",
        one.club.0,
        one.id,
        Utc::now() + LEASE
    )
    .execute(tx.conn())
    .await?;
    tx.commit().await?;
    Ok(true)
}

/// What an archive came to.
#[derive(Clone, Debug)]
pub struct Total {
    /// Rows in it.
    pub records: i64,
    /// Its size.
    pub bytes: i64,
    /// SHA-256 of it.
    pub sha256: Vec<u8>,
}

/// Says that the archive is whole; false when this try is over.
pub async fn ready(db: &Db, one: &Claimed, total: &Total) -> Result<bool, StoreError> {
    let now = Utc::now();
    let mut tx = db.write(one.club, &Actor::NOBODY).await?;
    if !hold(&mut tx, one).await? {
        return Ok(false);
    }
    sqlx::query!(
        r#"
        update exports
        set state = 'ready', turn = null, done_at = $3, expires_at = $4, records = $5, bytes = $6, sha256 = $7
        where club_id = $1 and id = $2
        "#,
        one.club.0,
        one.id,
        now,
        now + KEPT,
        total.records,
        total.bytes,
        total.sha256
    )
    .execute(tx.unsynced())
    .await?;
    tx.commit().await?;
    done(db, one).await?;
    Ok(true)
}

/// Leaves an export that this try does not write any more: another instance goes on with one that is still wanted.
pub async fn leave(db: &Db, one: &Claimed) -> Result<(), StoreError> {
    let mut tx = db.read(one.club, &Actor::NOBODY).await?;
    let wanted = sqlx::query_scalar!(
        r#"
        select exists (
          select from exports where club_id = $1 and id = $2 and state in ('waiting', 'running')
        ) as "wanted!"
        "#,
        one.club.0,
        one.id
    )
    .fetch_one(tx.conn())
    .await?;
    drop(tx);
    if wanted { Ok(()) } else { done(db, one).await }
}

/// Takes an export from the list of what is to be made.
pub async fn done(db: &Db, one: &Claimed) -> Result<(), StoreError> {
    let mut tx = db.account_tx().await?;
    sqlx::query!("delete from export_queue where club_id = $1 and id = $2", one.club.0, one.id)
        .execute(tx.conn())
        .await?;
    tx.commit().await
}

/// Says that a try failed: it is tried again a little later, or given up. Whether it was given up.
pub async fn failed(db: &Db, one: &Claimed, never: bool) -> Result<bool, StoreError> {
    if one.tries < TRIES && !never {
        let mut tx = db.account_tx().await?;
        sqlx::query!(
            "update export_queue set due_at = $3 where club_id = $1 and id = $2",
            one.club.0,
            one.id,
            Utc::now() + AGAIN
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await?;
        return Ok(false);
    }
    let mut tx = db.write(one.club, &Actor::NOBODY).await?;
    if hold(&mut tx, one).await? {
        sqlx::query!(
            "update exports set state = $3, turn = null where club_id = $1 and id = $2",
            one.club.0,
            one.id,
            State::Failed.as_str()
        )
        .execute(tx.unsynced())
        .await?;
        sqlx::query!("delete from export_pieces where club_id = $1 and export_id = $2", one.club.0, one.id)
            .execute(tx.unsynced())
            .await?;
    }
    tx.commit().await?;
    done(db, one).await?;
    Ok(true)
}
