//! The problem in the order and the numbers that the search works on.
//!
//! # What becomes what
//! Athletes with a pin leave the search: their lane is known, so together they are only a cost of what that
//! lane carries ([`PinnedLane`]). The others form the rows, by id, and the candidates that can be set out the
//! columns, by rank. Lanes without pins lose their numbers: the search asks only how many of them each
//! candidate fits (`fits`), and the numbers are given back by the layout.
//!
//! ```text
//! cost(i, c) = regret units of i at c * 2^17 + rank of c        FORBIDDEN where not permitted
//! ```
//!
//! The rank is the position of the candidate in the order that breaks ties (spacing, height, kind, approach).
//! The sum of at most 300 ranks below 400 is at most 119 700, less than 2^17 = 131 072: it never carries into
//! the regrets. So the cheapest plan by cost has the smallest regret, and among equal regrets the smallest sum
//! of ranks. Example: a regret of 0.25 at rank 3 costs 250 000 000 · 131 072 + 3.
//!
//! # Why lengths and stock need no lane numbers
//! Candidates are judged with the fewest barriers. The lanes that a candidate fits are those with a straight at
//! least as long as it needs, so these sets are nested, and candidates find different lanes exactly when,
//! sorted by how many lanes each fits, the k-th fits at least k (P. Hall, 1935, on nested sets). Example: of
//! three lanes one candidate fits 1 and another 3. They can stand together; two of the first cannot. For the
//! stock see [`Stock`].
//!
//! # Cost
//! Reading takes athletes × candidates; leaving out what is replaced takes candidates² × athletes at worst,
//! about 48 million comparisons at the limits of a problem.

use super::assign::FORBIDDEN;
use super::model::{Lane, Problem, units};
use super::stock::Stock;
use crate::units::Length;

/// Regret units are shifted by this many bits to make room for the tie-break: the sum of 300 ranks below 400.
/// The largest sum of costs, 300 athletes who all wait at 40 whole losses, is 1.6e18 and stays below
/// [`FORBIDDEN`].
const TIE_BITS: u32 = 17;
/// A lane with pinned athletes. What it carries is chosen by the search; that it is in use is not.
#[derive(Clone, Debug)]
pub(super) struct PinnedLane {
    /// Position in [`Problem::lanes`].
    pub(super) lane: usize,
    /// Positions in [`Problem::athletes`], by id.
    pub(super) members: Vec<usize>,
    /// What the members cost together at each candidate, with what a change of the lane costs; `FORBIDDEN`
    /// where it cannot carry it.
    pub(super) cost: Vec<i64>,
    /// The largest regret of a member at each candidate in regret units (not a cost), `FORBIDDEN` where the
    /// lane cannot carry it.
    pub(super) worst: Vec<i64>,
    /// Places for others: the capacity less the members, 0 where there are as many members or more.
    pub(super) spare: usize,
}

