//! Why an athlete stands in a lane of the plan, and what the athlete loses there.
//!
//! A plan for a squad seldom gives everybody the lane that is advised. Whoever asks "why am I here" is told the one difference that matters,
//! in this order:
//!
//! ```text
//! chosen by a coach  >  own best (regret < 0.005)  >  spacing  >  height  >  kind
//! ```
//!
//! A regret below 0.005 is "as good", also where something differs: no evidence could tell the two lanes apart.
//!
//! The regret is the loss of the lane plan, 0 to 1, times the athlete's weight, 1 to 2: 0 as advised, 1 in a lane that is worth nothing
//! to the athlete (2 for one who was served badly lately).
//!
//! ```
//! use lanewright_compute::decision::Configuration;
//! use lanewright_compute::standing::{Comparison, Standing};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let at = |height, spacing| Configuration {
//!     barrier_kind: BarrierKind::LowBarrier, height: Length::from_mm(height), spacing: Length::from_mm(spacing),
//! };
//! let standing = Standing {
//!     here: at(450, 6_250), hold_here: 0.90, best: at(500, 6_500), hold_best: 0.81, regret: 0.21, pinned: false,
//!     step: Length::from_mm(250),
//! };
//! assert_eq!(standing.comparison(), Comparison::Closer, "spacing before height");
//! assert_eq!(standing.difference(), "one step closer than advised, over lower barriers (0.45 m)");
//! assert_eq!(Standing { regret: 0.004, ..standing }.comparison(), Comparison::OwnBest);
//! ```
//!
//! # Where it is asked
//! For each place of a proposed plan, and for lanes laid out by hand, where only the difference is told. The words are in
//! `compute::english`. Where an athlete may stand at all is [`crate::decision::Region`]'s to say; nothing here permits anything.
//!
//! # Source
//! Design choices.

use super::decision::Configuration;
use super::params::{CodeDoc, Param, code, kind, metres, number, place};
use super::units::Length;

/// Regret below which a lane is as good as the athlete's own best: less than any evidence can tell apart (design choice).
const AS_GOOD: f64 = 0.005;

/// An athlete's lane beside the lane that would be the athlete's own best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// What the lane carries, over the athlete's own barriers.
    pub here: Configuration,
    /// Probability that an interval is held here, 0 to 1.
    pub hold_here: f64,
    /// What the athlete is advised to run over, the athlete's own best lane.
    pub best: Configuration,
    /// Probability that an interval is held there, 0 to 1.
    pub hold_best: f64,
    /// What running here instead of as advised loses, 0 to 1, times the athlete's weight: 0 to 2.
    pub regret: f64,
    /// The club's spacing step, in which differences are told.
    pub step: Length,
    /// Whether a coach chose the lane; then that is why, whatever it loses.
    pub pinned: bool,
}

/// How a lane compares with the athlete's own best.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// A coach chose the lane.
    ChosenByCoach,
    /// The own best lane, or as good.
    OwnBest,
    /// A shorter spacing.
    Closer,
    /// A longer spacing.
    Wider,
    /// The same spacing over lower barriers.
    Lower,
    /// The same spacing over higher barriers.
    Higher,
    /// The same spacing and height over other barriers.
    OtherKind,
}

impl Standing {
    /// Every code with its meaning.
    pub const CODES: [CodeDoc; 7] = [
        code("chosen_by_coach", "A coach chose this lane for the athlete.", PARAMS),
        code("own_best_lane", "The lane is the athlete's own best, the advised one, or as good.", PARAMS),
        code("closer_than_best", "The spacing is shorter than in the athlete's own best lane.", PARAMS),
        code("wider_than_best", "The spacing is longer than in the athlete's own best lane.", PARAMS),
        code("lower_than_best", "The barriers are lower than in the athlete's own best lane.", PARAMS),
        code("higher_than_best", "The barriers are higher than in the athlete's own best lane.", PARAMS),
        code("other_kind_than_best", "The barriers are of another kind than in the athlete's own best lane.", PARAMS),
    ];

    /// How the lane compares with the athlete's own best.
    ///
    /// ```
    /// use lanewright_compute::decision::Configuration;
    /// use lanewright_compute::standing::Standing;
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let at = |mm| Configuration {
    ///     barrier_kind: BarrierKind::LowBarrier,
    ///     height: Length::from_mm(500),
    ///     spacing: Length::from_mm(mm),
    /// };
    /// let standing = Standing {
    ///     here: at(6_250), hold_here: 0.9, best: at(6_500), hold_best: 0.8, regret: 0.04, pinned: false,
    ///     step: Length::from_mm(250),
    /// };
    /// assert_eq!(standing.code(), "closer_than_best");
    /// assert_eq!(standing.difference(), "one step closer than advised");
    /// ```
    pub fn comparison(&self) -> Comparison {
        if self.pinned {
            Comparison::ChosenByCoach
        } else if self.regret < AS_GOOD {
            Comparison::OwnBest
        } else if self.here.spacing < self.best.spacing {
            Comparison::Closer
        } else if self.here.spacing > self.best.spacing {
            Comparison::Wider
        } else if self.here.height < self.best.height {
            Comparison::Lower
        } else if self.here.height > self.best.height {
            Comparison::Higher
        } else {
            Comparison::OtherKind
        }
    }

    /// The stable code, one of [`Standing::CODES`].
    pub fn code(&self) -> &'static str {
        match self.comparison() {
            Comparison::ChosenByCoach => "chosen_by_coach",
            Comparison::OwnBest => "own_best_lane",
            Comparison::Closer => "closer_than_best",
            Comparison::Wider => "wider_than_best",
            Comparison::Lower => "lower_than_best",
            Comparison::Higher => "higher_than_best",
            Comparison::OtherKind => "other_kind_than_best",
        }
    }

    /// The figures behind it, named as in [`PARAMS`](super::params::PARAMS): the lane, the advised one, what should hold in each (0 to 1) and the
    /// regret (0 to 2). The same for every code.
    pub fn params(&self) -> Vec<Param> {
        let best = [
            kind("best_barrier_kind", self.best.barrier_kind),
            metres("best_height_m", self.best.height),
            metres("best_spacing_m", self.best.spacing),
        ];
        place(self.here)
            .into_iter()
            .chain([number("hold_mean", self.hold_here)])
            .chain(best)
            .chain([number("best_hold_mean", self.hold_best), number("regret", self.regret)])
            .collect()
    }
}

const PARAMS: &[&str] = &[
    "barrier_kind",
    "height_m",
    "spacing_m",
    "hold_mean",
    "best_barrier_kind",
    "best_height_m",
    "best_spacing_m",
    "best_hold_mean",
    "regret",
];
