//! The search for the best heats.
//!
//! # Formulation
//!
//! Athletes i, heats k of sizes n_k that differ by at most one, expected times t_i in milliseconds (unknown for some).
//! Sought is the assignment with the least cost in lexicographic order:
//!
//! | aim | `Balanced` | `LikeTimes` |
//! | --- | --- | --- |
//! | 1 | pairs together that are to be apart | the same |
//! | 2 | unknown times beyond an even spread | the same |
//! | 3 | athletes of one tier who share a heat | - |
//! | 4 | largest less smallest mean of a heat | Σ over heats of the squared distances from its mean |
//! | 5 | Σ of all differences between means | Σ of k · mean, least with the fastest heat last |
//!
//! A tier is a block of H athletes by time, H the number of heats: the H fastest are tier nought. One of each tier in
//! a heat is what a serpentine does, and what makes heats of like mixture.
//!
//! The order is a design choice. Keeping apart comes first because a coach asked for it by name. Unknown times come
//! before the mixture, since a heat of beginners without times would look balanced by the others. The mixture comes
//! before the means, because two heats can have equal means with the fastest and the slowest together in one of them.
//!
//! In formulas, with U unknown times over H heats, u_k of them in heat k, and M_k the mean of the known ones there:
//!
//! ```text
//! unknown = Σ_k max(0, u_k - ⌈U / H⌉) + max(0, ⌊U / H⌋ - u_k)
//! mix     = Σ_k (known in k - tiers in k)
//! main    = max M_k - min M_k            or  Σ_k Σ_(i in k) (t_i - M_k)²
//! second  = Σ_(k < l) |M_k - M_l|        or  Σ_k k M_k
//! ```
//!
//! The second figure of `Balanced` is there for the swaps: one that brings two middling heats together leaves the
//! spread of the outer ones as it is, and would otherwise not be taken.
//!
//! # Exact means
//!
//! Means are compared as 27 720 times themselves: 27 720 is the least common multiple of 1 to 12, so 27 720 / n is
//! whole for every heat and no mean is rounded. The largest numbers, 27 720 · 12 · (6 · 10⁵)² ms² for times of ten
//! minutes, are about 1.2 · 10¹⁷ and far inside 128 bits.
//!
//! # Search
//!
//! - At most 50 000 arrangements: all are compared. Arrangements are multinomial: 18 athletes in two heats have 48
//!   620, 12 in three 34 650, 12 in four 369 600.
//! - More: a serpentine (or the order of times), then swaps of two athletes while any lowers the cost, at most 60
//!   passes over all pairs. If somebody is then still beside whom they should avoid, a backtracking search places
//!   everybody apart first, those with most pairs foremost, and swaps go on from there.
//!
//! Swaps keep sizes and pins. The result is a local optimum: no swap of two improves it. `tests/compute/race.rs` holds
//! a large field to a spread of means within a hundredth of its range.
//!
//! Cost: an evaluation is linear in athletes and quadratic in heats; a pass evaluates at most 7 140 pairs.
//!
//! # Worked
//!
//! Four athletes of 12.0, 12.1, 12.2, 12.3 s in two heats: `Balanced` finds (12.0, 12.3) and (12.1, 12.2), whose means
//! are equal; six arrangements were compared.
//!
//! Six athletes of 12.0, 12.2, 12.5, 12.9, 13.4 and 14.0 s in two heats of three:
//!
//! | heats | mix | spread of means | squared distances |
//! | --- | --- | --- | --- |
//! | 12.0 12.5 14.0 and 12.2 12.9 13.4 | 0 | 0 s | 2.893 s² |
//! | 12.0 12.9 13.4 and 12.2 12.5 14.0, the serpentine | 0 | 0.133 s | 2.867 s² |
//! | 12.9 13.4 14.0 and 12.0 12.2 12.5 | 2 | 1.2 s | 0.733 s² |
//!
//! The first is the answer of `Balanced`, the last that of `LikeTimes`, with the slower three in heat 1. An athlete
//! pinned to heat 2 or a pair kept apart only takes rows out of such a table.
//!
//! With athletes 1 to 3 all pinned to heat 1 of two places, there are no heats: `PinsFull(3)`. With three athletes who
//! must all be apart in two heats there is no row left: `Apart`.
//!
//! # What the tests hold
//!
//! Against brute force on fields of 4 to 8: mix and spread are the best there are. On fields of 12 to 59: one of each
//! tier in a heat. On a field of 60 with a chain of 29 rivals in heats of eight: nobody beside a rival and a spread of
//! means below 0.06 s, of times 6 s apart. Always: everybody runs once, sizes differ by at most one, pins hold.
//!
//! # Which fields are exact
//!
//! The largest field that is compared in full, without pins, and its arrangements:
//!
//! | heats | athletes | arrangements | one athlete more |
//! | --- | --- | --- | --- |
//! | 2 | 18 | 48 620 | 92 378 |
//! | 3 | 12 | 34 650 | 90 090 |
//! | 4 | 10 | 25 200 | 92 400 |
//! | 5 | 9 | 22 680 | 113 400 |
//! | 6 | 9 | 45 360 | 226 800 |
//!
//! Every pin lessens the number, so a coach who fixes some heats of a larger field may get a proof as well.
//!
//! # Determinism
//!
//! Lists go by athlete id, comparisons are of whole numbers, and no lot is drawn: the same field and wish give the
//! same heats on every machine. Renumbering the athletes may exchange arrangements of equal cost.

