//! The cheapest way to put athletes into given lanes.
//!
//! # Problem
//! Given costs of n athletes in L lanes and the places of each lane, put each athlete in one lane, no lane
//! above its places, at the least sum; an assignment problem whose right side has few nodes with capacities. n
//! is at most 300 and L at most 13 (twelve lanes and the bench), so the graph that counts is that of the lanes.
//!
//! # Method
//! Successive shortest paths. Athletes are placed one by one; each goes into a lane, whose member may move on
//! to another lane, and so on until a lane has room. The cheapest such chain is a shortest path over the lanes,
//! where the edge from lane a to lane b costs the least `cost(m, b)
//! - cost(m, a)` of a member m of a. Edges may be negative, cycles are not (the assignment so far is cheapest),
//!   so labels are corrected until none changes (Bellman and Ford). After each athlete the assignment is the
//!   cheapest of those placed so far, and after the last of all.
//!
//! When the athlete's own cheapest lane has room no chain can do better: a chain to a lane with room costs at
//! least nothing beyond its first lane, or a move would have paid before.
//!
//! # Early end
//! The cheapest lane of each athlete not yet placed is a bound of what they add, so the sum so far with these
//! is a bound of the whole, and the assignment is left as soon as it reaches `cutoff`.
//!
//! # Worked example
//! Two lanes with 2 and 2 places; the costs of three athletes are (0, 5), (1, 9) and (2, 9). The first two go
//! to lane one for 0 and 1. The third would pay 2 there, but it is full: lane two costs 9, or 2 + 5 when the
//! first athlete moves on. So the first is in lane two, and all cost 1 + 5 + 2 = 8.
//!
//! # Pairs to keep apart
//! With pairs the problem is no flow any more. The cheapest assignment is split on a pair that it puts
//! together: one of the two is barred from that lane, or the other. Every assignment that keeps them apart is
//! in one of the halves, so the search is exact; it is exponential in the pairs at worst and counts its splits
//! as parts of the search.
//!
//! Example: costs (0, 3) and (0, 4) of two athletes who are to be kept apart, two lanes with room for both.
//! Together in lane one they cost 0. With the first barred there it is 3 + 0, with the second barred 0 + 4: so
//! 3, and the second half is asked only for something below 3.

use super::work::Work;

/// The cost of what must not be; every permitted cost is far below, and no sum of permitted costs reaches it. A
/// quarter of the largest number, so that two of them still add up without overflow.
pub(super) const FORBIDDEN: i64 = i64::MAX / 4;

/// Athletes × lanes: what it costs to put each athlete into each lane. Rows lie together, as an athlete is
/// placed by row.
#[derive(Clone, Debug)]
pub(super) struct Costs {
    /// Columns.
    lanes: usize,
    /// One row of `lanes` costs per athlete.
    rows: Vec<i64>,
}

impl Costs {
    /// A table with one column per lane, each a slice of one cost per athlete.
    pub(super) fn from_columns(athletes: usize, columns: &[&[i64]]) -> Self {
        let mut rows = vec![0; athletes * columns.len()];
        for (lane, column) in columns.iter().enumerate() {
            for (athlete, &cost) in column.iter().enumerate() {
                rows[athlete * columns.len() + lane] = cost;
            }
        }
        Self { lanes: columns.len(), rows }
    }

    /// Closes a lane to an athlete.
    pub(super) fn forbid(&mut self, athlete: usize, lane: usize) {
        self.rows[athlete * self.lanes + lane] = FORBIDDEN;
    }

    /// The costs of an athlete, one per lane.
    fn row(&self, athlete: usize) -> &[i64] {
        &self.rows[athlete * self.lanes..(athlete + 1) * self.lanes]
    }

    /// Rows; 0 where there are no lanes, so callers with athletes first see to it that there are places.
    fn athletes(&self) -> usize {
        self.rows.len().checked_div(self.lanes).unwrap_or(0)
    }
}

/// An assignment: its cost, and the lane of each athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Assignment {
    /// The sum over the athletes.
    pub(super) cost: i64,
    /// Position of the lane of each athlete.
    pub(super) lane_of: Vec<usize>,
}

/// The cheapest move of one athlete out of a full lane into another. Of equal ones that of the lowest position,
/// so that ties fall the same way.
#[derive(Clone, Copy)]
struct Move {
    /// What the athlete pays more there; [`FORBIDDEN`] where no member may move.
    extra: i64,
    /// Who moves.
    athlete: usize,
}

/// The assignment under construction; cheapest for the athletes placed so far.
struct Growing<'a> {
    /// What everybody pays.
    costs: &'a Costs,
    /// Places of each lane.
    capacity: &'a [usize],
    /// Athletes of each lane.
    members: Vec<Vec<usize>>,
    /// Moves out of each lane to each lane; only kept for full lanes.
    moves: Vec<Vec<Move>>,
    /// Whether the moves out of a lane are those of its members now; only lanes that changed are looked at
    /// again.
    fresh: Vec<bool>,
}

