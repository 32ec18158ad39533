//! The problem: who is here, what can be set out, and what it costs each athlete.
//!
//! A [`Problem`] is plain data, complete in itself: nothing is looked up while it is solved. Lists refer to one
//! another by position ([`Athlete::hold`] and [`Athlete::permitted`] run along [`Problem::candidates`]) or by
//! identity ([`Pin`], [`Problem::apart`], [`LastTime`]). [`Problem::check`] reads it before any search, so that
//! everything after it may rely on sizes, ranges and references; the limits below bound the memory (300
//! athletes times 400 candidates: 120 000 costs of 8 bytes) and keep every sum within 64 bits.
//!
//! # Whole numbers
//! Losses are rounded once, to multiples of [`REGRET_UNIT`], and are whole from then on. The largest single
//! loss is 2 (a whole loss at weight 2), which is 2 000 000 000 units; 300 of them are far within an `i64`,
//! also after the 17 bits that the search adds for ties. So costs are compared and summed exactly, in any
//! order, and two machines agree to the last digit.
//!
//! # Worked example
//! A candidate with an approach of 12 m, 6.50 m between barriers and five barriers takes 12 + 4 · 6.50 = 38 m,
//! and 48 m with a run-out of 10 m. On a straight of 60 m six barriers (54.5 m) fit, not seven (61 m).

use std::collections::BTreeSet;

use thiserror::Error;

use super::loss::{WEIGHT_MOST, loss};
use crate::decision::Configuration;
use crate::units::{BarrierKind, Length};

/// The most athletes of one problem, and of one lane.
pub const MAX_ATHLETES: usize = 300;
/// The most lanes of one problem; tracks have 8 as a rule (common practice, no source).
pub const MAX_LANES: usize = 12;
/// The most candidate configurations of one problem. Ranks below it fit the bits that break ties.
pub const MAX_CANDIDATES: usize = 400;
/// The most stock items of one problem.
pub const MAX_STOCK_ITEMS: usize = 1_000;
/// The most heights that one stock item can be set to.
pub const MAX_HEIGHTS: usize = 40;
/// The most barriers of one lane, four times those of the longest sprint hurdle race; the service asks for
/// fewer.
pub const MAX_BARRIERS: u32 = 40;
/// The most units of one stock item: a thousand items of so many still add up within 32 bits.
pub const MAX_UNITS: u32 = 10_000;

/// Regrets are whole multiples of this share, so that sums and comparisons are free of rounding (design
/// choice). It is far below anything an estimate can tell apart, and a sum of 300 roundings is off by 1.5e-7 at
/// most.
pub const REGRET_UNIT: f64 = 1e-9;
/// Regret units of a regret of 1; the inverse of [`REGRET_UNIT`].
pub(super) const UNITS: f64 = 1e9;

/// One athlete who is present. [`group()`](fn@super::group) makes it from advice and estimate; nothing in it is
/// asked anew while planning.
#[derive(Clone, Debug, PartialEq)]
pub struct Athlete {
    /// Identity; its order breaks ties.
    pub id: u128,
    /// Width w by which P(hold) falls with the spacing, metres (m), 0.01 to 10: that of the athlete's curve, widened by what is
    /// not known of it.
    pub width_m: f64,
    /// Posterior mean of the height cost g, metres of spacing per metre of barrier height, 0 to 10.
    pub height_cost: f64,
    /// What the athlete is advised to run over: losses are measured from here.
    pub advised: Configuration,
    /// P(hold) there, 0 to 1.
    pub advised_hold: f64,
    /// P(hold) at each candidate, 0 to 1; same length and order as [`Problem::candidates`].
    pub hold: Vec<f64>,
    /// Whether the athlete's region permits each candidate; same length and order as [`Problem::candidates`].
    /// All false is allowed: such an athlete waits.
    pub permitted: Vec<bool>,
    /// How much a loss of this athlete counts, 1 to [`WEIGHT_MOST`]; see [`weight`](super::weight).
    pub weight: f64,
    /// Number of the specification this athlete trains towards; the same for those who share one. It costs
    /// nothing: among assignments that cost the same, those who share one are put together.
    pub target: u32,
}

