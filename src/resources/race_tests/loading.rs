//! What expected times and the readiness of a field rest on.

use chrono::NaiveDate;
use uuid::Uuid;

use super::history_store;
use super::model::day;
use crate::compute::advice::{Setting, advise};
use crate::compute::bounds::barriers_most;
use crate::compute::day::Day;
use crate::compute::race::{Course, Expected, History, RECENT_DAYS, Readiness, TimingClass, expected_time};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{AthleteId, SessionId};
use crate::resources::advice::{self, Person, UnusableView};

/// A field with what is on file about each athlete.
#[derive(Debug)]
pub struct Field {
    people: Vec<(Person, History)>,
    setting: Setting,
    on: Day,
}

/// What entries and the draw need to know of an athlete.
#[derive(Clone, Debug)]
pub struct Runner {
    /// The athlete.
    pub athlete: AthleteId,
    /// The expected time.
    pub expected: Option<Expected>,
    /// How ready the athlete is; or what on file cannot be used, so that nobody can tell.
    pub readiness: Result<Readiness, UnusableView>,
    /// The most barriers that anybody may have them run, when the course has more.
    pub barriers_most: Option<u32>,
}

impl Runner {
    /// Whether the athlete runs: ready, or accepted by a coach and not barred.
    pub fn runs(&self, accepted: bool) -> bool {
        let may = |found: &Readiness| found.wall.is_none() || (accepted && found.barred().is_none());
        self.readiness.as_ref().is_ok_and(may)
    }
}

impl Field {
    /// Loads what is on file about athletes, up to the day of the race's session; the surface is that of this session, whatever their
    /// groups run on elsewhere that day.
    ///
    /// # Errors
    /// Database errors; a row that does not parse.
    pub async fn load(
        tx: &mut ClubTx,
        ids: &[AthleteId],
        session: SessionId,
        on: NaiveDate,
    ) -> Result<Self, StoreError> {
        let people = advice::load_for_session(tx, ids, session, on).await?;
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
                limit_50m_s: None,
            };
            (person, history)
        });
        Ok(Self { people: people.collect(), setting, on: day(on).ok_or(StoreError::Corrupt("session"))? })
    }

    /// What entries and the draw need to know of each athlete.
    pub fn runners(&self, course: &Course, class: TimingClass) -> Vec<Runner> {
        let runner = |(person, history): &(Person, History)| {
            let advice = match advise(&person.record, &self.setting, self.on) {
                Ok(advice) => advice,
                Err(error) => {
                    let readiness = Err(UnusableView::from(&error));
                    return Runner { athlete: person.id, expected: None, readiness, barriers_most: None };
                }
            };
            let estimate = &advice.estimate;
            let limit = (estimate.evidence.runs > 0).then_some(estimate.limit_m.mean);
            let history = History {
                hold: Some(estimate.hold_mean(course.height, course.spacing)),
                limit_50m_s: limit.and_then(|limit| self.setting.start.sprint_50m_s(limit)),
                ..history.clone()
            };
            let most = barriers_most(advice.target.as_ref().map(|target| u32::from(target.spec.barriers)));
            Runner {
                barriers_most: Some(most).filter(|most| u32::from(course.barriers) > *most),
                athlete: person.id,
                expected: expected_time(&history, course, class, self.on.days()),
                readiness: Ok(Readiness::of(&advice, course)),
            }
        };
        self.people.iter().map(runner).collect()
    }
}
