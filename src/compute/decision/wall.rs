//! The limits of where an athlete may run: a closed list of codes with parameters. The words are in `compute::english`.
//!
//! A wall answers "why not there" for one configuration and one athlete on one day. It is hard or soft:
//!
//! | walls | who opens them |
//! | --- | --- |
//! | resting, left, restricted, a report (closed); not owned; the target's height and spacing | nobody: they are facts, not advice |
//! | above the advice, wider than held, one variable, the floor of P(hold), surface, until cleared, shortest | a coach, see below |
//!
//! A soft wall opens when a coach confirms a second time, on days on which [`Region::opens`](super::Region::opens) says so. The target is
//! hard by design: the rules never lead past what an athlete races over, and no word does. Which wall is told when several are in the way
//! is the order of [`Region::check`](super::Region::check): of closed and target first, so that nobody talks a soft wall open only to
//! meet one that stays.
//!
//! ```
//! use lanewright_compute::decision::Wall;
//! use lanewright_compute::units::Length;
//!
//! let wall = Wall::TargetSpacing { longest: Length::from_mm(7_500) };
//! assert!(wall.is_hard() && !wall.is_closed());
//! assert_eq!((wall.code(), wall.params().len()), ("target_spacing", 1));
//! assert!(!Wall::HoldFloor { needed: 0.65 }.is_hard());
//! ```
//!
//! # Source
//! Design choices; what lies behind each is in [`Region`](super::Region) and in [`crate::wellbeing`].

use super::returning::Surface;
use super::situation::Status;
use crate::params::{CodeDoc, Param, Value, code, metres, number};
use crate::units::{BarrierKind, Length};
use crate::wellbeing::Standing;

/// A limit of where an athlete may run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wall {
    /// The athlete's status is resting: somebody said so on the record, without a report. Hard; closes the region.
    Resting,
    /// The athlete has left the club. Hard; closes the region.
    Left,
    /// A restriction is in force. Hard; closes the region until its last day is over or a coach lifts it.
    Restricted {
        /// Its last day, days since 1970-01-01; none while it has no end.
        until: Option<i32>,
    },
    /// Pain, illness or an injury was reported and is not cleared. Hard; closes the region. Which of them it was is no part of a wall.
    PainReported,
    /// The club owns no barrier of that kind at that height, within the tolerance. Hard: what is not there cannot be set out.
    NotOwned,
    /// The target is lower by more than the tolerance. Hard.
    TargetHeight {
        /// Height of the target.
        highest: Length,
    },
    /// The target is closer. Hard.
    TargetSpacing {
        /// Spacing of the target.
        longest: Length,
    },
    /// On a higher rung than the advised kind: hurdles where low barriers are advised. Soft.
    KindAboveAdvice {
        /// The advised kind.
        advised: BarrierKind,
    },
    /// Higher than advised by more than the tolerance. Soft.
    HeightAboveAdvice {
        /// The advised height.
        highest: Length,
    },
    /// Wider than advised, over a barrier not lower than advised. Soft.
    SpacingAboveAdvice {
        /// The advised spacing.
        longest: Length,
    },
    /// More than one step wider than ever held over this lower barrier, or than advised where nothing wider was held. Soft.
    WiderThanHeld {
        /// One step wider than the widest spacing held, or the advised one.
        longest: Length,
    },
    /// Wider than advised over a lower barrier, and not likely enough to hold. Soft.
    WiderNeedsHold {
        /// The probability needed, 0 to 1.
        needed: f64,
    },
    /// Nothing is wider than advised, over lower barriers either, before a fall or a report is cleared and a clean session followed. Soft:
    /// opens to a second confirmation once a coach cleared it, and early on the way back to none.
    UntilCleared {
        /// The advised spacing.
        longest: Length,
    },
    /// Both barrier and spacing harder than what was run last. Soft: over the very barrier of a word that was confirmed twice it stands no more.
    OneVariable {
        /// The spacing run last.
        longest: Length,
    },
    /// Shorter than the policy's shortest spacing, and than advised. Soft.
    SpacingAtMinimum {
        /// The shortest spacing.
        shortest: Length,
    },
    /// Too few intervals should hold there: below 0.65 four in a row hold in fewer than one run of five, and a broken rhythm can end in a
    /// fall. Soft.
    HoldFloor {
        /// The probability needed: 0.60 to 1.
        needed: f64,
    },
    /// A hurdle, or a spacing wider than advised over a lower barrier, on a wet or uneven surface. Soft by its kind, but no word opens it
    /// that day.
    Surface {
        /// What is wrong with it.
        surface: Surface,
    },
}

impl Wall {
    /// Every code with its meaning, as the API's vocabulary publishes them; one for each variant, in their order.
    pub const CODES: [CodeDoc; 17] = [
        code("resting", "The athlete rests.", &[]),
        code("left", "The athlete has left.", &[]),
        code("restricted", "A restriction is on the record; without `until` it is open-ended.", &["until"]),
        code("pain_reported", "Pain, illness or an injury was reported.", &[]),
        code("not_owned", "The club owns no such barrier.", &[]),
        code("target_height", "The target is lower.", &["height_limit_m"]),
        code("target_spacing", "The target is closer.", &["spacing_limit_m"]),
        code("kind_above_advice", "The kind of barrier is harder than advised.", &["barrier_kind"]),
        code("height_above_advice", "The barriers are higher than advised.", &["height_limit_m"]),
        code("spacing_above_advice", "The spacing is wider than advised.", &["spacing_limit_m"]),
        code("wider_than_held", "More than one step wider than held over this lower barrier.", &["spacing_limit_m"]),
        code("wider_needs_hold", "Wider than advised needs a likelier rhythm.", &["hold_needed"]),
        code(
            "until_cleared",
            "Nothing is wider than advised after a fall, report or restriction.",
            &["spacing_limit_m"],
        ),
        code("one_variable", "Barrier and spacing would both be harder than last time.", &["spacing_limit_m"]),
        code("spacing_at_minimum", "The spacing cannot come in further.", &["spacing_shortest_m"]),
        code("hold_floor", "Too few intervals should hold.", &["hold_needed"]),
        code("surface", "The surface is wet or uneven: soft barriers, nothing wider than advised.", &["surface"]),
    ];

