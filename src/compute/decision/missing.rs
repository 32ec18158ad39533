//! What a step up still needs: a closed list, worded in one place.

use super::situation::{Criterion, Rating};
use super::wording::{count, metres, percent, sentence};
use crate::compute::units::Length;

/// One thing that a step up still needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Missing {
    /// More intervals at the current configuration.
    Intervals {
        /// How many.
        count: u32,
    },
    /// More days at the current configuration.
    Days {
        /// How many.
        count: u32,
    },
    /// A higher mean probability of holding.
    HoldMean {
        /// The value needed.
        needed: f64,
    },
    /// A higher 5 % quantile of it.
    HoldLow {
        /// The value needed.
        needed: f64,
    },
    /// Fewer barriers hit.
    FewerHits {
        /// The largest share allowed.
        share: f64,
    },
    /// A session in which enough intervals are held.
    HeldSession {
        /// The smallest share allowed.
        share: f64,
    },
    /// A technique rating.
    Rating {
        /// Of which criterion.
        criterion: Criterion,
        /// Its rating now, if seen.
        seen: Option<Rating>,
        /// The rating needed.
        needed: Rating,
    },
    /// A coach's word after a fall or report of pain.
    CoachConfirmation,
    /// A session without a fall or pain.
    CleanSession,
    /// A likelier next step.
    LikelierStep {
        /// The probability needed after it.
        needed: f64,
    },
    /// A barrier for the next step that the target allows.
    Equipment {
        /// The target's height, if there is a target.
        up_to: Option<Length>,
    },
}

impl Missing {
    /// The stable code.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Intervals { .. } => "intervals",
            Self::Days { .. } => "days",
            Self::HoldMean { .. } => "hold_mean",
            Self::HoldLow { .. } => "hold_low",
            Self::FewerHits { .. } => "fewer_hits",
            Self::HeldSession { .. } => "held_session",
            Self::Rating { .. } => "rating",
            Self::CoachConfirmation => "coach_confirmation",
            Self::CleanSession => "clean_session",
            Self::LikelierStep { .. } => "likelier_step",
            Self::Equipment { .. } => "equipment",
        }
    }

    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&format!("a step up needs {}", self.clause()))
    }

    /// The words, as a noun that can stand in a list.
    pub(super) fn clause(&self) -> String {
        match *self {
            Self::Intervals { count: n } => {
                format!("{} more at this configuration", count(n, "interval"))
            }
            Self::Days { count: n } => format!("{} more at this configuration", count(n, "day")),
            Self::HoldMean { needed } => {
                format!("{} of intervals expected to hold", percent(needed))
            }
            Self::HoldLow { needed } => {
                format!("enough runs to be sure that {} or more hold", percent(needed))
            }
            Self::FewerHits { share } => format!("hits on at most {} of barriers", percent(share)),
            Self::HeldSession { share } => {
                format!("a session with at least {} of intervals held", percent(share))
            }
            Self::Rating { criterion, seen, needed } => format!(
                "the {} rated {} (now {})",
                criterion.words(),
                needed.words(),
                seen.map_or("not rated", Rating::words)
            ),
            Self::CoachConfirmation => "a coach's confirmation after the fall or pain".to_owned(),
            Self::CleanSession => "a session without a fall or pain".to_owned(),
            Self::LikelierStep { needed } => {
                format!("a next step expected to hold in {} of intervals", percent(needed))
            }
            Self::Equipment { up_to: Some(height) } => {
                format!("a barrier for the next step within the target's {}", metres(height))
            }
            Self::Equipment { up_to: None } => "a barrier for the next step in the club's equipment".to_owned(),
        }
    }
}