/// One configuration that a lane may carry. Two candidates of a problem may differ in the approach alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Candidate {
    /// What stands in the lane.
    pub kind: BarrierKind,
    /// Height of every barrier; must be one that some stock item can be set to, or the candidate is never set
    /// out.
    pub height: Length,
    /// Distance between two consecutive barriers of the lane, the same all along.
    pub spacing: Length,
    /// Distance from the start line to the first barrier; part of the straight that the lane takes, no part of
    /// the loss.
    pub approach: Length,
}

impl Candidate {
    /// Its kind, height and spacing: what losses and permissions are about. The approach is left out.
    pub fn configuration(&self) -> Configuration {
        Configuration { barrier_kind: self.kind, height: self.height, spacing: self.spacing }
    }

    /// The order that breaks ties: smaller spacing, lower height, softer kind, shorter approach. Unequal for
    /// any two candidates of a problem, since [`Problem::check`] refuses two with one key.
    pub(super) fn rank_key(&self) -> (Length, Length, BarrierKind, Length) {
        (self.spacing, self.height, self.kind, self.approach)
    }

    /// The straight that a lane of so many barriers takes, millimetres (mm): `approach + (barriers - 1) spacing
    /// + run_out`. With 0 barriers as with 1. In 64 bits, since 40 spacings of 1 000 m would not be a
    /// [`Length`].
    ///
    /// ```
    /// use lanewright_compute::lane_plan::Candidate;
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let mm = Length::from_mm;
    /// let candidate = Candidate { kind: BarrierKind::Foam, height: mm(300), spacing: mm(6_500), approach: mm(12_000) };
    /// assert_eq!(candidate.straight_mm(5, mm(10_000)), 48_000);
    /// ```
    pub fn straight_mm(&self, barriers: u32, run_out: Length) -> u64 {
        u64::from(self.approach.mm())
            + u64::from(barriers.saturating_sub(1)) * u64::from(self.spacing.mm())
            + u64::from(run_out.mm())
    }

    /// The most barriers, up to `most`, that fit a straight; 0 when not even one does. Tried from `most`
    /// downwards: at most 40 sums.
    pub(super) fn barriers_that_fit(&self, straight: Length, run_out: Length, most: u32) -> u32 {
        (1..=most).rev().find(|&n| self.straight_mm(n, run_out) <= u64::from(straight.mm())).unwrap_or(0)
    }
}

/// One lane of the straight. Each has its own length, since one may have less room than the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lane {
    /// The number painted on the track; the plan is told in it.
    pub number: u32,
    /// Usable length, from the start line to the end of the free run-out: approach, barriers and run-out must
    /// fit into it.
    pub straight: Length,
}

/// Barriers of one make that the club owns. Several rows of a club's list that can be set to the same heights
/// may be one item.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockItem {
    /// Identity; its order breaks ties between items that can be set to equally many heights.
    pub id: u128,
    /// What it is.
    pub kind: BarrierKind,
    /// The heights each unit can be set to, at most [`MAX_HEIGHTS`], in any order; one entry for a barrier that
    /// is not adjustable.
    pub heights: Vec<Length>,
    /// How many units there are, 0 to [`MAX_UNITS`]; each stands at one height at a time.
    pub count: u32,
}

/// An athlete whom the coach puts in a lane. What the lane carries stays free: the best that all who are pinned
/// there are permitted to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pin {
    /// The athlete.
    pub athlete: u128,
    /// The number of the lane, one of [`Problem::lanes`]. A lane with a pin is in use whatever it costs.
    pub lane: u32,
}

/// What the plan minimises. Both are over those who run; what a changed lane must save is part of either.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Objective {
    /// The sum of regrets: the squad as a whole loses least, and one athlete may lose much.
    Total,
    /// The largest regret first, then the sum among the plans that keep to it: nobody loses more than is
    /// needed, others may lose a little more.
    Fair,
}

