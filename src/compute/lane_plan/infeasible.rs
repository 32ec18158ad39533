//! Why no plan exists, and the smallest change that would allow one.

use super::exists;
use super::model::{Problem, StockItem};
use super::work::{Budget, Work};
use crate::units::{BarrierKind, Length};

/// Parts of the search that one question may take; a question left open is not answered with yes.
const NODES: u64 = 2_000;

/// The limit that no plan satisfies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Limit {
    /// This athlete may run none of the configurations.
    NoPermittedConfiguration {
        /// The athlete.
        athlete: u128,
    },
    /// More athletes than places.
    Places {
        /// Athletes present.
        athletes: usize,
        /// Lanes times capacity.
        places: usize,
    },
    /// The athletes pinned to this lane cannot run there together.
    Pins {
        /// The lane.
        lane: u32,
    },
    /// The straight is too short for the fewest barriers.
    Straight,
    /// Too few barriers.
    Stock,
    /// More than one of these at once.
    Several,
}

/// A change of one limit that makes a plan possible; the smallest of its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relaxation {
    /// So many athletes in one lane.
    Capacity(usize),
    /// So few barriers in a lane.
    BarriersMin(u32),
    /// A straight of at least this length in every lane.
    Straight(Length),
    /// More units of a kind settable to a height.
    Units {
        /// The kind.
        kind: BarrierKind,
        /// The height.
        height: Length,
        /// How many more.
        more: u32,
    },
    /// Without any pin.
    NoPins,
}

/// Why no plan exists.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Infeasible {
    /// The limit that binds.
    pub limit: Limit,
    /// Changes each of which alone would do; may be empty when several limits bind at once.
    pub relaxations: Vec<Relaxation>,
}

/// Finds the binding limit by asking which single change would make a plan possible.
pub(super) fn diagnose(problem: &Problem, regrets: &[Vec<Option<i64>>]) -> Infeasible {
    if let Some(alone) = regrets.iter().position(|row| row.iter().all(Option::is_none)) {
        let limit = Limit::NoPermittedConfiguration { athlete: problem.athletes[alone].id };
        return Infeasible { limit, relaxations: Vec::new() };
    }
    let possible = |changed: &Problem| possible(changed, regrets);
    let units = fewest_units(problem, &possible);
    let straight = shortest_straight(problem, &possible);
    let fewer = (1..problem.barriers_min).rev().find(|&n| possible(&Problem { barriers_min: n, ..problem.clone() }));
    let capacity = (problem.capacity + 1..=problem.athletes.len())
        .find(|&capacity| possible(&Problem { capacity, ..problem.clone() }));
    let unpinned = !problem.pins.is_empty() && possible(&Problem { pins: Vec::new(), ..problem.clone() });

    let places = problem.lanes.len() * problem.capacity;
    let limit = if places < problem.athletes.len() {
        Limit::Places { athletes: problem.athletes.len(), places }
    } else if let Some(lane) = clashing_pins(problem, regrets) {
        Limit::Pins { lane }
    } else if straight.is_some() {
        Limit::Straight
    } else if units.is_some() {
        Limit::Stock
    } else {
        Limit::Several
    };
    let relaxations = [
        capacity.map(Relaxation::Capacity),
        units,
        fewer.map(Relaxation::BarriersMin),
        straight.map(Relaxation::Straight),
        unpinned.then_some(Relaxation::NoPins),
    ];
    Infeasible { limit, relaxations: relaxations.into_iter().flatten().collect() }
}

fn possible(problem: &Problem, regrets: &[Vec<Option<i64>>]) -> bool {
    let mut work = Work::new(Budget { nodes: NODES }, &|| false);
    exists(problem, regrets, &mut work) == Some(true)
}

/// A lane whose pinned athletes are too many, must be kept apart, or have no configuration in common.
fn clashing_pins(problem: &Problem, regrets: &[Vec<Option<i64>>]) -> Option<u32> {
    let position = |id: u128| problem.athletes.iter().position(|athlete| athlete.id == id);
    problem.pins.iter().map(|pin| pin.lane).find(|&lane| {
        let ids: Vec<u128> = problem.pins.iter().filter(|pin| pin.lane == lane).map(|pin| pin.athlete).collect();
        let members: Vec<usize> = ids.iter().filter_map(|&id| position(id)).collect();
        let common = (0..problem.candidates.len()).any(|c| members.iter().all(|&a| regrets[a][c].is_some()));
        let apart = problem.apart.iter().any(|(a, b)| ids.contains(a) && ids.contains(b));
        members.len() > problem.capacity || apart || !common
    })
}

/// The fewest units of one kind and height that would do; ties to the softer kind, then the lower height.
fn fewest_units(problem: &Problem, possible: &dyn Fn(&Problem) -> bool) -> Option<Relaxation> {
    let mut wanted: Vec<(BarrierKind, Length)> = problem.candidates.iter().map(|c| (c.kind, c.height)).collect();
    wanted.sort_unstable();
    wanted.dedup();
    let enough = u32::try_from(problem.lanes.len()).unwrap_or(u32::MAX).saturating_mul(problem.barriers_min);
    let mut best: Option<(u32, BarrierKind, Length)> = None;
    for (kind, height) in wanted {
        let with = |more: u32| {
            let mut changed = problem.clone();
            let id = problem.stock.iter().map(|item| item.id).max().map_or(0, |id| id.wrapping_add(1));
            changed.stock.push(StockItem { id, kind, heights: vec![height], count: more });
            possible(&changed)
        };
        // Only fewer than the best so far are of interest.
        let limit = best.map_or(enough, |(more, ..)| more - 1);
        if limit == 0 || !with(limit) {
            continue;
        }
        let (mut low, mut high) = (1, limit);
        while low < high {
            let middle = u32::midpoint(low, high);
            if with(middle) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        best = Some((high, kind, height));
    }
    best.map(|(more, kind, height)| Relaxation::Units { kind, height, more })
}

/// The shortest straight, for every lane shorter than it, that would do.
fn shortest_straight(problem: &Problem, possible: &dyn Fn(&Problem) -> bool) -> Option<Length> {
    let shortest = problem.lanes.iter().map(|lane| lane.straight).min().unwrap_or_default();
    let mut lengths: Vec<Length> = problem
        .candidates
        .iter()
        .filter_map(|c| u32::try_from(c.straight_mm(problem.barriers_min, problem.run_out)).ok())
        .filter(|mm| *mm > shortest.mm() && *mm <= Length::MAX_MM)
        .map(Length::from_mm)
        .collect();
    lengths.sort_unstable();
    lengths.dedup();
    let with = |straight: Length| {
        let mut changed = problem.clone();
        for lane in &mut changed.lanes {
            lane.straight = lane.straight.max(straight);
        }
        possible(&changed)
    };
    let (mut low, mut high) = (0, lengths.len());
    while low < high {
        let middle = usize::midpoint(low, high);
        if with(lengths[middle]) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    lengths.get(high).copied()
}
