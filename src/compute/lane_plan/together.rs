//! Ties: of the assignments that cost the same, one that keeps athletes with the same target together.
//!
//! Athletes who train towards the same race talk about the same marks and wait for the same turn, so when it
//! costs nothing they share a lane (design choice). The search does not know targets; this goes over its
//! assignment once more and never changes what the plan costs, what stands in the lanes, or what a limit says.
//!
//! # Method
//! The first best change that costs nothing is made, then the next, until there is none: one athlete moves into
//! a lane that has room, or two athletes with different targets swap. A change is better when more pairs of one
//! target share a lane after it, or as many do and the lanes are more alike in number, which only a move can
//! bring about. Each change raises the number of such pairs, or keeps it and lowers the sum of the squares of
//! the lanes' numbers, so it ends. The result is a local optimum, no proven best one: three athletes who would
//! have to move in a circle stay.
//!
//! # Worked example
//! Lanes of the same candidate hold athletes with targets 1, 1, 2 and 1, 2, 2. Swapping the 2 of the first lane
//! with the 1 of the second costs nothing: each finds two of its target where it leaves none, a gain of 2 + 2.
//! Then they hold 1, 1, 1 and 2, 2, 2, and nothing gains more.
//!
//! # Cost
//! A change is found in O(n² p) for n athletes and p pairs to be kept apart (at least one).

use super::assign::FORBIDDEN;
use super::instance::Instance;
use super::model::Problem;
use super::search::Found;

/// Moves and swaps athletes between lanes, as long as the plan costs the same and more of those who share a
/// target share a lane, or as many do and the lanes are more alike in number. Pinned athletes stay where they
/// are, but count for the others.
pub(super) fn arrange(problem: &Problem, instance: &Instance, found: &mut Found) {
    let mut lanes = Lanes::of(problem, instance, found);
    while let Some((a, to, b)) = lanes.better_change(&found.lane_of) {
        let from = std::mem::replace(&mut found.lane_of[a], to);
        lanes.moved(a, from, to);
        if let Some(b) = b {
            found.lane_of[b] = from;
            lanes.moved(b, to, from);
        }
    }
}

/// Who trains towards what in each lane, pinned members included.
struct Lanes<'a> {
    /// Costs, places and who is to be kept apart.
    instance: &'a Instance,
    /// What each lane carries, pinned lanes first.
    candidate: Vec<usize>,
    /// Places of each lane for athletes without a pin.
    places: Vec<usize>,
    /// Athletes without a pin in each lane.
    members: Vec<usize>,
    /// Athletes in each lane.
    all: Vec<usize>,
    /// Target of each athlete without a pin, numbered from 0 in ascending order.
    target: Vec<usize>,
    /// Athletes of each target in each lane.
    of_target: Vec<Vec<usize>>,
}

impl<'a> Lanes<'a> {
    /// Counts the lanes of a plan.
    fn of(problem: &Problem, instance: &'a Instance, found: &Found) -> Self {
        let mut targets: Vec<u32> = problem.athletes.iter().map(|athlete| athlete.target).collect();
        targets.sort_unstable();
        targets.dedup();
        let number = |a: usize| targets.binary_search(&problem.athletes[a].target).unwrap_or(0);
        let candidate: Vec<usize> = found.pinned.iter().chain(&found.open).copied().collect();
        let spare = instance.pinned.iter().map(|lane| lane.spare);
        let mut lanes = Self {
            instance,
            places: spare.chain(found.open.iter().map(|_| instance.capacity)).collect(),
            members: vec![0; candidate.len()],
            all: vec![0; candidate.len()],
            target: instance.athletes.iter().map(|&a| number(a)).collect(),
            of_target: vec![vec![0; targets.len()]; candidate.len()],
            candidate,
        };
        for (lane, pinned) in instance.pinned.iter().enumerate() {
            lanes.all[lane] += pinned.members.len();
            pinned.members.iter().for_each(|&a| lanes.of_target[lane][number(a)] += 1);
        }
        for (athlete, &lane) in found.lane_of.iter().enumerate() {
            lanes.members[lane] += 1;
            lanes.all[lane] += 1;
            lanes.of_target[lane][lanes.target[athlete]] += 1;
        }
        lanes
    }

