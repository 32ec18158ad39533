//! Rounds: where not everybody finds a place, the others run afterwards, with as little as possible set out
//! anew.
//!
//! A later round is the same problem for those who waited, with the lanes of the round before as those that
//! stand there: one of them changes only when nobody could run otherwise, or when that saves [`ANEW`] losses of
//! a whole lane.
//!
//! Each round is planned for itself, the first for the most urgent (see [`super::plan`]); together they are no
//! optimum over all rounds. Looking ahead would have to weigh minutes of waiting against losses, for which
//! there are no figures. Every round is proven or not by its own search, and gets the whole budget anew.
//!
//! # Worked example
//! One lane of two places, five athletes who may all run in it. The first round takes two, and three wait with
//! `no_place`. The second is planned for those three with that lane standing: two run, no lane changed, no
//! barrier moved. The third takes the last. With `rounds` = 2 only one plan comes back, and its
//! [`Plan::waiting`] names the last one.
//!
//! # Used from
//! The service's lane plans ask for the later rounds of each plan (two rounds in all where none are asked for)
//! and tell with each how many lanes and barriers change hands.

use super::model::{Candidate, LastTime, Problem};
use super::waiting::{WaitReason, only};
use super::work::Budget;
use super::{Plan, plan};

/// The most rounds of one plan (design choice: athletes who wait for longer get cold).
pub const MAX_ROUNDS: usize = 4;

/// Losses of a whole lane that a lane set out anew between two rounds must save (design choice: carrying
/// barriers costs the whole group minutes, and nobody is put where they may not run to spare them). Two
/// athletes at weight 1 who lose everything, or one at weight 2.
const ANEW: f64 = 2.0;

/// The rounds after `first`, up to `rounds` with it; fewer when everybody has run, or when one more would help
/// nobody.
///
/// Lanes and candidates are those of `problem`. Each plan's [`Plan::waiting`] tells who waits for the next one;
/// its [`Plan::changed`] lanes are counted from the round before. At most [`MAX_ROUNDS`] with the first,
/// whatever `rounds` says; none for 0 or 1.
///
/// Only those who wait with [`WaitReason::NoPlace`] come again: for whom nothing is permitted, a second set-out
/// helps nothing. Pins play no part, since whoever has one ran in the first round; pairs to be kept apart still
/// hold among those left. A round that fails, for want of budget or because it has no lane, ends the row
/// without an error: what was planned before stands.
///
/// ```
/// use lanewright_compute::decision::Configuration;
/// use lanewright_compute::lane_plan::{
///     Athlete, Budget, Candidate, Lane, Objective, Problem, StockItem, barriers_moved, later_rounds, plan,
/// };
/// use lanewright_compute::units::{BarrierKind, Length};
///
/// let (kind, height, spacing) = (BarrierKind::Wicket, Length::from_mm(300), Length::from_mm(6_000));
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
/// let five = Problem {
///     athletes: (1..=5).map(athlete).collect(),
///     candidates: vec![Candidate { kind, height, spacing, approach: Length::from_mm(12_000) }],
///     lanes: vec![Lane { number: 1, straight: Length::from_mm(60_000) }],
///     lanes_max: 1,
///     capacity: 2,
///     barriers_min: 4,
///     barriers_max: 4,
///     run_out: Length::from_mm(10_000),
///     stock: vec![StockItem { id: 1, kind, heights: vec![height], count: 8 }],
///     pins: vec![],
///     apart: vec![],
///     objective: Objective::Total,
///     last_time: None,
/// };
/// let budget = Budget { nodes: 10_000 };
/// let first = plan(&five, budget, &|| false).unwrap();
/// assert_eq!(first.waiting.len(), 3);
///
/// let later = later_rounds(&five, &first, 4, budget, &|| false);
/// assert_eq!(later.iter().map(|round| round.waiting.len()).collect::<Vec<_>>(), [1, 0]);
/// assert_eq!((later[0].changed, barriers_moved(&five, &first, &later[0])), (Some(0), 0));
/// ```
pub fn later_rounds(
    problem: &Problem,
    first: &Plan,
    rounds: usize,
    budget: Budget,
    stop: &dyn Fn() -> bool,
) -> Vec<Plan> {
    let mut later: Vec<Plan> = Vec::new();
    while later.len() + 1 < rounds.min(MAX_ROUNDS) {
        let before = later.last().unwrap_or(first);
        let waits = |id: u128| before.waiting.iter().any(|w| w.athlete == id && w.reason == WaitReason::NoPlace);
        let rest = only(problem, |a| waits(problem.athletes[a].id));
        if rest.athletes.is_empty() {
            break;
        }
        let stands = before.lanes.iter().map(|lane| (lane.number, problem.candidates[lane.candidate])).collect();
        let rest = Problem { last_time: Some(LastTime { lanes: stands, unless_saves: ANEW }), ..rest };
        match plan(&rest, budget, stop) {
            Ok(next) if !next.lanes.is_empty() => later.push(next),
            _ => break,
        }
    }
    later
}

/// Barriers to put somewhere else or to add between two rounds.
///
/// For each lane of the round after: its barriers less those that stood on that number with the same candidate;
/// all of them where something else stood there. Barriers that are only carried away count as nothing. Example:
/// lane 1 stays and has 6 instead of 5, lane 2 changes and has 5: six are moved.
pub fn barriers_moved(problem: &Problem, before: &Plan, after: &Plan) -> u32 {
    let stood = |number: u32, candidate: &Candidate| {
        let same =
            |lane: &&super::PlannedLane| lane.number == number && problem.candidates[lane.candidate] == *candidate;
        before.lanes.iter().find(same).map_or(0, |lane| lane.barriers)
    };
    let moved = |lane: &super::PlannedLane| {
        lane.barriers.saturating_sub(stood(lane.number, &problem.candidates[lane.candidate]))
    };
    after.lanes.iter().map(moved).sum()
}
