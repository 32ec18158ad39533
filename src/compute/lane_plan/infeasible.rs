//! Why no plan exists, and the smallest change that would allow one.
//!
//! For one kind of limit at a time the problem is asked again with that limit loosened, "is there any plan with
//! a place for everybody?", which is a matter of covering and takes few steps. A change that is told was tried:
//! with it alone everybody has a place. Several changes together are not tried.
//!
//! | limit | how it is loosened | search |
//! | --- | --- | --- |
//! | [`Relaxation::Capacity`] | one more in a lane, and one more, up to everybody | upwards |
//! | [`Relaxation::BarriersMin`] | one fewer barrier in a lane, down to one | downwards |
//! | [`Relaxation::Straight`] | every shorter lane as long as some candidate needs | bisection |
//! | [`Relaxation::Units`] | more units of one kind at one height, up to all lanes of them | bisection |
//! | [`Relaxation::NoPins`] | all pins taken away | once |
//!
//! Each question has 2 000 parts of the search; one that is left open counts as no. So a change that is told
//! always works, but where a question ended early a smaller one may work too, or one that is not told at all.
//!
//! # Worked example
//! Six athletes, one lane with four places and six barriers in stock, at least five of them in a lane. Six
//! athletes do not fit into four places: [`Limit::Places`]. Six in a lane would do: `Capacity(6)`. No barriers,
//! metres or fewer barriers bring a second lane, so nothing else is told. With two lanes there are eight
//! places, but ten barriers are needed: [`Limit::Stock`], and six athletes in one lane, four more units or
//! three barriers a lane would do.
//!
//! # Used from
//! [`Plan::short_of`](super::Plan::short_of), and with it the words of `compute::english` that tell what would
//! help those who wait.

use super::exists;
use super::model::{Problem, StockItem};
use super::work::{Budget, Work};
use crate::units::{BarrierKind, Length};

/// Parts of the search that one question may take; a question left open is not answered with yes (design
/// choice).
const NODES: u64 = 2_000;

/// The limit that no plan satisfies.
///
/// Where several of these hold, the first in the order of places, pins, straight and stock is named; that is
/// the one to look at first, not the only one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Limit {
    /// This athlete has a pin and may run none of the configurations; named before all others. Without a pin such
    /// an athlete is in nobody's way and waits for a reason of their own. Of several the first in the problem.
    NoPermittedConfiguration {
        /// The athlete.
        athlete: u128,
    },
    /// More athletes than places.
    Places {
        /// Athletes present, those left out for whom nothing is permitted.
        athletes: usize,
        /// All lanes of the problem times the capacity.
        places: usize,
    },
    /// The athletes pinned to this lane cannot run there together: they are too many, are to be kept apart, or
    /// have no configuration in common.
    Pins {
        /// The number of the lane, of several the one that is pinned first.
        lane: u32,
    },
    /// The straight is too short for the fewest barriers: longer lanes alone would do.
    Straight,
    /// Too few barriers: more of one kind and height alone would do.
    Stock,
    /// More than one of these at once, or one that no question within its parts has shown to suffice.
    Several,
}

/// A change of one limit that makes a plan possible; the smallest of its kind that was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relaxation {
    /// So many athletes in one lane, more than now and no more than are present.
    Capacity(usize),
    /// So few barriers in a lane, fewer than now and at least 1.
    BarriersMin(u32),
    /// A straight of at least this length in every lane; just what some candidate needs with the fewest
    /// barriers.
    Straight(Length),
    /// More units of a kind settable to a height; of several kinds and heights the one that takes the fewest.
    Units {
        /// The kind.
        kind: BarrierKind,
        /// The height.
        height: Length,
        /// How many more, 1 to the fewest barriers of all lanes together.
        more: u32,
    },
    /// Without any pin; which one is in the way is not told.
    NoPins,
}

/// Why no plan exists, or why not everybody has a place.
///
/// ```
/// use lanewright_compute::decision::Configuration;
/// use lanewright_compute::lane_plan::{
///     Athlete, Budget, Candidate, Lane, Limit, Objective, Problem, Relaxation, StockItem, plan,
/// };
/// use lanewright_compute::units::{BarrierKind, Length};
///
/// let (kind, height, spacing) = (BarrierKind::Foam, Length::from_mm(300), Length::from_mm(6_000));
/// let athlete = |id| Athlete {
///     id,
///     width_m: 0.25,
///     height_cost: 1.0,
///     advised: Configuration { barrier_kind: kind, height, spacing },
///     advised_hold: 0.85,
///     hold: vec![0.85],
///     permitted: vec![true],
///     weight: 1.0,
///     target: 0,
/// };
/// // Six athletes, two lanes of four places and five barriers each, six barriers in stock.
/// let six = Problem {
///     athletes: (1..=6).map(athlete).collect(),
///     candidates: vec![Candidate { kind, height, spacing, approach: Length::from_mm(12_000) }],
///     lanes: (1..=2).map(|number| Lane { number, straight: Length::from_mm(60_000) }).collect(),
///     lanes_max: 2,
///     capacity: 4,
///     barriers_min: 5,
///     barriers_max: 5,
///     run_out: Length::from_mm(10_000),
///     stock: vec![StockItem { id: 1, kind, heights: vec![height], count: 6 }],
///     pins: vec![],
///     apart: vec![],
///     objective: Objective::Total,
///     last_time: None,
/// };
/// let best = plan(&six, Budget { nodes: 10_000 }, &|| false).unwrap();
/// assert_eq!(best.waiting.len(), 2);
/// let why = best.short_of.unwrap();
/// assert_eq!(why.limit, Limit::Stock);
/// assert_eq!(
///     why.relaxations,
///     [Relaxation::Capacity(6), Relaxation::Units { kind, height, more: 4 }, Relaxation::BarriersMin(3)]
/// );
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Infeasible {
    /// The limit that binds.
    pub limit: Limit,
    /// Changes each of which alone would do; may be empty when several limits bind at once.
    pub relaxations: Vec<Relaxation>,
}

/// Finds the binding limit by asking which single change would make a plan possible.
///
/// Everything is asked, whatever the limit turns out to be: also where places are short, longer lanes or more
/// barriers may be what opens them. That is a question for each number of athletes up to all in one lane, for
/// each number of barriers below the fewest, and about nine for each kind and height.
pub(super) fn diagnose(problem: &Problem, regrets: &[Vec<Option<i64>>]) -> Infeasible {
    let pinned = |athlete: u128| problem.pins.iter().any(|pin| pin.athlete == athlete);
    let mut stranded = problem.athletes.iter().zip(regrets).filter(|(_, row)| row.iter().all(Option::is_none));
    if let Some((alone, _)) = stranded.find(|(athlete, _)| pinned(athlete.id)) {
        let limit = Limit::NoPermittedConfiguration { athlete: alone.id };
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

/// Whether there is a plan for everybody, as far as [`NODES`] parts tell.
fn possible(problem: &Problem, regrets: &[Vec<Option<i64>>]) -> bool {
    let mut work = Work::new(Budget { nodes: NODES }, &|| false);
    exists(problem, regrets, &mut work) == Some(true)
}

/// A lane whose pinned athletes are too many, must be kept apart, or have no configuration in common. Whether
/// their lane is long enough is another question.
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
///
/// A kind that needs as many as the best so far is of no interest, so each is first asked with one fewer than
/// that.
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
///
/// Only lengths that some candidate needs with the fewest barriers make a difference; those no longer than the
/// shortest lane change nothing.
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
