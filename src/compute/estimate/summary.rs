//! The estimate in figures that a coach can use.
//!
//! Everything is computed from the mass over limit, height cost and width (the trend summed out); a question about a
//! height and spacing is a sum over those points:
//!
//! ```text
//! C_i(h) = c_i - g_i max(0, h - 0.30)
//! P(hold | s, h) = Σ m_i p_held(s - C_i(h), w_i)
//! ```
//!
//! The 5 % and 95 % quantiles of P(hold) say how sure the probability itself is: they are quantiles of p_held over the
//! points, not of outcomes. Quantiles of a length spread each point evenly over 0.05 m around it, the width of its
//! cell.
//!
//! Cost: a sum over at most 3 668 points for a mean (2 089 in the module's example), a sort of them for quantiles.
//! Answers are kept by height and spacing, since a decision, its reasons, the region and the curve ask for the same
//! places.
//!
//! Worked, with the runs of [`crate::estimate`]'s example: P(hold) at 6.00 m is 0.897 over 0.30 m and 0.851 over 0.50
//! m; at 6.25 m it is 0.841 and 0.723. The 0.20 m of height cost about as much as a quarter metre of spacing.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::grid::{CELLS, STEP_M, excess_height_m, limit_m};
use super::outcome::chances;
use super::{Evidence, Settings};
use crate::prior::Prior;
use crate::units::Length;

/// A probability distribution in four figures, all in the unit of the quantity.
///
/// `p05 <= p50 <= p95`; the mean may lie anywhere between the ends and, for a very skew belief, outside the middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Mean.
    pub mean: f64,
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
}

/// The probability that an interval is held, and how sure that is.
///
/// Three figures of one distribution, that of P(held) over the belief; the mean is no quantile and need not be the
/// median.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Mean over what is believed: the probability to act on.
    pub mean: f64,
    /// 5 % quantile over what is believed.
    pub p05: f64,
    /// 95 % quantile over what is believed.
    pub p95: f64,
}

/// Mean, 5 % and 95 % quantile, in this order.
impl From<Hold> for (f64, f64, f64) {
    fn from(hold: Hold) -> Self {
        (hold.mean, hold.p05, hold.p95)
    }
}

/// A point of the hold curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoldAt {
    /// Height of the barriers.
    pub height: Length,
    /// Spacing of the barriers.
    pub spacing: Length,
    /// The probability that an interval is held there.
    pub hold: Hold,
}

/// What an estimate mostly rests on.
///
/// The line at one half is a design choice; it is told to coaches as "rests mostly on body and age".
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dominance {
    /// More than half of the prior's variance remains.
    Prior,
    /// At most half of it remains.
    Data,
}

/// Mass of one limit, height cost and width.
///
/// `mass` is a probability above 1e-13.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub limit_m: f64,
    pub height_cost: f64,
    pub width_m: f64,
    pub mass: f64,
}

/// What is believed about an athlete on a day.
///
/// Cheap to clone: points and kept answers are shared. Two clones asked at the same time may both compute an answer;
/// what they keep is equal.
///
/// ```
/// use lanewright_compute::estimate::{Settings, estimate};
/// use lanewright_compute::prior::{Basis, Prior};
/// use lanewright_compute::units::Length;
///
/// let prior = Prior { mean_m: 6.5, sd_m: 0.4, basis: Basis::default() };
/// let known = estimate(&prior, &[], 20_000, &Settings::default())?;
/// let (wicket, hurdle) = (Length::from_mm(300), Length::from_mm(762));
/// // Half a metre of hurdle above the wicket costs about half a metre of spacing.
/// assert!((known.limit_at(wicket).mean - known.limit_at(hurdle).mean - 0.47).abs() < 0.03);
/// assert!(known.curve_width_m() > known.width_m);
/// # Ok::<(), lanewright_compute::estimate::EstimateError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Estimate {
    /// Comfortable limit over a wicket of 0.30 m, metres (m).
    pub limit_m: Spread,
    /// Mean height cost, metres of spacing per metre of height.
    pub height_cost: f64,
    /// Mean width, metres (m).
    pub width_m: f64,
    /// Share of the prior's variance of the limit that remains, 0 to 1.
    ///
    /// Cut off at 1: after a long lay-off more may be unknown than before the first run.
    pub prior_share: f64,
    /// What it has seen.
    pub evidence: Evidence,
    /// The prior from which it started.
    pub prior: Prior,
    points: Arc<[Point]>,
    settings: Settings,
    asked: Arc<Asked>,
}

/// Most answers of a kind that an estimate keeps: some 100 KB.
///
/// A place beyond that is computed anew each time. Design choice.
const ASKED_MAX: usize = 1_024;

/// What was asked of an estimate before. A decision, its reasons and the curve ask for the same places again, and so does the
/// next advice that rests on the same runs; copies share it. What is kept never changes an answer.
///
/// Behind locks, because estimates are shared between requests; a poisoned lock is used on, what it guards is never
/// half written.
#[derive(Debug, Default)]
struct Asked {
    holds: Mutex<BTreeMap<(Length, Length), Hold>>,
    limits: Mutex<BTreeMap<Length, Spread>>,
}