use std::cmp::Reverse;

use super::{Entry, HeatsError, Seeding, Wish};

/// Arrangements that are compared one by one; more are improved by swaps.
///
/// Design choice.
const FULL_SEARCH: u128 = 50_000;
/// Passes over all pairs; each pass that changes nothing is the last.
///
/// Design choice; each pass that changes something lowers a whole number, so the search ends without it as well.
const PASSES: usize = 60;
/// Tries at keeping athletes apart.
///
/// Placements, not whole arrangements. Design choice.
const TRIES: u32 = 100_000;
/// Divisible by every heat size up to twelve, so that means are whole numbers.
///
/// 2³ · 3² · 5 · 7 · 11.
const UNIT: i128 = 27_720;

/// How bad an arrangement is, worst aim first; whole numbers, so that comparisons are exact.
///
/// The derived order compares the fields from first to last, which is the order of the aims.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Cost {
    /// Pairs together that are to be kept apart.
    ///
    /// Nought in every answer given.
    together: usize,
    /// Athletes without an expected time beyond an even spread.
    ///
    /// Counted on both sides: too many in one heat and too few in another.
    unknown: usize,
    /// Athletes beyond one of each tier in a heat.
    ///
    /// Always nought for like times.
    mix: usize,
    /// Spread of the means, or squared distances within heats.
    ///
    /// Times 27 720; milliseconds for the spread, squared milliseconds for the distances.
    main: i128,
    /// Sum of the differences between means, which lets a swap help before it shows in the spread; or the order of heats.
    second: i128,
}

/// The field, by athlete id, and what is asked of it.
///
/// All lists go by place in `athletes`, which ascend; `apart` also holds those pinned to one lane, who cannot share a
/// heat.
pub(super) struct Board {
    /// Ascending, each once.
    athletes: Vec<u128>,
    /// Milliseconds (ms), wide enough for their squares.
    expected: Vec<Option<i128>>,
    /// Which `H` of the known athletes by time one belongs to.
    ///
    /// None for an unknown time.
    tier: Vec<Option<usize>>,
    /// The pinned heat, from nought.
    fixed: Vec<Option<usize>>,
    apart: Vec<(usize, usize)>,
    /// Of each heat, with pins; the sum is the number of athletes.
    sizes: Vec<usize>,
    /// Decides how cost and start read; the search is the same.
    seeding: Seeding,
}

