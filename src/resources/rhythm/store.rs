//! What rhythm reads of runs and race tests; it writes nothing.

use chrono::NaiveDate;

use crate::compute::rhythm::{Course, MAX_SERIES, Series, TEMPO_RUNS, Timed, Timing};
use crate::compute::units::Length;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{AthleteId, RunId};
use crate::resources::advice::{length, mm};

/// Touchdown times of a stored run.
#[derive(Debug)]
pub struct RunTimes {
    /// Who ran.
    pub athlete: AthleteId,
    /// Barrier to barrier.
    pub spacing: Length,
    /// Seconds (s) since the start and their clock; none when no times were taken.
    pub times: Option<(Vec<Option<f64>>, Timing)>,
}

fn seconds(times_ms: &[Option<i32>]) -> Vec<Option<f64>> {
    times_ms.iter().map(|time| time.map(|ms| f64::from(ms) / 1_000.0)).collect()
}

fn timing(method: &str, fps: Option<i16>, what: &'static str) -> Result<Timing, StoreError> {
    Timing::parse(method, fps.map(i64::from)).map_err(|_| StoreError::Corrupt(what))
}

/// The touchdown times of a run, when the actor sees its athlete.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn run_times(tx: &mut ClubTx, id: RunId) -> Result<Option<RunTimes>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let row = sqlx::query!(
        r#"
        select r.athlete_id, r.spacing_mm, r.touchdown_times_ms as "touchdown_times_ms: Vec<Option<i32>>",
          r.timing_method, r.video_fps
        from runs r
        join athletes a on a.club_id = $1 and a.id = r.athlete_id and a.deleted_at is null
        where r.club_id = $1 and r.id = $2
          and ($3::uuid[] is null or exists (
            select from athlete_scope v
            where v.club_id = $1 and v.athlete_id = r.athlete_id and v.scope_id = any ($3)
          ))
        "#,
        club,
        id.0,
        groups.as_deref()
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else { return Ok(None) };
    let times = match (row.touchdown_times_ms, row.timing_method) {
        (Some(times), Some(method)) => Some((seconds(&times), timing(&method, row.video_fps, "run")?)),
        (None, None) => None,
        _ => return Err(StoreError::Corrupt("run")),
    };
    Ok(Some(RunTimes { athlete: AthleteId(row.athlete_id), spacing: length(row.spacing_mm, "run")?, times }))
}

/// The latest finished results with touchdown times over a course, of athletes that the actor sees; falls left out.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn race_series(tx: &mut ClubTx, course: &Course) -> Result<Vec<Series>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let most = i64::try_from(MAX_SERIES).unwrap_or(i64::MAX);
    let rows = sqlx::query!(
        r#"
        select x.final_time_ms as "final_time_ms!", x.touchdown_times_ms as "touchdown_times_ms!: Vec<Option<i32>>",
          x.timing_method as "timing_method!", x.video_fps
        from race_results x
        join race_tests t on t.club_id = $1 and t.id = x.race_test_id and t.deleted_at is null
        join athletes a on a.club_id = $1 and a.id = x.athlete_id and a.deleted_at is null
        where x.club_id = $1 and x.status = 'finished' and not x.fell and not x.void
          and x.final_time_ms is not null and x.touchdown_times_ms is not null and x.timing_method is not null
          and t.race_distance_mm = $2 and t.barriers = $3 and t.approach_mm = $4 and t.spacing_mm = $5
          and not exists (
            select from race_results later
            where later.club_id = $1 and later.supersedes = x.id
          )
          and ($6::uuid[] is null or exists (
            select from athlete_scope v
            where v.club_id = $1 and v.athlete_id = x.athlete_id and v.scope_id = any ($6)
          ))
        order by x.created_at desc, x.id
        limit $7
        "#,
        club,
        mm(course.race_distance()),
        i16::from(course.barriers()),
        mm(course.approach()),
        mm(course.spacing()),
        groups.as_deref(),
        most
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Series {
                touchdown_times_s: seconds(&row.touchdown_times_ms),
                final_time_s: f64::from(row.final_time_ms) / 1_000.0,
                timing: timing(&row.timing_method, row.video_fps, "race result")?,
            })
        })
        .collect()
}

/// Whether the actor sees an athlete.
///
/// # Errors
/// Database errors.
pub async fn sees(tx: &mut ClubTx, athlete: AthleteId) -> Result<bool, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let found = sqlx::query_scalar!(
        r#"
        select exists (
          select from athletes a
          where a.club_id = $1 and a.id = $2 and a.deleted_at is null
            and ($3::uuid[] is null or exists (
              select from athlete_scope v
              where v.club_id = $1 and v.athlete_id = a.id and v.scope_id = any ($3)
            ))
        ) as "sees!"
        "#,
        club,
        athlete.0,
        groups.as_deref()
    );
    Ok(found.fetch_one(tx.conn()).await?)
}

/// A run in which the rhythm held, with its touchdown times.
#[derive(Debug)]
pub struct Held {
    /// The day of its session.
    pub on: NaiveDate,
    /// Its times.
    pub timed: Timed,
}

/// The latest timed runs of an athlete in sessions between two days, both included, in which every interval held, latest first; falls left
/// out. For whom the actor sees.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn held_runs(
    tx: &mut ClubTx,
    athlete: AthleteId,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Vec<Held>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select s.held_on, r.spacing_mm,
          r.touchdown_times_ms as "touchdown_times_ms!: Vec<Option<i32>>", r.timing_method as "timing_method!", r.video_fps
        from runs r
        join sessions s on s.club_id = $1 and s.id = r.session_id
        where r.club_id = $1 and r.athlete_id = $2 and not r.void and not r.fell and r.barriers > 1
          and r.held = r.barriers - 1 and r.touchdown_times_ms is not null and r.timing_method is not null
          and s.held_on between $3 and $4
          and not exists (
            select from runs later
            where later.club_id = $1 and later.supersedes = r.id
          )
        order by s.held_on desc, r.run_at desc, r.id
        limit $5
        "#,
        club,
        athlete.0,
        from,
        to,
        i64::try_from(TEMPO_RUNS).unwrap_or(i64::MAX)
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let timed = Timed {
                spacing: length(row.spacing_mm, "run")?,
                times_s: seconds(&row.touchdown_times_ms),
                timing: timing(&row.timing_method, row.video_fps, "run")?,
            };
            Ok(Held { on: row.held_on, timed })
        })
        .collect()
}