/// What was answered before, or else is found and kept.
///
/// The lock is not held while computing, so a slow answer holds nobody up.
fn once<K: Ord, V: Copy>(known: &Mutex<BTreeMap<K, V>>, key: K, find: impl FnOnce() -> V) -> V {
    let open = || known.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(value) = open().get(&key) {
        return *value;
    }
    let value = find();
    let mut known = open();
    if known.len() < ASKED_MAX {
        known.insert(key, value);
    }
    value
}

impl Estimate {
    /// `points` must sum to one; `prior_variance` above nought, in m².
    pub(super) fn new(
        points: Vec<Point>,
        prior: Prior,
        prior_variance: f64,
        evidence: Evidence,
        settings: Settings,
    ) -> Self {
        let mean = |of: fn(&Point) -> f64| points.iter().map(|point| point.mass * of(point)).sum::<f64>();
        let limit_m = spread_of_cells(points.iter().map(|point| (point.limit_m, point.mass)));
        let variance: f64 = points
            .iter()
            .map(|point| point.mass * (point.limit_m - limit_m.mean) * (point.limit_m - limit_m.mean))
            .sum();
        Self {
            limit_m,
            height_cost: mean(|point| point.height_cost),
            width_m: mean(|point| point.width_m),
            prior_share: (variance / prior_variance).clamp(0.0, 1.0),
            evidence,
            prior,
            points: points.into(),
            settings,
            asked: Arc::default(),
        }
    }

    /// What it weighs, bytes, with all that may be asked of it.
    ///
    /// An upper bound that counts the kept answers as full; used to bound what the service keeps in memory.
    pub fn bytes(&self) -> usize {
        size_of_val(&self.points[..]) + ASKED_MAX * size_of::<(Length, Length, Hold, Length, Spread)>()
    }

    /// What the estimate mostly rests on.
    ///
    /// [`Dominance::Prior`] for an athlete without runs: `prior_share` is 1 then.
    pub fn dominance(&self) -> Dominance {
        if self.prior_share > 0.5 { Dominance::Prior } else { Dominance::Data }
    }

    /// The comfortable limit over barriers of a height, metres (m).
    ///
    /// Each cell of the grid counts as spread evenly over its width.
    ///
    /// Heights of 0.30 m and below have one answer. The mean falls by the mean height cost for each metre above; the
    /// interval widens by what is not known of the cost.
    pub fn limit_at(&self, height: Length) -> Spread {
        once(&self.asked.limits, height, || {
            let excess = excess_height_m(height);
            spread_of_cells(self.points.iter().map(|point| (point.limit_m - point.height_cost * excess, point.mass)))
        })
    }

    /// The width of the curve by which [`Estimate::hold_mean`] falls with the spacing, metres (m).
    ///
    /// What is not known of the limit widens the curve: variances add, and that of a logistic curve of width w is
    /// (pi w)² / 3.
    ///
    /// An approximation: the mixture of logistic curves is read as one logistic curve of the same variance. The lane
    /// plan takes it as the athlete's scale of demand. 0.264 m in the module's example, where the mean width is 0.220
    /// m.
    pub fn curve_width_m(&self) -> f64 {
        let of_limit = |point: &Point| (point.limit_m - self.limit_m.mean) * (point.limit_m - self.limit_m.mean);
        let limit: f64 = self.points.iter().map(|point| point.mass * of_limit(point)).sum();
        let width: f64 = self.points.iter().map(|point| point.mass * point.width_m * point.width_m).sum();
        libm::sqrt(width + 3.0 * limit / (std::f64::consts::PI * std::f64::consts::PI))
    }

    /// The probability that an interval of a height and spacing is held.
    ///
    /// No height or spacing is refused; outside the grid's reach the answer follows the curve to its flat ends. Falls
    /// both ways from the spacing half a band inside the limit.
    pub fn hold(&self, height: Length, spacing: Length) -> Hold {
        once(&self.asked.holds, (height, spacing), || self.find_hold(height, spacing))
    }

    /// The sort is by probability: points of different limits may hold alike, one beyond and one crowded.
    fn find_hold(&self, height: Length, spacing: Length) -> Hold {
        let mut held: Vec<(f64, f64)> = self.chances_at(height, spacing).map(|(held, _, mass)| (held, mass)).collect();
        let mean = held.iter().map(|(held, mass)| held * mass).sum();
        held.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        Hold { mean, p05: quantile(&held, 0.05), p95: quantile(&held, 0.95) }
    }

    /// The mean of [`Estimate::hold`] alone, for many configurations at once.
    ///
    /// Equal bits to the mean of [`Estimate::hold`], without sorting and without keeping the answer.
    pub fn hold_mean(&self, height: Length, spacing: Length) -> f64 {
        self.chances_at(height, spacing).map(|(held, _, mass)| held * mass).sum()
    }