impl Board {
    /// Places the pins and sets the sizes; `sorted` goes by athlete id.
    ///
    /// Checks in the order given: every pin, then every pair, then room. A pair named twice counts twice in the cost,
    /// which changes no order of arrangements.
    pub(super) fn new(sorted: &[Entry], wish: &Wish, heats: usize) -> Result<Self, HeatsError> {
        let athletes: Vec<u128> = sorted.iter().map(|entry| entry.athlete).collect();
        let at = |athlete: u128| athletes.binary_search(&athlete).map_err(|_| HeatsError::NotEntered(athlete));
        let mut fixed = vec![None; athletes.len()];
        let mut lane = vec![None; athletes.len()];
        let mut seen = vec![false; athletes.len()];
        for pin in &wish.pins {
            let i = at(pin.athlete)?;
            if std::mem::replace(&mut seen[i], true) {
                return Err(HeatsError::Twice(pin.athlete));
            }
            let heat = pin.heat.map(usize::from);
            let outside = heat.is_some_and(|heat| !(1..=heats).contains(&heat))
                || pin.lane.is_some_and(|lane| !wish.lanes.contains(&lane));
            if outside {
                return Err(HeatsError::PinOutside(pin.athlete));
            }
            fixed[i] = heat.map(|heat| heat - 1);
            lane[i] = pin.lane;
        }
        let mut apart = Vec::with_capacity(wish.apart.len());
        for (a, b) in &wish.apart {
            let pair = (at(*a)?, at(*b)?);
            if a == b {
                return Err(HeatsError::Twice(*a));
            }
            if fixed[pair.0].is_some() && fixed[pair.0] == fixed[pair.1] {
                return Err(HeatsError::PinnedTogether(*a, *b));
            }
            apart.push(pair);
        }
        let sizes = sizes(athletes.len(), heats, &fixed);
        let mut board = Self { expected: vec![], tier: vec![], fixed, apart, sizes, seeding: wish.seeding, athletes };
        board.expected = sorted.iter().map(|entry| entry.expected_ms.map(i128::from)).collect();
        board.tier = vec![None; board.athletes.len()];
        for (rank, i) in board.known().into_iter().enumerate() {
            board.tier[i] = Some(rank / heats);
        }
        board.check_pins(&lane)?;
        Ok(board)
    }

    /// Refuses pins that no heat can hold; athletes pinned to one lane are kept apart from here on.
    ///
    /// A lane of the track can serve one athlete a heat: as many athletes as heats may share it, in different heats.
    /// `PinsFull` names the first athlete beyond.
    fn check_pins(&mut self, lane: &[Option<u8>]) -> Result<(), HeatsError> {
        for (heat, size) in self.sizes.iter().enumerate() {
            let pinned: Vec<usize> = (0..self.fixed.len()).filter(|i| self.fixed[*i] == Some(heat)).collect();
            if let Some(i) = pinned.get(*size) {
                return Err(HeatsError::PinsFull(self.athletes[*i]));
            }
        }
        for i in 0..lane.len() {
            let same: Vec<usize> = (0..i).filter(|j| lane[i].is_some() && lane[*j] == lane[i]).collect();
            if same.len() >= self.sizes.len() {
                return Err(HeatsError::PinsFull(self.athletes[i]));
            }
            for j in same {
                if self.fixed[i].is_some() && self.fixed[i] == self.fixed[j] {
                    return Err(HeatsError::PinClash(self.athletes[j], self.athletes[i]));
                }
                self.apart.push((j, i));
            }
        }
        Ok(())
    }

    /// The athletes with an expected time, fastest first, ties by id.
    ///
    /// Places and not ids; the ids ascend with the places.
    fn known(&self) -> Vec<usize> {
        let mut known: Vec<usize> = (0..self.expected.len()).filter(|i| self.expected[*i].is_some()).collect();
        known.sort_by_key(|i| self.expected[*i]);
        known
    }

    /// The heat of each athlete, and whether every arrangement was compared.
    ///
    /// The full search refuses where its best still has somebody together: then no arrangement keeps all apart.
    pub(super) fn solve(&self) -> Result<(Vec<usize>, bool), HeatsError> {
        if self.arrangements() <= FULL_SEARCH {
            let best = self.search_all().filter(|best| self.cost(best).together == 0);
            return best.map(|best| (best, true)).ok_or(HeatsError::Apart);
        }
        let mut best = self.improved(self.start());
        if self.cost(&best).together > 0 {
            best = self.improved(self.kept_apart().ok_or(HeatsError::Apart)?);
        }
        Ok((best, false))
    }