/// The group, the track, the equipment and the coach's wishes. See the [module's page](super) for an example.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Everybody present; 1 to [`MAX_ATHLETES`].
    pub athletes: Vec<Athlete>,
    /// Configurations a lane may carry; 1 to [`MAX_CANDIDATES`], all different.
    pub candidates: Vec<Candidate>,
    /// Lanes that may be used; 1 to [`MAX_LANES`], numbers all different.
    pub lanes: Vec<Lane>,
    /// How many of the lanes may be used at most, at least 1; more than there are means all. Lanes with pins
    /// count.
    pub lanes_max: usize,
    /// The most athletes of one lane, 1 to [`MAX_ATHLETES`]. They run one after the other, so it bounds the
    /// waiting between runs.
    pub capacity: usize,
    /// The fewest barriers of a lane, at least 1. Lengths and stock are judged by it; a lane with fewer is no
    /// lane.
    pub barriers_min: u32,
    /// The barriers wanted in a lane, `barriers_min` to [`MAX_BARRIERS`]; given where lengths and stock still
    /// allow after the search.
    pub barriers_max: u32,
    /// Free distance after the last barrier, the same for every lane; see
    /// [`run_out_least`](crate::bounds::run_out_least).
    pub run_out: Length,
    /// The equipment; at most [`MAX_STOCK_ITEMS`] items. None at all is allowed: then nothing can be set out,
    /// and everybody without a pin waits.
    pub stock: Vec<StockItem>,
    /// Athletes with a lane of their coach's choice; at most one each. They never wait.
    pub pins: Vec<Pin>,
    /// Pairs of athletes who must not share a lane, by id; at most [`MAX_ATHLETES`] pairs. Those who wait are
    /// not together.
    pub apart: Vec<(u128, u128)>,
    /// What to minimise.
    pub objective: Objective,
    /// What stood there last time, when the lanes are to stay as they are; none when nothing is to be kept.
    pub last_time: Option<LastTime>,
}

/// The lanes of last time, and what a change of one of them must be worth.
///
/// A lane that was not there last time costs `unless_saves` beside the regrets: a pinned lane counts as kept
/// when its own number carried the same configuration, the other lanes when any of their numbers did, each of
/// those once. A lane that is left out costs nothing.
///
/// Example: lanes 1 and 2 carried 6.00 and 6.50 m. A plan with 6.50, 6.50 and 7.00 m on lanes without pins
/// keeps one and changes two.
#[derive(Clone, Debug, PartialEq)]
pub struct LastTime {
    /// Number and configuration of each lane, each number once. Numbers that are not among [`Problem::lanes`]
    /// are ignored.
    pub lanes: Vec<(u32, Candidate)>,
    /// Regret that a changed lane must save, 0 to 300; at 0 changes are counted but cost nothing.
    pub unless_saves: f64,
}

/// Why a problem cannot be read. The text is for the maker of the problem, not for a coach.
///
/// ```
/// use lanewright_compute::lane_plan::{Part, ProblemError};
///
/// assert_eq!(ProblemError::Size(Part::Lanes).to_string(), "lanes: outside the permitted number");
/// ```
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum ProblemError {
    /// Too few or too many of something, or a list that is not as long as the candidates.
    #[error("{0}: outside the permitted number")]
    Size(Part),
    /// A number outside its range, or not a number.
    #[error("{0}: outside the permitted range")]
    Range(Part),
    /// The same thing twice.
    #[error("{0}: the same entry twice")]
    Twice(Part),
    /// A reference to something that is not in the problem.
    #[error("{0}: refers to something that is not given")]
    Unknown(Part),
}

/// The part of a problem that an error is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// [`Problem::athletes`].
    Athletes,
    /// [`Athlete::width_m`].
    Width,
    /// [`Athlete::height_cost`].
    HeightCost,
    /// [`Athlete::hold`].
    Hold,
    /// [`Athlete::permitted`].
    Permitted,
    /// [`Athlete::weight`].
    Weight,
    /// [`Problem::candidates`].
    Candidates,
    /// [`Problem::lanes`].
    Lanes,
    /// [`Problem::capacity`].
    Capacity,
    /// [`Problem::barriers_min`] and [`Problem::barriers_max`].
    Barriers,
    /// [`Problem::stock`].
    Stock,
    /// [`Problem::pins`].
    Pins,
    /// [`Problem::apart`].
    Apart,
    /// [`Problem::last_time`].
    LastTime,
}

