//! Many histories, the comparisons of a history with itself under other circumstances, and the smallest one that fails.

use std::fmt::{Display, Formatter};
use std::ops::Range;

use super::super::dice::Dice;
use super::flaw::Flaw;
use super::laws::Finding;
use super::rest::{Drain, same};
use super::world::{Event, Happens, World};

/// How often each thing happens.
type Weights = &'static [(Happens, u32)];

#[rustfmt::skip]
const PROFILES: [Weights; 4] = {
    #[allow(clippy::enum_glob_use)] // nearly all of them
    use Happens::*;
    [
        // Everything.
        &[
            (Run, 30), (Measure, 8), (NewAthlete, 8), (NewSession, 5), (NewPlan, 6), (NewVenue, 3), (Patch, 34),
            (Replace, 12), (Delete, 8), (Attend, 10), (Leave, 6), (Clash, 2), (Poison, 4), (Push, 70), (Pull, 100),
            (GiveUp, 8), (Widen, 2), (Clock, 5), (Deliver, 190), (Twice, 10), (Drop, 8), (Cut, 8), (Forge, 4), (Step, 130),
            (Quiet, 4), (Abort, 8), (Crash, 2), (Backup, 7), (Restore, 7), (Compact, 3), (Days, 7), (See, 16),
            (AdminNew, 6), (AdminPatch, 8), (AdminMove, 16), (AdminDelete, 10), (Decide, 6),
        ],
        // What enters and leaves sight.
        &[
            (Run, 4), (Measure, 20), (Sync, 90), (Drain, 10), (Quiet, 100), (See, 10), (AdminNew, 1), (AdminMove, 70), (AdminDelete, 40),
            (Attend, 4), (Widen, 1),
        ],
        // Who edits over whom.
        &[
            (Patch, 40), (Replace, 20), (Attend, 25), (Leave, 20), (Delete, 6), (NewPlan, 6), (Push, 60), (Sync, 60),
            (Deliver, 110), (Twice, 20), (Cut, 25), (GiveUp, 10), (Step, 60), (Quiet, 60), (AdminPatch, 8), (AdminMove, 8),
        ],
        // Long times, clocks and restored copies.
        &[
            (Run, 30), (Patch, 15), (Attend, 6), (Sync, 70), (Push, 20), (Pull, 20), (Deliver, 50), (Quiet, 40), (Step, 10),
            (Days, 30), (Compact, 12), (Clock, 10), (Backup, 12), (Restore, 14), (See, 6), (AdminPatch, 6), (AdminMove, 6),
            (GiveUp, 4), (Widen, 2),
        ],
    ]
};

/// The history of a seed.
pub fn history(seed: u64) -> Vec<Event> {
    let mut dice = Dice::of(&[seed, 0x51]);
    let weights = PROFILES[usize::try_from(seed % 4).unwrap()];
    let all: u32 = weights.iter().map(|(_, weight)| weight).sum();
    let crowded = matches!(seed % 4, 1 | 2);
    let length = 40 + dice.pick(110);
    let event = |dice: &mut Dice| {
        let mut at = dice.pick(all);
        let mut rest = weights.iter().skip_while(|(_, weight)| {
            let skip = at >= *weight;
            at = at.wrapping_sub(if skip { *weight } else { 0 });
            skip
        });
        let what = rest.next().map_or(Happens::Step, |(what, _)| *what);
        let club = u8::from(dice.pick(5) == 0);
        // Where few records are touched again and again, more goes wrong.
        let choices = if crowded && dice.pick(3) > 0 { 12 } else { 60_000 };
        let a = if crowded { 1 + dice.pick(4) } else { dice.pick(240) };
        Event { what, club, a: u8::try_from(a).unwrap(), b: u16::try_from(dice.pick(choices)).unwrap() }
    };
    let first = (0..4).map(|a| Event { what: Happens::Drain, club: 0, a, b: 0 }).filter(|_| crowded);
    first.chain((0..length).map(|_| event(&mut dice))).collect()
}

/// The usual end of a history.
const DRAIN: Drain = Drain { push: 5, limit: 4 };

/// Lets a history happen, up to its last event; stops at the first finding.
fn play(events: &[Event], flaw: Option<Flaw>, slow_clocks: Option<bool>) -> World {
    let mut world = World::new(flaw);
    world.slow_clocks = slow_clocks;
    for event in events {
        world.happen(*event);
        if world.server.ledger.finding.is_some() {
            break;
        }
    }
    world
}

