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

use super::figures::{count, listed, metres, percent, plural};
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

/// Ratings that would open barriers to those who wait: "rate the trail leg of 6 athletes: once rated secure,
/// barriers are open". The rating is the one that the club asks for.
///
/// Takes what each of those who wait is missing. Every criterion of the gate that somebody is missing is said, in
/// the order of teaching, since one alone opens nothing to who is missing another. None when no such rating is
/// missing.
///
/// ```
/// use lanewright_compute::decision::{Criterion, Missing, Rating};
/// use lanewright_compute::english::ratings_that_open;
///
/// let rating = |criterion, needed| Missing::Rating { criterion, seen: None, needed };
/// let trail = [rating(Criterion::TrailLeg, Rating::Secure)];
/// let both = [rating(Criterion::LeadLeg, Rating::Secure), trail[0]];
/// assert_eq!(
///     ratings_that_open([&both[..], &trail[..]].into_iter()).unwrap(),
///     "rate the lead leg of 1 athlete and the trail leg of 2 athletes: once all are rated secure, barriers are open"
/// );
/// let strict = [rating(Criterion::TrailLeg, Rating::SecureUnderRace)];
/// assert_eq!(
///     ratings_that_open([&strict[..]].into_iter()).unwrap(),
///     "rate the trail leg of 1 athlete: once rated secure under race conditions, barriers are open"
/// );
/// assert_eq!(ratings_that_open([&[][..]].into_iter()), None);
/// ```
pub fn ratings_that_open<'a>(missing: impl Iterator<Item = &'a [Missing]>) -> Option<String> {
    let mut waiting = [0_u32; Criterion::GATE.len()];
    let mut asked = None;
    for list in missing {
        for (gate, count) in Criterion::GATE.into_iter().zip(&mut waiting) {
            let of_gate = |one: &Missing| match *one {
                Missing::Rating { criterion, needed, .. } if criterion == gate => Some(needed),
                _ => None,
            };
            if let Some(needed) = list.iter().find_map(of_gate) {
                asked = Some(needed);
                *count += 1;
            }
        }
    }
    let lacking = Criterion::GATE.into_iter().zip(waiting).filter(|(_, athletes)| *athletes > 0);
    let of = |(criterion, athletes): (Criterion, u32)| {
        format!("the {} of {}", criterion.words(), count(athletes, "athlete"))
    };
    let parts: Vec<String> = lacking.map(of).collect();
    let words: Vec<&str> = parts.iter().map(String::as_str).collect();
    let all = if words.len() > 1 { "all are " } else { "" };
    Some(format!("rate {}: once {all}rated {}, barriers are open", listed(&words), asked?.words()))
}
