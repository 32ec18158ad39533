//! The Lagrangian bound: each athlete in one lane is made a matter of price.
//!
//! With one price u_i for each athlete, "each athlete in one lane" is dropped, and serving athlete i pays u_i
//! back:
//!
//! ```text
//! L(u) = sum_i u_i
//!      + sum over pinned lanes:   min over candidates c, or the chosen one, of  cost(c) + W(c, spare places)
//!      + sum over open lanes:     W(c, capacity)
//!      + min over more lanes c:   sum of W(c, capacity) + change
//! W(c, m) = sum of the m lowest of  min(0, cost(i, c) - u_i)  over the athletes
//! ```
//!
//! For any prices L(u) is at most the cost of every plan: a plan serves everybody once, so the prices cancel,
//! and it obeys the limits that are left. All of it is whole numbers, so a bound is a proof. A candidate may be
//! opened several times; its athletes are then taken in blocks of `capacity`, from the lowest reduced cost on,
//! which is the least that so many lanes can be worth. As blocks come in ascending value, taking a later one
//! without an earlier never pays.
//!
//! # Limits that remain
//! Lanes in all, lanes of one kind and height, and lanes of a group of heights that share units are limits on
//! nested sets of blocks, so the greedy choice of the best blocks is the best choice (a laminar matroid). The
//! stock itself is finer than these limits, and the lengths beside them are only asked candidate by candidate:
//! the relaxed problem allows a little more than a plan may, which keeps it a bound.
//!
//! Example: two heights share eight units, all of which can stand at the higher and six at the lower; a lane
//! takes four. The lower height has room for one lane, the higher for two, the group for two. Of blocks worth
//! -9 and -8 at the lower and -5 at the higher height the greedy choice takes -9, passes over -8 for want of
//! room and takes -5.
//!
//! # Worked example
//! Costs of three athletes at A: 0, 4, 9 and at B: 6, 1, 2; one lane, room for all. Alone A costs 13 and B 9.
//! At prices 5, 5, 5 the reduced costs are -5, -1, 4 and 1, -4, -3, so A is worth -6 and B -7: L = 15 - 7 = 8,
//! at most 9. At prices 6, 5, 5 both are worth -7, and L = 16 - 7 = 9: B is proven to be the best lane.
//!
//! # Cost
//! One solution reads every allowed candidate's column once and selects the lowest entries in linear time:
//! athletes × candidates, and a sort of the blocks.
//!
//! # Source
//! Geoffrion, "Lagrangean relaxation for integer programming", Mathematical Programming Study 2, 1974; Held,
//! Wolfe, Crowder, "Validation of subgradient optimization", Mathematical Programming 6, 1974.

use super::assign::FORBIDDEN;
use super::instance::Instance;

/// A part of the search: lanes opened, candidates still allowed, prices. It stands for every plan that opens
/// these lanes and, beside them, any of the allowed ones.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// The candidate of each pinned lane, once chosen. All are chosen before the first other lane is opened.
    pub(super) pinned: Vec<Option<usize>>,
    /// Candidates of the lanes opened so far, with repetitions; at most [`Instance::free`].
    pub(super) open: Vec<usize>,
    /// How many more lanes of each candidate may be opened; only falls on the way down.
    pub(super) allowed: Vec<usize>,
    /// One price per athlete, in cost units; of any sign.
    pub(super) price: Vec<i64>,
    /// Lanes known to be in every better plan, not opened yet: candidate and how many.
    pub(super) forced: Vec<(usize, usize)>,
}

/// One more lane of a candidate in the relaxed problem. Ordered by value, then by the candidate's rank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Block {
    /// Sum of its reduced costs, with what a changed lane costs; above 0 where a change costs more than the
    /// athletes bring.
    pub(super) value: i64,
    /// What the lane carries.
    pub(super) candidate: usize,
    /// How many further lanes of the candidate come before it, those opened so far not counted.
    pub(super) copy: usize,
}

/// The relaxed problem solved for one set of prices.
#[derive(Clone, Debug, Default)]
pub(super) struct Relaxed {
    /// The bound L(u); [`FORBIDDEN`] or more where some pinned lane can carry nothing.
    pub(super) value: i64,
    /// Every block considered, the best first.
    pub(super) blocks: Vec<Block>,
    /// Whether each block is taken; as long as `blocks`.
    pub(super) taken: Vec<bool>,
    /// How much the bound rises at least when a block that is not taken must be; as long as `blocks`, without
    /// meaning for taken ones.
    pub(super) rise: Vec<i64>,
    /// The best candidate of each pinned lane without one, with its value, in the order of the lanes.
    pub(super) pinned: Vec<(usize, i64)>,
}

