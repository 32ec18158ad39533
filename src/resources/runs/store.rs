//! Rows of runs.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use sqlx::types::Json;
use uuid::Uuid;

use super::model::{Filed, Intervals, LaneOf, Leg, Run, TimingMethod, Touchdowns};
use crate::compute::units::BarrierKind;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, LanePlanId, RunId, SessionId};
use crate::platform::people::{People, batched};
use crate::platform::stored::Stored;
use crate::resources::advice::{length, mm};

/// A run as it is stored.
pub type StoredRun = Stored<RunId, Filed>;

/// The columns of a run.
#[derive(sqlx::FromRow)]
pub(super) struct Row {
    pub(super) id: Uuid,
    rev: i64,
    pub(super) session_id: Uuid,
    athlete_id: Uuid,
    run_at: DateTime<Utc>,
    barrier_kind: String,
    height_mm: i32,
    spacing_mm: i32,
    approach_mm: Option<i32>,
    barriers: i16,
    held: i16,
    over_reached: i16,
    crowded: i16,
    broken: i16,
    hits: i16,
    fell: bool,
    lead_leg: Option<String>,
    touchdown_times_ms: Option<Vec<Option<i32>>>,
    timing_method: Option<String>,
    video_fps: Option<i16>,
    note: Option<String>,
    supersedes: Option<Uuid>,
    void: bool,
    while_restricted: bool,
    lane_plan_id: Option<Uuid>,
    lane: Option<i16>,
    round: Option<i16>,
}

impl TryFrom<Row> for StoredRun {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("run");
        let touchdowns = match (row.touchdown_times_ms, row.timing_method) {
            (Some(times_ms), Some(method)) => Some(Touchdowns {
                times_ms,
                method: TimingMethod::parse(&method).map_err(|_| corrupt())?,
                video_fps: row.video_fps,
            }),
            (None, None) => None,
            _ => return Err(corrupt()),
        };
        let run = Run {
            session: SessionId(row.session_id),
            athlete: AthleteId(row.athlete_id),
            run_at: row.run_at,
            lane: row.lane_plan_id.zip(row.lane).zip(row.round).map(|((plan, lane), round)| LaneOf {
                plan: LanePlanId(plan),
                lane,
                round,
            }),
            barrier_kind: BarrierKind::from_word(&row.barrier_kind).ok_or_else(corrupt)?,
            height: length(row.height_mm, "run")?,
            spacing: length(row.spacing_mm, "run")?,
            approach: row.approach_mm.map(|mm| length(mm, "run")).transpose()?,
            barriers: row.barriers,
            intervals: Intervals {
                held: row.held,
                over_reached: row.over_reached,
                crowded: row.crowded,
                broken: row.broken,
            },
            hits: row.hits,
            fell: row.fell,
            lead_leg: row.lead_leg.as_deref().map(Leg::parse).transpose().map_err(|_| corrupt())?,
            touchdowns,
            note: row.note,
            supersedes: row.supersedes.map(RunId),
            void: row.void,
        };
        let value = Filed { run, while_restricted: row.while_restricted };
        Ok(Self { id: RunId(row.id), rev: row.rev, value })
    }
}

/// Runs with these ids, seen by the actor or not: an id is taken either way.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<StoredRun>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select id, rev, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm, approach_mm, barriers,
          held, over_reached, crowded, broken, hits, fell, lead_leg,
          touchdown_times_ms as "touchdown_times_ms: Vec<Option<i32>>", timing_method, video_fps, note, supersedes, void,
          while_restricted, lane_plan_id, lane, round
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from runs r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

batched!("runs");

/// A run, when the actor sees its athlete.
pub async fn find(tx: &mut ClubTx, id: RunId) -> Result<Option<StoredRun>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    // Nobody is looked for when nothing was found, so that the answer takes as long as for a run that is hidden.
    let athlete = found.as_ref().map_or(AthleteId(Uuid::nil()), |one| one.value.run.athlete);
    let seen = People::of(tx, [athlete]).await?.sees(athlete);
    Ok(found.filter(|_| seen))
}

/// What the runs of a batch refer to.
#[derive(Debug)]
pub struct Known {
    /// Visible sessions with their day.
    pub sessions: HashMap<Uuid, NaiveDate>,
    /// Visible athletes.
    pub athletes: Vec<Uuid>,
    /// Athlete of each superseded run, and whether it was superseded before.
    pub superseded: HashMap<Uuid, (Uuid, Option<Uuid>)>,
}

/// Looks up what the runs of a batch refer to.
pub async fn known(
    tx: &mut ClubTx,
    sessions: &[Uuid],
    athletes: &[Uuid],
    superseded: &[Uuid],
) -> Result<Known, StoreError> {
    let athletes = grants::visible_athletes(tx, athletes).await?.into_keys().collect();
    let sessions = grants::visible_sessions(tx, sessions).await?;
    // Few batches correct anything.
    let superseded = if superseded.is_empty() { HashMap::new() } else { earlier(tx, superseded).await? };
    Ok(Known { sessions, athletes, superseded })
}

