//! Rows behind the cards of a session: its latest plan, its note, and what coaches noted of its athletes.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::platform::dates;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{AssessmentId, LanePlanId, SessionId};
use crate::resources::advice::Block;

/// Days back to which notes are shown: four weeks (design choice).
const NOTE_DAYS: i64 = 28;
/// Most notes of one athlete.
const NOTES_MAX: i64 = 3;

/// The latest plan of a session: the one that came last, because an id that a client makes need not tell when.
pub async fn latest_plan(tx: &mut ClubTx, session: SessionId) -> Result<Option<LanePlanId>, StoreError> {
    let club = tx.club.0;
    let id = sqlx::query_scalar!(
        r#"
        select id
        from lane_plans
        where club_id = $1 and session_id = $2 and deleted_at is null
        order by created_at desc, id desc
        limit 1
        "#,
        club,
        session.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(id.map(LanePlanId))
}

/// What the coaches noted of a session, and what is done in it.
pub async fn kept(tx: &mut ClubTx, session: SessionId) -> Result<(Option<String>, Vec<Block>), StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!("select note, blocks from sessions where club_id = $1 and id = $2", club, session.0)
        .fetch_optional(tx.conn())
        .await?;
    let Some(row) = row else { return Ok((None, Vec::new())) };
    Ok((row.note, serde_json::from_value(row.blocks).map_err(|_| StoreError::Corrupt("session"))?))
}

/// What a coach noted of an athlete.
#[derive(Clone, Debug)]
pub struct Note {
    /// The assessment that holds it.
    pub id: AssessmentId,
    /// When.
    pub at: DateTime<Utc>,
    /// The day of the club on which that was.
    pub on: NaiveDate,
    /// The note.
    pub text: String,
}

/// The latest notes on each of these athletes in the four weeks up to a day of the club, latest first.
pub async fn notes(tx: &mut ClubTx, athletes: &[Uuid], on: NaiveDate) -> Result<HashMap<Uuid, Vec<Note>>, StoreError> {
    let (club, zone) = (tx.club.0, tx.zone().await?);
    let (from, end) = tx.span(on - chrono::Duration::days(NOTE_DAYS), on).await?;
    let rows = sqlx::query!(
        r#"
        select n.athlete_id as "athlete_id!", n.id as "id!", n.assessed_at as "assessed_at!: DateTime<Utc>", n.note as "note!"
        from (
          select x.athlete_id, x.id, x.assessed_at, x.note,
            row_number() over (partition by x.athlete_id order by x.assessed_at desc, x.id desc) as place
          from assessments x
          where x.club_id = $1 and x.athlete_id = any ($2) and x.note is not null and not x.void
            and x.assessed_at >= $3 and x.assessed_at < $4
            and not exists (
              select from assessments later
              where later.club_id = $1 and later.supersedes = x.id
            )
        ) n
        where n.place <= $5
        order by n.athlete_id, n.place
        "#,
        club,
        athletes,
        from,
        end,
        NOTES_MAX
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<Note>> = HashMap::new();
    for row in rows {
        let on = dates::day_of(row.assessed_at, zone);
        let note = Note { id: AssessmentId(row.id), at: row.assessed_at, on, text: row.note };
        found.entry(row.athlete_id).or_default().push(note);
    }
    Ok(found)
}