impl std::fmt::Display for Part {
    /// The part's name in lower case, as the messages of [`ProblemError`] begin with it.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Athletes => "athletes",
            Self::Width => "width",
            Self::HeightCost => "height cost",
            Self::Hold => "hold",
            Self::Permitted => "permitted",
            Self::Weight => "weight",
            Self::Candidates => "candidates",
            Self::Lanes => "lanes",
            Self::Capacity => "capacity",
            Self::Barriers => "barriers",
            Self::Stock => "stock",
            Self::Pins => "pins",
            Self::Apart => "apart",
            Self::LastTime => "last time",
        })
    }
}

/// True when no two entries are equal; true for none and one. O(n log n).
fn distinct<T: Ord>(entries: impl IntoIterator<Item = T>) -> bool {
    let mut seen = BTreeSet::new();
    entries.into_iter().all(|entry| seen.insert(entry))
}

/// An error unless something holds; a range check with a comparison that is false for NaN therefore refuses
/// NaN.
fn require(holds: bool, error: ProblemError) -> Result<(), ProblemError> {
    if holds { Ok(()) } else { Err(error) }
}

impl Problem {
    /// Checks sizes, ranges and references, so that the longest computation is known.
    ///
    /// Sizes and single numbers come first, then athletes, stock, and what the wishes refer to, so that the
    /// error is the same for the same problem. What is not checked: whether any plan exists, and whether the
    /// hold probabilities agree with the widths.
    ///
    /// # Errors
    /// The first [`ProblemError`] found. `NaN` is outside every range.
    pub fn check(&self) -> Result<(), ProblemError> {
        use ProblemError::{Range, Size, Twice};
        let within = |n: usize, most: usize| (1..=most).contains(&n);
        require(within(self.athletes.len(), MAX_ATHLETES), Size(Part::Athletes))?;
        require(within(self.candidates.len(), MAX_CANDIDATES), Size(Part::Candidates))?;
        require(within(self.lanes.len(), MAX_LANES), Size(Part::Lanes))?;
        require(self.lanes_max >= 1, Range(Part::Lanes))?;
        require(within(self.capacity, MAX_ATHLETES), Range(Part::Capacity))?;
        let barriers =
            1 <= self.barriers_min && self.barriers_min <= self.barriers_max && self.barriers_max <= MAX_BARRIERS;
        require(barriers, Range(Part::Barriers))?;
        require(distinct(self.athletes.iter().map(|a| a.id)), Twice(Part::Athletes))?;
        if let Some(last) = &self.last_time {
            require((0.0..=300.0).contains(&last.unless_saves), Range(Part::LastTime))?;
            require(distinct(last.lanes.iter().map(|(number, _)| number)), Twice(Part::LastTime))?;
        }
        let keys = self.candidates.iter().map(Candidate::rank_key);
        require(distinct(keys), Twice(Part::Candidates))?;
        require(distinct(self.lanes.iter().map(|l| l.number)), Twice(Part::Lanes))?;
        self.check_athletes()?;
        self.check_stock()?;
        self.check_wishes()
    }

    /// Widths 0.01 to 10 m, height costs 0 to 10, probabilities 0 to 1, weights 1 to [`WEIGHT_MOST`], and one
    /// entry per candidate.
    fn check_athletes(&self) -> Result<(), ProblemError> {
        for athlete in &self.athletes {
            let width = (0.01..=10.0).contains(&athlete.width_m);
            require(width, ProblemError::Range(Part::Width))?;
            let cost = (0.0..=10.0).contains(&athlete.height_cost);
            require(cost, ProblemError::Range(Part::HeightCost))?;
            let complete = athlete.hold.len() == self.candidates.len();
            require(complete, ProblemError::Size(Part::Hold))?;
            let mut told = athlete.hold.iter().chain([&athlete.advised_hold]);
            let probabilities = told.all(|p| (0.0..=1.0).contains(p));
            require(probabilities, ProblemError::Range(Part::Hold))?;
            let complete = athlete.permitted.len() == self.candidates.len();
            require(complete, ProblemError::Size(Part::Permitted))?;
            let weight = (1.0..=WEIGHT_MOST).contains(&athlete.weight);
            require(weight, ProblemError::Range(Part::Weight))?;
        }
        Ok(())
    }