/// How many more lanes the stock allows: per kind and height, and per group of those that share units.
#[derive(Clone, Debug, Default)]
pub(super) struct Rooms {
    /// By position of the stock: lanes of this kind and height, when no other is opened.
    kind: Vec<usize>,
    /// By number of a group: lanes of the group together, by its units in all.
    group: Vec<usize>,
}

/// The relaxed problem and its working memory, which is kept from one solution to the next.
pub(super) struct Bound<'a> {
    instance: &'a Instance,
    /// Reduced costs of the candidate at hand, the negative ones in front; one place more than athletes, so
    /// that a write never fails.
    negative: Vec<i64>,
    /// Negative reduced costs with their athletes.
    pairs: Vec<(i64, usize)>,
    /// Places in the lanes opened so far, per candidate.
    places: Vec<usize>,
    /// The latest solution.
    pub(super) relaxed: Relaxed,
}

impl Rooms {
    /// The most that one more lane each of some candidates gain together, by the gain of each copy of each
    /// candidate (the greatest first): greedy on nested limits, so never too little. `left` lanes at most.
    pub(super) fn most(mut self, instance: &Instance, gains: &[(usize, usize)], mut left: usize) -> usize {
        let mut most = 0;
        for &(gain, candidate) in gains {
            let kind = instance.asks[candidate];
            let group = instance.stock.group(kind);
            if left > 0 && self.kind[kind] > 0 && self.group[group] > 0 {
                left -= 1;
                self.kind[kind] -= 1;
                self.group[group] -= 1;
                most += gain;
            }
        }
        most
    }
}

impl Part {
    /// Everything still open: no lane chosen, each candidate as often as a plan may need it.
    pub(super) fn whole(instance: &Instance, price: Vec<i64>) -> Self {
        Self {
            pinned: vec![None; instance.pinned.len()],
            open: Vec::new(),
            allowed: instance.copies(),
            price,
            forced: Vec::new(),
        }
    }

    /// Lanes that may still be opened.
    pub(super) fn left(&self, instance: &Instance) -> usize {
        instance.free - self.open.len()
    }

    /// Opens one more lane of a candidate.
    pub(super) fn open(&mut self, candidate: usize) {
        self.open.push(candidate);
        self.allowed[candidate] = self.allowed[candidate].saturating_sub(1);
    }

    /// Takes out what stock and lengths no longer allow, and tells the room that is left.
    ///
    /// No candidate stays allowed that could not be the very next lane; how often it stays allowed is bounded
    /// by its kind and height alone.
    pub(super) fn tighten(&mut self, instance: &Instance) -> Rooms {
        let left = self.left(instance);
        let mut rooms = Rooms { kind: vec![left; instance.stock.len()], group: vec![left; instance.stock.len()] };
        if instance.stock_binds {
            self.stock_rooms(instance, left, &mut rooms);
        }
        for c in 0..self.allowed.len() {
            self.allowed[c] = self.allowed[c].min(rooms.kind[instance.asks[c]]).min(left);
            if self.allowed[c] > 0 && instance.fits[c] < instance.free {
                self.open.push(c);
                if !instance.lengths_allow(&self.open) {
                    self.allowed[c] = 0;
                }
                self.open.pop();
            }
        }
        rooms
    }

    /// The room that the stock leaves beside the lanes chosen so far.
    ///
    /// For a kind and height: lane after lane is added until the stock as a flow refuses, which is exact when
    /// no other kind follows. For a group: units in all less those asked for, over the units of a lane, rounded
    /// down; more than that no mix of its heights can have.
    fn stock_rooms(&self, instance: &Instance, left: usize, rooms: &mut Rooms) {
        let chosen = self.pinned.iter().flatten().chain(&self.open).copied();
        let mut demand = instance.demand(chosen);
        let per_lane = instance.per_lane;
        let stock = &instance.stock;
        for kind in 0..stock.len() {
            let members = (0..stock.len()).filter(|&k| stock.group(k) == stock.group(kind));
            let asked: u32 = members.map(|k| demand[k]).sum();
            let spare = stock.settable_in_group(stock.group(kind)).saturating_sub(asked) / per_lane;
            rooms.group[stock.group(kind)] = left.min(usize::try_from(spare).unwrap_or(left));
            let before = demand[kind];
            let mut room = 0;
            while room < left {
                demand[kind] += per_lane;
                if !stock.suffices(&demand) {
                    break;
                }
                room += 1;
            }
            demand[kind] = before;
            rooms.kind[kind] = room;
        }
    }

