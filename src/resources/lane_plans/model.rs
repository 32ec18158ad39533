//! What a coach asks for, and the problem it makes.

use std::collections::BTreeSet;
use std::time::Duration;

use uuid::Uuid;

use super::stock::stocks;
use crate::compute::advice::Advice;
use crate::compute::bounds::{APPROACH_LEAST, barriers_most, run_out_least, short_approach};
use crate::compute::decision::{Bound, Region};
use crate::compute::lane_plan::{
    Candidate, Lane, LastTime, MAX_ROUNDS, Objective, Pin, Problem, Runner, StockItem, group,
};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::AthleteId;

/// Most lanes.
const MAX_LANES: u32 = 12;
/// Most barriers of a lane.
pub const MAX_BARRIERS: u32 = 20;
/// Rounds when none are asked for.
const ROUNDS: u32 = 2;
/// Run-out when none is asked for and stopping needs no more: close to the run-in of the published sprint races (10 to 13 m).
const RUN_OUT_MM: u32 = 10_000;
/// Shortest and longest usable straight, millimetres (mm).
const STRAIGHT_MM: (u32, u32) = (10_000, 400_000);
/// Longest computing time of a plan, and that when none is asked for, seconds (s).
const TIME_LIMIT_S: f64 = 10.0;
/// Shortest computing time of a plan.
pub const SHORTEST: Duration = Duration::from_millis(50);

/// What a coach asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// Lanes that may be used, by number, with their usable straights.
    pub lanes: Vec<Lane>,
    /// The next lane of the venue, when there is one.
    pub one_more: Option<Lane>,
    /// Most athletes of one lane.
    pub capacity: usize,
    /// Fewest and most barriers of one lane.
    pub barriers: (u32, u32),
    /// Start line to the first barrier of every lane; each lane's own when absent.
    pub approach: Option<Length>,
    /// Free distance after the last barrier; what stopping needs when absent.
    pub run_out: Option<Length>,
    /// The least P(hold) of anybody, where the coach wants more than the club's floor.
    pub hold_target: Option<f64>,
    /// Set-outs one after another, at most.
    pub rounds: usize,
    /// What is minimised.
    pub objective: Objective,
    /// Athletes with a lane of the coach's choice.
    pub pins: Vec<(AthleteId, u32)>,
    /// Pairs who must not share a lane.
    pub apart: Vec<(AthleteId, AthleteId)>,
    /// Lanes that stay unless a change pays; read from the earlier plan after parsing.
    pub last_time: Option<LastTime>,
}

/// How long a plan may take from the request on, waiting included.
pub fn time_limit(asked_s: Option<f64>) -> Duration {
    // What is out of range is refused when the wish is parsed.
    let seconds = asked_s.unwrap_or(TIME_LIMIT_S).clamp(SHORTEST.as_secs_f64(), TIME_LIMIT_S);
    Duration::try_from_secs_f64(seconds).unwrap_or(SHORTEST)
}

/// What a client sends of a wish, field by field.
#[derive(Clone, Debug)]
pub struct Raw<'a> {
    /// How many lanes, numbered from 1.
    pub lanes: u32,
    /// Numbers of lanes that stay free.
    pub reserved_lanes: &'a [u32],
    /// Number and usable straight, metres (m), of lanes that differ.
    pub lane_straights: Vec<(u32, f64)>,
    /// Regret that a changed lane must save, when an earlier plan's lanes are to stay.
    pub unless_saves: Option<f64>,
    /// Seconds (s).
    pub time_limit_s: Option<f64>,
    /// See [`Wish`].
    pub capacity: u32,
    /// Fewest barriers.
    pub barriers_min: u32,
    /// Most barriers.
    pub barriers_max: u32,
    /// Metres (m).
    pub approach_m: Option<f64>,
    /// Metres (m).
    pub run_out_m: Option<f64>,
    /// Metres (m); that of the venue when absent.
    pub straight_m: Option<f64>,
    /// See [`Wish`].
    pub hold_target: Option<f64>,
    /// See [`Wish`].
    pub rounds: Option<u32>,
    /// `total` or `fair`.
    pub objective: &'a str,
    /// See [`Wish`].
    pub pins: Vec<(AthleteId, u32)>,
    /// See [`Wish`].
    pub apart: Vec<(AthleteId, AthleteId)>,
}

