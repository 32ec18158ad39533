//! From chosen configurations to numbered lanes, barrier counts and units of the stock.
//!
//! The search answers with a multiset of configurations and who runs in each. Which number each gets costs
//! nothing, so it is decided here, for the people who carry barriers and read the sheet: what stood there last
//! time stays on its number, and the others ascend with the numbers, so that neighbouring lanes are alike. Then
//! barriers are added up to the number that was wanted, and units are taken from the stock.
//!
//! Every step keeps what the search has shown: the lengths fit (the rest is asked before each number is given
//! away), and the stock suffices for the fewest barriers.
//!
//! # Worked example
//! Lanes 1 to 3 take 60, 45 and 60 m. Chosen are 6.00 m (needs 46 m) and 5.00 m (needs 42 m), nothing stood
//! there last time. Ascending spacings come first: 5.00 m asks for lane 1, and 6.00 m could still have lane 3,
//! so it gets it. Then 6.00 m asks for lane 2, which is too short, and gets lane 3. Lane 2 stays free.

use super::StockUse;
use super::instance::{Instance, kept_at};
use super::model::{Candidate, Problem};
use super::search::Found;

/// A lane in use.
#[derive(Clone, Debug)]
pub(super) struct Choice {
    /// Position in [`Problem::lanes`].
    pub(super) lane: usize,
    /// Position in [`Problem::candidates`].
    pub(super) candidate: usize,
    /// Position of its kind and height in the stock.
    asks: usize,
    /// Positions in [`Problem::athletes`], those with a pin here first.
    pub(super) athletes: Vec<usize>,
}

/// Gives every configuration a lane: pinned ones theirs, those of last time theirs, the others ascending
/// spacings on ascending numbers as far as the lengths allow. Lanes in which nobody runs are left out.
///
/// Two passes over the open configurations, by rank and then by the smallest id that runs there: the first
/// gives away only numbers that carried the same last time, the second any. A number is given only when the
/// configurations that are still without one find lanes among the rest, so the greedy choice never runs into a
/// dead end. By number.
///
/// Example: lanes 1 and 2 carried 6.50 and 6.00 m last time, and both are chosen again. Ascending numbers alone
/// would turn them round; the first pass leaves 6.00 m on 2 and 6.50 m on 1, and no barrier is carried.
pub(super) fn lanes(problem: &Problem, instance: &Instance, found: &Found) -> Vec<Choice> {
    let runners = |position: usize| {
        let here = found.lane_of.iter().enumerate().filter(move |(_, lane)| **lane == position);
        here.map(|(i, _)| instance.athletes[i])
    };
    let mut choices = Vec::new();
    let mut free: Vec<usize> = (0..problem.lanes.len()).collect();
    for (position, (pinned, &c)) in instance.pinned.iter().zip(&found.pinned).enumerate() {
        free.retain(|&lane| lane != pinned.lane);
        let athletes = pinned.members.iter().copied().chain(runners(position)).collect();
        choices.push(Choice { lane: pinned.lane, candidate: instance.candidates[c], asks: instance.asks[c], athletes });
    }
    let mut open: Vec<(usize, Vec<usize>)> = found
        .open
        .iter()
        .enumerate()
        .map(|(at, &c)| (c, runners(found.pinned.len() + at).collect()))
        .filter(|(_, athletes): &(usize, Vec<usize>)| !athletes.is_empty())
        .collect();
    open.sort_by_key(|(c, athletes)| {
        let ids = athletes.iter().map(|&a| problem.athletes[a].id).min();
        (problem.candidates[instance.candidates[*c]].rank_key(), ids)
    });
    free.sort_by_key(|&lane| problem.lanes[lane].number);
    for last in [true, false] {
        let mut later = Vec::new();
        while !open.is_empty() {
            let (c, athletes) = open.remove(0);
            let rest: Vec<usize> = later.iter().chain(&open).map(|(c, _): &(usize, _)| *c).collect();
            let lane = free.iter().position(|&lane| {
                (!last || kept_at(problem, problem.lanes[lane].number, instance.candidates[c]))
                    && stands(problem, instance, c, lane)
                    && can_follow(problem, instance, &rest, &free, lane)
            });
            let Some(lane) = lane.map(|at| free.remove(at)) else {
                later.push((c, athletes));
                continue;
            };
            choices.push(Choice { lane, candidate: instance.candidates[c], asks: instance.asks[c], athletes });
        }
        open = later;
    }
    choices.sort_by_key(|choice| problem.lanes[choice.lane].number);
    choices
}