    /// Places for athletes without a pin in the lanes opened so far, per candidate. Lanes of one candidate are
    /// alike to the relaxed problem, so their places are one pool.
    fn places(&self, instance: &Instance, places: &mut Vec<usize>) {
        places.clear();
        places.resize(instance.candidates.len(), 0);
        for &c in &self.open {
            places[c] += instance.capacity;
        }
        for (lane, choice) in self.pinned.iter().enumerate() {
            if let Some(c) = *choice {
                places[c] += instance.pinned[lane].spare;
            }
        }
    }
}

/// Sum of the `most` lowest of `values`, which moves them to the front, unsorted; all of them when there are no
/// more. Linear time.
fn lowest(values: &mut [i64], most: usize) -> i64 {
    if values.len() > most {
        if most == 0 {
            return 0;
        }
        values.select_nth_unstable(most - 1);
    }
    values.iter().take(most).sum()
}

impl<'a> Bound<'a> {
    /// Working memory for an instance, with no solution yet.
    pub(super) fn new(instance: &'a Instance) -> Self {
        Self {
            instance,
            negative: vec![0; instance.athletes.len() + 1],
            pairs: Vec::new(),
            places: Vec::new(),
            relaxed: Relaxed::default(),
        }
    }

    /// Gathers the negative reduced costs of a candidate; they fill the front of `self.negative`. Returns how
    /// many. Every entry is written and the end moves only past negative ones, so the loop has no branch.
    fn gather(&mut self, candidate: usize, price: &[i64]) -> usize {
        let mut found = 0;
        for (&cost, &price) in self.instance.column(candidate).iter().zip(price) {
            let reduced = cost - price;
            self.negative[found] = reduced;
            found += usize::from(reduced < 0);
        }
        found
    }

    /// Solves the relaxed problem for given prices; the answer is in `self.relaxed`.
    pub(super) fn solve(&mut self, part: &Part, price: &[i64], rooms: &Rooms) {
        part.places(self.instance, &mut self.places);
        let mut value: i64 = price.iter().sum::<i64>() + self.instance.changes(&part.open);
        self.relaxed.blocks.clear();
        for c in 0..self.instance.candidates.len() {
            if self.places[c] > 0 || part.allowed[c] > 0 {
                let opened = part.open.iter().filter(|&&o| o == c).count();
                value += self.blocks_of(c, opened, part.allowed[c], price);
            }
        }
        value += self.pinned_lanes(part, price);
        self.relaxed.blocks.sort_unstable();
        self.relaxed.value = value + self.take(part.left(self.instance), rooms);
    }

    /// Lists the blocks of a candidate; returns the value of its lanes opened so far.
    ///
    /// The opened lanes take the lowest reduced costs, each further block the next `capacity` of them, until
    /// the negative ones are used up: a block beyond them would be worth nothing. The last listed one may hold
    /// fewer athletes. A block that stood last time costs no change.
    fn blocks_of(&mut self, candidate: usize, opened: usize, allowed: usize, price: &[i64]) -> i64 {
        let found = self.gather(candidate, price);
        let places = self.places[candidate];
        let value = lowest(&mut self.negative[..found], places);
        let mut rest = places.min(found);
        for copy in 0..allowed {
            let new = opened + copy >= self.instance.kept[candidate];
            let change = if new { self.instance.change } else { 0 };
            let block = change + lowest(&mut self.negative[rest..found], self.instance.capacity);
            self.relaxed.blocks.push(Block { value: block, candidate, copy });
            rest = (rest + self.instance.capacity).min(found);
            if rest == found {
                break;
            }
        }
        value
    }

    /// The value of each candidate for a pinned lane, `FORBIDDEN` where it must not be: what it costs its
    /// members, and what its spare places are worth to the others.
    pub(super) fn pinned_values(&mut self, lane: usize, price: &[i64]) -> Vec<i64> {
        let pinned = &self.instance.pinned[lane];
        (0..self.instance.candidates.len())
            .map(|c| {
                if pinned.cost[c] >= FORBIDDEN {
                    return FORBIDDEN;
                }
                let found = self.gather(c, price);
                pinned.cost[c] + lowest(&mut self.negative[..found], pinned.spare)
            })
            .collect()
    }

