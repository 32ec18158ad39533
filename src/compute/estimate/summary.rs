//! The estimate in figures that a coach can use.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::grid::{CELLS, STEP_M, excess_height_m, limit_m};
use super::outcome::chances;
use super::{Evidence, Settings};
use crate::prior::Prior;
use crate::units::Length;

/// A probability distribution in four figures, all in the unit of the quantity.
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
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Mean over what is believed: the probability to act on.
    pub mean: f64,
    /// 5 % quantile over what is believed.
    pub p05: f64,
    /// 95 % quantile over what is believed.
    pub p95: f64,
}

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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dominance {
    /// More than half of the prior's variance remains.
    Prior,
    /// At most half of it remains.
    Data,
}

/// Mass of one limit, height cost and width.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub limit_m: f64,
    pub height_cost: f64,
    pub width_m: f64,
    pub mass: f64,
}

/// What is believed about an athlete on a day.
#[derive(Clone, Debug)]
pub struct Estimate {
    /// Comfortable limit over a wicket of 0.30 m, metres (m).
    pub limit_m: Spread,
    /// Mean height cost, metres of spacing per metre of height.
    pub height_cost: f64,
    /// Mean width, metres (m).
    pub width_m: f64,
    /// Share of the prior's variance of the limit that remains, 0 to 1.
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
const ASKED_MAX: usize = 1_024;

/// What was asked of an estimate before. A decision, its reasons and the curve ask for the same places again, and so does the
/// next advice that rests on the same runs; copies share it. What is kept never changes an answer.
#[derive(Debug, Default)]
struct Asked {
    holds: Mutex<BTreeMap<(Length, Length), Hold>>,
    limits: Mutex<BTreeMap<Length, Spread>>,
}

/// What was answered before, or else is found and kept.
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
    pub fn bytes(&self) -> usize {
        size_of_val(&self.points[..]) + ASKED_MAX * size_of::<(Length, Length, Hold, Length, Spread)>()
    }

    /// What the estimate mostly rests on.
    pub fn dominance(&self) -> Dominance {
        if self.prior_share > 0.5 { Dominance::Prior } else { Dominance::Data }
    }

    /// The comfortable limit over barriers of a height, metres (m).
    ///
    /// Each cell of the grid counts as spread evenly over its width.
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
    pub fn curve_width_m(&self) -> f64 {
        let of_limit = |point: &Point| (point.limit_m - self.limit_m.mean) * (point.limit_m - self.limit_m.mean);
        let limit: f64 = self.points.iter().map(|point| point.mass * of_limit(point)).sum();
        let width: f64 = self.points.iter().map(|point| point.mass * point.width_m * point.width_m).sum();
        libm::sqrt(width + 3.0 * limit / (std::f64::consts::PI * std::f64::consts::PI))
    }

    /// The probability that an interval of a height and spacing is held.
    pub fn hold(&self, height: Length, spacing: Length) -> Hold {
        once(&self.asked.holds, (height, spacing), || self.find_hold(height, spacing))
    }

    fn find_hold(&self, height: Length, spacing: Length) -> Hold {
        let mut held: Vec<(f64, f64)> = self.chances_at(height, spacing).map(|(held, _, mass)| (held, mass)).collect();
        let mean = held.iter().map(|(held, mass)| held * mass).sum();
        held.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        Hold { mean, p05: quantile(&held, 0.05), p95: quantile(&held, 0.95) }
    }

    /// The mean of [`Estimate::hold`] alone, for many configurations at once.
    pub fn hold_mean(&self, height: Length, spacing: Length) -> f64 {
        self.chances_at(height, spacing).map(|(held, _, mass)| held * mass).sum()
    }

    /// The probability that every one of so many intervals in a row is held, at a height and spacing.
    ///
    /// What is not known of the athlete is counted in; that intervals of one run fail together is not, so it is rather low.
    pub fn hold_all(&self, height: Length, spacing: Length, intervals: u8) -> f64 {
        let all = |held: f64| (0..intervals).fold(1.0, |all, _| all * held);
        self.chances_at(height, spacing).map(|(held, _, mass)| all(held) * mass).sum()
    }

    /// The probability of holding an interval at every height and spacing, heights outermost, in the given order.
    pub fn hold_curve(&self, heights: &[Length], spacings: &[Length]) -> Vec<HoldAt> {
        let of_height = |&height: &Length| {
            spacings.iter().map(move |&spacing| HoldAt { height, spacing, hold: self.hold(height, spacing) })
        };
        heights.iter().flat_map(of_height).collect()
    }

    /// The probability that an interval of a height and spacing is not over-reached; never rises with either.
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
fn quantile(sorted: &[(f64, f64)], level: f64) -> f64 {
    let mut up_to = 0.0;
    let reached = sorted.iter().find(|(_, mass)| {
        up_to += mass;
        up_to >= level
    });
    reached.or(sorted.last()).map_or(0.0, |&(value, _)| value)
}

/// Mean and quantiles of (value, mass) pairs, each spread evenly over a cell's width around its value.
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