/// How many of these lanes were not there last time, on their own number when they have pins, on any free one
/// otherwise.
///
/// The same count as the search's cost of changes: a configuration of last time is kept once for each number
/// that carried it.
pub(super) fn changed(problem: &Problem, choices: &[Choice]) -> usize {
    let pinned = |number: u32| problem.pins.iter().any(|pin| pin.lane == number);
    let ours = |number: u32| problem.lanes.iter().any(|lane| lane.number == number);
    let last = problem.last_time.iter().flat_map(|last| &last.lanes);
    let mut kept: Vec<Candidate> =
        last.filter(|(number, _)| ours(*number) && !pinned(*number)).map(|(_, candidate)| *candidate).collect();
    let mut changed = 0;
    for choice in choices {
        let number = problem.lanes[choice.lane].number;
        let candidate = problem.candidates[choice.candidate];
        let same = if pinned(number) {
            kept_at(problem, number, choice.candidate)
        } else {
            kept.iter().position(|one| *one == candidate).map(|at| kept.remove(at)).is_some()
        };
        changed += usize::from(!same);
    }
    changed
}

/// Whether a lane is long enough for a candidate with the fewest barriers.
fn stands(problem: &Problem, instance: &Instance, c: usize, lane: usize) -> bool {
    let candidate = &problem.candidates[instance.candidates[c]];
    candidate.straight_mm(problem.barriers_min, problem.run_out) <= u64::from(problem.lanes[lane].straight.mm())
}

/// Whether the other configurations still find lanes when `taken` is gone: the longest goes to the longest.
/// Exact, since the lanes that a configuration fits are nested.
fn can_follow(problem: &Problem, instance: &Instance, rest: &[usize], free: &[usize], taken: usize) -> bool {
    let needed =
        |c: &usize| problem.candidates[instance.candidates[*c]].straight_mm(problem.barriers_min, problem.run_out);
    let mut needs: Vec<u64> = rest.iter().map(needed).collect();
    let left = free.iter().filter(|&&lane| lane != taken);
    let mut lengths: Vec<u64> = left.map(|&lane| u64::from(problem.lanes[lane].straight.mm())).collect();
    needs.sort_unstable_by(|a, b| b.cmp(a));
    lengths.sort_unstable_by(|a, b| b.cmp(a));
    needs.len() <= lengths.len() && needs.iter().zip(&lengths).all(|(need, length)| need <= length)
}

/// Barriers of each lane: as many as wanted where length and stock allow.
///
/// Every lane begins with the fewest; lanes gain one after the other in order of number, one barrier in each
/// turn, so that they stay as even as possible. What can be set out is the capacity of a flow, so taking what
/// is possible step by step reaches the greatest total (J. Edmonds, "Submodular functions, matroids, and
/// certain polyhedra", 1970). For the same reason a lane that cannot gain now cannot later, and is not asked
/// again.
///
/// Example: two lanes of at least 4 and at most 6 barriers, 9 units that serve both: 5 and 4.
///
/// At most 12 · 40 questions to the stock, each a flow.
pub(super) fn barriers(problem: &Problem, instance: &Instance, choices: &[Choice]) -> Vec<u32> {
    let mut count = vec![problem.barriers_min; choices.len()];
    let most: Vec<u32> = choices
        .iter()
        .map(|choice| {
            let straight = problem.lanes[choice.lane].straight;
            problem.candidates[choice.candidate].barriers_that_fit(straight, problem.run_out, problem.barriers_max)
        })
        .collect();
    let mut open: Vec<usize> = (0..choices.len()).collect();
    while !open.is_empty() {
        open.retain(|&at| {
            if count[at] >= most[at] {
                return false;
            }
            count[at] += 1;
            let enough = instance.stock.suffices(&demand(instance, choices, &count));
            if !enough {
                count[at] -= 1;
            }
            enough
        });
    }
    count
}

/// Units that these lanes ask for, per position of the stock, with these barriers.
fn demand(instance: &Instance, choices: &[Choice], barriers: &[u32]) -> Vec<u32> {
    let mut demand = vec![0; instance.stock.len()];
    for (choice, count) in choices.iter().zip(barriers) {
        demand[choice.asks] += count;
    }
    demand
}

/// Which units of the stock are set to which height, by item and height; entries of nothing are left out. Least
/// adjustable items are taken first, so that what is left over is the most useful.
pub(super) fn stock_used(
    problem: &Problem,
    instance: &Instance,
    choices: &[Choice],
    barriers: &[u32],
) -> Vec<StockUse> {
    let used = instance.stock.set_out(&demand(instance, choices, barriers)).unwrap_or_default();
    let mut uses: Vec<StockUse> = Vec::new();
    for (position, row) in used.iter().enumerate() {
        let (_, height) = instance.stock.asked(position);
        for (&item, &count) in instance.stock.items.iter().zip(row) {
            if count > 0 {
                uses.push(StockUse { item: problem.stock[item].id, height, count });
            }
        }
    }
    uses.sort_unstable();
    uses
}
