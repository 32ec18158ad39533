//! Exports as rows: what was asked for, and the pieces of what was made.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::model::{Export, State};
use crate::platform::chores;
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::ids::{AccountId, AthleteId, ExportId};

/// Rows that one transaction deletes.
const STEP: i64 = 100;

struct Row {
    id: Uuid,
    athlete_id: Option<Uuid>,
    asked_by: Uuid,
    asked_at: DateTime<Utc>,
    state: String,
    done_at: Option<DateTime<Utc>>,
    expires_at: DateTime<Utc>,
    records: i64,
    bytes: i64,
    sha256: Option<Vec<u8>>,
}

impl TryFrom<Row> for Export {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        Ok(Self {
            id: ExportId(row.id),
            athlete: row.athlete_id.map(AthleteId),
            asked_by: AccountId(row.asked_by),
            asked_at: row.asked_at,
            state: State::parse(&row.state).map_err(|_| StoreError::Corrupt("export"))?,
            done_at: row.done_at,
            expires_at: row.expires_at,
            records: row.records,
            bytes: row.bytes,
            sha256: row.sha256,
        })
    }
}

/// Whether an athlete is there.
pub async fn has_athlete(tx: &mut ClubTx, id: AthleteId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let there = sqlx::query_scalar!(
        r#"select exists (select from athletes where club_id = $1 and id = $2 and deleted_at is null) as "there!""#,
        club,
        id.0
    );
    Ok(there.fetch_one(tx.conn()).await?)
}

/// Puts an export on the list of what is to be made. Those of one club that wait come after each other, so that others' come between.
pub async fn insert(tx: &mut ClubTx, one: &Export, due_at: DateTime<Utc>) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        insert into exports as x (club_id, id, athlete_id, asked_by, asked_at, state, expires_at)
        values ($1, $2, $3, $4, $5, $6, $7)
        "#,
        club,
        one.id.0,
        one.athlete.map(|athlete| athlete.0),
        one.asked_by.0,
        one.asked_at,
        one.state.as_str(),
        one.expires_at
    )
    .execute(tx.unsynced())
    .await?;
    sqlx::query!("insert into export_queue as x (id, club_id, due_at) values ($1, $2, $3)", one.id.0, club, due_at)
        .execute(tx.unsynced())
        .await?;
    Ok(())
}

/// The exports that are not over, the latest first; none about somebody who is withheld from whom they are read for.
pub async fn list(tx: &mut ClubTx) -> Result<Vec<Export>, StoreError> {
    let (club, withheld) = (tx.club.0, tx.withheld().await?);
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, athlete_id, asked_by, asked_at, state, done_at, expires_at, records, bytes, sha256
        from exports
        where club_id = $1 and expires_at > $2
        order by asked_at desc, id desc
        "#,
        club,
        Utc::now()
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter().filter(|row| is_shown(row, &withheld)).map(TryInto::try_into).collect()
}

/// Whether the athlete of an export may be named; that of the whole club names nobody.
fn is_shown(row: &Row, withheld: &[Uuid]) -> bool {
    row.athlete_id.is_none_or(|athlete| !withheld.contains(&athlete))
}

/// An export that is not over, as in the list.
pub async fn find(tx: &mut ClubTx, id: ExportId) -> Result<Option<Export>, StoreError> {
    let (club, withheld) = (tx.club.0, tx.withheld().await?);
    let row = sqlx::query_as!(
        Row,
        r#"
        select id, athlete_id, asked_by, asked_at, state, done_at, expires_at, records, bytes, sha256
        from exports
        where club_id = $1 and id = $2 and expires_at > $3
        "#,
        club,
        id.0,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    row.filter(|row| is_shown(row, &withheld)).map(TryInto::try_into).transpose()
}

/// Deletes an export with its archive; one that is being written stops with its next piece.
pub async fn remove(tx: &mut ClubTx, id: ExportId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let done =
        sqlx::query!("delete from exports where club_id = $1 and id = $2", club, id.0).execute(tx.unsynced()).await?;
    if done.rows_affected() == 0 { Err(StoreError::NotFound("export")) } else { Ok(()) }
}

/// A piece of an archive that is ready; none behind the last, and none of one that is gone.
pub async fn piece(tx: &mut ClubTx, id: ExportId, place: i32) -> Result<Option<Vec<u8>>, StoreError> {
    let club = tx.club.0;
    let bytes = sqlx::query_scalar!(
        r#"
        select p.bytes
        from export_pieces p
        join exports x on x.club_id = $1 and x.id = p.export_id and x.state = 'ready' and x.expires_at > $4
        where p.club_id = $1 and p.export_id = $2 and p.place = $3
        "#,
        club,
        id.0,
        place,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(bytes)
}

/// Drops exports that are over, club by club; how many.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::in_clubs(db, drop_old).await
}

async fn drop_old(tx: &mut ClubTx) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        delete from exports
        where club_id = $1 and id in (
          select x.id from exports x
          where x.club_id = $1 and x.expires_at <= $2
          limit $3
        )
        "#,
        club,
        Utc::now(),
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected())
}
