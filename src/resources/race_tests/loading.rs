//! What the expected times of a field rest on.

use std::collections::HashMap;

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Method, day};
use super::store::course;
use crate::compute::advice::{Setting, advise};
use crate::compute::day::Day;
use crate::compute::decision::Clearance;
use crate::compute::race::{
    Basis, Course, Expected, History, PastRace, RECENT_DAYS, TimedRun, TimingClass, expected_time,
};
use crate::compute::units::Length;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::AthleteId;
use crate::resources::advice::{self, Person};

/// A field with what is on file about each athlete.
#[derive(Debug)]
pub struct Field {
    people: Vec<(Person, History)>,
    setting: Setting,
    on: Day,
}

/// What the draw needs to know of an athlete.
#[derive(Clone, Debug)]
pub struct Runner {
    /// The athlete.
    pub athlete: AthleteId,
    /// The expected time.
    pub expected: Option<Expected>,
    /// Whether a restriction keeps the athlete out on the day.
    pub restricted: bool,
    /// Whether the athlete fell and no coach cleared the return.
    pub fell: bool,
}

impl Field {
    /// Loads what is on file about athletes, up to a day.
    ///
    /// # Errors
    /// Database errors; a row that does not parse.
    pub async fn load(tx: &mut ClubTx, ids: &[AthleteId], on: NaiveDate) -> Result<Self, StoreError> {
        let people = advice::load(tx, Some(ids), None, on).await?;
        let plain: Vec<Uuid> = ids.iter().map(|id| id.0).collect();
        let from = on - chrono::Duration::days(i64::from(RECENT_DAYS));
        let mut races = past_races(tx, &plain, from, on).await?;
        let mut runs = timed_runs(tx, &plain, from, on).await?;
        let setting = advice::setting(tx).await?;
        let people = people.into_iter().map(|person| {
            let history = History {
                races: races.remove(&person.id.0).unwrap_or_default(),
                runs: runs.remove(&person.id.0).unwrap_or_default(),
                sprint_30m_s: person.record.sprint_30m_s,
                sprint_50m_s: person.record.sprint_50m_s,
                hold: None,
            };
            (person, history)
        });
        Ok(Self { people: people.collect(), setting, on: day(on).ok_or(StoreError::Corrupt("session"))? })
    }

    /// What the draw needs to know of each athlete.
    pub fn runners(&self, course: &Course, class: TimingClass) -> Vec<Runner> {
        let today = self.on.days();
        self.people
            .iter()
            .map(|(person, history)| {
                let mut expected = expected_time(history, course, class, today);
                if expected.is_some_and(|one| one.basis == Basis::Speed) {
                    let hold = advise(&person.record, &self.setting, self.on)
                        .ok()
                        .map(|advice| advice.estimate.hold_mean(course.height, course.spacing));
                    expected = expected_time(&History { hold, ..history.clone() }, course, class, today);
                }
                Runner {
                    athlete: person.id,
                    expected,
                    restricted: person.record.restricted_until.is_some_and(|until| until >= today),
                    fell: person.record.clearance == Clearance::Pending,
                }
            })
            .collect()
    }
}

/// Races that stand, of a few weeks.
async fn past_races(
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
        where x.club_id = $1 and x.athlete_id = any ($2) and s.held_on between $3 and $4 and not x.void and not x.fell
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
async fn timed_runs(
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
        where r.club_id = $1 and r.athlete_id = any ($2) and s.held_on between $3 and $4 and not r.void and not r.fell
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
        let length = |mm: i32| u32::try_from(mm).map(Length::from_mm).map_err(corrupt);
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
