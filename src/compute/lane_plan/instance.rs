//! The problem in the order and the numbers that the search works on.

use super::assign::FORBIDDEN;
use super::model::{Problem, UNITS};
use super::stock::Stock;
use crate::compute::units::Length;

/// Regret units are shifted by this many bits to make room for the tie-break: the sum of 300 ranks below 400.
const TIE_BITS: u32 = 17;
/// What one athlete without a lane costs when only feasibility is asked.
pub(super) const UNPLACED: i64 = 1 << 40;

/// What a search looks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Goal {
    /// The smallest sum of regrets, then of candidate ranks.
    Cheapest,
    /// Any plan at all: permitted costs nothing.
    Any,
}

/// A lane with pinned athletes.
#[derive(Clone, Debug)]
pub(super) struct PinnedLane {
    /// Position in [`Problem::lanes`].
    pub(super) lane: usize,
    /// Positions in [`Problem::athletes`], by id.
    pub(super) members: Vec<usize>,
    /// What the members cost together at each candidate.
    pub(super) cost: Vec<i64>,
    /// Places for others.
    pub(super) spare: usize,
}

/// Athletes without a pin × candidates that can be set out, both in the order that breaks ties.
#[derive(Clone, Debug)]
pub(super) struct Instance {
    /// Positions in [`Problem::athletes`] of the athletes without a pin, by id.
    pub(super) athletes: Vec<usize>,
    /// Positions in [`Problem::candidates`], by rank.
    pub(super) candidates: Vec<usize>,
    /// Costs, one run of `athletes.len()` per candidate.
    cost: Vec<i64>,
    /// Position in the stock of each candidate's kind and height.
    pub(super) asks: Vec<usize>,
    /// How many of the lanes without pins each candidate fits, with the fewest barriers.
    pub(super) fits: Vec<usize>,
    /// Number of lanes without pins.
    pub(super) free: usize,
    pub(super) pinned: Vec<PinnedLane>,
    pub(super) capacity: usize,
    pub(super) stock: Stock,
    /// Units that one lane takes.
    pub(super) per_lane: u32,
    /// Whether the stock can be short for some choice of lanes.
    pub(super) stock_binds: bool,
    /// Pairs of athletes (positions in `athletes`) to keep apart.
    pub(super) apart: Vec<(usize, usize)>,
    /// Athletes (positions in `athletes`) to keep out of pinned lanes (positions in `pinned`).
    pub(super) barred: Vec<(usize, usize)>,
    pub(super) goal: Goal,
}

/// A regret as a cost, with the candidate's rank as its last digits.
fn cost_of(regret: Option<i64>, rank: usize, goal: Goal, ceiling: i64) -> i64 {
    match (regret.filter(|&r| r <= ceiling), goal) {
        (Some(regret), Goal::Cheapest) => (regret << TIE_BITS) + i64::try_from(rank).unwrap_or(0),
        (Some(_), Goal::Any) => 0,
        (None, Goal::Cheapest) => FORBIDDEN,
        (None, Goal::Any) => UNPLACED,
    }
}

/// The regret units of a sum of costs, rounded down.
pub(super) fn regret_of(cost: i64) -> i64 {
    cost >> TIE_BITS
}

/// A cost above that of every plan of so many athletes.
pub(super) fn above_all(athletes: usize) -> i64 {
    #[allow(clippy::cast_possible_truncation)] // 1e9, whole
    let most = (UNITS as i64 + 1) << TIE_BITS;
    most * i64::try_from(athletes.max(1)).unwrap_or(1)
}

