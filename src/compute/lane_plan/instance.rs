//! The problem in the order and the numbers that the search works on.

use super::assign::FORBIDDEN;
use super::model::{Lane, Problem, units};
use super::stock::Stock;
use crate::units::Length;

/// Regret units are shifted by this many bits to make room for the tie-break: the sum of 300 ranks below 400.
const TIE_BITS: u32 = 17;
/// A lane with pinned athletes.
#[derive(Clone, Debug)]
pub(super) struct PinnedLane {
    /// Position in [`Problem::lanes`].
    pub(super) lane: usize,
    /// Positions in [`Problem::athletes`], by id.
    pub(super) members: Vec<usize>,
    /// What the members cost together at each candidate, with what a change of the lane costs.
    pub(super) cost: Vec<i64>,
    /// The largest regret of a member at each candidate, `FORBIDDEN` where the lane cannot carry it.
    pub(super) worst: Vec<i64>,
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
    /// How many lanes without pins may be used.
    pub(super) free: usize,
    /// How many of last time's lanes on numbers without pins carried each candidate.
    pub(super) kept: Vec<usize>,
    /// What one lane costs that was not there last time.
    pub(super) change: i64,
    pub(super) pinned: Vec<PinnedLane>,
    pub(super) capacity: usize,
    pub(super) stock: Stock,
    /// Units that one lane takes.
    pub(super) per_lane: u32,
    /// Units that all lanes take together.
    all_units: u32,
    /// Whether the stock can be short for some choice of lanes.
    pub(super) stock_binds: bool,
    /// Pairs of athletes (positions in `athletes`) to keep apart.
    pub(super) apart: Vec<(usize, usize)>,
    /// Athletes (positions in `athletes`) to keep out of pinned lanes (positions in `pinned`).
    pub(super) barred: Vec<(usize, usize)>,
    /// The lane (position in `pinned`) of those who wait, where anybody may; see [`Self::with_bench`].
    pub(super) bench: Option<usize>,
    /// The most that one athlete can cost.
    dearest: i64,
}

/// A regret as a cost, with the candidate's rank as its last digits.
fn cost_of(regret: Option<i64>, rank: usize) -> i64 {
    regret.map_or(FORBIDDEN, |regret| (regret << TIE_BITS) + i64::try_from(rank).unwrap_or(0))
}

/// The regret units of a sum of costs, rounded down.
pub(super) fn regret_of(cost: i64) -> i64 {
    cost >> TIE_BITS
}

/// What a share of regret costs.
pub(super) fn cost_of_share(share: f64) -> i64 {
    units(share) << TIE_BITS
}

impl Instance {
    /// Reads a problem whose regrets are known; entries with a regret above `ceiling` (units) are not permitted.
    ///
    /// Candidates that another one replaces are left out; see [`Self::whole`].
    pub(super) fn of(problem: &Problem, regrets: &[Vec<Option<i64>>], ceiling: i64) -> Self {
        let mut instance = Self::whole(problem, regrets, ceiling);
        instance.drop_dominated();
        instance
    }

