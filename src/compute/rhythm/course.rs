//! Where the barriers of a race stand, and the races on file.
//!
//! A course is told by what a set of marks needs: approach, spacing, number and run-in, without the height, which no
//! schedule reads. Two specifications with different heights are one course.

use std::collections::BTreeMap;

use super::MAX_TOUCHDOWNS;
use crate::set_out::LANDING_THOUSANDTHS;
use crate::specs::published;
use crate::units::Length;
use thiserror::Error;

/// The barriers of a sprint-hurdle race or of a discounted one.
///
/// Always valid: 2 to 20 barriers and a finish behind the last landing. Ordered by approach, spacing, barriers,
/// run-in, for maps only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Course {
    approach: Length,
    spacing: Length,
    barriers: u8,
    run_in: Length,
}

/// Why barriers make no course.
///
/// Checked in the order barriers, approach, spacing, run-in.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum CourseError {
    /// Fewer than two or more than [`MAX_TOUCHDOWNS`] barriers.
    #[error("must have 2 to {MAX_TOUCHDOWNS} barriers")]
    Barriers,
    /// The approach is shorter than 5 m or longer than 30 m.
    #[error("must have an approach from 5 to 30 metres")]
    Approach,
    /// The spacing is shorter than 4 m or longer than 10 m: not run in the three-stride rhythm.
    #[error("must have a spacing from 4 to 10 metres")]
    Spacing,
    /// The finish lies before the landing behind the last barrier, or more than 50 m behind that barrier.
    #[error("must end from just behind the landing after the last barrier to 50 metres after it")]
    RunIn,
}

impl Course {
    /// A course of 2 to 20 barriers: approach 5 to 30 m, spacing 4 to 10 m, run-in to 50 m; the limits are a design choice.
    ///
    /// The finish must lie at least half a metre behind the last landing, so that a run-in takes time.
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Course, CourseError};
    /// use lanewright_compute::units::Length;
    ///
    /// let mm = Length::from_mm;
    /// let club = Course::new(mm(11_500), mm(7_250), 6, mm(10_000)).unwrap();
    /// assert_eq!(club.race_distance(), mm(57_750));
    /// assert_eq!(Course::new(mm(11_500), mm(12_000), 6, mm(10_000)), Err(CourseError::Spacing));
    /// ```
    ///
    /// # Errors
    /// [`CourseError`] for the first part that is outside.
    pub fn new(approach: Length, spacing: Length, barriers: u8, run_in: Length) -> Result<Self, CourseError> {
        let within = |length: Length, low, high| (low..=high).contains(&length.mm());
        if !(2..=MAX_TOUCHDOWNS).contains(&usize::from(barriers)) {
            return Err(CourseError::Barriers);
        }
        if !within(approach, 5_000, 30_000) {
            return Err(CourseError::Approach);
        }
        if !within(spacing, 4_000, 10_000) {
            return Err(CourseError::Spacing);
        }
        let course = Self { approach, spacing, barriers, run_in };
        if !within(run_in, 0, 50_000) || course.run_in_after_landing_m() <= 0.5 {
            return Err(CourseError::RunIn);
        }
        Ok(course)
    }

    /// Start line to first barrier.
    pub const fn approach(&self) -> Length {
        self.approach
    }

    /// Barrier to barrier.
    pub const fn spacing(&self) -> Length {
        self.spacing
    }

    /// Number of barriers.
    pub const fn barriers(&self) -> u8 {
        self.barriers
    }

    /// Last barrier to finish.
    pub const fn run_in(&self) -> Length {
        self.run_in
    }

    /// Start to finish.
    ///
    /// Approach + (barriers - 1) · spacing + run-in; at most 270 m.
    pub fn race_distance(&self) -> Length {
        let between = u32::from(self.barriers - 1) * self.spacing.mm();
        Length::from_mm(self.approach.mm() + between + self.run_in.mm())
    }

    /// Start line to the first landing, metres (m).
    pub(super) fn first_landing_m(&self) -> f64 {
        self.approach.metres() + self.landing_m()
    }

    /// Last landing to finish, metres (m).
    pub(super) fn run_in_after_landing_m(&self) -> f64 {
        self.run_in.metres() - self.landing_m()
    }

    /// Barrier to landing, metres (m): the share of the spacing that the set-out sheet marks.
    ///
    /// 0.118 of the spacing: 1.08 m at 9.14 m, 0.83 m at 7.00 m. See [`crate::set_out`] for its source.
    fn landing_m(&self) -> f64 {
        self.spacing.metres() * f64::from(LANDING_THOUSANDTHS) / 1_000.0
    }
}

/// The courses of an event that published specifications race over; the usual one first.
///
/// The usual one is that of most specifications, with equal numbers the one with the wider spacing (design choice). Empty
/// for an event that is not on file as a sprint-hurdle race.
///
/// A scan of the published rows; a club's own specifications are not asked.
///
/// ```
/// use lanewright_compute::rhythm::courses;
///
/// let usual = courses("100H")[0];
/// assert_eq!((usual.barriers(), usual.spacing().mm()), (10, 8_500));
/// assert!(courses("400H").is_empty());
/// ```
pub fn courses(event_code: &str) -> Vec<Course> {
    let mut found: BTreeMap<Course, usize> = BTreeMap::new();
    for spec in published().filter(|spec| spec.is_sprint() && spec.event_code == event_code) {
        if let Ok(course) = Course::new(spec.to_first, spec.between, spec.barriers, spec.run_in) {
            *found.entry(course).or_default() += 1;
        }
    }
    let mut courses: Vec<(Course, usize)> = found.into_iter().collect();
    courses.sort_by_key(|(course, uses)| (usize::MAX - uses, core::cmp::Reverse((course.spacing, course.approach))));
    courses.into_iter().map(|(course, _)| course).collect()
}

/// The events that have a course, by name.
///
/// Sorted as text, each once: `100H` before `50H`.
pub fn event_codes() -> Vec<&'static str> {
    let mut codes: Vec<&str> = published().filter(|spec| spec.is_sprint()).map(|spec| &*spec.event_code).collect();
    codes.sort_unstable();
    codes.dedup();
    codes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_sprint_race_is_a_course_of_its_distance() {
        for spec in published().filter(|spec| spec.is_sprint()) {
            let course = Course::new(spec.to_first, spec.between, spec.barriers, spec.run_in).unwrap();
            assert_eq!(course.race_distance(), spec.race_distance, "{}", spec.event_code);
        }
    }

    #[test]
    fn barriers_that_make_no_course_are_refused() {
        let course = |approach, spacing, barriers, run_in| {
            Course::new(Length::from_mm(approach), Length::from_mm(spacing), barriers, Length::from_mm(run_in))
        };
        assert_eq!(course(13_000, 8_500, 1, 10_500), Err(CourseError::Barriers));
        assert_eq!(course(13_000, 8_500, 21, 10_500), Err(CourseError::Barriers));
        assert_eq!(course(4_999, 8_500, 10, 10_500), Err(CourseError::Approach));
        assert_eq!(course(13_000, 35_000, 10, 10_500), Err(CourseError::Spacing));
        assert_eq!(course(13_000, 8_500, 10, 1_500), Err(CourseError::RunIn));
    }
}
