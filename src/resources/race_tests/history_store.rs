//! Rows that tell how fast athletes have run lately.

use std::collections::HashMap;

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Method, day};
use super::store::course;
use crate::compute::race::{PastRace, TimedRun};
use crate::platform::db::{ClubTx, StoreError};
use crate::resources::advice::length;

/// Races that stand, of a few weeks.
pub async fn past_races(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<HashMap<Uuid, Vec<PastRace>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select x.athlete_id, s.held_on, t.race_distance_mm, t.barriers, t.height_mm, t.approach_mm, t.spacing_mm,
          x.final_time_ms as "final_time_ms!", x.timing_method as "timing_method!"
        from race_results x
        join race_tests t on t.club_id = $1 and t.id = x.race_test_id and t.deleted_at is null
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where x.club_id = $1 and x.athlete_id = any ((select $2::uuid[])::uuid[]) and s.held_on between $3 and $4 and not x.void and not x.fell
          and x.status = 'finished' and x.final_time_ms is not null and x.timing_method is not null
          and not exists (
            select from race_results later
            where later.club_id = $1 and later.supersedes = x.id
          )
        order by x.id
        "#,
        club,
        athletes,
        from,
        to
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<PastRace>> = HashMap::new();
    for row in rows {
        let corrupt = || StoreError::Corrupt("race result");
        let race = PastRace {
            day: day(row.held_on).ok_or_else(corrupt)?.days(),
            course: course([row.race_distance_mm, row.height_mm, row.approach_mm, row.spacing_mm], row.barriers)?,
            time_ms: u32::try_from(row.final_time_ms).map_err(|_| corrupt())?,
            class: Method::parse(&row.timing_method).map_err(|_| corrupt())?.class(),
        };
        found.entry(row.athlete_id).or_default().push(race);
    }
    Ok(found)
}

/// Runs with touchdown times that stand, of a few weeks.
pub async fn timed_runs(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<HashMap<Uuid, Vec<TimedRun>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select r.athlete_id, s.held_on, r.approach_mm, r.spacing_mm,
          r.touchdown_times_ms as "touchdown_times_ms!: Vec<Option<i32>>"
        from runs r
        join sessions s on s.club_id = $1 and s.id = r.session_id
        where r.club_id = $1 and r.athlete_id = any ((select $2::uuid[])::uuid[]) and s.held_on between $3 and $4 and not r.void and not r.fell
          and r.touchdown_times_ms is not null
          and not exists (
            select from runs later
            where later.club_id = $1 and later.supersedes = r.id
          )
        order by r.id
        "#,
        club,
        athletes,
        from,
        to
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<TimedRun>> = HashMap::new();
    for row in rows {
        let corrupt = |_| StoreError::Corrupt("run");
        let length = |mm| length(mm, "run");
        let times = row.touchdown_times_ms.into_iter().map(|ms| ms.map(u32::try_from).transpose());
        let run = TimedRun {
            day: day(row.held_on).ok_or(StoreError::Corrupt("session"))?.days(),
            approach: row.approach_mm.map(length).transpose()?,
            spacing: length(row.spacing_mm)?,
            touchdowns_ms: times.collect::<Result<_, _>>().map_err(corrupt)?,
        };
        found.entry(row.athlete_id).or_default().push(run);
    }
    Ok(found)
}
