//! Race tests: expected times, heats and lanes, handicap starts, rankings and personal bests.

mod bests;
mod expected;
mod handicap;
mod heats;
mod lanes;
mod readiness;

use super::units::Length;

pub use bests::{Against, Mark, against_best, bests, places};
pub use expected::{Basis, Expected, History, PastRace, RECENT_DAYS, TimedRun, expected_time};
pub use handicap::{Start, handicap};
pub use heats::{Entry, Heats, HeatsError, MAX_ENTRIES, MAX_HEATS, MAX_LANES, Pin, Seeding, Wish, heats};
pub use lanes::{LaneDraw, LaneDrawn, draw_lanes, usable_lanes};
pub use readiness::Readiness;

/// What a race test is run over. Two races compare only over the same course.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Course {
    /// Start to finish.
    pub race_distance: Length,
    /// Number of barriers.
    pub barriers: u8,
    /// Barrier height.
    pub height: Length,
    /// Start line to the first barrier.
    pub approach: Length,
    /// Barrier to barrier.
    pub spacing: Length,
}

impl Course {
    /// Last barrier to the finish; nothing when the barriers do not fit the distance.
    ///
    /// ```
    /// use lanewright_compute::race::Course;
    /// use lanewright_compute::units::Length;
    ///
    /// let mm = Length::from_mm;
    /// let course = Course {
    ///     race_distance: mm(75_000),
    ///     barriers: 8,
    ///     height: mm(762),
    ///     approach: mm(11_500),
    ///     spacing: mm(7_500),
    /// };
    /// assert_eq!(course.run_in(), Some(mm(11_000)));
    /// assert_eq!(Course { barriers: 10, ..course }.run_in(), None);
    /// ```
    pub fn run_in(&self) -> Option<Length> {
        let gaps = u32::from(self.barriers.checked_sub(1)?);
        let last = self.approach.mm() + gaps * self.spacing.mm();
        self.race_distance.mm().checked_sub(last).filter(|mm| *mm > 0).map(Length::from_mm)
    }
}

/// How a time was taken, as far as times compare. Hand and electronic times never stand in one list of bests.
///
/// # Source
/// Keeping the two apart: World Athletics, *Technical Rules*, rule 19 on timing. That a phone's video counts as electronic is a
/// design choice: its error is a few milliseconds, that of a stopwatch about 0.1 s.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TimingClass {
    /// A stopwatch or taps on a phone.
    Hand,
    /// Gates or video.
    Electronic,
}

impl TimingClass {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Hand => "hand",
            Self::Electronic => "electronic",
        }
    }
}
