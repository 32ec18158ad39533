//! Whether some plan keeps every regret below a ceiling: lanes are opened until everybody has a place.
//!
//! # Problem
//! Costs play no part here, only who may run what: find at most so many lanes, within stock and lengths, in
//! which everybody has a place. The answer gives a first plan where the greedy guess finds none, tells that
//! there is none, and decides the ceiling of the fair objective.
//!
//! # Method
//! A maximum matching places as many athletes as the lanes opened so far allow. Whoever is left over names,
//! with all who could make room for them, a set of athletes that needs one more lane (P. Hall, "On
//! representatives of subsets", 1935); the search tries the lanes that serve one of them, and gives up where
//! disjoint such sets outnumber the lanes left.
//!
//! Why the set needs a lane: from somebody without a place go to every lane they may run in, to all who have a
//! place there, to every lane these may run in, and so on. Had one of these lanes room, a chain of moves would
//! have placed everybody. So all are full, and of members of the set alone; the set is larger by one than the
//! places that it can have. One more lane that serves a member of it is opened in every plan.
//!
//! # Worked example
//! Room for two in a lane. A lane is open that athletes 1, 2 and 3 may run; 1 and 2 have its places, 3 is left
//! over. From 3 the lane is reached and with it 1 and 2: three athletes, two places. Candidates that serve none
//! of the three are not tried, whatever else they would be good for. If athlete 4 may not run in that lane, 4
//! is a set of its own; where no candidate serves both sets, two more lanes are needed, and with one left the
//! answer is no, without a further step.
//!
//! # Bounds that end a branch
//! - More needs that share no candidate than lanes left.
//! - Even the lanes that serve most of those concerned, as many as lanes and stock allow, do not serve as many
//!   as are left over.
//!
//! # Cost
//! A matching takes athletes × (athletes × lanes) at worst; the number of parts is exponential in the lanes at
//! worst, and drawn on the budget.

use super::assign::{Apart, Costs, FORBIDDEN};
use super::bound::{Part, Rooms};
use super::instance::{Instance, regret_of};
use super::model::MAX_ATHLETES;
use super::work::Work;

/// A set of athletes (positions in [`Instance::athletes`]), one bit each in five words: unions and tests of
/// inclusion are a few operations.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Crowd([u64; MAX_ATHLETES.div_ceil(64)]);

impl Crowd {
    /// Adds an athlete.
    fn insert(&mut self, athlete: usize) {
        self.0[athlete / 64] |= 1 << (athlete % 64);
    }

    /// Whether an athlete is in it.
    fn contains(&self, athlete: usize) -> bool {
        self.0[athlete / 64] >> (athlete % 64) & 1 == 1
    }

    /// Those who are in both.
    fn common(&self, other: &Self) -> Self {
        Self(std::array::from_fn(|word| self.0[word] & other.0[word]))
    }

    /// How many.
    fn len(&self) -> usize {
        self.0.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// Whether nobody is in it.
    fn is_empty(&self) -> bool {
        self.0.iter().all(|&word| word == 0)
    }

    /// Whether everybody is in the other, too.
    fn within(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).all(|(a, b)| a & !b == 0)
    }
}

/// Lanes in which everybody finds a place: candidates of the pinned lanes and of the others.
pub(super) type Lanes = (Vec<usize>, Vec<usize>);

/// Who may run each candidate.
pub(super) struct Crowds<'a> {
    /// The problem.
    instance: &'a Instance,
    /// By candidate: the athletes without a pin whose regret there is at most the ceiling.
    accepts: Vec<Crowd>,
}

/// The question for one ceiling.
pub(super) struct Cover<'a, 'w, 'f> {
    /// The problem, with every candidate or without those that another replaces.
    instance: &'a Instance,
    /// The account that every part is drawn on.
    work: &'a mut Work<'w>,
    /// The largest regret allowed, in units; [`i64::MAX`] for any that is permitted.
    ceiling: i64,
    /// Who may run what at that ceiling.
    crowds: Crowds<'a>,
    /// Where the lanes of the answer go.
    found: &'f mut Option<Lanes>,
}

/// Lanes opened so far and who has a place in them.
#[derive(Clone)]
struct Opened {
    /// What is open and still allowed; all pinned lanes have their candidate.
    part: Part,
    /// Candidate of each lane, pinned lanes first.
    lanes: Vec<usize>,
    /// Lane of each athlete (position in `lanes`); none while they are left over.
    lane_of: Vec<Option<usize>>,
    /// How many athletes have a place in each lane, those with pins not counted.
    members: Vec<usize>,
}