impl Wish {
    /// Parses a wish for these athletes at a venue (straight and lanes).
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &Raw<'_>, athletes: &[AthleteId], venue: Option<(Length, u32)>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        check_limits(&mut faults, raw, venue.map(|(_, lanes)| lanes));
        check_wishes(&mut faults, raw, athletes);
        let mut length = |pointer: &str, m: f64, from_mm: u32, to_mm: u32| {
            let length = Length::between(m, Length::from_mm(from_mm), Length::from_mm(to_mm));
            faults.take(pointer, "out_of_range", length)
        };
        let approach = raw.approach_m.map(|m| length("/approach_m", m, APPROACH_LEAST.mm(), 50_000));
        let run_out = raw.run_out_m.map(|m| length("/run_out_m", m, 3_000, 50_000));
        let straight = match (raw.straight_m, venue) {
            (Some(m), _) => length("/straight_m", m, STRAIGHT_MM.0, STRAIGHT_MM.1),
            (None, Some((straight, _))) => Some(straight),
            (None, None) => {
                faults.add("/straight_m", "missing", "is needed, because the session has no venue");
                None
            }
        };
        let objective = match raw.objective {
            "total" => Some(Objective::Total),
            "fair" => Some(Objective::Fair),
            _ => {
                faults.add("/objective", "word", "must be total or fair");
                None
            }
        };
        let straights = lane_straights(&mut faults, raw);
        let mut number = |pointer: &str, value: f64, range: std::ops::RangeInclusive<f64>| {
            if !range.contains(&value) {
                let detail = format!("must be from {} to {}", range.start(), range.end());
                faults.add(pointer, "out_of_range", detail);
            }
            value
        };
        let hold_target = raw.hold_target.map(|hold| number("/hold_target", hold, 0.5..=0.95));
        let unless_saves = raw.unless_saves.map(|saves| number("/like/unless_saves", saves, 0.0..=300.0));
        number("/time_limit_s", raw.time_limit_s.unwrap_or(TIME_LIMIT_S), SHORTEST.as_secs_f64()..=TIME_LIMIT_S);
        let value = straight.zip(objective).map(|(straight, objective)| {
            let (lanes, one_more) = lanes(raw, straight, &straights, venue.map(|(_, lanes)| lanes));
            Self {
                lanes,
                one_more,
                capacity: raw.capacity as usize,
                barriers: (raw.barriers_min, raw.barriers_max),
                // A broken one is a fault, and nothing comes of the wish.
                approach: approach.flatten(),
                run_out: run_out.flatten(),
                hold_target,
                rounds: raw.rounds.unwrap_or(ROUNDS) as usize,
                objective,
                pins: raw.pins.clone(),
                apart: raw.apart.clone(),
                last_time: unless_saves.map(|unless_saves| LastTime { lanes: Vec::new(), unless_saves }),
            }
        });
        faults.finish(value)
    }
}

/// The lanes that may be used, and the next one when there is one.
fn lanes(
    raw: &Raw<'_>,
    straight: Length,
    straights: &[(u32, Length)],
    there: Option<u32>,
) -> (Vec<Lane>, Option<Lane>) {
    let lane = |number: u32| {
        let own = straights.iter().find(|(lane, _)| *lane == number);
        Lane { number, straight: own.map_or(straight, |(_, own)| *own) }
    };
    let free = |number: &u32| !raw.reserved_lanes.contains(number);
    let next = Some(raw.lanes.saturating_add(1)).filter(|next| *next <= there.unwrap_or(MAX_LANES).min(MAX_LANES));
    let used = (1..=raw.lanes.min(MAX_LANES)).filter(free).map(lane).collect();
    (used, next.filter(free).map(lane))
}

/// The usable straights of the lanes that differ.
fn lane_straights(faults: &mut Faults, raw: &Raw<'_>) -> Vec<(u32, Length)> {
    let mut straights: Vec<(u32, Length)> = Vec::new();
    for (at, &(lane, straight_m)) in raw.lane_straights.iter().enumerate() {
        if !(1..=MAX_LANES).contains(&lane) {
            faults.add(format!("/lane_straights/{at}/lane"), "out_of_range", format!("must be from 1 to {MAX_LANES}"));
        } else if straights.iter().any(|(known, _)| *known == lane) {
            faults.add(format!("/lane_straights/{at}/lane"), "twice", "has two straights");
        }
        let straight = Length::between(straight_m, Length::from_mm(STRAIGHT_MM.0), Length::from_mm(STRAIGHT_MM.1));
        if let Some(straight) = faults.take(&format!("/lane_straights/{at}/straight_m"), "out_of_range", straight) {
            straights.push((lane, straight));
        }
    }
    straights
}

