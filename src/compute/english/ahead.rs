//! What is to be expected, in words.

use super::figures::{place, sentence};
use crate::decision::{DecisionKind, Missing, Wall};
use crate::progress::{HORIZON_WEEKS, HeldUp, StepAhead};

impl HeldUp {
    /// The stable code: that of what is missing, or of the wall.
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
