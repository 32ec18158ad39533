//! The cheapest way to put athletes into given lanes.

use super::work::Work;

/// The cost of what must not be; every permitted cost is far below, and no sum of permitted costs reaches it.
pub(super) const FORBIDDEN: i64 = i64::MAX / 4;

/// Athletes × lanes: what it costs to put each athlete into each lane.
#[derive(Clone, Debug)]
pub(super) struct Costs {
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

    fn row(&self, athlete: usize) -> &[i64] {
        &self.rows[athlete * self.lanes..(athlete + 1) * self.lanes]
    }

    fn athletes(&self) -> usize {
        self.rows.len().checked_div(self.lanes).unwrap_or(0)
    }
}

/// An assignment: its cost, and the lane of each athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Assignment {
    pub(super) cost: i64,
    pub(super) lane_of: Vec<usize>,
}

/// The cheapest move of one athlete out of a full lane into another.
#[derive(Clone, Copy)]
struct Move {
    extra: i64,
    athlete: usize,
}

/// The assignment under construction; cheapest for the athletes placed so far.
struct Growing<'a> {
    costs: &'a Costs,
    capacity: &'a [usize],
    members: Vec<Vec<usize>>,
    /// Moves out of each lane to each lane; only kept for full lanes.
    moves: Vec<Vec<Move>>,
    fresh: Vec<bool>,
}

/// Finds the cheapest assignment below `cutoff`, or none: each athlete in one lane, no lane above its capacity.
///
/// Athletes are placed one by one, each along the shortest chain of moves through full lanes (successive shortest
/// paths on a graph whose nodes are the lanes), so the result is exact.
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
    fn full(&self, lane: usize) -> bool {
        self.members[lane].len() >= self.capacity[lane]
    }

    /// Places one more athlete and tells what that added, or none when there is no room.
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
    /// The lane where nobody is together with anybody.
    pub(super) bench: Option<usize>,
    pub(super) work: &'b mut Work<'w>,
    /// The lowest cost of a split that the budget left open.
    pub(super) given_up: i64,
}

impl Apart<'_, '_, '_> {
    /// The cheapest assignment below `cutoff`: whoever shares a lane is split by barring one or the other.
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
