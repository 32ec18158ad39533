//! Single attendances: the rows behind the list, as phones carry them.

use chrono::Utc;
use uuid::Uuid;

use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, SessionId};

/// That an athlete came to a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Presence {
    /// Derived from the pair.
    pub id: Uuid,
    /// Number of the last change.
    pub rev: i64,
    /// The session.
    pub session: SessionId,
    /// The athlete.
    pub athlete: AthleteId,
    /// Whether it was taken back.
    pub gone: bool,
}

/// Those of these ids that are stored, taken back or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Presence>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, rev, session_id, athlete_id, deleted_at is not null as "gone!"
        from attendance
        where club_id = $1 and id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let presence = |row: (Uuid, i64, Uuid, Uuid, bool)| Presence {
        id: row.0,
        rev: row.1,
        session: SessionId(row.2),
        athlete: AthleteId(row.3),
        gone: row.4,
    };
    Ok(rows.into_iter().map(|row| presence((row.id, row.rev, row.session_id, row.athlete_id, row.gone))).collect())
}

/// Takes back everybody's attendance of a session that is deleted.
pub async fn clear(tx: &mut ClubTx, session: SessionId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        "select id, athlete_id from attendance where club_id = $1 and session_id = $2 and deleted_at is null",
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    if rows.is_empty() {
        return Ok(());
    }
    tx.alone_all(rows.iter().map(|row| row.id)).await?;
    let changes: Vec<Change> =
        rows.iter().map(|row| Change::remove(Kind::Attendance, row.id).under(AthleteId(row.athlete_id))).collect();
    sqlx::query!(
        r#"
        update attendance
        set deleted_at = $3, updated_at = $3
        where club_id = $1 and session_id = $2 and deleted_at is null
        "#,
        club,
        session.0,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}
