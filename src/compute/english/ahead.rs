//! What is to be expected, in words.
//!
//! A forecast walks many futures from today ([`crate::progress`]); here its next steps and what holds them up
//! become sentences. Dates are always a range with a probability beside it, never a promise: the range holds
//! nine of ten of those futures in which the step comes, and the probability is the share in which it comes
//! within the look ahead.
//!
//! What no training brings (a rating, a coach's word, a barrier, a status, a recovery) is said apart, with what
//! would change it. The dates of the forecast are those that hold if it is done today, and every remedy says
//! so, but for a barrier that has to be bought.
//!
//! # Used from
//! The outlook of an athlete's progress, its page and its pictures.

use super::figures::{place, sentence};
use crate::decision::{DecisionKind, Missing, Wall};
use crate::progress::{HORIZON_WEEKS, HeldUp, StepAhead};

impl HeldUp {
    /// The stable code: that of what is missing, or of the wall. No code is in both lists.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Missing(missing) => missing.code(),
            Self::Closed(wall) => wall.code(),
        }
    }

    /// One English sentence: what stands in the way.
    pub fn text(&self) -> String {
        match self {
            Self::Missing(missing) => missing.text(),
            Self::Closed(wall) => wall.text(),
        }
    }

    /// One English sentence: what would change it.
    ///
    /// ```
    /// use lanewright_compute::decision::{Missing, Wall};
    /// use lanewright_compute::progress::HeldUp;
    ///
    /// assert_eq!(
    ///     HeldUp::Closed(Wall::Resting).remedy(),
    ///     "Set the athlete's status to active; the dates hold if that is today."
    /// );
    /// assert_eq!(
    ///     HeldUp::Missing(Missing::CoachConfirmation).remedy(),
    ///     "Confirm the return once it is safe; the dates hold if that is today."
    /// );
    /// ```
    pub fn remedy(&self) -> String {
        match self {
            Self::Missing(Missing::Rating { criterion, needed, .. }) => {
                format!("Rate the {}; the dates hold if it is rated {} today.", criterion.words(), needed.words())
            }
            Self::Missing(Missing::CoachConfirmation) => {
                "Confirm the return once it is safe; the dates hold if that is today.".to_owned()
            }
            Self::Missing(Missing::Equipment { .. }) => {
                "Add the barrier to the club's equipment, or choose a target that the club can set out.".to_owned()
            }
            Self::Missing(_) => "The dates hold if it is done today.".to_owned(),
            Self::Closed(Wall::Left | Wall::Resting) => {
                "Set the athlete's status to active; the dates hold if that is today.".to_owned()
            }
            Self::Closed(_) => {
                "Running resumes when a coach confirms and medical advice allows it; the dates hold if that is today."
                    .to_owned()
            }
        }
    }
}

impl StepAhead {
    /// One English sentence: when, and where it leads.
    ///
    /// The first and the last of the dates are said, the 90 % range; one date where both are the same day; the
    /// probability alone where the step comes in too few futures for dates.
    ///
    /// ```
    /// use lanewright_compute::day::Day;
    /// use lanewright_compute::decision::{Configuration, DecisionKind};
    /// use lanewright_compute::progress::StepAhead;
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let on = |month, day| Day::from_ymd(2026, month, day);
    /// let step = StepAhead {
    ///     kind: DecisionKind::StepUpSpacing,
    ///     to: Configuration {
    ///         barrier_kind: BarrierKind::LowBarrier,
    ///         height: Length::from_mm(500),
    ///         spacing: Length::from_mm(6_250),
    ///     },
    ///     likely: 0.7,
    ///     days: [on(4, 27), on(5, 2), on(5, 6), on(5, 11), on(5, 18)],
    ///     probability_within: 0.94,
    /// };
    /// assert_eq!(
    ///     step.text(),
    ///     "Next, between 2026-04-27 and 2026-05-18 (94 % likely within 26 weeks): low barriers at 0.50 m, 6.25 m apart."
    /// );
    /// ```
    pub fn text(&self) -> String {
        let likely = format!("{:.0} % likely within {HORIZON_WEEKS} weeks", self.probability_within * 100.0);
        let when = match self.days {
            [Some(from), _, _, _, Some(to)] if from != to => format!("between {from} and {to} ({likely})"),
            [Some(on), ..] => format!("{on} ({likely})"),
            _ => likely,
        };
        let what = if self.kind == DecisionKind::RaceTest { "the race test over " } else { "" };
        sentence(&format!("next, {when}: {what}{}", place(self.to)))
    }
}
