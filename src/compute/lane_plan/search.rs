//! Branch and bound on lanes: proves the cheapest plan, or states the gap that a spent budget leaves.

use std::collections::BTreeSet;

use super::assign::{Apart, Assignment, Costs, FORBIDDEN};
use super::bound::{Bound, Part, Rooms};
use super::cover::{Cover, Crowds, Lanes};
use super::instance::Instance;
use super::work::Work;

/// Steps of price improvement at the root and below it (design choice, measured).
const ROOT_STEPS: usize = 400;
const PART_STEPS: usize = 40;
/// Most candidates of a need that a part is split on (design choice, measured).
const NARROW: usize = 16;
/// Steps without a better bound after which the step is halved (design choice, measured).
const PATIENCE: usize = 8;

/// A set of lanes with everybody in one of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) cost: i64,
    /// Candidate of each pinned lane.
    pub(super) pinned: Vec<usize>,
    /// Candidates of the other lanes.
    pub(super) open: Vec<usize>,
    /// Lane of each athlete: first the pinned lanes, then the others.
    pub(super) lane_of: Vec<usize>,
}

/// A search in one instance.
pub(super) struct Search<'a, 'w> {
    pub(super) instance: &'a Instance,
    bound: Bound<'a>,
    crowds: Crowds<'a>,
    pub(super) work: &'a mut Work<'w>,
    /// Only plans below this cost matter.
    pub(super) upper: i64,
    pub(super) best: Option<Found>,
    /// The lowest bound of the parts that were left unopened.
    left_open: i64,
    /// Sets of lanes already tried.
    tried: BTreeSet<Vec<usize>>,
}

impl<'a, 'w> Search<'a, 'w> {
    /// A search for the cheapest plan.
    pub(super) fn new(instance: &'a Instance, work: &'a mut Work<'w>) -> Self {
        Self {
            instance,
            bound: Bound::new(instance),
            crowds: Crowds::of(instance, i64::MAX),
            work,
            upper: instance.above_all(),
            best: None,
            left_open: i64::MAX,
            tried: BTreeSet::new(),
        }
    }

    /// Searches to the end or until the budget is spent; returns a bound that no plan undercuts, or none when no plan
    /// exists.
    ///
    /// `known` are lanes in which everybody finds a place, when such are known.
    pub(super) fn run(&mut self, known: Option<&Lanes>) -> Option<i64> {
        match known {
            Some((pinned, open)) => self.improve_from(pinned, open),
            None => self.first_guess(),
        }
        if self.best.is_none() {
            // Without a plan to beat, the bound would try to prove that there is none; a cover tells sooner.
            let mut lanes = None;
            let exists = Cover::new(self.instance, i64::MAX, self.work, &mut lanes).exists();
            match (exists, lanes) {
                (Some(true), Some((pinned, open))) => self.improve_from(&pinned, &open),
                (Some(false), _) => return None,
                _ => return Some(0),
            }
        }
        let root = Part::whole(self.instance, self.first_prices());
        self.explore(root, i64::MIN, ROOT_STEPS);
        (self.best.is_some() || self.work.spent).then(|| self.left_open.min(self.upper))
    }

    pub(super) fn improve_from(&mut self, pinned: &[usize], open: &[usize]) {
        self.try_lanes(pinned, open);
        self.improve();
    }

    /// Prices to begin with: what each athlete costs in the plan at hand, or a middling price.
    fn first_prices(&self) -> Vec<i64> {
        let instance = self.instance;
        (0..instance.athletes.len())
            .map(|i| {
                let mut costs: Vec<i64> = (0..instance.candidates.len())
                    .map(|c| instance.column(c)[i])
                    .filter(|&cost| cost < FORBIDDEN)
                    .collect();
                costs.sort_unstable();
                costs.get(costs.len() / 8).copied().unwrap_or(0)
            })
            .collect()
    }

