//! What the equipment can set out: barriers of a kind at a height, from units that may be adjustable.

use std::collections::BTreeSet;

use super::model::{Problem, StockItem};
use crate::units::{BarrierKind, Length};

/// Units of the stock against what lanes ask for.
#[derive(Clone, Debug)]
pub(super) struct Stock {
    /// What can be asked for: a kind at a height, in ascending order.
    kinds: Vec<(BarrierKind, Length)>,
    /// Positions of the items in [`Problem::stock`], least adjustable first, then by id.
    pub(super) items: Vec<usize>,
    /// Units of each item, in the order of `items`.
    units: Vec<u32>,
    /// The items (positions in `items`) that can be set to each kind and height.
    serves: Vec<Vec<usize>>,
    /// Group of kinds and heights that share items, directly or through others.
    group: Vec<usize>,
}

impl Stock {
    /// Reads the stock of a problem, and the kinds and heights its candidates ask for.
    pub(super) fn of(problem: &Problem) -> Self {
        let asked: BTreeSet<_> = problem.candidates.iter().map(|c| (c.kind, c.height)).collect();
        let kinds: Vec<_> = asked.into_iter().collect();
        let mut items: Vec<usize> = (0..problem.stock.len()).collect();
        let heights = |item: &StockItem| item.heights.iter().collect::<BTreeSet<_>>().len();
        items.sort_by_key(|&j| (heights(&problem.stock[j]), problem.stock[j].id));
        let units = items.iter().map(|&j| problem.stock[j].count).collect();
        let can = |j: usize, (kind, height): (BarrierKind, Length)| {
            problem.stock[j].kind == kind && problem.stock[j].heights.contains(&height)
        };
        let serves: Vec<Vec<usize>> =
            kinds.iter().map(|&k| (0..items.len()).filter(|&p| can(items[p], k)).collect()).collect();
        let group = groups(&serves);
        Self { kinds, items, units, serves, group }
    }

    /// Adds something that never runs out, and tells its position.
    pub(super) fn add_unlimited(&mut self) -> usize {
        let position = self.kinds.len();
        // Above every kind and height, so that the order holds.
        self.kinds.push((BarrierKind::Hurdle, Length::from_mm(u32::MAX)));
        self.serves.push(vec![self.items.len()]);
        self.items.push(usize::MAX);
        self.units.push(u32::MAX / 2);
        self.group.push(position);
        position
    }

    /// How many kinds and heights can be asked for.
    pub(super) fn len(&self) -> usize {
        self.kinds.len()
    }

    /// The position of a kind and height.
    pub(super) fn position(&self, kind: BarrierKind, height: Length) -> Option<usize> {
        self.kinds.binary_search(&(kind, height)).ok()
    }

    /// The kind and height at a position.
    pub(super) fn asked(&self, position: usize) -> (BarrierKind, Length) {
        self.kinds[position]
    }

    /// The group of a position; a group's positions share no item with another group's.
    pub(super) fn group(&self, position: usize) -> usize {
        self.group[position]
    }

    /// Units that can be set to a kind and height.
    pub(super) fn settable(&self, position: usize) -> u32 {
        self.serves[position].iter().map(|&p| self.units[p]).sum()
    }

    /// Units that can be set to anything of a group.
    pub(super) fn settable_in_group(&self, group: usize) -> u32 {
        let members = (0..self.len()).filter(|&k| self.group[k] == group);
        let items: BTreeSet<usize> = members.flat_map(|k| self.serves[k].iter().copied()).collect();
        items.into_iter().map(|p| self.units[p]).sum()
    }

    /// Whether every item that serves `b` serves `a` too.
    pub(super) fn covers(&self, a: usize, b: usize) -> bool {
        self.serves[b].iter().all(|p| self.serves[a].contains(p))
    }

    /// Sets out so many units of each kind and height, or finds that it cannot be done.
    ///
    /// `demand` is in the order of positions; so are the rows of the answer, each with one count per entry of `items`.
    ///
    /// # Source
    /// Augmenting paths: Ford, Fulkerson, "Maximal flow through a network", Canadian Journal of Mathematics 8, 1956.
    pub(super) fn set_out(&self, demand: &[u32]) -> Option<Vec<Vec<u32>>> {
        let mut used = vec![vec![0; self.items.len()]; self.len()];
        let mut left = self.units.clone();
        for (kind, &wanted) in demand.iter().enumerate() {
            let mut missing = wanted;
            while missing > 0 {
                missing -= self.augment(kind, missing, &mut used, &mut left)?;
            }
        }
        Some(used)
    }

    /// Whether so many units of each kind and height can be set out.
    pub(super) fn suffices(&self, demand: &[u32]) -> bool {
        self.set_out(demand).is_some()
    }

    /// Finds up to `wanted` more units for a kind along one shortest chain of swaps.
    fn augment(&self, kind: usize, wanted: u32, used: &mut [Vec<u32>], left: &mut [u32]) -> Option<u32> {
        // Breadth first over items; `reached[p]` is the kind that would take the item's unit.
        let mut reached: Vec<Option<usize>> = vec![None; self.items.len()];
        let mut giver: Vec<Option<usize>> = vec![None; self.len()];
        let mut queue = vec![kind];
        let mut head = 0;
        while head < queue.len() {
            let taker = queue[head];
            head += 1;
            for &p in &self.serves[taker] {
                if reached[p].is_some() {
                    continue;
                }
                reached[p] = Some(taker);
                if left[p] > 0 {
                    return Some(Self::shift(kind, p, wanted, (&reached, &giver), used, left));
                }
                for other in 0..self.len() {
                    if used[other][p] > 0 && other != kind && giver[other].is_none() {
                        giver[other] = Some(p);
                        queue.push(other);
                    }
                }
            }
        }
        None
    }

    /// Moves units along the chain that ends at item `end`, as many as every link allows.
    fn shift(
        kind: usize,
        end: usize,
        wanted: u32,
        (reached, giver): (&[Option<usize>], &[Option<usize>]),
        used: &mut [Vec<u32>],
        left: &mut [u32],
    ) -> u32 {
        let mut chain = vec![];
        let mut item = end;
        let mut amount = wanted.min(left[end]);
        while let Some(taker) = reached[item] {
            chain.push((taker, item));
            if taker == kind {
                break;
            }
            let Some(previous) = giver[taker] else { break };
            amount = amount.min(used[taker][previous]);
            item = previous;
        }
        left[end] -= amount;
        for (taker, item) in chain {
            used[taker][item] += amount;
            if taker != kind
                && let Some(previous) = giver[taker]
            {
                used[taker][previous] -= amount;
            }
        }
        amount
    }
}

/// Numbers the connected groups of positions that share items.
fn groups(serves: &[Vec<usize>]) -> Vec<usize> {
    let mut group: Vec<usize> = (0..serves.len()).collect();
    for a in 0..serves.len() {
        for b in 0..a {
            if group[a] != group[b] && serves[a].iter().any(|p| serves[b].contains(p)) {
                let (keep, gone) = (group[a].min(group[b]), group[a].max(group[b]));
                group.iter_mut().filter(|g| **g == gone).for_each(|g| *g = keep);
            }
        }
    }
    group
}
