//! Rounds: where not everybody finds a place, the others run afterwards, with as little as possible set out anew.
//!
//! A later round is the same problem for those who waited, with the lanes of the round before as those that stand there: one of
//! them changes only when nobody could run otherwise, or when that saves [`ANEW`] losses of a whole lane.

use super::model::{Candidate, LastTime, Problem};
use super::waiting::{WaitReason, only};
use super::work::Budget;
use super::{Plan, plan};

/// The most rounds of one plan (design choice: athletes who wait for longer get cold).
pub const MAX_ROUNDS: usize = 4;

/// Losses of a whole lane that a lane set out anew between two rounds must save (design choice: carrying barriers costs the whole
/// group minutes, and nobody is put where they may not run to spare them).
const ANEW: f64 = 2.0;

/// The rounds after `first`, up to `rounds` with it; fewer when everybody has run, or when one more would help nobody.
///
/// Lanes and candidates are those of `problem`. Each plan's [`Plan::waiting`] tells who waits for the next one; its
/// [`Plan::changed`] lanes are counted from the round before.
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