impl Instance {
    /// Reads a problem whose regrets are known; entries with a regret above `ceiling` (units) are not permitted.
    pub(super) fn of(problem: &Problem, regrets: &[Vec<Option<i64>>], goal: Goal, ceiling: i64) -> Self {
        let stock = Stock::of(problem);
        let mut ranked: Vec<usize> = (0..problem.candidates.len()).collect();
        ranked.sort_by_key(|&c| problem.candidates[c].rank_key());
        let (pinned_athletes, athletes) = by_pin(problem);
        let lanes_with_pins = |l: &usize| problem.pins.iter().any(|pin| pin.lane == problem.lanes[*l].number);
        let (pinned_lanes, free_lanes): (Vec<usize>, Vec<usize>) = (0..problem.lanes.len()).partition(lanes_with_pins);

        let longest = problem.lanes.iter().map(|l| l.straight).max().unwrap_or_default();
        let asked = |c: usize| asked(problem, &stock, c);
        let can_stand = |c: usize, straight: Length| can_stand(problem, &stock, c, straight);
        let usable: Vec<(usize, usize)> =
            ranked.into_iter().enumerate().filter(|&(_, c)| can_stand(c, longest)).collect();
        let cost = usable
            .iter()
            .flat_map(|&(rank, c)| athletes.iter().map(move |&a| cost_of(regrets[a][c], rank, goal, ceiling)))
            .collect();
        let together = |lane: usize, members: &[usize], (rank, c): (usize, usize)| {
            let sound = members.len() <= problem.capacity && !share_a_lane_apart(problem, members);
            let permitted = |&a: &usize| regrets[a][c].filter(|&r| r <= ceiling);
            let all: Option<Vec<i64>> = members.iter().map(permitted).collect();
            match all.filter(|_| sound && can_stand(c, problem.lanes[lane].straight)) {
                Some(all) => all.into_iter().map(|r| cost_of(Some(r), rank, goal, ceiling)).sum(),
                None => FORBIDDEN,
            }
        };
        let pin_lane = |lane: usize| {
            let here = |a: &&usize| pin_of(problem, **a) == Some(problem.lanes[lane].number);
            let members: Vec<usize> = pinned_athletes.iter().filter(here).copied().collect();
            let cost = usable.iter().map(|&one| together(lane, &members, one)).collect();
            let spare = problem.capacity.saturating_sub(members.len());
            PinnedLane { lane, members, cost, spare }
        };
        let pinned = pinned_lanes.into_iter().map(pin_lane).collect();
        let fits = usable
            .iter()
            .map(|&(_, c)| free_lanes.iter().filter(|&&l| can_stand(c, problem.lanes[l].straight)).count())
            .collect();
        let asks: Vec<usize> = usable.iter().map(|&(_, c)| asked(c)).collect();
        let all_lanes = u32::try_from(problem.lanes.len()).unwrap_or(u32::MAX) * problem.barriers_min;
        let stock_binds = asks.iter().any(|&k| stock.settable(k) < all_lanes);
        let mut instance = Self {
            candidates: usable.into_iter().map(|(_, c)| c).collect(),
            athletes,
            cost,
            asks,
            fits,
            free: free_lanes.len(),
            pinned,
            capacity: problem.capacity,
            stock,
            per_lane: problem.barriers_min,
            stock_binds,
            apart: Vec::new(),
            barred: Vec::new(),
            goal,
        };
        instance.keep_apart(problem);
        instance.drop_dominated(all_lanes);
        instance
    }

    /// What each athlete costs at a candidate.
    pub(super) fn column(&self, candidate: usize) -> &[i64] {
        let n = self.athletes.len();
        &self.cost[candidate * n..(candidate + 1) * n]
    }

    fn keep_apart(&mut self, problem: &Problem) {
        let id = |a: usize| problem.athletes[a].id;
        for &(a, b) in &problem.apart {
            let free = |x: u128| self.athletes.iter().position(|&i| id(i) == x);
            let lane = |x: u128| self.pinned.iter().position(|p| p.members.iter().any(|&m| id(m) == x));
            match (free(a), free(b), lane(a), lane(b)) {
                (Some(a), Some(b), _, _) => self.apart.push((a.min(b), a.max(b))),
                (Some(i), None, _, Some(p)) | (None, Some(i), Some(p), _) => self.barred.push((i, p)),
                _ => {}
            }
        }
        self.apart.sort_unstable();
        self.barred.sort_unstable();
    }

