//! The limits of where an athlete may run: a closed list of codes with parameters. The words are in `compute::english`.

use super::returning::Surface;
use crate::params::{CodeDoc, Param, Value, code, metres, number};
use crate::units::{BarrierKind, Length};
use crate::wellbeing::Standing;

/// A limit of where an athlete may run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wall {
    /// The athlete's status is resting.
    Resting,
    /// The athlete has left.
    Left,
    /// A restriction is in force.
    Restricted {
        /// Its last day, days since 1970-01-01, if it has one.
        until: Option<i32>,
    },
    /// Pain, illness or an injury was reported.
    PainReported,
    /// The club owns no such barrier.
    NotOwned,
    /// The target is lower.
    TargetHeight {
        /// Height of the target.
        highest: Length,
    },
    /// The target is closer.
    TargetSpacing {
        /// Spacing of the target.
        longest: Length,
    },
    /// A harder kind than advised.
    KindAboveAdvice {
        /// The advised kind.
        advised: BarrierKind,
    },
    /// Higher than advised.
    HeightAboveAdvice {
        /// The advised height.
        highest: Length,
    },
    /// Wider than advised, over a barrier not lower than advised.
    SpacingAboveAdvice {
        /// The advised spacing.
        longest: Length,
    },
    /// More than one step wider than ever held over this lower barrier.
    WiderThanHeld {
        /// One step wider than the widest spacing held, or the advised one.
        longest: Length,
    },
    /// Wider than advised over a lower barrier, and not likely enough to hold.
    WiderNeedsHold {
        /// The probability needed.
        needed: f64,
    },
    /// Nothing is wider than advised before a fall or a report is cleared and a clean session followed.
    UntilCleared {
        /// The advised spacing.
        longest: Length,
    },
    /// Both barrier and spacing harder than what was run last.
    OneVariable {
        /// The spacing run last.
        longest: Length,
    },
    /// Shorter than anything the club sets out.
    SpacingAtMinimum {
        /// The shortest spacing.
        shortest: Length,
    },
    /// Too few intervals should hold.
    HoldFloor {
        /// The probability needed.
        needed: f64,
    },
    /// A rigid barrier, or a spacing wider than advised, on a wet or uneven surface.
    Surface {
        /// What is wrong with it.
        surface: Surface,
    },
}

impl Wall {
    /// Every code with its meaning.
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

    /// Why somebody runs nowhere for the sake of their health, if so.
    pub fn of_standing(standing: &Standing) -> Option<Self> {
        let restricted = standing.restriction.map(|restriction| Self::Restricted { until: restriction.until });
        restricted.or_else(|| standing.report.map(|_| Self::PainReported))
    }

    /// The stable code.
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

    /// The figures behind it, named as in [`PARAMS`](crate::params::PARAMS).
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

    /// Whether it keeps the athlete from running anywhere.
    pub const fn is_closed(&self) -> bool {
        matches!(self, Self::Resting | Self::Left | Self::Restricted { .. } | Self::PainReported)
    }

    /// Whether no coach's word opens it: health, what the club owns, the target.
    pub const fn is_hard(&self) -> bool {
        self.is_closed() || matches!(self, Self::NotOwned | Self::TargetHeight { .. } | Self::TargetSpacing { .. })
    }
}