/// The rest of a history.
fn end(mut world: World, drain: Drain) -> (World, usize, Option<Finding>) {
    if world.server.ledger.finding.is_some() {
        let finding = world.server.ledger.finding.clone();
        return (world, 0, finding);
    }
    let rounds = world.drain(drain);
    let finding = world.judge();
    (world, rounds, finding)
}

/// Circumstances that must make no difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Other {
    PageAndBatch,
    PollTimes,
    OneClub,
    Clocks,
}

const OTHERS: [Other; 4] = [Other::PageAndBatch, Other::PollTimes, Other::OneClub, Other::Clocks];

/// A finding when two runs do not end alike in these clubs.
fn differs(law: &'static str, one: &World, two: &World, clubs: &[usize]) -> Option<Finding> {
    let equal = clubs.iter().all(|club| same(one, two, *club, law == "I14"));
    (!equal).then(|| Finding { law, detail: "a second run ends in another state".to_owned() })
}

/// Runs a history under other circumstances; what is wrong with that, or differs.
fn compare(events: &[Event], flaw: Option<Flaw>, other: Other, base: &World) -> Option<Finding> {
    let ended = |events: &[Event], slow, drain| end(play(events, flaw, slow), drain);
    match other {
        Other::PageAndBatch => {
            let (world, _, finding) = ended(events, None, Drain { push: 1, limit: 50 });
            finding.or_else(|| differs("page and batch", base, &world, &[0, 1]))
        }
        Other::PollTimes => {
            // The phone that only reads asks less often, for pages of other sizes.
            let reader = |event: &Event| event.what == Happens::Pull && event.club == 0 && event.a % 4 == 3;
            let changed = |event: &Event| if reader(event) { Event { b: event.b / 2, ..*event } } else { *event };
            let kept = events.iter().enumerate().filter(|(at, event)| !reader(event) || at % 2 == 0);
            let others: Vec<Event> = kept.map(|(_, event)| changed(event)).collect();
            let (world, _, finding) = ended(&others, None, DRAIN);
            finding.or_else(|| differs("poll times", base, &world, &[0, 1]))
        }
        Other::OneClub => {
            let everybodys = |what| {
                use Happens as H;
                matches!(what, H::Days | H::Crash | H::Backup | H::Restore)
            };
            let alone: Vec<Event> =
                events.iter().copied().filter(|event| event.club == 0 || everybodys(event.what)).collect();
            let (world, _, finding) = ended(&alone, None, DRAIN);
            finding.or_else(|| differs("I10", base, &world, &[0]))
        }
        Other::Clocks => {
            let (right, _, finding) = ended(events, Some(false), DRAIN);
            let (slow, _, second) = ended(events, Some(true), DRAIN);
            finding.or(second).or_else(|| differs("I14", &right, &slow, &[0, 1]))
        }
    }
}

/// What one history showed.
struct Shown {
    finding: Option<Finding>,
    rounds: usize,
    commits: u64,
}

/// Whether a history is run again under other circumstances, and which.
fn other_of(seed: u64) -> Option<Other> {
    seed.is_multiple_of(3).then(|| OTHERS[usize::try_from(seed / 12 % 4).unwrap()])
}

fn show(events: &[Event], flaw: Option<Flaw>, other: Option<Other>) -> Shown {
    let (world, rounds, finding) = end(play(events, flaw, None), DRAIN);
    let finding = finding.or_else(|| other.and_then(|other| compare(events, flaw, other, &world)));
    Shown { finding, rounds, commits: world.server.ledger.commits }
}

/// The smallest part of a history that breaks the same invariant (delta debugging: A. Zeller, R. Hildebrandt,
/// "Simplifying and isolating failure-inducing input", IEEE Transactions on Software Engineering 28, 2002).
fn shrink(mut events: Vec<Event>, flaw: Option<Flaw>, other: Option<Other>, law: &str) -> Vec<Event> {
    let fails = |events: &[Event]| show(events, flaw, other).finding.is_some_and(|finding| finding.law == law);
    let mut size = events.len().div_ceil(2);
    while size > 0 {
        let mut at = 0;
        let mut smaller = false;
        while at < events.len() {
            let mut rest = events.clone();
            rest.drain(at..(at + size).min(events.len()));
            if fails(&rest) {
                events = rest;
                smaller = true;
            } else {
                at += size;
            }
        }
        if !smaller || size > 1 {
            size /= 2;
        }
    }
    events
}

