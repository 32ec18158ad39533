//! What the expected times of a field rest on.

use chrono::NaiveDate;
use uuid::Uuid;

use super::history_store;
use super::model::day;
use crate::compute::advice::{Setting, advise};
use crate::compute::day::Day;
use crate::compute::decision::Clearance;
use crate::compute::race::{Basis, Course, Expected, History, RECENT_DAYS, TimingClass, expected_time};
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
    /// Whether a restriction or a report keeps the athlete out on the day.
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
        let mut races = history_store::past_races(tx, &plain, from, on).await?;
        let mut runs = history_store::timed_runs(tx, &plain, from, on).await?;
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
                    restricted: person.record.standing(today).rests(),
                    fell: person.record.clearance == Clearance::Pending,
                }
            })
            .collect()
    }
}
