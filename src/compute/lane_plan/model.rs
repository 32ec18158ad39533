//! The problem: who is here, what can be set out, and what it costs each athlete.

use std::collections::BTreeSet;

use thiserror::Error;

use super::loss::{WEIGHT_MOST, loss};
use crate::decision::Configuration;
use crate::units::{BarrierKind, Length};

/// The most athletes of one problem.
pub const MAX_ATHLETES: usize = 300;
/// The most lanes of one problem.
pub const MAX_LANES: usize = 12;
/// The most candidate configurations of one problem.
pub const MAX_CANDIDATES: usize = 400;
/// The most stock items of one problem.
pub const MAX_STOCK_ITEMS: usize = 1_000;
/// The most heights that one stock item can be set to.
pub const MAX_HEIGHTS: usize = 40;
/// The most barriers of one lane.
pub const MAX_BARRIERS: u32 = 40;
/// The most units of one stock item.
pub const MAX_UNITS: u32 = 10_000;

/// Regrets are whole multiples of this share, so that sums and comparisons are free of rounding (design choice).
pub const REGRET_UNIT: f64 = 1e-9;
/// Regret units of a regret of 1.
pub(super) const UNITS: f64 = 1e9;

/// One athlete who is present.
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
    pub permitted: Vec<bool>,
    /// How much a loss of this athlete counts, 1 to [`WEIGHT_MOST`](super::WEIGHT_MOST); see [`weight`](super::weight).
    pub weight: f64,
    /// Number of the specification this athlete trains towards; the same for those who share one.
    pub target: u32,
}

/// One configuration that a lane may carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Candidate {
    /// What stands in the lane.
    pub kind: BarrierKind,
    /// Height of every barrier.
    pub height: Length,
    /// Distance between two consecutive barriers.
    pub spacing: Length,
    /// Distance from the start line to the first barrier.
    pub approach: Length,
}

impl Candidate {
    /// Its kind, height and spacing.
    pub fn configuration(&self) -> Configuration {
        Configuration { barrier_kind: self.kind, height: self.height, spacing: self.spacing }
    }

    /// The order that breaks ties: smaller spacing, lower height, softer kind, shorter approach.
    pub(super) fn rank_key(&self) -> (Length, Length, BarrierKind, Length) {
        (self.spacing, self.height, self.kind, self.approach)
    }

    /// The straight that a lane of so many barriers takes, millimetres (mm).
    pub fn straight_mm(&self, barriers: u32, run_out: Length) -> u64 {
        u64::from(self.approach.mm())
            + u64::from(barriers.saturating_sub(1)) * u64::from(self.spacing.mm())
            + u64::from(run_out.mm())
    }

    /// The most barriers, up to `most`, that fit a straight; 0 when not even one does.
    pub(super) fn barriers_that_fit(&self, straight: Length, run_out: Length, most: u32) -> u32 {
        (1..=most).rev().find(|&n| self.straight_mm(n, run_out) <= u64::from(straight.mm())).unwrap_or(0)
    }
}

/// One lane of the straight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lane {
    /// The number painted on the track.
    pub number: u32,
    /// Usable length, from the start line to the end of the free run-out.
    pub straight: Length,
}

/// Barriers of one make that the club owns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockItem {
    /// Identity; its order breaks ties.
    pub id: u128,
    /// What it is.
    pub kind: BarrierKind,
    /// The heights each unit can be set to.
    pub heights: Vec<Length>,
    /// How many units there are.
    pub count: u32,
}

/// An athlete whom the coach puts in a lane.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pin {
    /// The athlete.
    pub athlete: u128,
    /// The number of the lane.
    pub lane: u32,
}

/// What the plan minimises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Objective {
    /// The sum of regrets.
    Total,
    /// The largest regret first, then the sum.
    Fair,
}

/// The group, the track, the equipment and the coach's wishes.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Everybody present; 1 to [`MAX_ATHLETES`].
    pub athletes: Vec<Athlete>,
    /// Configurations a lane may carry; 1 to [`MAX_CANDIDATES`], all different.
    pub candidates: Vec<Candidate>,
    /// Lanes that may be used; 1 to [`MAX_LANES`], numbers all different.
    pub lanes: Vec<Lane>,
    /// How many of the lanes may be used at most, at least 1.
    pub lanes_max: usize,
    /// The most athletes of one lane, 1 to [`MAX_ATHLETES`].
    pub capacity: usize,
    /// The fewest barriers of a lane, at least 1.
    pub barriers_min: u32,
    /// The barriers wanted in a lane, `barriers_min` to [`MAX_BARRIERS`].
    pub barriers_max: u32,
    /// Free distance after the last barrier.
    pub run_out: Length,
    /// The equipment; at most [`MAX_STOCK_ITEMS`] items.
    pub stock: Vec<StockItem>,
    /// Athletes with a lane of their coach's choice; at most one each.
    pub pins: Vec<Pin>,
    /// Pairs of athletes who must not share a lane.
    pub apart: Vec<(u128, u128)>,
    /// What to minimise.
    pub objective: Objective,
    /// What stood there last time, when the lanes are to stay as they are.
    pub last_time: Option<LastTime>,
}

/// The lanes of last time, and what a change of one of them must be worth.
///
/// A lane that was not there last time costs `unless_saves` beside the regrets: a pinned lane counts as kept when its own
/// number carried the same configuration, the other lanes when any of their numbers did, each of those once. A lane that
/// is left out costs nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct LastTime {
    /// Number and configuration of each lane.
    pub lanes: Vec<(u32, Candidate)>,
    /// Regret that a changed lane must save, 0 to 300.
    pub unless_saves: f64,
}

/// Why a problem cannot be read.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum ProblemError {
    /// Too few or too many of something.
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

/// True when no two entries are equal.
fn distinct<T: Ord>(entries: impl IntoIterator<Item = T>) -> bool {
    let mut seen = BTreeSet::new();
    entries.into_iter().all(|entry| seen.insert(entry))
}

fn require(holds: bool, error: ProblemError) -> Result<(), ProblemError> {
    if holds { Ok(()) } else { Err(error) }
}

impl Problem {
    /// Checks sizes, ranges and references, so that the longest computation is known.
    ///
    /// # Errors
    /// The first [`ProblemError`] found.
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
    pub fn permits(&self, athlete: usize, candidate: usize) -> bool {
        self.athletes[athlete].permitted[candidate]
    }

    /// Weighted loss of one athlete (position in [`Problem::athletes`]) at every candidate, in units of [`REGRET_UNIT`];
    /// `None` where the athlete is not permitted.
    pub fn regret_units(&self, athlete: usize) -> Vec<Option<i64>> {
        let runner = &self.athletes[athlete];
        let of = |(c, candidate): (usize, &Candidate)| {
            let here = candidate.configuration();
            self.permits(athlete, c).then(|| units(runner.weight * loss(runner, here, runner.hold[c])))
        };
        self.candidates.iter().enumerate().map(of).collect()
    }
}

/// A share, at most 300, in whole regret units.
pub(super) fn units(share: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation)] // 0 to 3e11
    let whole = libm::round(share.clamp(0.0, 300.0) * UNITS) as i64;
    whole
}

/// Whole regret units as a share.
pub(super) fn share(units: i64) -> f64 {
    #[allow(clippy::cast_precision_loss)] // at most 3e11
    let units = units as f64;
    units / UNITS
}