    /// Heats without a known time have no mean and do not count in aims 4 and 5.
    fn cost(&self, assigned: &[usize]) -> Cost {
        let heats = self.sizes.len();
        let together = self.apart.iter().filter(|(a, b)| assigned[*a] == assigned[*b]).count();
        let mut sums = vec![(0_i128, 0_i128, 0_i128); heats];
        let mut unknowns = vec![0_usize; heats];
        let mut tiers = vec![0_u128; heats];
        let mut mix = 0;
        for (i, heat) in assigned.iter().enumerate() {
            let Some(time) = self.expected[i] else {
                unknowns[*heat] += 1;
                continue;
            };
            let sum = &mut sums[*heat];
            *sum = (sum.0 + 1, sum.1 + time, sum.2 + time * time);
            // At most 120 tiers: one bit each.
            let bit = 1_u128 << self.tier[i].unwrap_or(0);
            mix += usize::from(tiers[*heat] & bit != 0);
            tiers[*heat] |= bit;
        }
        let all: usize = unknowns.iter().sum();
        let (low, high) = (all / heats, all.div_ceil(heats));
        let unknown = unknowns.iter().map(|count| count.saturating_sub(high) + low.saturating_sub(*count)).sum();
        let (mix, main, second) = match self.seeding {
            Seeding::Balanced => {
                let mut means: Vec<i128> =
                    sums.iter().filter(|(n, ..)| *n > 0).map(|(n, sum, _)| UNIT / n * sum).collect();
                means.sort_unstable();
                let spread = means.last().zip(means.first()).map_or(0, |(last, first)| last - first);
                let pairs = means
                    .iter()
                    .enumerate()
                    .map(|(at, mean)| means[..at].iter().map(|lower| mean - lower).sum::<i128>());
                (mix, spread, pairs.sum())
            }
            Seeding::LikeTimes => {
                let within =
                    sums.iter().filter(|(n, ..)| *n > 0).map(|(n, sum, squares)| UNIT * squares - UNIT / n * sum * sum);
                // Heats that are equally good come slow to fast: least when the largest number has the smallest mean.
                let slow_first =
                    (0_i128..).zip(&sums).filter(|(_, (n, ..))| *n > 0).map(|(at, (n, sum, _))| at * (UNIT / n * sum));
                (0, within.sum(), slow_first.sum())
            }
        };
        Cost { together, unknown, mix, main, second }
    }

    /// How many arrangements the free athletes have, cut off above [`FULL_SEARCH`].
    ///
    /// The product of binomials over the open places of each heat; cut off a thousandfold above the limit, before it
    /// could overflow. Heats of equal size that could be exchanged count as different.
    fn arrangements(&self) -> u128 {
        let mut count = 1_u128;
        let mut placed = 0_u128;
        for (heat, size) in self.sizes.iter().enumerate() {
            let open = size - self.fixed.iter().filter(|fixed| **fixed == Some(heat)).count();
            for k in 1..=open as u128 {
                placed += 1;
                count = count * placed / k;
                // Each heat multiplies by a binomial that only grows from here.
                if count > FULL_SEARCH * 1_000 {
                    return count;
                }
            }
        }
        count
    }

    /// Depth first by athlete id, heats ascending; the first of the best stays.
    fn search_all(&self) -> Option<Vec<usize>> {
        let free: Vec<usize> = (0..self.fixed.len()).filter(|i| self.fixed[*i].is_none()).collect();
        let mut room = self.room();
        let mut assigned: Vec<usize> = self.fixed.iter().map(|fixed| fixed.unwrap_or(0)).collect();
        let mut best: Option<(Cost, Vec<usize>)> = None;
        self.place(&free, &mut room, &mut assigned, &mut best);
        best.map(|(_, assigned)| assigned)
    }

