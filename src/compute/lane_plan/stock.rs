//! What the equipment can set out: barriers of a kind at a height, from units that may be adjustable.
//!
//! # Problem
//! Lanes ask for numbers of units of each kind and height ("positions" here); each stock item has so many
//! units, and each unit stands at one of the item's heights. Can all be set out at once? That is a flow from
//! items to positions: a unit of an item goes to a position that the item can be set to.
//!
//! # Method
//! Augmenting paths: each position takes free units of an item that serves it; where there are none, a unit
//! that another position holds is handed over, and that one takes another item instead, along the shortest
//! chain of such swaps. When no chain ends at a free unit, no arrangement has one unit more. As many units move
//! along a chain at once as each of its links allows.
//!
//! # Groups
//! Positions that share items, directly or through others, form a group. Groups do not compete, so what one
//! uses is no matter to another; the bound of the search counts lanes by group.
//!
//! # Worked example
//! Item A, six units, can be set to 0.50 and 0.60 m; item B, four units, to 0.50, 0.70 and 0.76 m. A is less
//! adjustable and comes first. Five at 0.50 m take five of A. Four at 0.60 m then find one of A free; for the
//! other three the five at 0.50 m hand three of A over and take three of B. So 0.50 m has two of A and three of
//! B, 0.60 m four of A. A seventh at 0.60 m could not be: nothing but A serves it.
//!
//! # Cost
//! A path looks at each item and position once: items × positions; a path is looked for at most once for each
//! unit asked for.
//!
//! # Source
//! L. R. Ford, D. R. Fulkerson, "Maximal flow through a network", Canadian Journal of Mathematics 8, 1956;
//! shortest paths first: J. Edmonds, R. M. Karp, "Theoretical improvements in algorithmic efficiency for
//! network flow problems", Journal of the ACM 19, 1972.

use std::collections::BTreeSet;

use super::model::{Problem, StockItem};
use crate::units::{BarrierKind, Length};

/// Units of the stock against what lanes ask for.
#[derive(Clone, Debug)]
pub(super) struct Stock {
    /// What can be asked for: a kind at a height, in ascending order; only those of the candidates.
    kinds: Vec<(BarrierKind, Length)>,
    /// Positions of the items in [`Problem::stock`], least adjustable first, then by id; so the most adjustable
    /// units are kept for last.
    pub(super) items: Vec<usize>,
    /// Units of each item, in the order of `items`.
    units: Vec<u32>,
    /// The items (positions in `items`) that can be set to each kind and height; empty where the club owns
    /// nothing for it.
    serves: Vec<Vec<usize>>,
    /// Group of kinds and heights that share items, directly or through others; its number is its lowest
    /// position.
    group: Vec<usize>,
}

impl Stock {
    /// Reads the stock of a problem, and the kinds and heights its candidates ask for. Items that serve none of
    /// these stay, without use.
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

    /// Adds something that never runs out, and tells its position: the bench of those who wait. It is an item,
    /// a kind and a group of its own, with half of what a `u32` holds, far more than all lanes ask for.
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

    /// The position of a kind and height; none when no candidate asks for it.
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

    /// Units that can be set to a kind and height, as if nothing else stood.
    pub(super) fn settable(&self, position: usize) -> u32 {
        self.serves[position].iter().map(|&p| self.units[p]).sum()
    }

    /// Units that can be set to anything of a group, each counted once.
    pub(super) fn settable_in_group(&self, group: usize) -> u32 {
        let members = (0..self.len()).filter(|&k| self.group[k] == group);
        let items: BTreeSet<usize> = members.flat_map(|k| self.serves[k].iter().copied()).collect();
        items.into_iter().map(|p| self.units[p]).sum()
    }

    /// Whether every item that serves `b` serves `a` too, so that whatever stands for `b` can stand for `a`.
    pub(super) fn covers(&self, a: usize, b: usize) -> bool {
        self.serves[b].iter().all(|p| self.serves[a].contains(p))
    }

    /// Sets out so many units of each kind and height, or finds that it cannot be done.
    ///
    /// `demand` is in the order of positions; so are the rows of the answer, each with one count per entry of
    /// `items`. The row of a position adds up to its demand, the column of an item to its units at most. A
    /// demand of nothing is always met.
    ///
    /// # Source
    /// Augmenting paths: Ford, Fulkerson, "Maximal flow through a network", Canadian Journal of Mathematics 8,
    /// 1956.
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

    /// Finds up to `wanted` more units for a kind along one shortest chain of swaps; none when there is no
    /// chain, so that the demand cannot be met.
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

    /// Moves units along the chain that ends at item `end`, as many as every link allows: at least one. Returns
    /// how many.
    ///
    /// The chain is read backwards: the last item gives its free units to the kind that reached it, this kind
    /// gives up as many of the item through which it was found, and so on to the kind that asked.
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
