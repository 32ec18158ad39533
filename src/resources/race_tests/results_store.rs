//! Rows of race results.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::model::{Method, day};
use super::outcome::{Filed, Outcome, Status};
use super::store::course;
use crate::compute::race::{Course, Mark};
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, RaceResultId, RaceTestId};
use crate::platform::people::{People, batched};
use crate::platform::stored::Stored;

/// A result as it is stored.
pub type StoredOutcome = Stored<RaceResultId, Filed>;

struct Row {
    id: Uuid,
    rev: i64,
    race_test_id: Uuid,
    athlete_id: Uuid,
    heat: Option<i16>,
    lane: Option<i16>,
    status: String,
    final_time_ms: Option<i32>,
    touchdown_times_ms: Option<Vec<Option<i32>>>,
    timing_method: Option<String>,
    video_fps: Option<i16>,
    hits: i16,
    fell: bool,
    note: Option<String>,
    supersedes: Option<Uuid>,
    void: bool,
    while_restricted: bool,
}

fn corrupt() -> StoreError {
    StoreError::Corrupt("race result")
}

impl TryFrom<Row> for StoredOutcome {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let outcome = Outcome {
            test: RaceTestId(row.race_test_id),
            athlete: AthleteId(row.athlete_id),
            heat: row.heat,
            lane: row.lane,
            status: Status::parse(&row.status).map_err(|_| corrupt())?,
            final_time_ms: row.final_time_ms,
            touchdowns_ms: row.touchdown_times_ms,
            timing: row.timing_method.as_deref().map(Method::parse).transpose().map_err(|_| corrupt())?,
            video_fps: row.video_fps,
            hits: row.hits,
            fell: row.fell,
            note: row.note,
            supersedes: row.supersedes.map(RaceResultId),
            void: row.void,
        };
        let value = Filed { outcome, while_restricted: row.while_restricted };
        Ok(Self { id: RaceResultId(row.id), rev: row.rev, value })
    }
}

/// Results with these ids, seen by the actor or not: an id is taken either way.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, (Filed, i64)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, race_test_id, athlete_id, heat, lane, status, final_time_ms,
          touchdown_times_ms as "touchdown_times_ms: Vec<Option<i32>>", timing_method, video_fps, hits, fell, note,
          supersedes, void, while_restricted
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from race_results r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| StoredOutcome::try_from(row).map(|stored| (stored.id.0, (stored.value, stored.rev))))
        .collect()
}

batched!("race_results");

/// The results of a race test that stand, by id, each with the name of an athlete that the actor sees; none for others.
pub async fn standing(tx: &mut ClubTx, test: RaceTestId) -> Result<Vec<(StoredOutcome, Option<String>)>, StoreError> {
    let (club, audience) = (tx.club.0, tx.audience());
    // Places take in everybody, also who is withheld from whom this is read for.
    tx.see_as(None).await?;
    let rows = sqlx::query!(
        r#"
        select x.id, x.athlete_id
        from race_results x
        join athletes a on a.club_id = $1 and a.id = x.athlete_id and a.deleted_at is null
        where x.club_id = $1 and x.race_test_id = $2 and not x.void
          and not exists (
            select from race_results later
            where later.club_id = $1 and later.supersedes = x.id
          )
        order by x.id
        "#,
        club,
        test.0
    )
    .fetch_all(tx.conn())
    .await?;
    tx.see_as(audience).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let mut found = by_ids(tx, &ids).await?;
    let outcomes = rows.into_iter().filter_map(|row| {
        let (value, rev) = found.remove(&row.id)?;
        let name = people.name(AthleteId(row.athlete_id)).map(str::to_owned);
        Some((Stored { id: RaceResultId(row.id), rev, value }, name))
    });
    Ok(outcomes.collect())
}

/// Athlete and race test of each superseded result, and whether it was superseded before.
pub async fn superseded(
    tx: &mut ClubTx,
    ids: &[Uuid],
) -> Result<HashMap<Uuid, (Uuid, Uuid, Option<Uuid>)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select r.id, r.athlete_id, r.race_test_id, later.id as "later?"
        from race_results r
        left join race_results later on later.club_id = $1 and later.supersedes = r.id
        where r.club_id = $1 and r.id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    // A result that is hidden is none.
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let seen = rows.into_iter().filter(|row| people.sees(AthleteId(row.athlete_id)));
    Ok(seen.map(|row| (row.id, (row.athlete_id, row.race_test_id, row.later))).collect())
}