    /// Reads a problem with every candidate that can be set out.
    pub(super) fn whole(problem: &Problem, regrets: &[Vec<Option<i64>>], ceiling: i64) -> Self {
        let stock = Stock::of(problem);
        let mut ranked: Vec<usize> = (0..problem.candidates.len()).collect();
        ranked.sort_by_key(|&c| problem.candidates[c].rank_key());
        let (pinned_athletes, athletes) = by_pin(problem);
        let with_pins = |l: &usize| problem.pins.iter().any(|pin| pin.lane == problem.lanes[*l].number);
        let (pinned_lanes, free_lanes): (Vec<usize>, Vec<usize>) = (0..problem.lanes.len()).partition(with_pins);
        let longest = problem.lanes.iter().map(|l| l.straight).max().unwrap_or_default();
        let usable: Vec<(usize, usize)> =
            ranked.into_iter().enumerate().filter(|&(_, c)| can_stand(problem, &stock, c, longest)).collect();
        let permitted = |a: usize, c: usize| regrets[a][c].filter(|&r| r <= ceiling);
        let cost = usable
            .iter()
            .flat_map(|&(rank, c)| athletes.iter().map(move |&a| cost_of(permitted(a, c), rank)))
            .collect();
        let change = problem.last_time.as_ref().map_or(0, |last| cost_of_share(last.unless_saves));
        let pinned = pinned_lanes.iter().map(|&lane| {
            let here = |a: &&usize| pin_of(problem, **a) == Some(problem.lanes[lane].number);
            let members: Vec<usize> = pinned_athletes.iter().filter(here).copied().collect();
            PinnedLane::new(problem, &stock, &usable, lane, members, &permitted, change)
        });
        let mut pinned: Vec<PinnedLane> = pinned.collect();
        if pinned.len() > problem.lanes_max {
            pinned.iter_mut().for_each(PinnedLane::close);
        }
        let stands = |c: usize, l: usize| can_stand(problem, &stock, c, problem.lanes[l].straight);
        let fits = usable.iter().map(|&(_, c)| free_lanes.iter().filter(|&&l| stands(c, l)).count()).collect();
        let asks: Vec<usize> = usable.iter().map(|&(_, c)| asked(problem, &stock, c)).collect();
        let kept = usable.iter().map(|&(_, c)| kept_lanes(problem, &free_lanes, c)).collect();
        let all_units = u32::try_from(problem.lanes.len()).unwrap_or(u32::MAX) * problem.barriers_min;
        let stock_binds = asks.iter().any(|&k| stock.settable(k) < all_units);
        let mut instance = Self {
            candidates: usable.into_iter().map(|(_, c)| c).collect(),
            athletes,
            cost,
            asks,
            fits,
            free: free_lanes.len().min(problem.lanes_max.saturating_sub(pinned.len())),
            kept,
            change,
            pinned,
            capacity: problem.capacity,
            stock,
            per_lane: problem.barriers_min,
            all_units,
            stock_binds,
            apart: Vec::new(),
            barred: Vec::new(),
            bench: None,
            dearest: 0,
        };
        let costs = instance.cost.iter().chain(instance.pinned.iter().flat_map(|lane| &lane.cost));
        instance.dearest = costs.copied().filter(|&cost| cost < FORBIDDEN).max().unwrap_or(0);
        instance.keep_apart(problem);
        instance
    }

    /// A cost above that of every plan.
    pub(super) fn above_all(&self) -> i64 {
        let people = self.athletes.len() + self.pinned.iter().map(|lane| lane.members.len()).sum::<usize>();
        let count = |n: usize| i64::try_from(n).unwrap_or(1);
        (self.dearest + 1) * count(people.max(1)) + self.change * count(self.free + self.pinned.len())
    }

    /// How many lanes of each candidate a plan may need.
    pub(super) fn copies(&self) -> Vec<usize> {
        (0..self.candidates.len())
            .map(|c| {
                let runners = self.column(c).iter().filter(|&&cost| cost < FORBIDDEN).count();
                let useful = if self.apart.is_empty() { runners.div_ceil(self.capacity) } else { self.free };
                useful.min(self.free).min(self.fits[c])
            })
            .collect()
    }

    /// What the lanes cost that were not there last time, of candidates opened on lanes without pins.
    pub(super) fn changes(&self, open: &[usize]) -> i64 {
        if self.change == 0 {
            return 0;
        }
        let new = |(at, c): (usize, &usize)| open[..at].iter().filter(|o| *o == c).count() >= self.kept[*c];
        let changed = open.iter().enumerate().filter(|&one| new(one)).count();
        self.change * i64::try_from(changed).unwrap_or(0)
    }

    /// What each athlete costs at a candidate.
    pub(super) fn column(&self, candidate: usize) -> &[i64] {
        let n = self.athletes.len();
        &self.cost[candidate * n..(candidate + 1) * n]
    }