async fn earlier(tx: &mut ClubTx, superseded: &[Uuid]) -> Result<HashMap<Uuid, (Uuid, Option<Uuid>)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select r.id, r.athlete_id, later.id as "later?"
        from runs r
        left join runs later on later.club_id = $1 and later.supersedes = r.id
        where r.club_id = $1 and r.id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        superseded
    )
    .fetch_all(tx.conn())
    .await?;
    // A run that is hidden is none.
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let seen = rows.into_iter().filter(|row| people.sees(AthleteId(row.athlete_id)));
    Ok(seen.map(|row| (row.id, (row.athlete_id, row.later))).collect())
}

/// Inserts runs whose ids are free, in one statement.
pub async fn insert(tx: &mut ClubTx, runs: &[(RunId, Filed)]) -> Result<(), StoreError> {
    if runs.is_empty() {
        return Ok(());
    }
    let (club, actor, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let rows: Vec<Columns> = runs.iter().map(|(id, one)| Columns::of(*id, one)).collect();
    let changes: Vec<Change> =
        runs.iter().map(|(id, one)| Change::put(Kind::Run, *id).under(one.run.athlete)).collect();
    sqlx::query!(
        r#"
        insert into runs as x
          (club_id, id, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm, approach_mm, barriers,
           held, over_reached, crowded, broken, hits, fell, lead_leg, touchdown_times_ms, timing_method, video_fps,
           note, supersedes, void, while_restricted, lane_plan_id, lane, round, recorded_by, created_at, skew_ms)
        select c.id, u.id, u.session_id, u.athlete_id, u.run_at, u.barrier_kind, u.height_mm, u.spacing_mm,
          u.approach_mm, u.barriers, u.held, u.over_reached, u.crowded, u.broken, u.hits, u.fell, u.lead_leg,
          u.touchdown_times_ms, u.timing_method, u.video_fps, u.note, u.supersedes, u.void,
          u.while_restricted, u.lane_plan_id, u.lane, u.round, $3, $4, $5
        from clubs c
        cross join jsonb_to_recordset($2::jsonb) as u (
          id uuid, session_id uuid, athlete_id uuid, run_at timestamptz, barrier_kind text, height_mm integer,
          spacing_mm integer, approach_mm integer, barriers smallint, held smallint, over_reached smallint,
          crowded smallint, broken smallint, hits smallint, fell boolean, lead_leg text,
          touchdown_times_ms integer[], timing_method text, video_fps smallint, note text, supersedes uuid,
          void boolean, while_restricted boolean, lane_plan_id uuid, lane smallint, round smallint)
        where c.id = $1
        "#,
        club,
        Json(rows) as _,
        actor,
        Utc::now(),
        skew
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}

/// A run as one object for the insert.
#[derive(Serialize)]
struct Columns<'a> {
    id: Uuid,
    session_id: Uuid,
    athlete_id: Uuid,
    run_at: DateTime<Utc>,
    barrier_kind: &'static str,
    height_mm: i32,
    spacing_mm: i32,
    approach_mm: Option<i32>,
    barriers: i16,
    held: i16,
    over_reached: i16,
    crowded: i16,
    broken: i16,
    hits: i16,
    fell: bool,
    lead_leg: Option<&'static str>,
    touchdown_times_ms: Option<&'a [Option<i32>]>,
    timing_method: Option<&'static str>,
    video_fps: Option<i16>,
    note: Option<&'a str>,
    supersedes: Option<Uuid>,
    void: bool,
    while_restricted: bool,
    lane_plan_id: Option<Uuid>,
    lane: Option<i16>,
    round: Option<i16>,
}

impl<'a> Columns<'a> {
    fn of(id: RunId, one: &'a Filed) -> Self {
        let run = &one.run;
        let touchdowns = run.touchdowns.as_ref();
        Self {
            id: id.0,
            session_id: run.session.0,
            athlete_id: run.athlete.0,
            run_at: run.run_at,
            barrier_kind: run.barrier_kind.as_str(),
            height_mm: mm(run.height),
            spacing_mm: mm(run.spacing),
            approach_mm: run.approach.map(mm),
            barriers: run.barriers,
            held: run.intervals.held,
            over_reached: run.intervals.over_reached,
            crowded: run.intervals.crowded,
            broken: run.intervals.broken,
            hits: run.hits,
            fell: run.fell,
            lead_leg: run.lead_leg.map(Leg::as_str),
            touchdown_times_ms: touchdowns.map(|one| one.times_ms.as_slice()),
            timing_method: touchdowns.map(|one| one.method.as_str()),
            video_fps: touchdowns.and_then(|one| one.video_fps),
            note: run.note.as_deref(),
            supersedes: run.supersedes.map(|id| id.0),
            void: run.void,
            while_restricted: one.while_restricted,
            lane_plan_id: run.lane.map(|one| one.plan.0),
            lane: run.lane.map(|one| one.lane),
            round: run.lane.map(|one| one.round),
        }
    }
}
