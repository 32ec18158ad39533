//! What stands before an athlete's next step, and since when.
//!
//! The rules say on a day what is missing. Asked again on the days before, with what was on file then, they say since when:
//! an obstacle stands since the first of the unbroken row of days on which it stood. Two are the same when
//!
//! ```text
//! both are ratings of one criterion, or
//! both have one code that no configuration is part of (a coach's word, a clean session, sessions back, a surface), or
//! both have one code, and the athlete ran over the same configuration on both days
//! ```
//!
//! so that whoever moves on and again lacks intervals, at the next step, is not told to have stood still. What closes every
//! lane stands since the report or restriction was noted.
//!
//! # Example
//! Somebody came on days 100, 103, 107 and today, 110. Six intervals were missing at 6.00 m on day 100 and two on day 103; then the spacing
//! stepped up, and at 6.25 m four were missing on day 107 and two are today. The trail leg was never rated. Then `intervals` stands
//! since day 107 for 2 sessions, and `rating` since day 100 for 4: the rating is what holds them up.

use crate::advice::{Record, Setting, situation};
use crate::day::Day;
use crate::decision::{Clearance, Configuration, Decision, Missing, missing};
use crate::estimate::Estimate;
use crate::progress::HeldUp;
use crate::specs::Applicable;

/// Sessions looked back over at most, for one athlete: twelve weeks of two sessions (design choice). What stood on the first of
/// them may have stood longer.
pub const LOOK_BACK_SESSIONS: usize = 24;

/// Sessions behind one obstacle from which a coach is told: three weeks of two sessions.
///
/// # Source
/// "Some need one week, others two or three": A. Behm, "Coaching Philosophy for The Hurdles", clinic notes, as is hurdling twice a
/// week; that the fourth week is too long is a design choice.
pub const BEHIND_SESSIONS: u32 = 6;

/// Something that stands before the next step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Obstacle {
    /// What.
    pub what: HeldUp,
    /// The first session day, or the day of a report or restriction, since when it stands (days since 1970-01-01); none when
    /// the athlete did not come since.
    pub since: Option<i32>,
    /// Sessions to which the athlete came in that time, the last day included: what a coach waits for is sessions, not weeks of holiday.
    pub sessions: u32,
    /// Whether it stood on the first day looked at, so that it may have stood longer.
    pub at_least: bool,
}

/// What the rules alone said on an earlier day. A word of a coach is left out: it answers an obstacle and is none.
pub(super) struct Past {
    /// Days since 1970-01-01.
    day: i32,
    /// What was run then, by which "at the same configuration" is told.
    current: Option<Configuration>,
    /// What was missing then.
    missing: Vec<Missing>,
}

impl Past {
    /// Asks the rules on a past day, with the record and the estimate of then and the target of now: what holds somebody up is what is
    /// missing towards what they race over today.
    pub(super) fn of(
        record: &Record,
        setting: &Setting,
        day: Day,
        target: Option<&Applicable<'_>>,
        estimate: &Estimate,
    ) -> Self {
        let situation = situation(record, setting, day, target, estimate);
        let current = situation.current.map(|current| current.configuration);
        let missing = missing(&situation, &setting.policy, &|height, spacing| estimate.hold(height, spacing));
        Self { day: day.days(), current, missing }
    }
}

/// Whether a fall was still to be cleared on a day: who clears, clears the latest one. A fall that is cleared by now counts as cleared on
/// every day before: when it was is not told here, and nobody is said to have been held up by what is over.
pub(super) fn clearance(record: &Record, day: i32) -> Clearance {
    let last = record.runs.iter().filter(|run| run.fell).map(|run| run.day).max();
    match record.clearance {
        // A fall in a race test is not among the runs: its day is not known here.
        Clearance::Pending if last.is_none_or(|fell| fell <= day) => Clearance::Pending,
        _ => Clearance::NotNeeded,
    }
}

/// What stands before the next step on the last day, `today` when the athlete came on it; `past` holds the days before, ascending. What
/// closes every lane comes first, then what is missing in the order of the decision.
pub(super) fn of(decision: &Decision, past: &[Past], today: Option<i32>, record: &Record, on: i32) -> Vec<Obstacle> {
    let came = |since: i32| past.iter().map(|one| one.day).chain(today).filter(move |day| *day >= since).count();
    let count = |days: usize| u32::try_from(days).unwrap_or(u32::MAX);
    let closed = decision.region.closed().map(|wall| {
        let stands = record.breaks.iter().filter(|one| one.stands(on)).map(|one| one.on).min();
        let sessions = stands.map_or(0, |since| count(came(since)));
        Obstacle { what: HeldUp::Closed(wall), since: stands, sessions, at_least: false }
    });
    let stood = |missing: &Missing| {
        let still =
            |one: &&Past| one.missing.iter().any(|earlier| same((missing, decision.current), (earlier, one.current)));
        let row = past.iter().rev().take_while(still).count();
        let first = past.len().checked_sub(row).and_then(|at| past.get(at)).map(|one| one.day);
        Obstacle {
            what: HeldUp::Missing(*missing),
            since: first.or(today),
            sessions: count(row + usize::from(today.is_some())),
            at_least: row > 0 && row == past.len() && row + usize::from(today.is_some()) >= LOOK_BACK_SESSIONS,
        }
    };
    closed.into_iter().chain(decision.missing.iter().map(stood)).collect()
}

/// Whether what is missing on two days, with what was run over then, is the same.
fn same((a, at): (&Missing, Option<Configuration>), (b, then): (&Missing, Option<Configuration>)) -> bool {
    match (a, b) {
        (Missing::Rating { criterion: a, .. }, Missing::Rating { criterion: b, .. }) => a == b,
        (Missing::CoachConfirmation, Missing::CoachConfirmation)
        | (Missing::CleanSession, Missing::CleanSession)
        | (Missing::SessionsBack { .. }, Missing::SessionsBack { .. })
        | (Missing::DrySurface, Missing::DrySurface) => true,
        _ => a.code() == b.code() && at == then,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::{Criterion, Rating};
    use crate::units::{BarrierKind, Length};

    #[test]
    fn what_is_missing_at_another_step_is_another_obstacle() {
        let at = |mm| {
            Some(Configuration {
                barrier_kind: BarrierKind::LowBarrier,
                height: Length::from_mm(500),
                spacing: Length::from_mm(mm),
            })
        };
        let days = |count| Missing::Days { count };
        assert!(same((&days(1), at(6_000)), (&days(2), at(6_000))));
        assert!(!same((&days(1), at(6_250)), (&days(1), at(6_000))));
        assert!(!same((&days(1), at(6_000)), (&Missing::Intervals { count: 1 }, at(6_000))));
        let rating = |criterion, seen| Missing::Rating { criterion, seen, needed: Rating::Secure };
        let lead = rating(Criterion::LeadLeg, None);
        assert!(same((&lead, at(6_250)), (&rating(Criterion::LeadLeg, Some(Rating::Emerging)), at(6_000))));
        assert!(!same((&lead, None), (&rating(Criterion::TrailLeg, None), None)));
    }
}