    /// Evaluates at the leaves only: no bound prunes, since few arrangements are searched.
    fn place(
        &self,
        free: &[usize],
        room: &mut [usize],
        assigned: &mut Vec<usize>,
        best: &mut Option<(Cost, Vec<usize>)>,
    ) {
        let Some((i, rest)) = free.split_first() else {
            let cost = self.cost(assigned);
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                *best = Some((cost, assigned.clone()));
            }
            return;
        };
        for heat in 0..room.len() {
            if room[heat] > 0 {
                room[heat] -= 1;
                assigned[*i] = heat;
                self.place(rest, room, assigned, best);
                room[heat] += 1;
            }
        }
    }

    /// Places of each heat that no pin takes.
    ///
    /// Never negative: pins beyond the size were refused.
    fn room(&self) -> Vec<usize> {
        let pinned = |heat: usize| self.fixed.iter().filter(|fixed| **fixed == Some(heat)).count();
        self.sizes.iter().enumerate().map(|(heat, size)| size - pinned(heat)).collect()
    }

    /// Serpentine or order of times over the places that are not for athletes without an expected time.
    ///
    /// Unknown times first, one to the heat that has the fewest; then the known, fastest first, over what is left: 0,
    /// 1, 2, 2, 1, 0, ... for `Balanced`, the last heat first for `LikeTimes`. Everybody gets a place, since rooms sum
    /// to the athletes.
    ///
    /// Worked: seven athletes without pins in heats of 3, 2 and 2, one of them without a time. That one takes heat 1;
    /// six known ones over the places left of 2, 2 and 2 go to heats 1, 2, 3, 3, 2, 1.
    fn start(&self) -> Vec<usize> {
        let heats = self.sizes.len();
        let mut assigned: Vec<Option<usize>> = self.fixed.clone();
        let mut room = self.room();
        let unknown: Vec<usize> =
            (0..self.fixed.len()).filter(|i| self.expected[*i].is_none() && self.fixed[*i].is_none()).collect();
        for i in unknown {
            // The heat with the fewest of them so far, of those with room.
            let so_far = |heat: usize| {
                (0..assigned.len()).filter(|j| assigned[*j] == Some(heat) && self.expected[*j].is_none()).count()
            };
            let heat = (0..heats).filter(|heat| room[*heat] > 0).min_by_key(|heat| so_far(*heat)).unwrap_or(0);
            assigned[i] = Some(heat);
            room[heat] -= 1;
        }
        let free: Vec<usize> = self.known().into_iter().filter(|i| assigned[*i].is_none()).collect();
        let order: Vec<usize> = match self.seeding {
            // The slowest fill the first heat.
            Seeding::LikeTimes => (0..heats).rev().flat_map(|heat| std::iter::repeat_n(heat, room[heat])).collect(),
            Seeding::Balanced => {
                let rounds = room.iter().copied().max().unwrap_or(0);
                (0..rounds)
                    .flat_map(|round| (0..heats).map(move |k| (round, if round % 2 == 0 { k } else { heats - 1 - k })))
                    .filter(|(round, heat)| room[*heat] > *round)
                    .map(|(_, heat)| heat)
                    .collect()
            }
        };
        for (i, heat) in free.into_iter().zip(order) {
            assigned[i] = Some(heat);
        }
        assigned.into_iter().map(|heat| heat.unwrap_or(0)).collect()
    }

    /// Swaps pairs as long as that helps.
    ///
    /// First improvement: a swap that helps stays at once. Athletes without a time take part. The answer depends on
    /// the order of ids, not on that of the entries.
    ///
    /// The cost only falls, and of whole numbers bounded below, so there is no cycle. A swap that leaves it equal is
    /// undone.
    fn improved(&self, mut assigned: Vec<usize>) -> Vec<usize> {
        let mut least = self.cost(&assigned);
        for _ in 0..PASSES {
            let before = least;
            for a in 0..assigned.len() {
                for b in a + 1..assigned.len() {
                    let movable = self.fixed[a].is_none() && self.fixed[b].is_none() && assigned[a] != assigned[b];
                    if !movable {
                        continue;
                    }
                    assigned.swap(a, b);
                    let cost = self.cost(&assigned);
                    if cost < least {
                        least = cost;
                    } else {
                        assigned.swap(a, b);
                    }
                }
            }
            if least == before {
                break;
            }
        }
        assigned
    }

    /// An arrangement that keeps everybody apart, if one is found.
    ///
    /// The costs of times do not enter here; swaps bring them in afterwards.
    ///
    /// Those with most pairs first: they have the fewest heats left when they come late.
    fn kept_apart(&self) -> Option<Vec<usize>> {
        let pairs = |i: usize| self.apart.iter().filter(|(a, b)| *a == i || *b == i).count();
        let mut free: Vec<usize> = (0..self.fixed.len()).filter(|i| self.fixed[*i].is_none()).collect();
        free.sort_by_key(|i| Reverse(pairs(*i)));
        let mut assigned = self.fixed.clone();
        let mut tries = TRIES;
        self.separate(&free, &mut self.room(), &mut assigned, &mut tries)
            .then(|| assigned.into_iter().map(|heat| heat.unwrap_or(0)).collect())
    }

    /// Stops for good once the tries are used up. `room` and `assigned` are as before when it fails.
    fn separate(
        &self,
        free: &[usize],
        room: &mut Vec<usize>,
        assigned: &mut Vec<Option<usize>>,
        tries: &mut u32,
    ) -> bool {
        let Some((i, rest)) = free.split_first() else { return true };
        for heat in 0..room.len() {
            let clash = self.apart.iter().any(|(a, b)| {
                let other = if a == i { *b } else { *a };
                (a == i || b == i) && assigned[other] == Some(heat)
            });
            if room[heat] == 0 || clash || *tries == 0 {
                continue;
            }
            *tries -= 1;
            room[heat] -= 1;
            assigned[*i] = Some(heat);
            if self.separate(rest, room, assigned, tries) {
                return true;
            }
            room[heat] += 1;
            assigned[*i] = None;
        }
        false
    }

    /// The athletes of each heat, see [`Heats`](super::Heats).
    ///
    /// Within a heat: known times ascending, ties by id, then unknown by id.
    pub(super) fn lists(&self, assigned: &[usize]) -> Vec<Vec<u128>> {
        let unknown = (0..self.expected.len()).filter(|i| self.expected[*i].is_none());
        let order: Vec<usize> = self.known().into_iter().chain(unknown).collect();
        let of = |heat: usize| order.iter().filter(|i| assigned[**i] == heat).map(|i| self.athletes[*i]).collect();
        (0..self.sizes.len()).map(of).collect()
    }

    /// See [`Heats::spread_ms`](super::Heats::spread_ms).
    ///
    /// Milliseconds (ms), nought or more; none with fewer than two heats that have a known time.
    pub(super) fn spread_ms(&self, assigned: &[usize]) -> Option<f64> {
        #[allow(clippy::cast_precision_loss)] // far below 2^53
        let mean = |heat: usize| {
            let times: Vec<i128> =
                (0..assigned.len()).filter(|i| assigned[*i] == heat).filter_map(|i| self.expected[i]).collect();
            (!times.is_empty()).then(|| times.iter().sum::<i128>() as f64 / times.len() as f64)
        };
        let means: Vec<f64> = (0..self.sizes.len()).filter_map(mean).collect();
        let (low, high) = means
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), mean| (low.min(*mean), high.max(*mean)));
        (means.len() > 1).then_some(high - low)
    }
}

/// Sizes that differ by at most one; where pins need the larger ones, they get them.
///
/// Seven athletes in three heats: 3, 2, 2, the larger one where most are pinned, of equals the first.
fn sizes(athletes: usize, heats: usize, fixed: &[Option<usize>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..heats).collect();
    order.sort_by_key(|heat| Reverse(fixed.iter().filter(|fixed| **fixed == Some(*heat)).count()));
    let mut sizes = vec![athletes / heats; heats];
    for heat in order.into_iter().take(athletes % heats) {
        sizes[heat] += 1;
    }
    sizes
}
