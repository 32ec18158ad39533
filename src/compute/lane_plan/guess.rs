//! Good plans without proof, for the search to beat.
//!
//! A bound can only close parts against a plan that is known, so the first good plan saves more than any
//! cleverness later. Two steps, both deterministic:
//!
//! 1. Greedy: each pinned lane carries what costs its members least; then one lane after the other is opened,
//!    each time the one after which everybody's nearest lane costs least in sum. That ignores the places in a
//!    lane, which only the exact assignment at the end counts; lanes are opened until there are places for all
//!    and another one would not lower the sum.
//! 2. Exchange: one lane of the plan is replaced by another candidate, or one is added, as long as the plan
//!    gets cheaper (a local optimum with respect to one exchange; the vertex substitution of the p-median
//!    problem, M. B. Teitz, P. Bart, "Heuristic methods for estimating the generalized vertex median of a
//!    weighted graph", Operations Research 16, 1968).
//!
//! # Worked example
//! Costs of three athletes: 0, 4, 9 at A, 6, 1, 2 at B and 3, 3, 3 at C; two lanes. One lane alone costs 13, 9
//! or 9; of equals the first is taken, B. With A as the second the sum is 0 + 1 + 2 = 3, with C 3 + 1 + 2 = 6,
//! so A is opened.
//!
//! # Where it is only a guess
//! The greedy sum is a bound of the cost from below where places are scarce, so it may open lanes that do not
//! hold everybody well; then the assignment finds no plan or a poor one, and the search goes on from a cover or
//! improves it.

use super::assign::FORBIDDEN;
use super::search::{Found, Search};

impl Search<'_, '_> {
    /// A plan to begin with: opens one lane after the other, each the one that helps most.
    ///
    /// Leaves no plan where some pinned lane can carry nothing, or where the lanes it chose do not hold
    /// everybody. An athlete whom no open lane serves counts as more than the dearest entry, so lanes that
    /// serve somebody at all come first. Not drawn on the budget, but for pairs to be kept apart.
    pub(super) fn first_guess(&mut self) {
        let instance = self.instance;
        let pinned: Option<Vec<usize>> = instance
            .pinned
            .iter()
            .map(|lane| (0..lane.cost.len()).filter(|&c| lane.cost[c] < FORBIDDEN).min_by_key(|&c| (lane.cost[c], c)))
            .collect();
        let Some(pinned) = pinned else { return };
        let (mut open, n) = (Vec::new(), instance.athletes.len());
        let worst = self.upper / i64::try_from(n.max(1)).unwrap_or(1);
        let mut nearest = vec![worst; n];
        for &c in &pinned {
            lower(&mut nearest, instance.column(c));
        }
        for _ in 0..instance.free {
            let mut best: Option<(i64, usize)> = None;
            for c in 0..instance.candidates.len() {
                open.push(c);
                if instance.can_set_out(&pinned, &open) {
                    let cost = sum_of_lower(&nearest, instance.column(c)).saturating_add(instance.changes(&open));
                    best = Some(best.map_or((cost, c), |b| b.min((cost, c))));
                }
                open.pop();
            }
            let Some((cost, c)) = best else { break };
            let places = open.len() * instance.capacity + instance.pinned.iter().map(|p| p.spare).sum::<usize>();
            let now = nearest.iter().fold(instance.changes(&open), |sum: i64, &near| sum.saturating_add(near));
            if places >= n && cost >= now {
                break;
            }
            open.push(c);
            lower(&mut nearest, instance.column(c));
        }
        self.improve_from(&pinned, &open);
    }

    /// Replaces one lane at a time while that makes the plan better. Pinned lanes keep what they carry; the
    /// split over them is the search's.
    pub(super) fn improve(&mut self) {
        while let Some(found) = self.best.clone() {
            if !self.swap_once(&found) || self.work.stopped() {
                return;
            }
        }
    }

    /// Makes the first exchange that pays; false when none does.
    ///
    /// Each open lane is taken out in turn, and last none, when there is room for one more lane. With changed
    /// lanes to pay for, leaving a lane out may pay by itself. An exchange is assigned only when the sum of
    /// everybody's nearest lanes, a bound of its cost from below, is cheaper than the best plan.
    fn swap_once(&mut self, found: &Found) -> bool {
        let instance = self.instance;
        let fixed: i64 = instance.pinned.iter().zip(&found.pinned).map(|(lane, &c)| lane.cost[c]).sum();
        for position in 0..(found.open.len() + 1).min(instance.free) {
            let mut open = found.open.clone();
            if position < open.len() {
                open.remove(position);
            }
            if instance.change > 0 && self.try_lanes(&found.pinned, &open) {
                return true;
            }
            let mut nearest = vec![FORBIDDEN; instance.athletes.len()];
            for &c in found.pinned.iter().chain(&open) {
                lower(&mut nearest, instance.column(c));
            }
            for c in 0..instance.candidates.len() {
                open.push(c);
                let lanes = fixed.saturating_add(instance.changes(&open));
                if lanes.saturating_add(sum_of_lower(&nearest, instance.column(c))) < self.upper
                    && self.try_lanes(&found.pinned, &open)
                {
                    return true;
                }
                open.pop();
            }
        }
        false
    }
}

/// Takes a lane into account in everybody's nearest cost.
fn lower(nearest: &mut [i64], column: &[i64]) {
    for (near, &cost) in nearest.iter_mut().zip(column) {
        *near = (*near).min(cost);
    }
}

/// What everybody's nearest lane would cost with one more lane; cut off where somebody has none, so that
/// nothing overflows.
fn sum_of_lower(nearest: &[i64], column: &[i64]) -> i64 {
    nearest.iter().zip(column).fold(0, |sum: i64, (&near, &cost)| sum.saturating_add(near.min(cost)))
}