/// Athletes who need another lane, and the candidates that would serve one of them.
struct Need {
    /// Somebody left over and all who could make room for them.
    crowd: Crowd,
    /// Allowed candidates that serve at least one of them.
    options: Vec<usize>,
}

impl<'a, 'w, 'f> Cover<'a, 'w, 'f> {
    /// Asks for a plan in which no regret exceeds `ceiling` (units); its lanes go to `found`.
    pub(super) fn new(
        instance: &'a Instance,
        ceiling: i64,
        work: &'a mut Work<'w>,
        found: &'f mut Option<Lanes>,
    ) -> Self {
        Self { instance, work, ceiling, crowds: Crowds::of(instance, ceiling), found }
    }

    /// Whether there is one; none when the budget is spent first. A yes found before the budget ended is a yes.
    pub(super) fn exists(&mut self) -> Option<bool> {
        let yes = self.choose_pinned(&mut Vec::new());
        (yes || !self.work.spent).then_some(yes)
    }

    /// Decides what the pinned lanes carry, one after the other, then opens the others.
    ///
    /// A candidate suits a pinned lane where the lane can carry it and no member loses more than the ceiling.
    /// Of those that suit, one whose crowd is part of another's and that asks for no less is left out.
    fn choose_pinned(&mut self, pinned: &mut Vec<usize>) -> bool {
        let Some(lane) = self.instance.pinned.get(pinned.len()) else {
            let mut part = Part::whole(self.instance, Vec::new());
            part.pinned = pinned.iter().copied().map(Some).collect();
            let lane_of = vec![None; self.instance.athletes.len()];
            return self.extend(Opened { part, lanes: pinned.clone(), lane_of, members: vec![0; pinned.len()] });
        };
        let suits = (0..lane.worst.len()).filter(|&c| lane.worst[c] < FORBIDDEN && lane.worst[c] <= self.ceiling);
        let everyone = Crowd([u64::MAX; MAX_ATHLETES.div_ceil(64)]);
        for c in self.crowds.undominated(suits.collect(), &everyone) {
            pinned.push(c);
            if self.instance.can_set_out(pinned, &[]) && self.choose_pinned(pinned) {
                return true;
            }
            pinned.pop();
        }
        false
    }

    /// Opens lanes until everybody has a place; true when the lanes were found, false when there are none or
    /// the budget was spent.
    ///
    /// The lanes tried here are those of the narrowest need; once a candidate was tried it is closed for the
    /// rest. Depth at most the lanes.
    fn extend(&mut self, mut opened: Opened) -> bool {
        if !self.work.step() {
            return false;
        }
        let waiting = self.crowds.place_all(&mut opened);
        if waiting.is_empty() && self.keeps_apart(&opened) {
            let pinned = opened.part.pinned.iter().flatten().copied().collect();
            *self.found = Some((pinned, opened.part.open));
            return true;
        }
        let rooms = opened.part.tighten(self.instance);
        let Some((need, reach)) = self.crowds.need(&opened, &waiting, rooms) else {
            return false;
        };
        for c in self.crowds.undominated(need, &reach) {
            let mut with = opened.clone();
            with.part.open(c);
            with.lanes.push(c);
            with.members.push(0);
            if self.extend(with) {
                return true;
            }
            opened.part.allowed[c] = 0;
        }
        false
    }

    /// Whether these lanes also allow the pairs to be kept apart.
    ///
    /// A matching cannot say, so the lanes are assigned at a cost of 0 where somebody may run, with the pairs
    /// split as [`Apart`] does; a spent budget there counts as no here and as spent above.
    fn keeps_apart(&mut self, opened: &Opened) -> bool {
        let instance = self.instance;
        if instance.apart.is_empty() {
            return true;
        }
        let n = instance.athletes.len();
        let column = |c: &usize| -> Vec<i64> {
            (0..n).map(|athlete| if self.crowds.accepts[*c].contains(athlete) { 0 } else { FORBIDDEN }).collect()
        };
        let columns: Vec<Vec<i64>> = opened.lanes.iter().map(column).collect();
        let columns: Vec<&[i64]> = columns.iter().map(Vec::as_slice).collect();
        let mut costs = Costs::from_columns(n, &columns);
        for &(athlete, lane) in &instance.barred {
            costs.forbid(athlete, lane);
        }
        let places: Vec<usize> = (0..columns.len()).map(|lane| self.crowds.places(opened, lane)).collect();
        let mut apart = Apart { pairs: &instance.apart, bench: instance.bench, work: self.work, given_up: i64::MAX };
        apart.cheapest(&costs, &places, 1).is_some()
    }
}