    /// The value of the pinned lanes: what a chosen candidate costs, its places being counted with the opened
    /// lanes, or the best candidate's value where none is chosen. Ties go to the better rank.
    fn pinned_lanes(&mut self, part: &Part, price: &[i64]) -> i64 {
        self.relaxed.pinned.clear();
        let mut value = 0;
        for (lane, choice) in part.pinned.iter().enumerate() {
            let worth = match *choice {
                Some(c) => self.instance.pinned[lane].cost[c],
                None => {
                    let values = self.pinned_values(lane, price);
                    let best = values.into_iter().enumerate().min_by_key(|&(c, v)| (v, c));
                    let (candidate, worth) = best.unwrap_or((0, FORBIDDEN));
                    self.relaxed.pinned.push((candidate, worth));
                    worth
                }
            };
            // One lane that cannot be is enough; sums of the forbidden cost would overflow.
            value = if worth >= FORBIDDEN || value >= FORBIDDEN { FORBIDDEN } else { value + worth };
        }
        value
    }

    /// Takes the best blocks that the number of lanes and the stock allow (greedy, exact on nested limits).
    ///
    /// Blocks of no negative value are never taken: a lane need not be opened. Beside the choice it tells the
    /// `rise` of each block: what it is worth less what gives way to it, the worst taken one of its kind where
    /// that is full, else of its group, else of all, else nothing.
    ///
    /// Example: two lanes are left, the blocks are worth -9, -6 and -2, and the stock does not bind. The first
    /// two are taken; the third would take the place of -6, so its rise is -2 + 6 = 4.
    ///
    /// # Source
    /// Edmonds, "Matroids and the greedy algorithm", Mathematical Programming 1, 1971.
    fn take(&mut self, left: usize, rooms: &Rooms) -> i64 {
        let Relaxed { blocks, taken, rise, .. } = &mut self.relaxed;
        let (asks, stock) = (&self.instance.asks, &self.instance.stock);
        taken.clear();
        taken.resize(blocks.len(), false);
        rise.clear();
        let mut room = rooms.clone();
        let mut last_of_kind = vec![0; room.kind.len()];
        let mut last_of_group = vec![0; room.group.len()];
        let (mut count, mut last, mut value) = (0, 0, 0);
        for (block, taken) in blocks.iter().zip(taken.iter_mut()) {
            let kind = asks[block.candidate];
            let group = stock.group(kind);
            if block.value < 0 && count < left && room.kind[kind] > 0 && room.group[group] > 0 {
                *taken = true;
                count += 1;
                room.kind[kind] -= 1;
                room.group[group] -= 1;
                (last_of_kind[kind], last_of_group[group], last) = (block.value, block.value, block.value);
                value += block.value;
            }
        }
        for block in blocks.iter() {
            let kind = asks[block.candidate];
            let group = stock.group(kind);
            let gives_way = match () {
                () if room.kind[kind] == 0 => last_of_kind[kind],
                () if room.group[group] == 0 => last_of_group[group],
                () if count == left => last,
                () => 0,
            };
            rise.push(block.value - gives_way);
        }
        value
    }

    /// How often the relaxed problem serves each athlete, less the once that it should: the slope of the bound,
    /// negated.
    ///
    /// -1 for somebody who is not served (their price should rise), 0 for once, more where several lanes want
    /// them (it should fall). Serving those with the lowest reduced cost first, as the solution does.
    pub(super) fn surplus(&mut self, part: &Part, price: &[i64], surplus: &mut Vec<i64>) {
        surplus.clear();
        surplus.resize(price.len(), -1);
        let mut places = self.places.clone();
        for (block, _) in self.relaxed.blocks.iter().zip(&self.relaxed.taken).filter(|(_, taken)| **taken) {
            places[block.candidate] += self.instance.capacity;
        }
        for (c, &most) in places.iter().enumerate().filter(|(_, places)| **places > 0) {
            self.serve(c, most, price, surplus);
        }
        let undecided = (0..part.pinned.len()).filter(|&lane| part.pinned[lane].is_none());
        for (lane, (candidate, _)) in undecided.zip(self.relaxed.pinned.clone()) {
            self.serve(candidate, self.instance.pinned[lane].spare, price, surplus);
        }
    }

    /// Counts the athletes whom a candidate with so many places serves: those of the lowest negative reduced
    /// costs, of equals the first by id.
    fn serve(&mut self, candidate: usize, most: usize, price: &[i64], surplus: &mut [i64]) {
        let reduced = self.instance.column(candidate).iter().zip(price).map(|(cost, price)| cost - price);
        self.pairs.clear();
        self.pairs.extend(reduced.enumerate().filter(|&(_, d)| d < 0).map(|(i, d)| (d, i)));
        if most == 0 {
            return;
        }
        if self.pairs.len() > most {
            self.pairs.select_nth_unstable(most - 1);
        }
        for &(_, athlete) in self.pairs.iter().take(most) {
            surplus[athlete] += 1;
        }
    }
}
