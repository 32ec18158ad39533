//! Personal bests over a course, and places.
//!
//! A best is told apart by course and by clock, because a time over lower or closer barriers, or by another clock, is
//! another achievement. Everything is computed from all marks each time: deleting or correcting a result corrects
//! every best after it.
//!
//! Cost: one pass over the marks and a map of courses. Ties: of equal times the earlier day stands, then the smaller
//! id, so a best does not change hands by being equalled.

use std::collections::BTreeMap;

use super::{Course, TimingClass};

/// A finished race of one athlete.
///
/// A finished race only: whoever fell or was not timed has no mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The result, as a number that sorts by age within a day.
    ///
    /// Time-ordered ids, so that two races of one day keep their order.
    pub id: u128,
    /// Day, days since 1970-01-01.
    pub day: i32,
    /// Over what.
    pub course: Course,
    /// How it was timed.
    pub class: TimingClass,
    /// Final time, milliseconds (ms).
    pub time_ms: u32,
}

/// A time against the best before it.
///
/// Told for each result as it stood on its day; later results never change it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The first time over this course and of this class.
    First,
    /// Faster than the best before, by so many milliseconds (ms).
    Improved(u32),
    /// As fast as the best before.
    Equalled,
    /// Slower than the best before, by so many milliseconds (ms).
    Behind(u32),
}

impl Against {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::Improved(_) => "improved",
            Self::Equalled => "equalled",
            Self::Behind(_) => "behind",
        }
    }
}

/// The best mark for each course and class, by course, then class. Of equal times the earlier stands.
///
/// Empty without marks. All marks must be of one athlete.
///
/// ```
/// use lanewright_compute::race::{Course, Mark, TimingClass, bests};
/// use lanewright_compute::units::Length;
///
/// let mm = Length::from_mm;
/// let course =
///     Course { race_distance: mm(60_000), barriers: 5, height: mm(838), approach: mm(13_000), spacing: mm(8_500) };
/// let mark = |id, time_ms, class| Mark { id, day: 20_000, course, class, time_ms };
/// let hand = mark(1, 9_300, TimingClass::Hand);
/// let slower = mark(2, 9_500, TimingClass::Hand);
/// let gate = mark(3, 9_540, TimingClass::Electronic);
/// assert_eq!(bests(&[gate, slower, hand]), [hand, gate]);
/// ```
pub fn bests(marks: &[Mark]) -> Vec<Mark> {
    let mut best: BTreeMap<(Course, TimingClass), Mark> = BTreeMap::new();
    for mark in marks {
        let at = best.entry((mark.course, mark.class)).or_insert(*mark);
        if (mark.time_ms, mark.day, mark.id) < (at.time_ms, at.day, at.id) {
            *at = *mark;
        }
    }
    best.into_values().collect()
}

/// A mark against the best of the same course and class before it; `others` may hold it and later ones too.
///
/// "Before" is an earlier day, or the same day with a smaller id. The mark itself among `others` does no harm. Linear
/// in the number of marks.
///
/// ```
/// use lanewright_compute::race::{Against, Course, Mark, TimingClass, against_best};
/// use lanewright_compute::units::Length;
///
/// let mm = Length::from_mm;
/// let course =
///     Course { race_distance: mm(60_000), barriers: 5, height: mm(838), approach: mm(13_000), spacing: mm(8_500) };
/// let mark = |id, day, time_ms| Mark { id, day, course, class: TimingClass::Hand, time_ms };
/// let marks = [mark(1, 10, 9_500), mark(2, 20, 9_420), mark(3, 30, 9_460)];
/// assert_eq!(against_best(&marks[1], &marks), Against::Improved(80));
/// assert_eq!(against_best(&marks[2], &marks), Against::Behind(40));
/// ```
pub fn against_best(mark: &Mark, others: &[Mark]) -> Against {
    let before = others
        .iter()
        .filter(|one| (one.course, one.class) == (mark.course, mark.class) && (one.day, one.id) < (mark.day, mark.id))
        .map(|one| one.time_ms)
        .min();
    match before {
        None => Against::First,
        Some(best) if mark.time_ms < best => Against::Improved(best - mark.time_ms),
        Some(best) if mark.time_ms == best => Against::Equalled,
        Some(best) => Against::Behind(mark.time_ms - best),
    }
}

/// Places by time, fastest first: equal times share a place and the next one is left out; no time, no place.
///
/// Answers in the order asked. n log n.
///
/// ```
/// use lanewright_compute::race::places;
///
/// assert_eq!(places(&[Some(12), None, Some(10), Some(12), Some(15)]), [Some(2), None, Some(1), Some(2), Some(4)]);
/// ```
pub fn places(times: &[Option<u32>]) -> Vec<Option<usize>> {
    let mut sorted: Vec<u32> = times.iter().flatten().copied().collect();
    sorted.sort_unstable();
    times.iter().map(|time| time.map(|time| sorted.partition_point(|other| *other < time) + 1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Length;

    fn mark(id: u128, day: i32, time_ms: u32) -> Mark {
        let mm = Length::from_mm;
        let course = Course {
            race_distance: mm(60_000),
            barriers: 5,
            height: mm(838),
            approach: mm(13_000),
            spacing: mm(8_500),
        };
        Mark { id, day, course, class: TimingClass::Hand, time_ms }
    }

    #[test]
    fn a_mark_stands_against_what_was_before_it_only() {
        let marks = [mark(1, 10, 9_500), mark(2, 12, 9_400), mark(3, 12, 9_400), mark(4, 15, 9_000)];
        let found: Vec<Against> = marks.iter().map(|mark| against_best(mark, &marks)).collect();
        assert_eq!(found, [Against::First, Against::Improved(100), Against::Equalled, Against::Improved(400)]);
        assert_eq!(against_best(&mark(5, 16, 9_010), &marks), Against::Behind(10));
        let gate = Mark { class: TimingClass::Electronic, ..mark(6, 17, 9_900) };
        assert_eq!(against_best(&gate, &marks), Against::First, "classes never mix");
        let lower = Mark { course: Course { height: Length::from_mm(762), ..gate.course }, ..mark(7, 17, 8_000) };
        assert_eq!(against_best(&lower, &marks), Against::First, "another height is another course");
    }

    #[test]
    fn of_equal_times_the_earlier_is_the_best() {
        let marks = [mark(2, 12, 9_400), mark(1, 12, 9_400), mark(3, 14, 9_400)];
        assert_eq!(bests(&marks), [mark(1, 12, 9_400)]);
    }
}
