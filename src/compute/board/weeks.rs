//! Whether the load of a week jumped: the last seven days beside the four weeks before them.
//!
//! With `w` intervals in the last seven days and `b` in the 28 days before, a week jumps when
//!
//! ```text
//! w > 1.5 b / 4   and   w - b / 4 > 16
//! ```
//!
//! The second part leaves alone who ran little on both sides: one more session is no jump. After weeks without a run any week of
//! more than a session jumps, which is what a return asks for.
//!
//! | in the four weeks before | a week, on average | the last week jumps from |
//! | --- | --- | --- |
//! | 0 | 0 | 17 intervals |
//! | 32 | 8 | 25 |
//! | 128 | 32 | 49 |
//! | 160 | 40 | 61 |
//!
//! Up to 32 intervals a week the second part decides, from there the first. Intervals are counted and not barriers or metres: they are what
//! is run in strides. A jump is a caution ([`Caution::LoadJump`](crate::decision::Caution::LoadJump)) and changes no advice.
//!
//! # Source
//! That rapid changes of volume are the main avoidable risk for fast-growing children: B. Hawkes, "Growth Related Injuries in
//! Athletics". How rapid is not said there: both figures are design choices.

use crate::advice::RunRecord;
use crate::progress::{Load, training_days};

/// Weeks before the last one that it is held against.
pub const WEEKS_BEFORE: i32 = 4;
/// How many times the mean of these weeks the last one may be (design choice).
pub const RISE_MOST: f64 = 1.5;
/// Intervals more than that mean from which a rise counts: about a session's (design choice).
pub const RISE_LEAST: f64 = 16.0;
/// Days of a week.
const WEEK: i32 = 7;

/// The load of the last week and of the weeks before it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Weeks {
    /// The last seven days.
    pub week: Load,
    /// The [`WEEKS_BEFORE`] weeks before, all together.
    pub before: Load,
}

impl Weeks {
    /// The weeks up to a day (days since 1970-01-01); runs in any order.
    ///
    /// ```
    /// use lanewright_compute::board::Weeks;
    ///
    /// assert!(!Weeks::of(&[], 20_000).jumps());
    /// ```
    pub fn of(runs: &[RunRecord], on: i32) -> Self {
        let between = |from, to| training_days(runs, from, to).iter().map(|day| day.load).sum();
        let begins = on - WEEK + 1;
        Self { week: between(begins, on), before: between(begins - WEEK * WEEKS_BEFORE, begins - 1) }
    }

    /// Intervals of a week before, on average.
    pub fn usual_intervals(&self) -> f64 {
        f64::from(self.before.intervals) / f64::from(WEEKS_BEFORE)
    }

    /// The last week over a week before, in intervals; none without an interval before.
    pub fn ratio(&self) -> Option<f64> {
        (self.before.intervals > 0).then(|| f64::from(self.week.intervals) / self.usual_intervals())
    }

    /// Whether the load rose too fast.
    pub fn jumps(&self) -> bool {
        let (week, usual) = (f64::from(self.week.intervals), self.usual_intervals());
        week > RISE_MOST * usual && week - usual > RISE_LEAST
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weeks(week: u32, before: u32) -> Weeks {
        let load = |intervals| Load { intervals, ..Load::default() };
        Weeks { week: load(week), before: load(before) }
    }

    #[test]
    fn a_week_jumps_by_half_and_by_more_than_a_session() {
        assert!(!weeks(60, 160).jumps(), "half as much again is not more than that");
        assert!(weeks(61, 160).jumps());
        assert!(!weeks(24, 32).jumps(), "three times as much, and a session more");
        assert!(weeks(25, 32).jumps());
        assert!(!weeks(16, 0).jumps() && weeks(17, 0).jumps());
        assert_eq!((weeks(17, 0).ratio(), weeks(30, 40).ratio()), (None, Some(3.0)));
    }
}