    /// The probability that every one of so many intervals in a row is held, at a height and spacing.
    ///
    /// What is not known of the athlete is counted in; that intervals of one run fail together is not, so it is rather low.
    ///
    /// Nought intervals give the whole mass, 1. For one interval it is [`Estimate::hold_mean`]. By Jensen's inequality
    /// never below the mean's own power: what an athlete can is common to all intervals. In the module's example at
    /// 6.00 m: 0.897 for one interval, 0.674 for four, 0.529 for seven, where 0.897 to the seventh is 0.467.
    pub fn hold_all(&self, height: Length, spacing: Length, intervals: u8) -> f64 {
        let all = |held: f64| (0..intervals).fold(1.0, |all, _| all * held);
        self.chances_at(height, spacing).map(|(held, _, mass)| all(held) * mass).sum()
    }

    /// The probability of holding an interval at every height and spacing, heights outermost, in the given order.
    ///
    /// One entry for each pair, also for equal heights given twice.
    pub fn hold_curve(&self, heights: &[Length], spacings: &[Length]) -> Vec<HoldAt> {
        let of_height = |&height: &Length| {
            spacings.iter().map(move |&spacing| HoldAt { height, spacing, hold: self.hold(height, spacing) })
        };
        heights.iter().flat_map(of_height).collect()
    }

    /// The probability that an interval of a height and spacing is not over-reached; never rises with either.
    ///
    /// What makes athletes fall is reaching; a crowded interval counts as safe here.
    pub fn chance_not_over_reached(&self, height: Length, spacing: Length) -> f64 {
        self.chances_at(height, spacing).map(|(_, over_reached, mass)| (1.0 - over_reached) * mass).sum()
    }

    /// Held, over-reached and mass of every point.
    fn chances_at(&self, height: Length, spacing: Length) -> impl Iterator<Item = (f64, f64, f64)> {
        let excess = excess_height_m(height);
        self.points.iter().map(move |point| {
            let beyond = spacing.metres() - (point.limit_m - point.height_cost * excess);
            let chances = chances(beyond, point.width_m, &self.settings);
            (chances.held, chances.over_reached, point.mass)
        })
    }
}

/// The least value of sorted (value, mass) pairs up to which at least a share `level` of the mass lies.
///
/// Sorted ascending by value. Nought for an empty list, the last value where rounding leaves the mass below the level.
fn quantile(sorted: &[(f64, f64)], level: f64) -> f64 {
    let mut up_to = 0.0;
    let reached = sorted.iter().find(|(_, mass)| {
        up_to += mass;
        up_to >= level
    });
    reached.or(sorted.last()).map_or(0.0, |&(value, _)| value)
}

/// Mean and quantiles of (value, mass) pairs, each spread evenly over a cell's width around its value.
///
/// For cells at any places, as after subtracting a height cost: a sum of boxes of equal width, whose area is followed
/// from edge to edge. n log n for n cells.
fn spread_of_cells(cells: impl Iterator<Item = (f64, f64)>) -> Spread {
    let mut mean = 0.0;
    let mut edges = Vec::new();
    for (value, mass) in cells {
        mean += value * mass;
        edges.push((value - STEP_M / 2.0, mass / STEP_M));
        edges.push((value + STEP_M / 2.0, -mass / STEP_M));
    }
    edges.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    Spread { mean, p05: reach(&edges, 0.05), p50: reach(&edges, 0.50), p95: reach(&edges, 0.95) }
}

/// Mean and quantiles of the mass of each cell of the limit, spread evenly over the cell's width.
///
/// The same for cells at their own places, where no sort is needed. The masses must sum to one; a rounding below the
/// level answers the upper end of the last cell.
pub(super) fn spread_of_row(row: &[f64; CELLS]) -> Spread {
    let at = |level: f64| {
        let mut below = 0.0;
        for (cell, &mass) in row.iter().enumerate() {
            if mass > 0.0 && below + mass >= level {
                return limit_m(cell) + STEP_M * ((level - below) / mass - 0.5);
            }
            below += mass;
        }
        limit_m(CELLS - 1) + STEP_M / 2.0
    };
    let mean = row.iter().enumerate().map(|(cell, mass)| mass * limit_m(cell)).sum();
    Spread { mean, p05: at(0.05), p50: at(0.50), p95: at(0.95) }
}

/// Where the area under a density of steps reaches a level; edges are sorted (place, change of density) pairs.
///
/// Between two edges the density is constant, so the place is found by one division. An empty list answers minus
/// infinity.
fn reach(edges: &[(f64, f64)], level: f64) -> f64 {
    let (mut area, mut density, mut at) = (0.0, 0.0_f64, f64::NEG_INFINITY);
    for &(place, change) in edges {
        let gain = if density > 0.0 { density * (place - at) } else { 0.0 };
        if area + gain >= level {
            return at + (level - area) / density;
        }
        area += gain;
        density += change;
        at = place;
    }
    at
}