impl<'a> Crowds<'a> {
    /// Who may run each candidate with a regret of at most `ceiling` (units).
    pub(super) fn of(instance: &'a Instance, ceiling: i64) -> Self {
        let accepts = (0..instance.candidates.len())
            .map(|c| {
                let mut crowd = Crowd::default();
                for (athlete, &cost) in instance.column(c).iter().enumerate() {
                    if cost < FORBIDDEN && regret_of(cost) <= ceiling {
                        crowd.insert(athlete);
                    }
                }
                crowd
            })
            .collect();
        Self { instance, accepts }
    }

    /// Candidates of which every plan of a part, whose pinned lanes are decided, opens one more lane: the
    /// fewest known, none of them when everybody has a place. No answer when the part has no plan.
    ///
    /// Asked by the search for the cheapest plan at any regret; it ignores pairs to be kept apart, which can
    /// only ask for more lanes.
    pub(super) fn options(&self, part: &Part, rooms: &Rooms) -> Option<Vec<usize>> {
        let lanes: Vec<usize> = part.pinned.iter().flatten().chain(&part.open).copied().collect();
        let lane_of = vec![None; self.instance.athletes.len()];
        let members = vec![0; lanes.len()];
        let mut opened = Opened { part: part.clone(), lanes, lane_of, members };
        let waiting = self.place_all(&mut opened);
        if waiting.is_empty() {
            return Some(Vec::new());
        }
        self.need(&opened, &waiting, rooms.clone()).map(|(options, _)| options)
    }

    /// Finds places for as many as the lanes opened so far allow, and tells who is left over: a maximum
    /// matching by augmenting chains, continued from the places that there are.
    fn place_all(&self, opened: &mut Opened) -> Vec<usize> {
        (0..opened.lane_of.len())
            .filter(|&athlete| opened.lane_of[athlete].is_none() && !self.place(opened, athlete))
            .collect()
    }

    /// The need with the fewest options and everybody who takes part in one; no answer when the lanes left are
    /// too few.
    fn need(&self, opened: &Opened, waiting: &[usize], rooms: Rooms) -> Option<(Vec<usize>, Crowd)> {
        let (reach, needs) = self.needs(opened, waiting);
        let left = opened.part.left(self.instance);
        if disjoint(&needs) > left || rooms.most(self.instance, &self.gains(opened, &reach), left) < waiting.len() {
            return None;
        }
        needs.into_iter().min_by_key(|need| need.options.len()).map(|need| (need.options, reach))
    }

    /// How many of a crowd each copy of each candidate would serve, most first. Copies of one candidate share
    /// its athletes: with room for four and seven who may run it, the first serves four, the second three.
    fn gains(&self, opened: &Opened, crowd: &Crowd) -> Vec<(usize, usize)> {
        let mut gains = Vec::new();
        for (c, &allowed) in opened.part.allowed.iter().enumerate() {
            let mut rest = self.accepts[c].common(crowd).len();
            for _ in 0..allowed {
                let gain = rest.min(self.instance.capacity);
                rest -= gain;
                gains.push((gain, c));
            }
        }
        gains.sort_unstable_by(|a, b| b.cmp(a));
        gains
    }

    /// Without those that another one replaces for this crowd; those that serve most come first.
    ///
    /// One is left out when another serves at least the same of the crowd and fits as many lanes with units no
    /// scarcer. Who is not of the crowd has a place that needs no change.
    ///
    /// Example: of the crowd 1, 2, 3 candidate A serves 1 and 2, B serves 2 alone, C serves 3. With units
    /// enough B is left out, and A and C are tried, A first.
    fn undominated(&self, mut options: Vec<usize>, crowd: &Crowd) -> Vec<usize> {
        let serves: Vec<Crowd> = self.accepts.iter().map(|accepts| accepts.common(crowd)).collect();
        options.sort_by_key(|&c| (usize::MAX - serves[c].len(), c));
        let mut kept: Vec<usize> = Vec::new();
        for c in options {
            if !kept.iter().any(|&k| serves[c].within(&serves[k]) && self.instance.asks_no_more(k, c)) {
                kept.push(c);
            }
        }
        kept
    }

    /// Places of a lane for athletes without a pin: the spare ones of a pinned lane, else the capacity; no more
    /// than there are athletes.
    fn places(&self, opened: &Opened, lane: usize) -> usize {
        self.instance.pinned.get(lane).map_or(self.instance.capacity, |pinned| pinned.spare).min(opened.lane_of.len())
    }

