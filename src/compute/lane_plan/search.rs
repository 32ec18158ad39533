//! Branch and bound on lanes: proves the cheapest plan, or states the gap that a spent budget leaves.
//!
//! # Method
//! A [`Part`] is a set of plans: lanes opened, candidates still allowed, candidates of the pinned lanes as far
//! as they are chosen. The search looks into one part after the other, depth first, and does in each:
//!
//! 1. takes out what stock and lengths no longer allow ([`Part::tighten`]);
//! 2. where every lane is decided, assigns everybody exactly and ends;
//! 3. asks the cover which candidates every plan of the part opens one more of; none at all means that the part
//!    has no plan;
//! 4. raises the Lagrangian bound by moving the prices, and takes out, or forces, what no better plan does
//!    without;
//! 5. leaves the part where the bound reaches the best plan known, since nothing in it is better;
//! 6. splits: over the candidates of the first undecided pinned lane; else over the candidates of a narrow
//!    need; else into "one more lane of this candidate" and "no more of it".
//!
//! The splits leave out no plan: a need has to be met by one of its candidates, and either a candidate is
//! opened once more or it is not. After each branch its candidate is closed for the branches that follow, so no
//! set of lanes is looked into twice.
//!
//! # What is proven
//! `upper` is the cost of the best plan so far, and only parts whose bound is below it are kept. When nothing
//! is left, the best plan is optimal. When the budget ends first, each part left unopened is remembered by its
//! bound, and the lowest of them bounds all plans: `left_open`. Both are whole numbers, so "reaches" is an
//! exact comparison.
//!
//! # Steps of the bound
//! Subgradient ascent with Polyak's step length: for prices u with bound L(u) and surplus s (how often each
//! athlete is served in the relaxed problem, less one), `u <- u - t (upper - L(u)) / |s|² · s` with a scale t
//! of 1, halved after every eight steps without a better bound. The scale returns to the best prices known. It
//! ends when s = 0 (the relaxed problem serves everybody once, so no prices bound better), when the scale is
//! below 0.001, or after 400 steps at the root and 40 in a part. Any prices give a bound, so where it ends
//! costs no truth, only parts.
//!
//! Example: `upper` is 9, three athletes at prices 5, 5, 5 are bounded by 8, and the relaxed problem serves the
//! second and third once and the first not at all: s = (-1, 0, 0), the step is (9 - 8) / 1, the prices become
//! 6, 5, 5 and the bound 9. The part is closed.
//!
//! # Source
//! M. Held, P. Wolfe, H. P. Crowder, "Validation of subgradient optimization", Mathematical Programming 6,
//! 1974, for the step and its halving; B. T. Polyak, "Minimization of unsmooth functionals", USSR Computational
//! Mathematics and Mathematical Physics 9, 1969 (from memory). Numbers of steps: design choices, measured.

use std::collections::BTreeSet;

use super::assign::{Apart, Assignment, Costs, FORBIDDEN};
use super::bound::{Bound, Part, Rooms};
use super::cover::{Cover, Crowds, Lanes};
use super::instance::Instance;
use super::work::Work;

/// Steps of price improvement at the root, where good prices serve all parts (design choice, measured).
const ROOT_STEPS: usize = 400;
/// Steps of price improvement below the root; a part begins with the prices of the part above (design choice,
/// measured).
const PART_STEPS: usize = 40;
/// Most candidates of a need that a part is split on (design choice, measured). A wider need is left to the
/// split on one candidate.
const NARROW: usize = 16;
/// Steps without a better bound after which the step is halved (design choice, measured).
const PATIENCE: usize = 8;

/// A set of lanes with everybody in one of them: a plan that satisfies every limit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// What it costs, ranks and changed lanes included.
    pub(super) cost: i64,
    /// Candidate of each pinned lane, in the order of [`Instance::pinned`]; the bench's own where there is a
    /// bench.
    pub(super) pinned: Vec<usize>,
    /// Candidates of the other lanes, ascending; a lane may be empty.
    pub(super) open: Vec<usize>,
    /// Lane of each athlete: first the pinned lanes, then the others.
    pub(super) lane_of: Vec<usize>,
}

/// A search in one instance.
pub(super) struct Search<'a, 'w> {
    pub(super) instance: &'a Instance,
    /// The relaxed problem.
    bound: Bound<'a>,
    /// Who may run each candidate, whatever it costs.
    crowds: Crowds<'a>,
    /// The account that every part is drawn on.
    pub(super) work: &'a mut Work<'w>,
    /// Only plans below this cost matter: that of the best plan, at first above all plans.
    pub(super) upper: i64,
    /// The best plan so far.
    pub(super) best: Option<Found>,
    /// The lowest bound of the parts that were left unopened; [`i64::MAX`] while there are none.
    left_open: i64,
    /// Sets of lanes already tried, pinned lanes first: each is assigned once. `upper` only falls, so what
    /// failed against it before fails again.
    tried: BTreeSet<Vec<usize>>,
}