    /// Looks into a part: bounds it, then splits it into "one more lane of this" and "no more of it".
    fn explore(&mut self, mut part: Part, mut known: i64, mut steps: usize) {
        loop {
            if !self.work.step() {
                self.left_open = self.left_open.min(known);
                return;
            }
            let rooms = part.tighten(self.instance);
            let decided = part.pinned.iter().all(Option::is_some);
            if decided && (part.left(self.instance) == 0 || part.allowed.iter().all(|&a| a == 0)) {
                self.finish(&part);
                return;
            }
            let options = if decided { self.crowds.options(&part, &rooms) } else { Some(Vec::new()) };
            let Some(options) = options else { return };
            known = known.max(self.ascend(&mut part, &rooms, steps));
            if known >= self.upper {
                return;
            }
            if steps == ROOT_STEPS {
                self.improve();
            }
            steps = PART_STEPS;
            if !decided {
                self.split_pinned(&part, &rooms, known);
                return;
            }
            if let Some((candidate, copies)) = part.forced.pop() {
                for _ in 0..copies.min(part.left(self.instance)) {
                    part.open(candidate);
                }
                continue;
            }
            if (1..=NARROW).contains(&options.len()) {
                self.split_need(part, &rooms, options, known);
                return;
            }
            let Some(candidate) = self.branch_on(&part, &rooms) else {
                continue;
            };
            let mut with = part.clone();
            with.open(candidate);
            self.explore(with, known, PART_STEPS);
            part.allowed[candidate] = 0;
        }
    }

    /// Tries every candidate of a need, the most promising first: each plan opens one of them.
    fn split_need(&mut self, mut part: Part, rooms: &Rooms, mut options: Vec<usize>, known: i64) {
        self.bound.solve(&part, &part.price, rooms);
        let blocks = &self.bound.relaxed.blocks;
        let place = |c: usize| blocks.iter().position(|block| block.candidate == c).unwrap_or(blocks.len());
        options.retain(|&c| part.allowed[c] > 0);
        options.sort_by_cached_key(|&c| (place(c), c));
        for c in options {
            let mut with = part.clone();
            with.open(c);
            self.explore(with, known, PART_STEPS);
            part.allowed[c] = 0;
        }
    }

    /// The candidate to split on: the block that the relaxed problem would miss most.
    fn branch_on(&mut self, part: &Part, rooms: &Rooms) -> Option<usize> {
        self.bound.solve(part, &part.price, rooms);
        let best = self.bound.relaxed.blocks.iter().find(|b| part.allowed[b.candidate] > 0);
        best.map(|block| block.candidate)
    }

    /// Tries every candidate of the first undecided pinned lane, the most promising first.
    fn split_pinned(&mut self, part: &Part, rooms: &Rooms, known: i64) {
        let Some(lane) = part.pinned.iter().position(Option::is_none) else {
            return;
        };
        self.bound.solve(part, &part.price, rooms);
        let bound = self.bound.relaxed.value;
        let values = self.bound.pinned_values(lane, &part.price);
        let mut order: Vec<usize> = (0..values.len()).filter(|&c| values[c] < FORBIDDEN).collect();
        order.sort_by_key(|&c| (values[c], c));
        let Some(&first) = order.first() else { return };
        for c in order {
            let at_least = known.max(bound.saturating_add(values[c] - values[first]));
            let mut child = part.clone();
            child.pinned[lane] = Some(c);
            child.forced.clear();
            let pinned: Vec<usize> = child.pinned.iter().flatten().copied().collect();
            if at_least < self.upper && self.instance.can_set_out(&pinned, &child.open) {
                self.explore(child, at_least, PART_STEPS);
            }
        }
    }

    /// Raises the bound of a part by moving its prices; takes out what no better plan contains. Returns the best bound.
    fn ascend(&mut self, part: &mut Part, rooms: &Rooms, steps: usize) -> i64 {
        let mut price = part.price.clone();
        let mut surplus = Vec::new();
        let (mut best, mut stale, mut scale) = (i64::MIN, 0, 1.0);
        part.forced.clear();
        for step in 0..steps {
            if step % 16 == 15 && self.work.stopped() {
                break;
            }
            self.bound.solve(part, &price, rooms);
            let value = self.bound.relaxed.value;
            if value > best {
                (best, stale) = (value, 0);
                part.price.clone_from(&price);
                if best >= self.upper {
                    break;
                }
                self.fix(part);
                self.try_relaxed(part);
            } else {
                stale += 1;
                if stale % PATIENCE == 0 {
                    scale /= 2.0;
                    price.clone_from(&part.price);
                    self.bound.solve(part, &price, rooms);
                }
            }
            self.bound.surplus(part, &price, &mut surplus);
            let square: i64 = surplus.iter().map(|s| s * s).sum();
            if square == 0 || scale < 1e-3 {
                break;
            }
            let length = self.step_length(self.bound.relaxed.value, square) * scale;
            for (price, &surplus) in price.iter_mut().zip(&surplus) {
                *price -= scaled(length, surplus);
            }
        }
        best
    }