/// Athletes without a pin × candidates that can be set out, both in the order that breaks ties.
///
/// All positions of athletes and candidates inside the search are positions in `athletes` and `candidates`
/// here.
#[derive(Clone, Debug)]
pub(super) struct Instance {
    /// Positions in [`Problem::athletes`] of the athletes without a pin, by id.
    pub(super) athletes: Vec<usize>,
    /// Positions in [`Problem::candidates`], by rank.
    pub(super) candidates: Vec<usize>,
    /// Costs, one run of `athletes.len()` per candidate; a run is read as a whole by every bound, so it lies
    /// together in memory.
    cost: Vec<i64>,
    /// Position in the stock of each candidate's kind and height.
    pub(super) asks: Vec<usize>,
    /// How many of the lanes without pins each candidate fits, with the fewest barriers; 0 is possible where
    /// only a pinned lane takes it.
    pub(super) fits: Vec<usize>,
    /// How many lanes without pins may be used: those there are, at most what `lanes_max` leaves beside the
    /// pinned ones.
    pub(super) free: usize,
    /// How many of last time's lanes on numbers without pins carried each candidate.
    pub(super) kept: Vec<usize>,
    /// What one lane costs that was not there last time; 0 without a last time or where a change need save
    /// nothing.
    pub(super) change: i64,
    /// The lanes with pins, and last the bench where there is one.
    pub(super) pinned: Vec<PinnedLane>,
    /// Most athletes of one lane.
    pub(super) capacity: usize,
    /// The equipment against the kinds and heights of the candidates.
    pub(super) stock: Stock,
    /// Units that one lane takes: the fewest barriers.
    pub(super) per_lane: u32,
    /// Units that all lanes take together when each has the fewest barriers.
    all_units: u32,
    /// Whether the stock can be short for some choice of lanes. It cannot where each kind and height alone has
    /// units for all lanes, also when they share them: any set of kinds and heights is asked for no more than
    /// all lanes take, and has at least that (P. Hall, 1935).
    pub(super) stock_binds: bool,
    /// Pairs of athletes (positions in `athletes`) to keep apart.
    pub(super) apart: Vec<(usize, usize)>,
    /// Athletes (positions in `athletes`) to keep out of pinned lanes (positions in `pinned`), because somebody
    /// pinned there is to be kept apart from them.
    pub(super) barred: Vec<(usize, usize)>,
    /// The lane (position in `pinned`) of those who wait, where anybody may; see [`Self::with_bench`].
    pub(super) bench: Option<usize>,
    /// The most that one athlete, or all members of one pinned lane together, can cost.
    dearest: i64,
}

/// A regret as a cost, with the candidate's rank as its last digits; `FORBIDDEN` without a regret.
fn cost_of(regret: Option<i64>, rank: usize) -> i64 {
    regret.map_or(FORBIDDEN, |regret| (regret << TIE_BITS) + i64::try_from(rank).unwrap_or(0))
}

/// The regret units of a sum of costs, rounded down: the sum of ranks falls away. Also of a bound that no plan
/// attains, where rounding down keeps it a bound.
pub(super) fn regret_of(cost: i64) -> i64 {
    cost >> TIE_BITS
}

/// What a share of regret costs: the same scale as [`cost_of`], without a rank.
pub(super) fn cost_of_share(share: f64) -> i64 {
    units(share) << TIE_BITS
}

impl Instance {
    /// Reads a problem whose regrets are known; entries with a regret above `ceiling` (units) are not
    /// permitted.
    ///
    /// Candidates that another one replaces are left out; see [`Self::whole`]. The best plan costs the same
    /// without them.
    pub(super) fn of(problem: &Problem, regrets: &[Vec<Option<i64>>], ceiling: i64) -> Self {
        let mut instance = Self::whole(problem, regrets, ceiling);
        instance.drop_dominated();
        instance
    }

    /// Reads a problem with every candidate that can be set out: at least one lane is long enough for its
    /// fewest barriers, and the stock has units for them when nothing else stands. With more pinned lanes than
    /// may be used, every pinned lane is closed, and no plan exists.
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

    /// A cost above that of every plan: everybody at the dearest entry, one more unit each, and every lane
    /// changed.
    pub(super) fn above_all(&self) -> i64 {
        let people = self.athletes.len() + self.pinned.iter().map(|lane| lane.members.len()).sum::<usize>();
        let count = |n: usize| i64::try_from(n).unwrap_or(1);
        (self.dearest + 1) * count(people.max(1)) + self.change * count(self.free + self.pinned.len())
    }

    /// How many lanes of each candidate a plan may need.
    ///
    /// No more than its runners fill: a lane more would stand empty. With pairs to be kept apart runners may
    /// need more lanes than they fill, so then only the lanes there are and the lengths bound it.
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
    ///
    /// The first `kept` lanes of each candidate are those of last time and cost nothing, each further one costs
    /// `change`; the order of `open` does not matter. Example: `kept` is 1 for a candidate that is opened three
    /// times: two changes.
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

    /// Lets everybody without a pin wait instead, at a cost that depends on who waits (positions in
    /// [`Problem::athletes`]): one more pinned lane, that needs no barriers and has room for all.
    ///
    /// The bench is a candidate of its own that fits no lane, is carried by the bench alone and asks for units
    /// that never run out, so that bounds, covers and assignments treat waiting like any other lane. `costs`
    /// must exceed what any lane costs, or somebody would wait to spare others.
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

