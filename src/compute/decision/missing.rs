//! What a step up still needs: a closed list of codes with parameters. The words are in `compute::english`.
//!
//! A decision to stay is of use only with what would change it. Each entry is one thing that a coach or an athlete can bring about, with
//! the figure that is needed or still to go, not the one that is there; an empty list means that evidence, technique and health leave a
//! step up or the race test open. Entries come in a fixed order, so that equal situations read alike.
//!
//! | to bring about | by |
//! | --- | --- |
//! | [`Missing::Intervals`], [`Missing::Days`], [`Missing::HoldMean`], [`Missing::HoldLow`] | training |
//! | [`Missing::FewerHits`], [`Missing::HeldSession`] | a session that goes better |
//! | [`Missing::Rating`], [`Missing::CoachConfirmation`] | a coach's eyes or word |
//! | [`Missing::CleanSession`], [`Missing::SessionsBack`], [`Missing::DrySurface`] | time |
//! | [`Missing::LikelierStep`] | growth and training |
//! | [`Missing::Equipment`] | the club |
//!
//! ```
//! use lanewright_compute::decision::{Criterion, Missing, Rating};
//!
//! let gate = Missing::Rating { criterion: Criterion::TrailLeg, seen: None, needed: Rating::Secure };
//! assert_eq!((gate.code(), gate.params().len()), ("rating", 2), "no rating, so no parameter for it");
//! assert_eq!(gate.text(), "A step up needs the trail leg rated secure (not rated yet).");
//! ```
//!
//! # Where it is asked
//! [`crate::board`] holds the lists of past sessions against each other to say since when something is missing; [`crate::progress`] names
//! what no training brings; the readiness for a race test shows it.
//!
//! # Source
//! Design choices, see [`super`].

use super::situation::{Criterion, Rating};
use crate::params::{CodeDoc, Param, code, count, metres, number};
use crate::units::Length;

/// One thing that a step up still needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Missing {
    /// More intervals at the current configuration, or at least as demanding ones elsewhere.
    Intervals {
        /// How many, at least 1: what the policy asks less what counts.
        count: u32,
    },
    /// More days at the current configuration, or at least as demanding ones elsewhere: one good day may be luck.
    Days {
        /// How many, at least 1.
        count: u32,
    },
    /// A higher mean probability of holding here. Not told without a current configuration.
    HoldMean {
        /// The value needed, 0 to 1.
        needed: f64,
    },
    /// A higher 5 % quantile of it: the mean may be high while few runs say so.
    HoldLow {
        /// The value needed, 0 to 1.
        needed: f64,
    },
    /// Fewer barriers hit, of all that counts or in the latest session.
    FewerHits {
        /// The largest share allowed, 0 to 1.
        share: f64,
    },
    /// A session in which enough intervals are held: the latest was mostly broken, wherever it was run.
    HeldSession {
        /// The smallest share allowed, 0 to 1.
        share: f64,
    },
    /// A technique rating: one of the gate that is not seen, or any that is too low.
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
    /// A session without a fall or pain after the one with it.
    CleanSession,
    /// A likelier next step: there are steps, and none should hold well enough.
    LikelierStep {
        /// The mean probability needed after it, 0 to 1.
        needed: f64,
    },
    /// A barrier for the next step that the target allows; the spacing is at its end.
    Equipment {
        /// The target's height, if there is a target.
        up_to: Option<Length>,
    },
    /// More sessions since the return.
    SessionsBack {
        /// How many, 1 to [`SESSIONS_BACK`](super::SESSIONS_BACK).
        count: u32,
    },
    /// A dry, even surface: another day.
    DrySurface,
}

impl Missing {
    /// Every code with its meaning, as the API's vocabulary publishes them; one for each variant, in their order.
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

    /// The stable code, one of [`Missing::CODES`].
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

    /// The figures behind it, named as in [`PARAMS`](crate::params::PARAMS); empty where there is none. Shares and probabilities 0 to 1,
    /// heights in metres.
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
