//! Rows of assessments.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::model::Assessment;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::facts::{self, Fact, Wanted};
use crate::platform::grants;
use crate::platform::ids::{AssessmentId, AthleteId, SessionId};
use crate::platform::people::{People, batched};
use crate::platform::stored::Stored;

/// An assessment as it is stored.
pub type StoredAssessment = Stored<AssessmentId, Assessment>;

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    athlete_id: Uuid,
    session_id: Option<Uuid>,
    assessed_at: DateTime<Utc>,
    lead_leg: Option<i16>,
    trail_leg: Option<i16>,
    walkover: Option<i16>,
    take_off: Option<i16>,
    landing: Option<i16>,
    posture: Option<i16>,
    rhythm: Option<i16>,
    arms: Option<i16>,
    note: Option<String>,
    supersedes: Option<Uuid>,
    void: bool,
}

impl From<Row> for StoredAssessment {
    fn from(row: Row) -> Self {
        let value = Assessment {
            athlete: AthleteId(row.athlete_id),
            session: row.session_id.map(SessionId),
            assessed_at: row.assessed_at,
            ratings: [
                row.lead_leg,
                row.trail_leg,
                row.walkover,
                row.take_off,
                row.landing,
                row.posture,
                row.rhythm,
                row.arms,
            ],
            note: row.note,
            supersedes: row.supersedes.map(AssessmentId),
            void: row.void,
        };
        Self { id: AssessmentId(row.id), rev: row.rev, value }
    }
}

/// Assessments with these ids, seen by the actor or not: an id is taken either way.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, (Assessment, i64)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, athlete_id, session_id, assessed_at, lead_leg, trail_leg, walkover, take_off, landing, posture,
          rhythm, arms, note, supersedes, void
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from assessments r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(StoredAssessment::from).map(|one| (one.id.0, (one.value, one.rev))).collect())
}

batched!("assessments");

/// Where an assessment stands in a list.
pub type Place = facts::Place<DateTime<Utc>>;

impl Fact for Row {
    type At = DateTime<Utc>;

    const SELECT: &'static str = "select x.id, x.rev, x.athlete_id, x.session_id, x.assessed_at, x.lead_leg, x.trail_leg, \
        x.walkover, x.take_off, x.landing, x.posture, x.rhythm, x.arms, x.note, x.supersedes, x.void, x.at from (select \
        f.*, f.assessed_at as at from assessments f where f.club_id = $1) x where true";
    const STANDING: &'static str = " and not x.void and not exists (select from assessments later where later.club_id = $1 \
        and later.supersedes = x.id offset 0)";

    fn athlete(&self) -> Uuid {
        self.athlete_id
    }

    fn place(&self) -> Place {
        facts::Place(self.assessed_at, self.id)
    }
}

/// The assessments that the actor sees, by when they were and by id.
pub async fn page(tx: &mut ClubTx, wanted: Wanted<DateTime<Utc>>) -> Result<Vec<StoredAssessment>, StoreError> {
    let rows: Vec<Row> = facts::page(tx, wanted).await?;
    Ok(rows.into_iter().map(StoredAssessment::from).collect())
}

/// An assessment, when the actor sees its athlete.
pub async fn find(tx: &mut ClubTx, id: AssessmentId) -> Result<Option<StoredAssessment>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.remove(&id.0);
    // Nobody is looked for when nothing was found, so that the answer takes as long as for one that is hidden.
    let athlete = found.as_ref().map_or(AthleteId(Uuid::nil()), |(one, _)| one.athlete);
    let seen = People::of(tx, [athlete]).await?.sees(athlete);
    Ok(found.filter(|_| seen).map(|(value, rev)| Stored { id, rev, value }))
}

/// What the assessments of a batch refer to.
#[derive(Debug)]
pub struct Known {
    /// Visible athletes.
    pub athletes: Vec<Uuid>,
    /// Visible sessions with their day.
    pub sessions: HashMap<Uuid, NaiveDate>,
    /// Athlete of each superseded assessment, and by what it was superseded before.
    pub superseded: HashMap<Uuid, (Uuid, Option<Uuid>)>,
}

/// Looks up what the assessments of a batch refer to.
pub async fn known(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    sessions: &[Uuid],
    superseded: &[Uuid],
) -> Result<Known, StoreError> {
    let club = tx.club.0;
    let athletes = grants::visible_athletes(tx, athletes).await?.into_keys().collect();
    let sessions = grants::visible_sessions(tx, sessions).await?;
    let earlier = sqlx::query!(
        r#"
        select x.id, x.athlete_id, later.id as "later?"
        from assessments x
        left join assessments later on later.club_id = $1 and later.supersedes = x.id
        where x.club_id = $1 and x.id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        superseded
    )
    .fetch_all(tx.conn())
    .await?;
    // An assessment that is hidden is none.
    let people = People::of(tx, earlier.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let seen = earlier.into_iter().filter(|row| people.sees(AthleteId(row.athlete_id)));
    let superseded = seen.map(|row| (row.id, (row.athlete_id, row.later))).collect();
    Ok(Known { athletes, sessions, superseded })
}

/// Inserts assessments whose ids are free, in one statement.
pub async fn insert(tx: &mut ClubTx, new: &[(AssessmentId, &Assessment)]) -> Result<(), StoreError> {
    if new.is_empty() {
        return Ok(());
    }
    let (club, actor, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let rows: Vec<serde_json::Value> = new.iter().map(|(id, one)| columns(*id, one)).collect();
    let changes: Vec<Change> =
        new.iter().map(|(id, one)| Change::put(Kind::Assessment, *id).under(one.athlete)).collect();
    sqlx::query!(
        r#"
        insert into assessments as x
          (club_id, id, athlete_id, session_id, assessed_at, lead_leg, trail_leg, walkover, take_off, landing, posture,
           rhythm, arms, note, supersedes, void, recorded_by, created_at, skew_ms)
        select c.id, u.id, u.athlete_id, u.session_id, u.assessed_at, u.lead_leg, u.trail_leg, u.walkover, u.take_off,
          u.landing, u.posture, u.rhythm, u.arms, u.note, u.supersedes, u.void, $3, $4, $5
        from clubs c
        cross join jsonb_to_recordset($2::jsonb) as u (
          id uuid, athlete_id uuid, session_id uuid, assessed_at timestamptz, lead_leg smallint, trail_leg smallint,
          walkover smallint, take_off smallint, landing smallint, posture smallint, rhythm smallint, arms smallint,
          note text, supersedes uuid, void boolean)
        where c.id = $1
        "#,
        club,
        serde_json::Value::Array(rows),
        actor,
        Utc::now(),
        skew
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}

fn columns(id: AssessmentId, one: &Assessment) -> serde_json::Value {
    let mut row = serde_json::json!({
        "id": id,
        "athlete_id": one.athlete,
        "session_id": one.session,
        "assessed_at": one.assessed_at,
        "note": one.note,
        "supersedes": one.supersedes,
        "void": one.void,
    });
    for (name, rating) in super::model::CRITERIA.iter().zip(one.ratings) {
        row[*name] = rating.into();
    }
    row
}