    /// Sorts the pairs to be kept apart: both without a pin, a pair for the assignment; one with a pin, a lane
    /// closed to the other. Two with pins are judged when their lane is read.
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
    ///
    /// Units are no scarcer where both ask for the same kind and height, where `a` has units for all lanes at
    /// once whatever else stands, or where every item that serves `b` serves `a` too.
    pub(super) fn asks_no_more(&self, a: usize, b: usize) -> bool {
        let (ka, kb) = (self.asks[a], self.asks[b]);
        self.fits[a] >= self.fits[b]
            && (ka == kb || self.stock.settable(ka) >= self.all_units || self.stock.covers(ka, kb))
    }

    /// Whether a candidate replaces another one at no loss to anybody: in every plan each lane of `b` can carry
    /// `a` instead, nobody pays more, and nothing that stood last time is lost. Equal columns differ in their
    /// rank, so of two equals only the earlier replaces the later.
    pub(super) fn replaces(&self, a: usize, b: usize) -> bool {
        self.asks_no_more(a, b)
            && self.kept[b] == 0
            && self.pinned.iter().all(|p| p.cost[a] <= p.cost[b])
            && self.column(a).iter().zip(self.column(b)).all(|(x, y)| x <= y)
    }

    /// Leaves out candidates that another one replaces.
    ///
    /// Example: two athletes are advised 6.00 and 7.00 m. 6.50 m serves the second less well than 7.00 m would
    /// and may not be run by the first: 7.00 m replaces it where the stock and the lengths allow as many lanes
    /// of it. 6.00 m stays, as nothing else serves the first.
    ///
    /// Replacement is transitive, and mutual only between candidates that nobody may run, of which the first
    /// stays. On a grid of spacings most candidates go where few athletes are present: those that nobody's
    /// advice is near.
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

    /// Whether lanes of these candidates can stand side by side on the lanes without pins; see the module's
    /// page.
    pub(super) fn lengths_allow(&self, open: &[usize]) -> bool {
        let mut fits: Vec<usize> = open.iter().map(|&c| self.fits[c]).collect();
        fits.sort_unstable();
        fits.iter().enumerate().all(|(before, &lanes)| before < lanes)
    }

    /// Units that lanes of these candidates ask for, per position of the stock, each lane with the fewest
    /// barriers.
    pub(super) fn demand(&self, candidates: impl IntoIterator<Item = usize>) -> Vec<u32> {
        let mut demand = vec![0; self.stock.len()];
        for c in candidates {
            demand[self.asks[c]] += self.per_lane;
        }
        demand
    }

    /// Whether stock and lengths allow these pinned and open lanes together. Lengths of pinned lanes are judged
    /// when they are read.
    pub(super) fn can_set_out(&self, pinned: &[usize], open: &[usize]) -> bool {
        self.lengths_allow(open)
            && (!self.stock_binds || self.stock.suffices(&self.demand(pinned.iter().chain(open).copied())))
    }
}

impl PinnedLane {
    /// What a lane with pinned members costs at each of the usable candidates (rank and position).
    ///
    /// Forbidden everywhere when the members are more than the capacity or two of them are to be kept apart;
    /// forbidden at a candidate that one of them may not run, or that the lane is too short for. `change` is
    /// added unless the lane carried the candidate last time.
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

    /// Lets it carry nothing, so that no plan exists.
    fn close(&mut self) {
        self.cost.fill(FORBIDDEN);
        self.worst.fill(FORBIDDEN);
    }
}

/// Whether a lane carried a candidate last time, the same in kind, height, spacing and approach.
pub(super) fn kept_at(problem: &Problem, number: u32, candidate: usize) -> bool {
    let last = problem.last_time.as_ref();
    last.is_some_and(|last| last.lanes.contains(&(number, problem.candidates[candidate])))
}

/// How many of these lanes carried a candidate last time.
fn kept_lanes(problem: &Problem, lanes: &[usize], candidate: usize) -> usize {
    lanes.iter().filter(|&&lane| kept_at(problem, problem.lanes[lane].number, candidate)).count()
}

/// The position in the stock of a candidate's kind and height; every candidate has one, since the stock is read
/// for the candidates.
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
