//! The Lagrangian bound: each athlete in one lane is made a matter of price.
//!
//! With prices u, a lane is worth the sum of its `capacity` most negative reduced costs `cost - u`; the relaxed problem
//! opens the lanes worth most. Its value never exceeds the cost of a plan, for any prices, and all of it is whole
//! numbers, so a bound is a proof.
//!
//! # Source
//! Geoffrion, "Lagrangean relaxation for integer programming", Mathematical Programming Study 2, 1974; Held, Wolfe,
//! Crowder, "Validation of subgradient optimization", Mathematical Programming 6, 1974.

use super::assign::FORBIDDEN;
use super::instance::Instance;

/// A part of the search: lanes opened, candidates still allowed, prices.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// The candidate of each pinned lane, once chosen.
    pub(super) pinned: Vec<Option<usize>>,
    /// Candidates of the lanes opened so far.
    pub(super) open: Vec<usize>,
    /// How many more lanes of each candidate may be opened.
    pub(super) allowed: Vec<usize>,
    /// One price per athlete.
    pub(super) price: Vec<i64>,
    /// Lanes known to be in every better plan, not opened yet: candidate and how many.
    pub(super) forced: Vec<(usize, usize)>,
}

/// One more lane of a candidate in the relaxed problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Block {
    /// Sum of its reduced costs, with what a changed lane costs.
    pub(super) value: i64,
    pub(super) candidate: usize,
    /// How many lanes of the candidate come before it.
    pub(super) copy: usize,
}

/// The relaxed problem solved for one set of prices.
#[derive(Clone, Debug, Default)]
pub(super) struct Relaxed {
    /// The bound.
    pub(super) value: i64,
    /// Every block considered, the best first.
    pub(super) blocks: Vec<Block>,
    /// Whether each block is taken.
    pub(super) taken: Vec<bool>,
    /// How much the bound rises when a block that is not taken must be.
    pub(super) rise: Vec<i64>,
    /// The best candidate of each pinned lane without one, with its value.
    pub(super) pinned: Vec<(usize, i64)>,
}

/// How many more lanes the stock allows: per kind and height, and per group.
#[derive(Clone, Debug, Default)]
pub(super) struct Rooms {
    kind: Vec<usize>,
    group: Vec<usize>,
}

/// The relaxed problem and its working memory.
pub(super) struct Bound<'a> {
    instance: &'a Instance,
    negative: Vec<i64>,
    pairs: Vec<(i64, usize)>,
    places: Vec<usize>,
    pub(super) relaxed: Relaxed,
}

impl Rooms {
    /// The most that one more lane each of some candidates gain together, by the gain of each copy of each candidate (the
    /// greatest first): greedy on nested limits, so never too little.
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
    /// Everything still open.
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

    /// Places for athletes without a pin in the lanes opened so far, per candidate.
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

/// Sum of the `most` lowest of `values`, which moves them to the front.
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
    pub(super) fn new(instance: &'a Instance) -> Self {
        Self {
            instance,
            negative: vec![0; instance.athletes.len() + 1],
            pairs: Vec::new(),
            places: Vec::new(),
            relaxed: Relaxed::default(),
        }
    }

    /// Gathers the negative reduced costs of a candidate; they fill the front of `self.negative`.
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

    /// The value of each candidate for a pinned lane, `FORBIDDEN` where it must not be.
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

    /// How often the relaxed problem serves each athlete, less the once that it should: the slope of the bound, negated.
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