    /// Counts of items, heights and units, and that no id occurs twice. Heights may repeat; they count once.
    fn check_stock(&self) -> Result<(), ProblemError> {
        require(self.stock.len() <= MAX_STOCK_ITEMS, ProblemError::Size(Part::Stock))?;
        let ids = distinct(self.stock.iter().map(|item| item.id));
        require(ids, ProblemError::Twice(Part::Stock))?;
        for item in &self.stock {
            let heights = item.heights.len() <= MAX_HEIGHTS;
            require(heights, ProblemError::Size(Part::Stock))?;
            require(item.count <= MAX_UNITS, ProblemError::Range(Part::Stock))?;
        }
        Ok(())
    }

    /// That each athlete has one pin at most, and that pins and pairs name athletes and lanes of the problem
    /// and nobody is apart from themselves.
    fn check_wishes(&self) -> Result<(), ProblemError> {
        let athletes: BTreeSet<u128> = self.athletes.iter().map(|a| a.id).collect();
        let lanes: BTreeSet<u32> = self.lanes.iter().map(|l| l.number).collect();
        let pinned = distinct(self.pins.iter().map(|pin| pin.athlete));
        require(pinned, ProblemError::Twice(Part::Pins))?;
        let known = |pin: &Pin| athletes.contains(&pin.athlete) && lanes.contains(&pin.lane);
        require(self.pins.iter().all(known), ProblemError::Unknown(Part::Pins))?;
        require(self.apart.len() <= MAX_ATHLETES, ProblemError::Size(Part::Apart))?;
        for (a, b) in &self.apart {
            let known = athletes.contains(a) && athletes.contains(b);
            require(known, ProblemError::Unknown(Part::Apart))?;
            require(a != b, ProblemError::Twice(Part::Apart))?;
        }
        Ok(())
    }

    /// Whether an athlete may run a candidate (both positions in their lists).
    ///
    /// # Panics
    /// Where a position is not in its list, or a list is shorter than [`Problem::check`] asks for.
    pub fn permits(&self, athlete: usize, candidate: usize) -> bool {
        self.athletes[athlete].permitted[candidate]
    }

    /// Weighted loss of one athlete (position in [`Problem::athletes`]) at every candidate, in units of
    /// [`REGRET_UNIT`]; `None` where the athlete is not permitted.
    ///
    /// Between 0 and 2e9; 0 at the advised configuration when it is a candidate. The only place where losses
    /// become numbers of the search.
    pub fn regret_units(&self, athlete: usize) -> Vec<Option<i64>> {
        let runner = &self.athletes[athlete];
        let of = |(c, candidate): (usize, &Candidate)| {
            let here = candidate.configuration();
            self.permits(athlete, c).then(|| units(runner.weight * loss(runner, here, runner.hold[c])))
        };
        self.candidates.iter().enumerate().map(of).collect()
    }
}

/// A share, at most 300, in whole regret units, rounded half away from zero; what is outside 0 to 300 is cut
/// off. `libm::round` gives the same on every machine.
pub(super) fn units(share: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation)] // 0 to 3e11
    let whole = libm::round(share.clamp(0.0, 300.0) * UNITS) as i64;
    whole
}

/// Whole regret units as a share. Exact to the unit: 3e11 is far below the 2^53 up to which an `f64` holds
/// every whole number.
pub(super) fn share(units: i64) -> f64 {
    #[allow(clippy::cast_precision_loss)] // at most 3e11
    let units = units as f64;
    units / UNITS
}
