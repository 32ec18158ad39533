//! Handicap starts: the slower athlete first, so that all finish together in expectation.
//!
//! With expected times e_i in a heat, whoever starts max e - e_i later is expected at the finish with everybody else.
//! Differences of a few tenths at the finish are then the day's, since each expected time has a standard error of some
//! 3 to 10 %.
//!
//! A limit keeps a very fast athlete from waiting long; whoever it cuts is expected ahead of the others and is marked
//! so.

use super::Expected;

/// When an athlete starts in a handicap heat.
///
/// An offset of nought and none mean the same moment; none says that nothing was expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Start {
    /// After the first start, milliseconds (ms); none for an athlete without an expected time, who starts with the first.
    ///
    /// From 0 to the limit.
    pub offset_ms: Option<u32>,
    /// Whether the limit cut it off, so that this athlete is expected to finish earlier than the others.
    pub limited: bool,
}

/// The starts of one heat, one for each expected time, in the same order.
///
/// `offset_i = (largest expected time in the heat) - expected_i`, at most `limit_ms`. Nothing is computed for an athlete
/// without an expected time, and nobody gets an offset when fewer than two times are known.
///
/// A heat of equal expected times starts together. An empty heat gives an empty list. The standard errors do not
/// enter.
///
/// # Source
/// Design choice; the definition is the trade's.
///
/// ```
/// use lanewright_compute::race::{Basis, Expected, handicap};
///
/// let time = |time_ms| Some(Expected { time_ms, sd_ms: 300, basis: Basis::RecentTests });
/// let starts = handicap(&[time(12_500), None, time(14_000), time(10_000)], 3_000);
/// let offsets: Vec<_> = starts.iter().map(|start| start.offset_ms).collect();
/// assert_eq!(offsets, [Some(1_500), None, Some(0), Some(3_000)]);
/// assert!(starts[3].limited);
/// ```
pub fn handicap(expected: &[Option<Expected>], limit_ms: u32) -> Vec<Start> {
    let known = expected.iter().flatten().count();
    let slowest = expected.iter().flatten().map(|one| one.time_ms).max().filter(|_| known > 1);
    expected
        .iter()
        .map(|one| {
            let wanted = slowest.zip(*one).map(|(slowest, one)| slowest - one.time_ms);
            Start { offset_ms: wanted.map(|ms| ms.min(limit_ms)), limited: wanted.is_some_and(|ms| ms > limit_ms) }
        })
        .collect()
}