    /// Lets everybody without a pin wait instead, at a cost that depends on who waits (positions in [`Problem::athletes`]):
    /// one more pinned lane, that needs no barriers and has room for all.
    pub(super) fn with_bench(mut self, costs: impl Fn(usize) -> i64) -> Self {
        let waiting: Vec<i64> = self.athletes.iter().map(|&a| costs(a)).collect();
        self.dearest = waiting.iter().copied().fold(self.dearest, i64::max);
        self.cost.extend(waiting);
        self.candidates.push(usize::MAX);
        self.asks.push(self.stock.add_unlimited());
        self.fits.push(0);
        self.kept.push(0);
        for lane in &mut self.pinned {
            lane.cost.push(FORBIDDEN);
            lane.worst.push(FORBIDDEN);
        }
        let mut cost = vec![FORBIDDEN; self.candidates.len()];
        if let Some(bench) = cost.last_mut() {
            *bench = 0;
        }
        self.bench = Some(self.pinned.len());
        let (members, spare) = (Vec::new(), self.athletes.len());
        self.pinned.push(PinnedLane { lane: usize::MAX, members, worst: cost.clone(), cost, spare });
        self
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

    /// Whether a lane of `a` takes the place of one of `b`: it fits as many lanes and uses no scarcer units.
    pub(super) fn asks_no_more(&self, a: usize, b: usize) -> bool {
        let (ka, kb) = (self.asks[a], self.asks[b]);
        self.fits[a] >= self.fits[b]
            && (ka == kb || self.stock.settable(ka) >= self.all_units || self.stock.covers(ka, kb))
    }

    /// Whether a candidate replaces another one at no loss to anybody.
    pub(super) fn replaces(&self, a: usize, b: usize) -> bool {
        self.asks_no_more(a, b)
            && self.kept[b] == 0
            && self.pinned.iter().all(|p| p.cost[a] <= p.cost[b])
            && self.column(a).iter().zip(self.column(b)).all(|(x, y)| x <= y)
    }

    /// Leaves out candidates that another one replaces.
    fn drop_dominated(&mut self) {
        let mut kept: Vec<usize> = Vec::new();
        for c in 0..self.candidates.len() {
            if !kept.iter().any(|&a| self.replaces(a, c)) {
                kept.retain(|&b| !self.replaces(c, b));
                kept.push(c);
            }
        }
        self.cost = kept.iter().flat_map(|&c| self.column(c).to_vec()).collect();
        self.candidates = kept.iter().map(|&c| self.candidates[c]).collect();
        self.asks = kept.iter().map(|&c| self.asks[c]).collect();
        self.fits = kept.iter().map(|&c| self.fits[c]).collect();
        self.kept = kept.iter().map(|&c| self.kept[c]).collect();
        for lane in &mut self.pinned {
            lane.cost = kept.iter().map(|&c| lane.cost[c]).collect();
            lane.worst = kept.iter().map(|&c| lane.worst[c]).collect();
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

impl PinnedLane {
    /// What a lane with pinned members costs at each of the usable candidates (rank and position).
    fn new(
        problem: &Problem,
        stock: &Stock,
        usable: &[(usize, usize)],
        lane: usize,
        members: Vec<usize>,
        permitted: &dyn Fn(usize, usize) -> Option<i64>,
        change: i64,
    ) -> Self {
        let sound = members.len() <= problem.capacity && !share_a_lane_apart(problem, &members);
        let Lane { number, straight } = problem.lanes[lane];
        let (mut cost, mut worst) = (Vec::new(), Vec::new());
        for &(rank, c) in usable {
            let all: Option<Vec<i64>> = members.iter().map(|&a| permitted(a, c)).collect();
            match all.filter(|_| sound && can_stand(problem, stock, c, straight)) {
                Some(all) => {
                    let same = kept_at(problem, number, c);
                    let together: i64 = all.iter().map(|&r| cost_of(Some(r), rank)).sum();
                    cost.push(together + if same { 0 } else { change });
                    worst.push(all.into_iter().max().unwrap_or(0));
                }
                None => {
                    cost.push(FORBIDDEN);
                    worst.push(FORBIDDEN);
                }
            }
        }
        let spare = problem.capacity.saturating_sub(members.len());
        Self { lane, members, cost, worst, spare }
    }

    /// Lets it carry nothing.
    fn close(&mut self) {
        self.cost.fill(FORBIDDEN);
        self.worst.fill(FORBIDDEN);
    }
}

/// Whether a lane carried a candidate last time.
pub(super) fn kept_at(problem: &Problem, number: u32, candidate: usize) -> bool {
    let last = problem.last_time.as_ref();
    last.is_some_and(|last| last.lanes.contains(&(number, problem.candidates[candidate])))
}

/// How many of these lanes carried a candidate last time.
fn kept_lanes(problem: &Problem, lanes: &[usize], candidate: usize) -> usize {
    lanes.iter().filter(|&&lane| kept_at(problem, problem.lanes[lane].number, candidate)).count()
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