/// A broken invariant with the smallest history that breaks it.
#[derive(Clone, Debug)]
pub struct Broken {
    pub seed: u64,
    pub finding: Finding,
    pub events: Vec<Event>,
}

impl Display for Broken {
    fn fmt(&self, f: &mut Formatter<'_>) -> std::fmt::Result {
        writeln!(f, "seed {}: {} broken: {}", self.seed, self.finding.law, self.finding.detail)?;
        self.events.iter().try_for_each(|event| writeln!(f, "  {event:?}"))
    }
}

/// Figures of many histories; `rounds` counts those that came to rest in so many rounds.
#[derive(Clone, Debug, Default)]
pub struct Figures {
    pub histories: u64,
    pub events: u64,
    pub commits: u64,
    pub rounds: Vec<u64>,
    pub broken: Vec<Broken>,
}

impl Figures {
    /// The number of rounds in which this share of the histories came to rest.
    fn rounds_at(&self, share: f64) -> usize {
        let wanted = share * self.rounds.iter().sum::<u64>() as f64;
        let mut sum = 0;
        let reached = |count: &u64| {
            sum += count;
            sum as f64 >= wanted
        };
        self.rounds.iter().position(reached).unwrap_or(0)
    }
}

impl Display for Figures {
    fn fmt(&self, f: &mut Formatter<'_>) -> std::fmt::Result {
        writeln!(f, "| histories | {} |", self.histories)?;
        writeln!(f, "| steps | {} |", self.events)?;
        writeln!(f, "| commits | {} |", self.commits)?;
        writeln!(f, "| rounds to rest, p50 and p99 | {}, {} |", self.rounds_at(0.5), self.rounds_at(0.99))?;
        writeln!(f, "| findings | {} |", self.broken.len())
    }
}

/// Runs the histories of these seeds; stops after the third that breaks something.
pub fn run(seeds: Range<u64>, flaw: Option<Flaw>) -> Figures {
    let mut figures = Figures { rounds: vec![0; 16], ..Figures::default() };
    for seed in seeds {
        let events = history(seed);
        let shown = show(&events, flaw, other_of(seed));
        figures.histories += 1;
        figures.events += events.len() as u64;
        figures.commits += shown.commits;
        figures.rounds[shown.rounds] += 1;
        if let Some(finding) = shown.finding {
            let events = shrink(events, flaw, other_of(seed), finding.law);
            let finding = show(&events, flaw, other_of(seed)).finding.unwrap_or(finding);
            figures.broken.push(Broken { seed, finding, events });
            if flaw.is_some() || figures.broken.len() == 3 {
                break;
            }
        }
    }
    figures
}

/// Looks for every built-in fault in the same histories.
pub fn score(seeds: &Range<u64>) -> Vec<(Flaw, Figures)> {
    Flaw::ALL.iter().map(|flaw| (*flaw, run(seeds.clone(), Some(*flaw)))).collect()
}

/// The rows of a Markdown table with the faults and how they were found.
pub fn rows(found: &[(Flaw, Figures)]) -> Vec<String> {
    let head = ["| fault | histories until found | invariant | smallest history |", "| --- | ---: | --- | ---: |"];
    let row = |(flaw, figures): &(Flaw, Figures)| {
        let words = flaw.words();
        match figures.broken.first() {
            Some(one) => format!("| {words} | {} | {} | {} |", figures.histories, one.finding.law, one.events.len()),
            None => format!("| {words} | not in {} | | |", figures.histories),
        }
    };
    head.into_iter().map(str::to_owned).chain(found.iter().map(row)).collect()
}

/// Runs so many histories and looks for every built-in fault in the first `faults` of them: the lines of a Markdown
/// report, and whether no history broke an invariant and every fault was found.
pub fn report(histories: u64, faults: u64) -> (Vec<String>, bool) {
    let figures = run(0..histories, None);
    let found = score(&(0..faults));
    let caught = found.iter().filter(|(_, figures)| !figures.broken.is_empty()).count();
    let mut lines = vec!["| pure model | |".to_owned(), "| --- | ---: |".to_owned()];
    lines.extend(figures.to_string().lines().map(str::to_owned));
    lines.extend([format!("| faults built in, found | {}, {caught} |", found.len()), String::new()]);
    lines.extend(rows(&found));
    lines.extend(figures.broken.iter().map(|broken| format!("\n{broken}")));
    (lines, figures.broken.is_empty() && caught == found.len())
}
