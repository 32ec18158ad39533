//! Who finds no place in a plan, and what would help, in a coach's words.

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
    /// One or two English sentences for somebody who waits; `limit` is what does not reach for everybody.
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

/// "one round more for the 3 who wait".
pub fn one_more_round(waiting: usize) -> String {
    let who = if waiting == 1 { "the one who waits".to_owned() } else { format!("the {waiting} who wait") };
    format!("one round more for {who}")
}

/// Ratings that would open barriers to those who wait, most athletes first: "rate the trail leg of 6 athletes: once secure,
/// barriers are open to them".
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