/// Inserts results whose ids are free, in one statement.
pub async fn insert(tx: &mut ClubTx, results: &[(RaceResultId, Filed)]) -> Result<(), StoreError> {
    if results.is_empty() {
        return Ok(());
    }
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let rows: Vec<serde_json::Value> = results.iter().map(|(id, one)| columns(*id, one)).collect();
    let changes: Vec<Change> =
        results.iter().map(|(id, one)| Change::put(Kind::RaceResult, *id).under(one.outcome.athlete)).collect();
    sqlx::query!(
        r#"
        insert into race_results as x
          (club_id, id, race_test_id, athlete_id, heat, lane, status, final_time_ms, touchdown_times_ms, timing_method,
           video_fps, hits, fell, note, supersedes, void, while_restricted, recorded_by, created_at)
        select c.id, u.id, u.race_test_id, u.athlete_id, u.heat, u.lane, u.status, u.final_time_ms, u.touchdown_times_ms,
          u.timing_method, u.video_fps, u.hits, u.fell, u.note, u.supersedes, u.void, u.while_restricted, $3,
          $4
        from clubs c
        cross join jsonb_to_recordset($2::jsonb) as u (
          id uuid, race_test_id uuid, athlete_id uuid, heat smallint, lane smallint, status text, final_time_ms integer,
          touchdown_times_ms integer[], timing_method text, video_fps smallint, hits smallint, fell boolean, note text,
          supersedes uuid, void boolean, while_restricted boolean)
        where c.id = $1
        "#,
        club,
        serde_json::Value::Array(rows),
        actor,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}

fn columns(id: RaceResultId, one: &Filed) -> serde_json::Value {
    let outcome = &one.outcome;
    serde_json::json!({
        "id": id,
        "race_test_id": outcome.test,
        "athlete_id": outcome.athlete,
        "heat": outcome.heat,
        "lane": outcome.lane,
        "status": outcome.status.as_str(),
        "final_time_ms": outcome.final_time_ms,
        "touchdown_times_ms": outcome.touchdowns_ms,
        "timing_method": outcome.timing.map(Method::as_str),
        "video_fps": outcome.video_fps,
        "hits": outcome.hits,
        "fell": outcome.fell,
        "note": outcome.note,
        "supersedes": outcome.supersedes,
        "void": outcome.void,
        "while_restricted": one.while_restricted,
    })
}

/// A finished race of an athlete with where it was run.
#[derive(Clone, Debug)]
pub struct Finish {
    /// Who ran.
    pub athlete: AthleteId,
    /// The race test.
    pub test: RaceTestId,
    /// The day.
    pub held_on: NaiveDate,
    /// The mark.
    pub mark: Mark,
    /// Whether a report or restriction stood then.
    pub while_restricted: bool,
}

/// Every finish that stands of these athletes; `over` takes only one course.
pub async fn finishes(
    tx: &mut ClubTx,
    athletes: &[AthleteId],
    over: Option<&Course>,
) -> Result<Vec<Finish>, StoreError> {
    let club = tx.club.0;
    let ids: Vec<Uuid> = athletes.iter().map(|id| id.0).collect();
    let rows = sqlx::query!(
        r#"
        select x.id, x.athlete_id, x.race_test_id, s.held_on, t.race_distance_mm, t.barriers, t.height_mm, t.approach_mm,
          t.spacing_mm, x.final_time_ms as "final_time_ms!", x.timing_method as "timing_method!", x.while_restricted
        from race_results x
        join race_tests t on t.club_id = $1 and t.id = x.race_test_id and t.deleted_at is null
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where x.club_id = $1 and x.athlete_id = any ((select $2::uuid[])::uuid[]) and not x.void and x.status = 'finished'
          and x.final_time_ms is not null and x.timing_method is not null
          and not exists (
            select from race_results later
            where later.club_id = $1 and later.supersedes = x.id
          )
        order by x.id
        "#,
        club,
        &ids
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let mark = Mark {
            id: row.id.as_u128(),
            day: day(row.held_on).ok_or_else(corrupt)?.days(),
            course: course([row.race_distance_mm, row.height_mm, row.approach_mm, row.spacing_mm], row.barriers)?,
            class: Method::parse(&row.timing_method).map_err(|_| corrupt())?.class(),
            time_ms: u32::try_from(row.final_time_ms).map_err(|_| corrupt())?,
        };
        if over.is_none_or(|course| *course == mark.course) {
            let (athlete, test) = (AthleteId(row.athlete_id), RaceTestId(row.race_test_id));
            let while_restricted = row.while_restricted;
            found.push(Finish { athlete, test, held_on: row.held_on, mark, while_restricted });
        }
    }
    Ok(found)
}
