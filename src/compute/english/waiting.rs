//! Who finds no place in a plan, and what would help, in a coach's words.
//!
//! A plan with people who wait says for each why, and for all together what would give them a place: a change
//! of one limit that was tried ([`Relaxation`]), one more round, or ratings that open barriers. All of these
//! are offers: the coach may leave it as it is.
//!
//! | reason and limit | said of who waits |
//! | --- | --- |
//! | `nothing_permitted`, no barrier suits | the club owns none that suits the athlete today |
//! | `nothing_permitted`, otherwise | no lane should hold as often as asked without being harder than advised |
//! | `no_place`, the straight | the straight is too short for one more lane |
//! | `no_place`, the stock | the barriers do not reach for one more lane |
//! | `no_place`, anything else | the lanes are full |
//!
//! # Example
//! ```
//! use lanewright_compute::english::one_more_round;
//! use lanewright_compute::lane_plan::Relaxation;
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let units = |more| Relaxation::Units { kind: BarrierKind::LowBarrier, height: Length::from_mm(600), more };
//! assert_eq!(units(2).text(5), "2 more low barriers settable to 0.60 m");
//! assert_eq!(units(1).text(5), "1 more low barrier settable to 0.60 m");
//! assert_eq!(Relaxation::BarriersMin(3).text(5), "3 barriers a lane instead of 5");
//! assert_eq!(Relaxation::Capacity(6).text(5), "6 athletes in a lane");
//! assert_eq!(one_more_round(1), "one round more for the one who waits");
//! ```

use super::figures::{count, metres, percent, plural};
use crate::decision::{Criterion, Missing, Region};
use crate::lane_plan::{Limit, Relaxation, WaitReason};

impl Relaxation {
    /// The change, as a noun that can stand in a list; `barriers_min` is what was asked for.
    pub fn text(&self, barriers_min: u32) -> String {
        match *self {
            Self::Capacity(capacity) => format!("{capacity} athletes in a lane"),
            Self::BarriersMin(barriers) => {
                format!("{} a lane instead of {barriers_min}", count(barriers, "barrier"))
            }
            Self::Straight(length) => format!("a straight of {}", metres(length)),
            Self::Units { kind, height, more } => {
                let kinds = plural(kind);
                let kinds = if more == 1 { kinds.trim_end_matches('s') } else { kinds };
                format!("{more} more {kinds} settable to {}", metres(height))
            }
            Self::NoPins => "no pins".to_owned(),
        }
    }
}

impl WaitReason {
    /// One or two English sentences for somebody who waits; `limit` is what does not reach for everybody
    /// ([`Plan::short_of`](crate::lane_plan::Plan::short_of)), none where that is not known. The region tells
    /// the floor of P(hold) that is said.
    pub fn text(self, region: &Region, limit: Option<&Limit>) -> String {
        match (self, limit) {
            (Self::NothingPermitted, _) if region.bounds().is_empty() => {
                "The club owns no barrier that suits the athlete today.".to_owned()
            }
            (Self::NothingPermitted, _) => format!(
                "No lane that the club can set out should hold {} of intervals today without being harder than advised.",
                percent(region.floor())
            ),
            (Self::NoPlace, Some(Limit::Straight)) => {
                "No place today: the straight is too short for one more lane. Take turns with the others.".to_owned()
            }
            (Self::NoPlace, Some(Limit::Stock)) => {
                "No place today: the barriers do not reach for one more lane. Take turns with the others.".to_owned()
            }
            (Self::NoPlace, _) => "No place today: the lanes are full. Take turns with the others.".to_owned(),
        }
    }
}

/// "one round more for the 3 who wait". Asked where the plan has a round left to ask for; `waiting` at least 1.
pub fn one_more_round(waiting: usize) -> String {
    let who = if waiting == 1 { "the one who waits".to_owned() } else { format!("the {waiting} who wait") };
    format!("one round more for {who}")
}

/// Ratings that would open barriers to those who wait, most athletes first: "rate the trail leg of 6 athletes:
/// once secure, barriers are open".
///
/// Takes what each of those who wait is missing. Only the criterion that is missing for most is said, of equals
/// the one taught first, and only those of the gate: lead leg, trail leg, walkover. None when no such rating is
/// missing.
///
/// ```
/// use lanewright_compute::decision::{Criterion, Missing, Rating};
/// use lanewright_compute::english::ratings_that_open;
///
/// let rating = |criterion| Missing::Rating { criterion, seen: None, needed: Rating::Secure };
/// let (one, two) = ([rating(Criterion::TrailLeg)], [rating(Criterion::LeadLeg), rating(Criterion::TrailLeg)]);
/// assert_eq!(
///     ratings_that_open([&one[..], &two[..]].into_iter()).unwrap(),
///     "rate the trail leg of 2 athletes: once secure, barriers are open"
/// );
/// assert_eq!(ratings_that_open([&[][..]].into_iter()), None);
/// ```
pub fn ratings_that_open<'a>(missing: impl Iterator<Item = &'a [Missing]>) -> Option<String> {
    let mut waiting = [0_u32; Criterion::GATE.len()];
    for list in missing {
        for (criterion, count) in Criterion::GATE.iter().zip(&mut waiting) {
            let needed = |one: &Missing| matches!(one, Missing::Rating { criterion: of, .. } if of == criterion);
            *count += u32::from(list.iter().any(needed));
        }
    }
    let (criterion, most) = Criterion::GATE.iter().zip(waiting).rev().max_by_key(|(_, count)| *count)?;
    (most > 0).then(|| {
        format!("rate the {} of {}: once secure, barriers are open", criterion.words(), count(most, "athlete"))
    })
}