    /// Why somebody runs nowhere on a day by what is on file without any run and any measurement, if so: status first, then health. What a
    /// region [closes](super::Region::closed) for, where none can be computed or none is needed.
    pub fn of_record(status: Status, standing: &Standing) -> Option<Self> {
        Self::of_status(status).or_else(|| Self::of_standing(standing))
    }

    /// Why somebody runs nowhere by their status, if so.
    pub const fn of_status(status: Status) -> Option<Self> {
        match status {
            Status::Active => None,
            Status::Resting => Some(Self::Resting),
            Status::Left => Some(Self::Left),
        }
    }

    /// Why somebody runs nowhere for the sake of their health, if so: a restriction before a report, as [`Region::closed`](super::Region::closed)
    /// tells them. For plans that a report overtakes after they were made, when no region is computed anew.
    pub fn of_standing(standing: &Standing) -> Option<Self> {
        let restricted = standing.restriction.map(|restriction| Self::Restricted { until: restriction.until });
        restricted.or_else(|| standing.report.map(|_| Self::PainReported))
    }

    /// The stable code, one of [`Wall::CODES`].
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Resting => "resting",
            Self::Left => "left",
            Self::Restricted { .. } => "restricted",
            Self::PainReported => "pain_reported",
            Self::NotOwned => "not_owned",
            Self::TargetHeight { .. } => "target_height",
            Self::TargetSpacing { .. } => "target_spacing",
            Self::KindAboveAdvice { .. } => "kind_above_advice",
            Self::HeightAboveAdvice { .. } => "height_above_advice",
            Self::SpacingAboveAdvice { .. } => "spacing_above_advice",
            Self::WiderThanHeld { .. } => "wider_than_held",
            Self::WiderNeedsHold { .. } => "wider_needs_hold",
            Self::UntilCleared { .. } => "until_cleared",
            Self::OneVariable { .. } => "one_variable",
            Self::SpacingAtMinimum { .. } => "spacing_at_minimum",
            Self::HoldFloor { .. } => "hold_floor",
            Self::Surface { .. } => "surface",
        }
    }

    /// The figures behind it, named as in [`PARAMS`](crate::params::PARAMS): lengths in metres, probabilities 0 to 1, dates as days. An
    /// open-ended restriction has none.
    pub fn params(&self) -> Vec<Param> {
        match *self {
            Self::Restricted { until } => until.map(|day| ("until", Value::Day(day))).into_iter().collect(),
            Self::TargetHeight { highest } | Self::HeightAboveAdvice { highest } => {
                vec![metres("height_limit_m", highest)]
            }
            Self::KindAboveAdvice { advised } => vec![("barrier_kind", Value::Word(advised.as_str()))],
            Self::TargetSpacing { longest }
            | Self::SpacingAboveAdvice { longest }
            | Self::WiderThanHeld { longest }
            | Self::UntilCleared { longest }
            | Self::OneVariable { longest } => vec![metres("spacing_limit_m", longest)],
            Self::SpacingAtMinimum { shortest } => vec![metres("spacing_shortest_m", shortest)],
            Self::WiderNeedsHold { needed } | Self::HoldFloor { needed } => vec![number("hold_needed", needed)],
            Self::Surface { surface } => vec![("surface", Value::Word(surface.as_str()))],
            Self::Resting | Self::Left | Self::PainReported | Self::NotOwned => Vec::new(),
        }
    }

    /// Whether it keeps the athlete from running anywhere, whatever is asked.
    pub const fn is_closed(&self) -> bool {
        matches!(self, Self::Resting | Self::Left | Self::Restricted { .. } | Self::PainReported)
    }

    /// Whether a code is that of a wall that [keeps](Self::is_closed) the athlete from running anywhere, where only codes are kept.
    pub fn closes(code: &str) -> bool {
        let closed = [Self::Resting, Self::Left, Self::Restricted { until: None }, Self::PainReported];
        closed.iter().any(|wall| wall.is_closed() && wall.code() == code)
    }

    /// Whether a code is that of a wall of the athlete's [status](Self::of_status), where only codes are kept.
    pub fn is_of_status(code: &str) -> bool {
        [Status::Resting, Status::Left].into_iter().filter_map(Self::of_status).any(|wall| wall.code() == code)
    }

    /// Whether no coach's word opens it: health, what the club owns, the target. That a soft wall opens on this day is for
    /// [`Region::opens`](super::Region::opens) to say.
    pub const fn is_hard(&self) -> bool {
        self.is_closed() || matches!(self, Self::NotOwned | Self::TargetHeight { .. } | Self::TargetSpacing { .. })
    }
}
