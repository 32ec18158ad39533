//! What the runs on file say of a return: where it stands, and what was held before it.
//!
//! [`crate::wellbeing`] says since when somebody is back; here it becomes what the rules need: how many sessions lie behind the athlete, and
//! what was held last before the break.
//!
//! ```text
//! sessions   days in [since, today) with an interval, without days on which something stood
//! settled    sessions >= 2 and six intervals at one configuration among them
//! over       settled and a coach confirmed: no return any more
//! last held  before `since`; once settled, before today
//! ```
//!
//! A run on the day of a report was run before anybody knew and counts as held before it. A run against a report or a restriction that stood
//! already counts for nothing: neither for what was held, so that nobody comes back higher for having run hurt, nor for a session.
//!
//! # Example
//! Hurt on day 110 and cleared on day 120, with eight intervals held 6.50 m apart on day 110 and, against the report, 7.00 m apart on day
//! 115: on day 121 the return stands at 0 sessions, and 6.50 m is what was held last. After runs on days 121 and 124, six intervals at
//! 6.00 m in all, and a coach's confirmation, it is over on day 125: today's session never counts, it is not over yet.
//!
//! # Source
//! Two sessions: [`SESSIONS_BACK`], a design choice. The last step that worked: S. McGill, "If They Can't Do It, Don't Do It", The Hurdle
//! Magazine.

use std::cmp::Reverse;

use super::evidence::{alike, by_configuration, held, is_current};
use super::{Record, RunRecord};
use crate::decision::{Back, Configuration, SESSIONS_BACK, rung};
use crate::wellbeing::Since;

/// Where a return stands: sessions run since, and what was held last before it. None once it lies behind the athlete: a coach
/// confirmed it, the sessions were run, and some configuration has its six intervals.
///
/// All runs are read, however old: the sessions after a return do not expire, so that a holiday does not bring back a return that was over.
/// Days as days since 1970-01-01; `back` as [`crate::wellbeing::standing`] gives it for today.
pub(crate) fn way_back(record: &Record, back: Since, today: i32) -> Option<Back> {
    // A run on the day of the report was run before anybody knew; one against a standing report or restriction was not.
    let rested = |day: i32| record.breaks.iter().any(|one| one.stands(day) && one.on < day);
    let ran = |from: i32, to: i32| {
        let within = move |run: &&RunRecord| (from..to).contains(&run.day) && run.intervals() > 0;
        record.runs.iter().filter(within).filter(|run| !rested(run.day)).collect::<Vec<_>>()
    };
    let since = ran(back.since, today);
    let mut days: Vec<i32> = since.iter().map(|run| run.day).collect();
    days.sort_unstable();
    days.dedup();
    let sessions = u32::try_from(days.len()).unwrap_or(u32::MAX);
    let settled = sessions >= SESSIONS_BACK && by_configuration(&since).chunk_by(alike).any(is_current);
    // Where the athlete got to since then tells more than what was held before.
    let last_held = last_held(&ran(i32::MIN, if settled { today } else { back.since }));
    (!settled || !back.confirmed).then_some(Back { sessions, confirmed: back.confirmed, last_held })
}

/// The configuration held last: of those with at least six intervals, most of them held, the one run last; of several run
/// last on one day the closest and lowest, softest first: where a return begins is to be easy. None where nothing was held.
fn last_held(runs: &[&RunRecord]) -> Option<Configuration> {
    let held = held(runs);
    let last_run = |at: &Configuration| runs.iter().filter(|run| run.configuration() == *at).map(|run| run.day).max();
    held.into_iter().max_by_key(|at| (last_run(at), Reverse((rung(at.barrier_kind), at.height, at.spacing))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::{Clearance, Ratings, Status};
    use crate::prior::Experience;
    use crate::specs::Birth;
    use crate::units::{BarrierKind, Length, Sex};
    use crate::wellbeing::{Break, Report, What};

    fn run(day: i32, spacing_mm: u32, held: u16) -> RunRecord {
        RunRecord {
            day,
            barrier_kind: BarrierKind::LowBarrier,
            height: Length::from_mm(500),
            spacing: Length::from_mm(spacing_mm),
            barriers: held + 1,
            held,
            over_reached: 0,
            crowded: 0,
            broken: 0,
            hits: 0,
            fell: false,
        }
    }

    /// Hurt on day 110, cleared on day 120.
    fn hurt(confirmed_on: Option<i32>, runs: Vec<RunRecord>) -> Record {
        Record {
            sex: Sex::Female,
            birth: Birth::Year(1_960),
            experience: Experience::Novice,
            stature_m: None,
            leg_length_m: None,
            sprint_30m_s: None,
            sprint_50m_s: None,
            approach_strides: None,
            status: Status::Active,
            breaks: vec![Break { what: What::Report(Report::Injury), on: 110, cleared_on: Some(120), confirmed_on }],
            surface: None,
            ratings: Ratings::default(),
            clearance: Clearance::NotNeeded,
            word: None,
            runs,
        }
    }

    fn back(record: &Record, on: i32) -> Option<Back> {
        way_back(record, record.standing(on).back.unwrap(), on)
    }

    #[test]
    fn what_was_run_against_the_report_is_not_what_was_held_before_it() {
        let record = hurt(None, vec![run(103, 6_250, 8), run(110, 6_500, 8), run(115, 7_000, 8)]);
        let found = back(&record, 121).unwrap();
        assert_eq!(found.last_held.unwrap().spacing, Length::from_mm(6_500), "the day of the report counts");
        assert_eq!((found.sessions, found.confirmed), (0, false));
    }

    #[test]
    fn sessions_count_from_the_first_day_back_and_today_is_not_over_yet() {
        let record =
            hurt(Some(120), vec![run(109, 6_500, 8), run(120, 6_000, 3), run(120, 6_000, 2), run(123, 6_000, 3)]);
        assert_eq!(back(&record, 123).map(|back| back.sessions), Some(1));
        assert_eq!(back(&record, 124), None, "two sessions and eight intervals lie behind the athlete");
    }

    #[test]
    fn a_return_that_lies_behind_does_not_come_back_after_the_holidays() {
        let runs = vec![run(109, 6_500, 8), run(121, 6_000, 6), run(124, 6_000, 6), run(140, 7_000, 8)];
        assert_eq!(back(&hurt(Some(120), runs.clone()), 400), None);
        let waiting = back(&hurt(None, runs), 400).unwrap();
        assert_eq!(waiting.last_held.unwrap().spacing, Length::from_mm(7_000), "what was held since then counts");
    }
}
