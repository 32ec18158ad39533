//! What a step up still needs: a closed list of codes with parameters. The words are in `compute::english`.

use super::situation::{Criterion, Rating};
use crate::params::{CodeDoc, Param, code, count, metres, number};
use crate::units::Length;

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
    /// A coach's word after a fall, report or restriction.
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
    /// More sessions since the return.
    SessionsBack {
        /// How many.
        count: u32,
    },
    /// A dry, even surface.
    DrySurface,
}

impl Missing {
    /// Every code with its meaning.
    pub const CODES: [CodeDoc; 13] = [
        code("intervals", "More intervals at the current configuration.", &["intervals_more"]),
        code("days", "More days at the current configuration.", &["days_more"]),
        code("hold_mean", "A higher probability of holding the rhythm.", &["hold_needed"]),
        code("hold_low", "Runs that make a lower probability unlikely.", &["hold_needed"]),
        code("fewer_hits", "Fewer barriers hit.", &["hit_share_most"]),
        code("held_session", "A session in which enough intervals are held.", &["held_share_least"]),
        code("rating", "A technique rating.", &["criterion", "rating", "rating_needed"]),
        code("coach_confirmation", "A coach's word after a fall, report or restriction.", &[]),
        code("clean_session", "A session without a fall or pain.", &[]),
        code("likelier_step", "A next step that is likely enough to hold.", &["hold_needed"]),
        code("equipment", "A barrier for the next step; with a target, none above its height.", &["height_most_m"]),
        code("sessions_back", "More sessions since the return after a report or restriction.", &["sessions_more"]),
        code("dry_surface", "A dry, even surface.", &[]),
    ];

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
            Self::SessionsBack { .. } => "sessions_back",
            Self::DrySurface => "dry_surface",
        }
    }

    /// The figures behind it, named as in [`PARAMS`](crate::params::PARAMS).
    pub fn params(&self) -> Vec<Param> {
        match *self {
            Self::Intervals { count: n } => vec![count("intervals_more", n)],
            Self::Days { count: n } => vec![count("days_more", n)],
            Self::HoldMean { needed } | Self::HoldLow { needed } | Self::LikelierStep { needed } => {
                vec![number("hold_needed", needed)]
            }
            Self::FewerHits { share } => vec![number("hit_share_most", share)],
            Self::HeldSession { share } => vec![number("held_share_least", share)],
            Self::Rating { criterion, seen, needed } => {
                let mut params = criterion.params(seen);
                params.push(count("rating_needed", needed.level()));
                params
            }
            Self::Equipment { up_to } => up_to.map(|height| metres("height_most_m", height)).into_iter().collect(),
            Self::SessionsBack { count: n } => vec![count("sessions_more", n)],
            Self::CoachConfirmation | Self::CleanSession | Self::DrySurface => Vec::new(),
        }
    }
}