    /// Whether an athlete may run in a lane: they may run its candidate, and nobody pinned there is to be kept
    /// apart from them.
    fn may(&self, opened: &Opened, athlete: usize, lane: usize) -> bool {
        self.accepts[opened.lanes[lane]].contains(athlete)
            && (lane >= opened.part.pinned.len() || !self.instance.barred.contains(&(athlete, lane)))
    }

    /// Finds a place for one more athlete along a chain of moves, if there is one. Breadth first over the
    /// lanes, each entered once, so the chain is a shortest one.
    fn place(&self, opened: &mut Opened, athlete: usize) -> bool {
        let lanes = opened.members.len();
        let mut moved_by: Vec<Option<usize>> = vec![None; lanes];
        let mut queue = vec![athlete];
        let mut head = 0;
        while head < queue.len() {
            let mover = queue[head];
            head += 1;
            for lane in 0..lanes {
                if moved_by[lane].is_some() || !self.may(opened, mover, lane) {
                    continue;
                }
                moved_by[lane] = Some(mover);
                if opened.members[lane] < self.places(opened, lane) {
                    shift(opened, &moved_by, athlete, lane);
                    return true;
                }
                queue.extend((0..opened.lane_of.len()).filter(|&other| opened.lane_of[other] == Some(lane)));
            }
        }
        false
    }

    /// Everybody who could make room for one of those waiting: the closure that the module's page describes,
    /// with those waiting in it.
    fn reach(&self, opened: &Opened, waiting: &[usize]) -> Crowd {
        let mut seen = vec![false; opened.members.len()];
        let mut crowd = Crowd::default();
        let mut queue = waiting.to_vec();
        while let Some(athlete) = queue.pop() {
            crowd.insert(athlete);
            for (lane, seen) in seen.iter_mut().enumerate() {
                if !*seen && self.may(opened, athlete, lane) {
                    *seen = true;
                    queue.extend((0..opened.lane_of.len()).filter(|&other| opened.lane_of[other] == Some(lane)));
                }
            }
        }
        crowd
    }

    /// Everybody who takes part in a need, and the needs, those with the fewest options first.
    ///
    /// Two who wait with the same set are one need. When everybody has a place and only pairs are not kept
    /// apart, any lane may help, so the need is everybody's.
    fn needs(&self, opened: &Opened, waiting: &[usize]) -> (Crowd, Vec<Need>) {
        let usable = |crowd: &Crowd| -> Vec<usize> {
            let allowed = opened.part.allowed.iter().enumerate().filter(|(_, allowed)| **allowed > 0);
            allowed.map(|(c, _)| c).filter(|&c| !self.accepts[c].common(crowd).is_empty()).collect()
        };
        // Pairs to keep apart may ask for room anywhere.
        let everyone = Crowd([u64::MAX; MAX_ATHLETES.div_ceil(64)]);
        if waiting.is_empty() {
            return (everyone, vec![Need { crowd: everyone, options: usable(&everyone) }]);
        }
        let mut needs: Vec<Need> = Vec::new();
        for &athlete in waiting {
            let crowd = self.reach(opened, &[athlete]);
            if needs.iter().all(|need| need.crowd != crowd) {
                needs.push(Need { crowd, options: usable(&crowd) });
            }
        }
        needs.sort_by_key(|need| need.options.len());
        let reach = if self.instance.apart.is_empty() { self.reach(opened, waiting) } else { everyone };
        (reach, needs)
    }
}

/// Moves everybody along the chain that ends in `lane`: each mover leaves their lane to the one before, the
/// first comes in new.
fn shift(opened: &mut Opened, moved_by: &[Option<usize>], first: usize, mut lane: usize) {
    opened.members[lane] += 1;
    while let Some(mover) = moved_by[lane] {
        let before = opened.lane_of[mover].replace(lane);
        match before {
            Some(before) if mover != first => lane = before,
            _ => return,
        }
    }
}

/// How many of these needs (fewest options first) have no option in common: each takes a lane of its own.
/// Greedy, so a lower bound of the most there are, which is enough for a bound. Example: needs with the options
/// {A}, {A, B} and {C, D} give two, {A} and {C, D}.
fn disjoint(needs: &[Need]) -> usize {
    let mut taken: Vec<usize> = Vec::new();
    let mut count = 0;
    for need in needs {
        if need.options.iter().all(|option| !taken.contains(option)) {
            taken.extend(&need.options);
            count += 1;
        }
    }
    count
}