impl<'a, 'w> Search<'a, 'w> {
    /// A search for the cheapest plan, with none known.
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

    /// Searches to the end or until the budget is spent; returns a bound that no plan undercuts, or none when
    /// no plan exists.
    ///
    /// `known` are lanes in which everybody finds a place, when such are known. Without a plan from them or
    /// from the greedy guess a cover is asked first: a bound alone would have to climb above every cost to show
    /// that there is no plan.
    ///
    /// The bound is the cost of the best plan when the search was finished, 0 when the budget ended before any
    /// plan or proof.
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

    /// Tries lanes and improves what comes of them by exchanges.
    pub(super) fn improve_from(&mut self, pinned: &[usize], open: &[usize]) {
        self.try_lanes(pinned, open);
        self.improve();
    }

    /// Prices to begin with, one per athlete: the cost an eighth up the sorted costs of the candidates that
    /// they may run. The lowest would say that everybody has their own best lane, which the few lanes of a plan
    /// do not allow; the middle would be far above what a plan pays (design choice). 0 for an athlete who may
    /// run nothing.
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
    ///
    /// `known` is a bound of the part from above it, `steps` how many price steps it may take. The loop is the
    /// branch "no more of it" and what was forced, in place of a call; calls nest no deeper than there are
    /// lanes.
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
    ///
    /// The order is that of the relaxed problem's blocks; candidates without a block come last. Once a
    /// candidate was looked into it is closed, so the next branch holds only plans without it.
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

    /// The candidate to split on: the block that the relaxed problem would miss most, which is the first that
    /// is still allowed. None where nothing is.
    fn branch_on(&mut self, part: &Part, rooms: &Rooms) -> Option<usize> {
        self.bound.solve(part, &part.price, rooms);
        let best = self.bound.relaxed.blocks.iter().find(|b| part.allowed[b.candidate] > 0);
        best.map(|block| block.candidate)
    }

    /// Tries every candidate of the first undecided pinned lane, the most promising first.
    ///
    /// The relaxed problem takes each pinned lane at its best candidate; any other raises the bound by the
    /// difference of their values, so a child may be left without being looked into.
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

    /// Raises the bound of a part by moving its prices; takes out what no better plan contains. Returns the
    /// best bound, the lowest number where the budget was spent before the first step.
    ///
    /// The part keeps the prices of the best bound. At every better bound candidates are fixed and the relaxed
    /// problem's own lanes are tried as a plan, which near the end are often the best ones.
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

    /// Polyak's step: the distance to the target over the square of the slope. The target is the best plan
    /// known, which is above the bound as long as the part is of interest.
    #[allow(clippy::cast_precision_loss)] // a step needs no exactness
    fn step_length(&self, value: i64, square: i64) -> f64 {
        (self.upper.saturating_sub(value)) as f64 / square as f64
    }

    /// Takes out the blocks whose presence, and forces those whose absence, would cost too much.
    ///
    /// With value L of the relaxed problem: a block that is not taken raises it by at least its `rise` when it
    /// must be; where L + rise reaches `upper`, no better plan opens that many lanes of the candidate. A taken
    /// block that must not be is at best replaced by the first one that is not taken, or by none; where that
    /// reaches `upper`, every better plan opens it. Reduced-cost fixing (common practice in integer programming).
    ///
    /// Example: L = 80 and `upper` = 100. A block that is not taken and rises by 25 goes, with all later copies
    /// of its candidate. A taken one worth -30 whose place the next, worth -4, would have is forced: without it
    /// the bound is 80 + 30 - 4 = 106.
    fn fix(&self, part: &mut Part) {
        let relaxed = &self.bound.relaxed;
        let next = relaxed.blocks.iter().zip(&relaxed.taken).find(|(_, taken)| !**taken);
        // Nothing need take its place, where each that is left would cost more than it saves.
        let next = next.map_or(0, |(block, _)| block.value.min(0));
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

    /// Tries the lanes that the relaxed problem takes: the open ones, its blocks, and its best candidates of
    /// undecided pinned lanes. They obey the nested limits, but stock and lengths are asked anew, and everybody
    /// must find a place.
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

    /// Assigns everybody to these lanes if that can be set out, and keeps the plan when it is the best so far;
    /// true when it is.
    ///
    /// Only an assignment below `upper` less what the lanes themselves cost is of interest, which ends most of
    /// them early.
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

    /// The cheapest assignment to these lanes below `cutoff`, pairs kept apart; none where the places are too
    /// few or there is none below it.
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

/// A step along one athlete's slope, in whole cost units, cut towards 0.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // a step needs no exactness
fn scaled(length: f64, surplus: i64) -> i64 {
    (length * surplus as f64) as i64
}
