//! Good plans without proof, for the search to beat.

use super::assign::FORBIDDEN;
use super::search::{Found, Search};

impl Search<'_, '_> {
    /// A plan to begin with: opens one lane after the other, each the one that helps most.
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

    /// Replaces one lane at a time while that makes the plan better.
    pub(super) fn improve(&mut self) {
        while let Some(found) = self.best.clone() {
            if !self.swap_once(&found) || self.work.stopped() {
                return;
            }
        }
    }

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

fn lower(nearest: &mut [i64], column: &[i64]) {
    for (near, &cost) in nearest.iter_mut().zip(column) {
        *near = (*near).min(cost);
    }
}

fn sum_of_lower(nearest: &[i64], column: &[i64]) -> i64 {
    nearest.iter().zip(column).fold(0, |sum: i64, (&near, &cost)| sum.saturating_add(near.min(cost)))
}