    /// Polyak's step: the distance to the target over the square of the slope.
    #[allow(clippy::cast_precision_loss)] // a step needs no exactness
    fn step_length(&self, value: i64, square: i64) -> f64 {
        (self.upper.saturating_sub(value)) as f64 / square as f64
    }

    /// Takes out the blocks whose presence, and forces those whose absence, would cost too much.
    fn fix(&self, part: &mut Part) {
        let relaxed = &self.bound.relaxed;
        let next = relaxed.blocks.iter().zip(&relaxed.taken).find(|(_, taken)| !**taken);
        let next = next.map_or(0, |(block, _)| block.value);
        for ((block, &taken), &rise) in relaxed.blocks.iter().zip(&relaxed.taken).zip(&relaxed.rise) {
            let candidate = block.candidate;
            if !taken && relaxed.value + rise >= self.upper {
                part.allowed[candidate] = part.allowed[candidate].min(block.copy);
            } else if taken && relaxed.value - block.value + next >= self.upper {
                let copies = block.copy + 1;
                match part.forced.iter_mut().find(|(c, _)| *c == candidate) {
                    Some((_, known)) => *known = (*known).max(copies),
                    None => part.forced.push((candidate, copies)),
                }
            }
        }
    }

    /// Tries the lanes that the relaxed problem takes.
    fn try_relaxed(&mut self, part: &Part) {
        let mut choices = self.bound.relaxed.pinned.iter().map(|&(c, _)| c);
        let pinned: Option<Vec<usize>> = part.pinned.iter().map(|c| c.or_else(|| choices.next())).collect();
        let relaxed = &self.bound.relaxed;
        let taken = relaxed.blocks.iter().zip(&relaxed.taken).filter(|(_, taken)| **taken);
        let mut open = part.open.clone();
        open.extend(taken.map(|(block, _)| block.candidate));
        if let Some(pinned) = pinned {
            self.try_lanes(&pinned, &open);
        }
    }

    /// The best plan of a part whose lanes are all decided.
    fn finish(&mut self, part: &Part) {
        let pinned: Vec<usize> = part.pinned.iter().flatten().copied().collect();
        let open = part.open.clone();
        self.try_lanes(&pinned, &open);
    }

    /// Assigns everybody to these lanes if that can be set out, and keeps the plan when it is the best so far.
    pub(super) fn try_lanes(&mut self, pinned: &[usize], open: &[usize]) -> bool {
        let mut open = open.to_vec();
        open.sort_unstable();
        let key: Vec<usize> = pinned.iter().chain(&open).copied().collect();
        if !self.tried.insert(key) || !self.instance.can_set_out(pinned, &open) {
            return false;
        }
        let fixed = self.instance.pinned.iter().zip(pinned).map(|(lane, &c)| lane.cost[c]);
        let Some(fixed) = fixed.into_iter().try_fold(0, |sum: i64, cost| (cost < FORBIDDEN).then(|| sum + cost)) else {
            return false;
        };
        let fixed = fixed + self.instance.changes(&open);
        let Some(assignment) = self.assign(pinned, &open, self.upper - fixed) else {
            return false;
        };
        let cost = fixed + assignment.cost;
        self.upper = cost;
        self.best = Some(Found { cost, pinned: pinned.to_vec(), open, lane_of: assignment.lane_of });
        true
    }

    /// The cheapest assignment to these lanes below `cutoff`.
    fn assign(&mut self, pinned: &[usize], open: &[usize], cutoff: i64) -> Option<Assignment> {
        let instance = self.instance;
        let n = instance.athletes.len();
        let columns: Vec<&[i64]> = pinned.iter().chain(open).map(|&c| instance.column(c)).collect();
        let spare = instance.pinned.iter().map(|lane| lane.spare);
        let places: Vec<usize> = spare.chain(open.iter().map(|_| instance.capacity)).collect();
        if places.iter().sum::<usize>() < n {
            return None;
        }
        let mut costs = Costs::from_columns(n, &columns);
        for &(athlete, lane) in &instance.barred {
            costs.forbid(athlete, lane);
        }
        let mut apart =
            Apart { pairs: &instance.apart, bench: instance.bench, work: self.work, given_up: self.left_open };
        let found = apart.cheapest(&costs, &places, cutoff);
        self.left_open = apart.given_up;
        found
    }
}

/// A step along one athlete's slope, in whole cost units.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // a step needs no exactness
fn scaled(length: f64, surplus: i64) -> i64 {
    (length * surplus as f64) as i64
}