/// Checks the whole numbers of a wish against the lanes there are.
fn check_limits(faults: &mut Faults, raw: &Raw<'_>, lanes: Option<u32>) {
    let most = lanes.map_or(MAX_LANES, |lanes| lanes.min(MAX_LANES));
    if !(1..=most).contains(&raw.lanes) {
        faults.add("/lanes", "out_of_range", format!("must be from 1 to the {most} lanes there are"));
    }
    for (at, lane) in raw.reserved_lanes.iter().enumerate() {
        if !(1..=MAX_LANES).contains(lane) {
            faults.add(format!("/reserved_lanes/{at}"), "out_of_range", format!("must be from 1 to {MAX_LANES}"));
        }
    }
    if (1..=raw.lanes.min(MAX_LANES)).all(|lane| raw.reserved_lanes.contains(&lane)) {
        faults.add("/reserved_lanes", "out_of_range", "must leave at least one of the lanes");
    }
    if raw.rounds.is_some_and(|rounds| !(1..=MAX_ROUNDS).contains(&(rounds as usize))) {
        faults.add("/rounds", "out_of_range", format!("must be from 1 to {MAX_ROUNDS}"));
    }
    if !(1..=300).contains(&raw.capacity) {
        faults.add("/capacity", "out_of_range", "must be from 1 to 300 athletes in a lane");
    }
    if !(1..=MAX_BARRIERS).contains(&raw.barriers_min) {
        faults.add("/barriers/min", "out_of_range", format!("must be from 1 to {MAX_BARRIERS}"));
    }
    if !(raw.barriers_min..=MAX_BARRIERS).contains(&raw.barriers_max) {
        faults.add("/barriers/max", "out_of_range", format!("must be from the minimum to {MAX_BARRIERS}"));
    }
}

fn check_wishes(faults: &mut Faults, raw: &Raw<'_>, athletes: &[AthleteId]) {
    let mut seen = BTreeSet::new();
    for (at, (athlete, lane)) in raw.pins.iter().enumerate() {
        if !athletes.contains(athlete) {
            faults.add(format!("/pins/{at}/athlete_id"), "unknown_id", "is not among the athletes of the plan");
        } else if !seen.insert(athlete) {
            faults.add(format!("/pins/{at}/athlete_id"), "twice", "has two pins");
        }
        if !(1..=raw.lanes).contains(lane) || raw.reserved_lanes.contains(lane) {
            let detail = format!("must be from 1 to {} and not reserved", raw.lanes);
            faults.add(format!("/pins/{at}/lane"), "out_of_range", detail);
        }
    }
    for (at, (a, b)) in raw.apart.iter().enumerate() {
        if a == b || !athletes.contains(a) || !athletes.contains(b) {
            faults.add(format!("/apart/{at}"), "unknown_id", "must name two different athletes of the plan");
        }
    }
}

/// A stock of barriers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Equipment {
    /// The id.
    pub id: Uuid,
    /// The kind.
    pub kind: BarrierKind,
    /// Heights each can be set to.
    pub heights: Vec<Length>,
    /// How many.
    pub count: u32,
}

/// Somebody who runs: the advice, and how much their losses count.
#[derive(Clone, Copy, Debug)]
pub struct Served<'a> {
    /// The athlete.
    pub id: AthleteId,
    /// The advice.
    pub advice: &'a Advice<'a>,
    /// See [`weight`](crate::compute::lane_plan::weight).
    pub weight: f64,
}

impl Served<'_> {
    /// What the athlete may run where so much certainty is wished for: what the plan asks and what its sentences name.
    pub fn region(&self, wish: &Wish) -> Region {
        wish.hold_target.into_iter().fold(self.advice.decision.region.clone(), Region::wanting)
    }

    /// The widest spacing that the athlete may run today.
    fn widest(&self) -> Option<Length> {
        let ends = |bound: &Bound| bound.beyond.map_or(bound.longest.spacing, |beyond| beyond.spacing);
        self.advice.decision.region.bounds().iter().map(ends).max()
    }
}

