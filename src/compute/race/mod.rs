//! Race tests: expected times, heats and lanes, handicap starts, rankings and personal bests.
//!
//! A race test is a race inside the club: entries, heats, lanes, starts, times, places. The parts are independent
//! functions and are asked in this order:
//!
//! | step | function | decides |
//! | --- | --- | --- |
//! | who may | [`Readiness::of`] | ready, on a coach's word, barred |
//! | how fast | [`expected_time`] | a time with its standard error from the best evidence on file |
//! | who with whom | [`heats`](fn@heats) | the best arrangement under pins and pairs kept apart |
//! | which lane | [`usable_lanes`], [`draw_lanes`] | by rank or by lot, repeatable from a seed |
//! | who starts when | [`handicap()`] | offsets that let all finish together in expectation |
//! | afterwards | [`places`], [`bests()`], [`against_best`] | order in the heat, personal bests by course and clock |
//!
//! Times are whole milliseconds, so that equal times are equal; expected times carry a standard error. Nothing here
//! reads a clock or a database; the same entries and seed give the same answer.
//!
//! # Source
//!
//! Design choices and common practice, as each function says; rules of competition are cited where they are followed.
//! A club's race test is no competition and binds nobody's rule book.

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
///
/// Compared to the millimetre in all five: a barrier of 0.76 m and one of 0.762 m are two courses. The kind of barrier
/// is not part of it. Ordered by distance first, which is how bests are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Course {
    /// Start to finish.
    ///
    /// Whole millimetres, as all lengths here.
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
    /// None without a barrier, and none where the last barrier would stand on or behind the finish; such a course has
    /// no expected time.
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
/// Compares apart and is never converted: a constant for the thumb's delay would be right for nobody.
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