/// Finds the cheapest assignment below `cutoff`, or none: each athlete in one lane, no lane above its capacity.
///
/// Athletes are placed one by one, each along the shortest chain of moves through full lanes (successive
/// shortest paths on a graph whose nodes are the lanes), so the result is exact. None says that there is no
/// assignment, or that the cheapest costs `cutoff` or more; the caller need not know which.
///
/// # Source
/// Ahuja, Magnanti, Orlin, "Network Flows", Prentice Hall, 1993, section 9.7.
///
/// # Complexity
/// n athletes, L lanes: O(n (L^3 + n L)) at worst.
pub(super) fn cheapest(costs: &Costs, capacity: &[usize], cutoff: i64) -> Option<Assignment> {
    let n = costs.athletes();
    let least = |i: usize| costs.row(i).iter().copied().min().unwrap_or(FORBIDDEN);
    let mut bound: i64 = 0;
    for i in 0..n {
        let cost = least(i);
        if cost >= FORBIDDEN {
            return None;
        }
        bound += cost;
    }
    let mut growing = Growing {
        costs,
        capacity,
        members: vec![Vec::new(); capacity.len()],
        moves: vec![Vec::new(); capacity.len()],
        fresh: vec![false; capacity.len()],
    };
    for i in 0..n {
        if bound >= cutoff {
            return None;
        }
        bound += growing.place(i)? - least(i);
    }
    (bound < cutoff).then(|| growing.finish(bound, n))
}

impl Growing<'_> {
    /// Whether a lane has no place left; true of a lane without places from the start.
    fn full(&self, lane: usize) -> bool {
        self.members[lane].len() >= self.capacity[lane]
    }

    /// Places one more athlete and tells what that added, or none when there is no room. What is added is at
    /// least the athlete's own cheapest cost and may be far more, where others move on for it.
    fn place(&mut self, athlete: usize) -> Option<i64> {
        let lanes = self.capacity.len();
        let row = self.costs.row(athlete);
        let best = (0..lanes).min_by_key(|&l| row[l])?;
        if !self.full(best) {
            self.put(athlete, best);
            return Some(row[best]);
        }
        let mut distance = row.to_vec();
        let mut from: Vec<Option<usize>> = vec![None; lanes];
        self.refresh_moves();
        let mut changed = true;
        while changed {
            changed = false;
            for a in (0..lanes).filter(|&a| self.fresh[a]) {
                for b in 0..lanes {
                    let extra = self.moves[a][b].extra;
                    if distance[a] < FORBIDDEN && extra < FORBIDDEN && distance[a] + extra < distance[b] {
                        distance[b] = distance[a] + extra;
                        from[b] = Some(a);
                        changed = true;
                    }
                }
            }
        }
        let end = (0..lanes).filter(|&l| !self.full(l) && distance[l] < FORBIDDEN).min_by_key(|&l| distance[l])?;
        let added = distance[end];
        let mut lane = end;
        while let Some(previous) = from[lane] {
            let mover = self.moves[previous][lane].athlete;
            self.members[previous].retain(|&m| m != mover);
            self.put(mover, lane);
            self.fresh[previous] = false;
            lane = previous;
        }
        self.put(athlete, lane);
        Some(added)
    }

    /// Adds a member to a lane, whose moves are then out of date.
    fn put(&mut self, athlete: usize, lane: usize) {
        self.members[lane].push(athlete);
        self.fresh[lane] = false;
    }

    /// Brings the moves out of every full lane up to date.
    fn refresh_moves(&mut self) {
        for a in 0..self.capacity.len() {
            if self.fresh[a] || !self.full(a) {
                continue;
            }
            let mut best = vec![Move { extra: FORBIDDEN, athlete: 0 }; self.capacity.len()];
            for &m in &self.members[a] {
                let row = self.costs.row(m);
                for (b, cheapest) in best.iter_mut().enumerate() {
                    let extra = row[b] - row[a];
                    if row[b] < FORBIDDEN && b != a && (extra, m) < (cheapest.extra, cheapest.athlete) {
                        *cheapest = Move { extra, athlete: m };
                    }
                }
            }
            self.moves[a] = best;
            self.fresh[a] = true;
        }
    }

    /// The lanes of all athletes.
    fn finish(self, cost: i64, athletes: usize) -> Assignment {
        let mut lane_of = vec![0; athletes];
        for (lane, members) in self.members.iter().enumerate() {
            for &m in members {
                lane_of[m] = lane;
            }
        }
        Assignment { cost, lane_of }
    }
}

/// Assignments that keep pairs of athletes apart.
pub(super) struct Apart<'a, 'w, 'b> {
    /// Positions of the athletes of each pair.
    pub(super) pairs: &'a [(usize, usize)],
    /// The lane where nobody is together with anybody: those who wait.
    pub(super) bench: Option<usize>,
    /// The account that splits are drawn on.
    pub(super) work: &'b mut Work<'w>,
    /// The lowest cost of a split that the budget left open, without what the lanes themselves cost, which only
    /// lowers the bound; what it was before when none was.
    pub(super) given_up: i64,
}

impl Apart<'_, '_, '_> {
    /// The cheapest assignment below `cutoff`: whoever shares a lane is split by barring one or the other.
    ///
    /// Without pairs, or when the cheapest assignment keeps them apart by itself, it is a single assignment.
    /// Once one half has an assignment, the other is asked only for a cheaper one.
    pub(super) fn cheapest(&mut self, costs: &Costs, places: &[usize], cutoff: i64) -> Option<Assignment> {
        let assignment = cheapest(costs, places, cutoff)?;
        let together = |&&(a, b): &&(usize, usize)| {
            assignment.lane_of[a] == assignment.lane_of[b] && Some(assignment.lane_of[a]) != self.bench
        };
        let Some(&(a, b)) = self.pairs.iter().find(together) else {
            return Some(assignment);
        };
        let lane = assignment.lane_of[a];
        let mut best: Option<Assignment> = None;
        for athlete in [a, b] {
            if !self.work.step() {
                self.given_up = self.given_up.min(assignment.cost);
                break;
            }
            let mut barred = costs.clone();
            barred.forbid(athlete, lane);
            let limit = best.as_ref().map_or(cutoff, |found| found.cost);
            best = self.cheapest(&barred, places, limit).or(best);
        }
        best
    }
}
