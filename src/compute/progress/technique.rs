//! How each technique criterion came along.
//!
//! Ratings are steps of a ladder of four words, so they are compared and not averaged: the first rating against the
//! latest, with every one kept for the chart. An assessment rates some criteria only; the others have no point there.
//!
//! Worked: rhythm rated emerging, secure, emerging over three assessments is [`Direction::Same`], with three entries
//! in `seen`.

use crate::decision::{Criterion, Rating, Ratings};

/// The ratings of one assessment.
///
/// Days are for the caller's chart; the order is that of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rated {
    /// Day of the assessment, days since 1970-01-01.
    pub day: i32,
    /// What was rated.
    pub ratings: Ratings,
}

/// Which way a criterion went from the first rating to the latest.
///
/// What lies between first and latest does not enter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Higher than at first.
    Up,
    /// As at first.
    Same,
    /// Lower than at first.
    Down,
    /// Rated once only.
    Once,
}

impl Direction {
    /// The word used in JSON and CSV.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Same => "same",
            Self::Down => "down",
            Self::Once => "once",
        }
    }
}

/// The ratings of one criterion.
///
/// Criteria that were never rated have no entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TechniqueTrend {
    /// The criterion.
    pub criterion: Criterion,
    /// Each rating with the place of its assessment in the given list, in the order of that list; never empty.
    pub seen: Vec<(usize, Rating)>,
    /// Which way it went.
    pub direction: Direction,
}

/// How each criterion came along that was rated in assessments, earliest first; in the order in which they are taught.
///
/// Empty without ratings. The list must be in order of days; that is not checked.
///
/// ```
/// use lanewright_compute::decision::{Rating, Ratings};
/// use lanewright_compute::progress::{Direction, Rated, technique};
///
/// let rated = |day, rating| Rated { day, ratings: Ratings { rhythm: Some(rating), ..Ratings::default() } };
/// let found = technique(&[rated(20_000, Rating::Emerging), rated(20_020, Rating::Secure)]);
/// assert_eq!((found.len(), found[0].direction), (1, Direction::Up));
/// ```
pub fn technique(rated: &[Rated]) -> Vec<TechniqueTrend> {
    let of = |criterion: Criterion| {
        let seen: Vec<(usize, Rating)> =
            rated.iter().enumerate().filter_map(|(at, one)| Some((at, one.ratings.of(criterion)?))).collect();
        let (first, latest) = (seen.first()?.1, seen.last()?.1);
        let direction = match latest.cmp(&first) {
            _ if seen.len() == 1 => Direction::Once,
            std::cmp::Ordering::Greater => Direction::Up,
            std::cmp::Ordering::Equal => Direction::Same,
            std::cmp::Ordering::Less => Direction::Down,
        };
        Some(TechniqueTrend { criterion, seen, direction })
    };
    Criterion::ALL.into_iter().filter_map(of).collect()
}