/// The free run-out of a plan for these athletes: the usual one, or more where the fastest of them needs it to stop.
fn run_out(served: &[Served<'_>]) -> Length {
    let needed = served.iter().filter_map(Served::widest).map(run_out_least).max();
    needed.into_iter().fold(Length::from_mm(RUN_OUT_MM), Length::max)
}

/// A run-out that is too short to stop in at the speed of a spacing.
fn short_run_out((asked, widest): (Length, Length)) -> Option<Fault> {
    let needed = run_out_least(widest);
    let detail = format!(
        "must be {:.1} m or more: stopping takes that at the speed of barriers {:.2} m apart; take fewer barriers, or leave it out",
        needed.metres(),
        widest.metres()
    );
    (asked < needed).then(|| Fault::at("/run_out_m", "unsafe", detail))
}

/// What lanes that somebody laid out by hand may not be, with the remedy: spacing and approach of each, and the run-out.
pub fn laid_out(lanes: &[(Length, Length)], run_out: Length) -> Vec<Fault> {
    let near = lanes.iter().enumerate().filter(|(_, (spacing, approach))| short_approach(*spacing, *approach));
    let near = near.map(|(at, _)| {
        let detail = format!("must be {:.1} m or more: nobody reaches their stride from less", APPROACH_LEAST.metres());
        Fault::at(format!("/lanes/{at}/approach_m"), "unsafe", detail)
    });
    let widest = lanes.iter().map(|(spacing, _)| *spacing).max();
    near.chain(widest.and_then(|widest| short_run_out((run_out, widest)))).collect()
}

/// The most barriers that a lane may have for an athlete, and those of the race that they train towards.
pub fn most_barriers(advice: &Advice<'_>) -> (u32, Option<u32>) {
    let race = advice.target.as_ref().map(|target| u32::from(target.spec.barriers));
    (barriers_most(race), race)
}

/// More barriers than a lane may have for somebody who runs there.
pub fn too_many_barriers(pointer: &str, (most, race): (u32, Option<u32>)) -> Fault {
    let why = race.map_or_else(
        || "no sprint race has more".to_owned(),
        |race| format!("somebody in the plan races over {race}, and a lane may have 8, or two more than the race"),
    );
    Fault::at(pointer, "unsafe", format!("must be {most} or fewer: {why}"))
}

/// What a plan for these athletes may not be, with the remedy.
pub fn bounds(wish: &Wish, served: &[Served<'_>]) -> Vec<Fault> {
    let widest = served.iter().filter_map(Served::widest).max();
    let mut faults: Vec<Fault> = wish.run_out.zip(widest).and_then(short_run_out).into_iter().collect();
    let fewest = served.iter().map(|one| most_barriers(one.advice)).min();
    let over = fewest.filter(|(most, _)| wish.barriers.1 > *most);
    faults.extend(over.map(|fewest| too_many_barriers("/barriers/max", fewest)));
    faults
}

/// The lanes of an earlier plan as today's candidates are written: their approach follows from who runs there.
fn as_before(last: &LastTime, candidates: &[Candidate]) -> LastTime {
    let today = |was: &Candidate| candidates.iter().find(|one| one.configuration() == was.configuration()).copied();
    let lanes = last.lanes.iter().map(|(number, was)| (*number, today(was).unwrap_or(*was))).collect();
    LastTime { lanes, ..last.clone() }
}

/// The problem for these athletes, none of them resting: what their regions permit decides who may run what.
pub fn problem(wish: &Wish, served: &[Served<'_>], equipment: &[Equipment], step: Length) -> Problem {
    let makes: Vec<StockItem> = equipment
        .iter()
        .map(|one| StockItem { id: one.id.as_u128(), kind: one.kind, heights: one.heights.clone(), count: one.count })
        .collect();
    let targets = targets(served);
    let runners: Vec<Runner<'_>> = served
        .iter()
        .zip(targets)
        .map(|(one, target)| Runner {
            id: one.id.0.as_u128(),
            estimate: &one.advice.estimate,
            region: one.region(wish),
            weight: one.weight,
            target,
            approach: one.advice.approach,
        })
        .collect();
    let (candidates, athletes) = group(&runners, &makes, step, wish.approach);
    let last_time = wish.last_time.as_ref().map(|last| as_before(last, &candidates));
    let stock = stocks(equipment, &candidates);
    Problem {
        athletes,
        candidates,
        lanes: wish.lanes.clone(),
        lanes_max: wish.lanes.len(),
        capacity: wish.capacity,
        barriers_min: wish.barriers.0,
        barriers_max: wish.barriers.1,
        run_out: wish.run_out.unwrap_or_else(|| run_out(served)),
        stock,
        pins: wish.pins.iter().map(|(athlete, lane)| Pin { athlete: athlete.0.as_u128(), lane: *lane }).collect(),
        apart: wish.apart.iter().map(|(a, b)| (a.0.as_u128(), b.0.as_u128())).collect(),
        objective: wish.objective,
        last_time,
    }
}

/// A number for the specification each athlete trains towards; the same for those who share its height and spacing.
fn targets(runners: &[Served<'_>]) -> Vec<u32> {
    let target = |one: &Served<'_>| one.advice.decision.region.target();
    let all: BTreeSet<_> = runners.iter().map(target).collect();
    let number = |one: &Served<'_>| all.iter().position(|known| *known == target(one)).unwrap_or_default();
    runners.iter().map(|one| u32::try_from(number(one)).unwrap_or_default()).collect()
}