    /// Leaves out candidates that another one replaces at no loss to anybody and no use of scarcer things.
    fn drop_dominated(&mut self, all_lanes: u32) {
        let beats = |a: usize, b: usize| {
            let (ka, kb) = (self.asks[a], self.asks[b]);
            self.fits[a] >= self.fits[b]
                && (ka == kb || self.stock.settable(ka) >= all_lanes || self.stock.covers(ka, kb))
                && self.pinned.iter().all(|p| p.cost[a] <= p.cost[b])
                && self.column(a).iter().zip(self.column(b)).all(|(x, y)| x <= y)
        };
        let mut kept: Vec<usize> = Vec::new();
        for c in 0..self.candidates.len() {
            if !kept.iter().any(|&a| beats(a, c)) {
                kept.retain(|&b| !beats(c, b));
                kept.push(c);
            }
        }
        self.cost = kept.iter().flat_map(|&c| self.column(c).to_vec()).collect();
        self.candidates = kept.iter().map(|&c| self.candidates[c]).collect();
        self.asks = kept.iter().map(|&c| self.asks[c]).collect();
        self.fits = kept.iter().map(|&c| self.fits[c]).collect();
        for lane in &mut self.pinned {
            lane.cost = kept.iter().map(|&c| lane.cost[c]).collect();
        }
    }

    /// Whether lanes of these candidates can stand side by side on the lanes without pins.
    pub(super) fn lengths_allow(&self, open: &[usize]) -> bool {
        let mut fits: Vec<usize> = open.iter().map(|&c| self.fits[c]).collect();
        fits.sort_unstable();
        fits.iter().enumerate().all(|(before, &lanes)| before < lanes)
    }

    /// Units that lanes of these candidates ask for, per position of the stock.
    pub(super) fn demand(&self, candidates: impl IntoIterator<Item = usize>) -> Vec<u32> {
        let mut demand = vec![0; self.stock.len()];
        for c in candidates {
            demand[self.asks[c]] += self.per_lane;
        }
        demand
    }

    /// Whether stock and lengths allow these pinned and open lanes together.
    pub(super) fn can_set_out(&self, pinned: &[usize], open: &[usize]) -> bool {
        self.lengths_allow(open)
            && (!self.stock_binds || self.stock.suffices(&self.demand(pinned.iter().chain(open).copied())))
    }
}

/// The position in the stock of a candidate's kind and height.
fn asked(problem: &Problem, stock: &Stock, candidate: usize) -> usize {
    let candidate = &problem.candidates[candidate];
    stock.position(candidate.kind, candidate.height).unwrap_or(0)
}

/// Whether a lane of the fewest barriers of a candidate fits a straight and the stock on its own.
fn can_stand(problem: &Problem, stock: &Stock, candidate: usize, straight: Length) -> bool {
    let needed = problem.candidates[candidate].straight_mm(problem.barriers_min, problem.run_out);
    needed <= u64::from(straight.mm()) && stock.settable(asked(problem, stock, candidate)) >= problem.barriers_min
}

/// The lane that the coach chose for an athlete.
fn pin_of(problem: &Problem, athlete: usize) -> Option<u32> {
    let id = problem.athletes[athlete].id;
    problem.pins.iter().find(|pin| pin.athlete == id).map(|pin| pin.lane)
}

/// The athletes with and without a pin, each by id.
fn by_pin(problem: &Problem) -> (Vec<usize>, Vec<usize>) {
    let mut order: Vec<usize> = (0..problem.athletes.len()).collect();
    order.sort_by_key(|&a| problem.athletes[a].id);
    order.into_iter().partition(|&a| pin_of(problem, a).is_some())
}

/// Whether some pair of these athletes must be kept apart.
fn share_a_lane_apart(problem: &Problem, members: &[usize]) -> bool {
    let here = |id: u128| members.iter().any(|&m| problem.athletes[m].id == id);
    problem.apart.iter().any(|&(a, b)| here(a) && here(b))
}