    /// Takes an athlete's move into the counts.
    fn moved(&mut self, athlete: usize, from: usize, to: usize) {
        for (lane, sign) in [(from, -1), (to, 1)] {
            let step = |count: &mut usize| *count = count.saturating_add_signed(sign);
            step(&mut self.members[lane]);
            step(&mut self.all[lane]);
            step(&mut self.of_target[lane][self.target[athlete]]);
        }
    }

    /// What an athlete costs in a lane, [`FORBIDDEN`] where somebody pinned there is to be kept apart from
    /// them.
    fn cost(&self, athlete: usize, lane: usize) -> i64 {
        if self.instance.barred.contains(&(athlete, lane)) {
            return FORBIDDEN;
        }
        self.instance.column(self.candidate[lane])[athlete]
    }

    /// The first best change that costs nothing: who moves where, and who comes back in exchange.
    ///
    /// Costs are compared with their ranks, so a change between lanes of different candidates needs equal
    /// regrets and equal ranks in sum, which a swap may have and a single move hardly ever.
    fn better_change(&self, lane_of: &[usize]) -> Option<(usize, usize, Option<usize>)> {
        let mut best = None;
        for a in 0..lane_of.len() {
            let from = lane_of[a];
            for to in (0..self.places.len()).filter(|&to| to != from) {
                if self.members[to] < self.places[to] && self.cost(a, from) == self.cost(a, to) {
                    let evener = self.all[to] + 1 < self.all[from];
                    let gain = (self.gain(a, from, to), evener);
                    self.consider(&mut best, gain, (a, to, None), lane_of);
                }
            }
            for b in a + 1..lane_of.len() {
                let to = lane_of[b];
                if to == from || self.target[a] == self.target[b] {
                    continue;
                }
                let (before, after) =
                    (self.cost(a, from) + self.cost(b, to), self.cost(a, to).saturating_add(self.cost(b, from)));
                if before == after {
                    let gain = (self.gain(a, from, to) + self.gain(b, to, from), false);
                    self.consider(&mut best, gain, (a, to, Some(b)), lane_of);
                }
            }
        }
        best.map(|(_, change)| change)
    }

    /// How many more athletes of the same target share a lane with one who moves (without anybody in exchange).
    fn gain(&self, athlete: usize, from: usize, to: usize) -> isize {
        let target = self.target[athlete];
        self.of_target[to][target].cast_signed() - (self.of_target[from][target].cast_signed() - 1)
    }

    /// Keeps a change when it is better than none and than the best so far, and keeps the pairs apart.
    fn consider(&self, best: &mut Best, gain: (isize, bool), change: Change, lane_of: &[usize]) {
        let better = gain.0 > 0 || gain == (0, true);
        if better && best.is_none_or(|(most, _)| gain > most) && self.stays_apart(change, lane_of) {
            *best = Some((gain, change));
        }
    }

    /// Whether nobody shares a lane with somebody from whom they are to be kept apart after a change.
    fn stays_apart(&self, (a, to, b): Change, lane_of: &[usize]) -> bool {
        let lane = |athlete: usize| match athlete {
            _ if athlete == a => to,
            _ if Some(athlete) == b => lane_of[a],
            _ => lane_of[athlete],
        };
        self.instance.apart.iter().all(|&(x, y)| lane(x) != lane(y))
    }
}

/// Who moves, the lane they move to, and who comes back in exchange.
type Change = (usize, usize, Option<usize>);
/// The best change so far with its gain: pairs of a target, and whether lanes become more alike.
type Best = Option<((isize, bool), Change)>;
