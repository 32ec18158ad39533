//! Computes a plan from what is on file, and puts it as it is kept.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use uuid::Uuid;

use super::alternatives::{AlternativeLaneView, AlternativeView};
use super::cards::cautions;
use super::judge;
use super::model::{self, Equipment, Served, Wish};
use super::problem::{no_plan, would_help};
use super::shapes::{Content, LaneView, NotExpectedView, PlacedView, RestingView, RoundView};
use super::stock;
use crate::compute::advice::{Advice, Setting};
use crate::compute::day::Day;
use crate::compute::decision::{DecisionKind, Surface};
use crate::compute::lane_plan::{
    self, Budget, Candidate, Plan, PlanError, PlannedLane, Problem as Question, StockUse, WaitReason, Waiting,
};
use crate::compute::standing::Standing;
use crate::compute::units::Length;
use crate::platform::ids::{AthleteId, ClubId};
use crate::platform::problem::Problem;
use crate::resources::advice::{self, Memory, Person, StandingView, WallView};

/// Work that one plan may take, beside its time, before the best so far is answered with its gap.
const BUDGET: Budget = Budget { nodes: 2_000_000 };

/// Where a plan takes its athletes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum From {
    /// The request names them.
    Named,
    /// Those who attend the session.
    Attendance,
    /// Those who are expected of groups.
    Groups,
}

impl From {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Named => "named",
            Self::Attendance => "attendance",
            Self::Groups => "groups",
        }
    }
}

/// Everything a plan is computed from.
pub(super) struct Inputs {
    pub(super) club: ClubId,
    pub(super) wish: Wish,
    pub(super) people: Vec<Person>,
    /// Where they come from.
    pub(super) from: From,
    /// Members of the groups planned for who are not expected.
    pub(super) not_expected: Vec<NotExpectedView>,
    pub(super) setting: Setting,
    pub(super) equipment: Vec<Equipment>,
    pub(super) on: Day,
    /// What is wrong with the surface of the session.
    pub(super) surface: Option<Surface>,
    /// Losses of the last sessions of each athlete, latest first.
    pub(super) served: HashMap<AthleteId, Vec<f64>>,
    /// Whether the plans with a lane fewer and a lane more are wanted too.
    pub(super) alternatives: bool,
}

/// Computes the plan, and what a lane fewer or more would cost, until its time is over or nobody waits any more.
pub(super) fn compute(inputs: &Inputs, memory: &Memory, until: Instant, stop: &AtomicBool) -> Result<Content, Problem> {
    // Whoever had a turn has the shortest time that can be asked for, however long it was waited for.
    let until = until.max(Instant::now() + model::SHORTEST);
    let stopped = || stop.load(Ordering::Relaxed) || Instant::now() > until;
    let advise = |person| Ok((person, memory.advise(inputs.club, person, &inputs.setting, inputs.on)?));
    let (advised, not_computed) = advice::computed::<(&Person, Advice<'_>)>(inputs.people.iter().map(advise));
    let (resting, running): (Vec<_>, Vec<_>) =
        advised.into_iter().partition(|(_, advice)| advice.decision.region.closed().is_some());
    let mut wish = inputs.wish.clone();
    let runs = |id: &AthleteId| running.iter().any(|(person, _)| person.id == *id);
    wish.pins.retain(|(athlete, _)| runs(athlete));
    wish.apart.retain(|(a, b)| runs(a) && runs(b));
    let served: Vec<Served<'_>> = running
        .iter()
        .map(|(person, advice)| Served { id: person.id, advice, weight: inputs.weight(person.id) })
        .collect();
    let broken = model::bounds(&wish, &served);
    if !broken.is_empty() {
        return Err(Problem::invalid(broken));
    }
    let question = model::problem(&wish, &served, &inputs.equipment, inputs.setting.policy.spacing_step);
    let names: HashMap<AthleteId, &str> =
        inputs.people.iter().map(|person| (person.id, person.display_name.as_str())).collect();
    let name_of = |id: AthleteId| names.get(&id).copied().unwrap_or_default().to_owned();
    let plan = if question.candidates.is_empty() {
        Plan::without_lanes(running.iter().map(|(person, _)| person.id.0.as_u128()))
    } else {
        lane_plan::plan(&question, BUDGET, &stopped).map_err(|error| no_plan(error, wish.barriers.0, name_of))?
    };
    let later = lane_plan::later_rounds(&question, &plan, wish.rounds, BUDGET, &stopped);
    let alternatives = if inputs.alternatives && !question.candidates.is_empty() {
        alternatives(&question, &plan, wish.one_more, &stopped)
    } else {
        Vec::new()
    };
    let plans: Vec<&Plan> = std::iter::once(&plan).chain(&later).collect();
    let content =
        content(&plans, &question, &wish, &Squad { served: &served, setting: &inputs.setting, name_of: &name_of });
    let (last, waits) = still_waiting(&plans);
    // Fewer rounds than asked for: one more would help nobody.
    let another_round = plans.len() == wish.rounds && wish.rounds < lane_plan::MAX_ROUNDS;
    let waiting = served.iter().filter(|one| waits.iter().any(|wait| wait.athlete == one.id.0.as_u128()));
    let waiting: Vec<&Advice<'_>> = waiting.map(|one| one.advice).collect();
    let waits = waits.iter().filter_map(|one| waiting_view(one, (last, &wish), &served, &name_of));
    Ok(Content {
        cautions: cautions(inputs.surface),
        would_help: would_help(last, wish.barriers.0, &waiting, another_round),
        resting: resting.iter().map(resting_view).chain(waits).collect(),
        people_from: Some(inputs.from.word().to_owned()),
        not_expected: inputs.not_expected.clone(),
        not_computed,
        alternatives,
        stock_used: stock::taken(&inputs.equipment, &question.candidates, &most_used(&plans)),
        ..content
    })
}

/// The last round, and who has no place in any: those for whom nothing can be set out, and those whom it leaves waiting.
fn still_waiting<'a>(plans: &[&'a Plan]) -> (&'a Plan, Vec<Waiting>) {
    let (first, last) = (plans[0], plans[plans.len() - 1]);
    let never = first.waiting.iter().filter(|one| one.reason == WaitReason::NothingPermitted);
    let still = last.waiting.iter().filter(|one| one.reason == WaitReason::NoPlace);
    (last, never.chain(still).copied().collect())
}

/// The most that any round takes from each stock at each height.
fn most_used(plans: &[&Plan]) -> Vec<StockUse> {
    let mut most: BTreeMap<(u128, Length), u32> = BTreeMap::new();
    for used in plans.iter().flat_map(|plan| &plan.stock_used) {
        let count = most.entry((used.item, used.height)).or_default();
        *count = used.count.max(*count);
    }
    most.into_iter().map(|((item, height), count)| StockUse { item, height, count }).collect()
}

impl Inputs {
    /// How much the losses of an athlete count, by how the last sessions served them.
    fn weight(&self, athlete: AthleteId) -> f64 {
        self.served.get(&athlete).map_or(1.0, |losses| lane_plan::weight(losses))
    }
}

/// What the views of placed athletes are made from.
struct Squad<'a> {
    served: &'a [Served<'a>],
    setting: &'a Setting,
    name_of: &'a dyn Fn(AthleteId) -> String,
}

fn resting_view((person, advice): &(&Person, Advice<'_>)) -> RestingView {
    let decision = &advice.decision;
    let explanation = match decision.region.closed() {
        Some(wall) if decision.kind != DecisionKind::RestAndRefer => wall.text(),
        _ => decision.explanation(),
    };
    RestingView {
        athlete_id: person.id,
        display_name: person.display_name.clone(),
        explanation,
        waiting: None,
        not_permitted: decision.region.closed().as_ref().map(WallView::from),
        overtaken: false,
    }
}

fn waiting_view(
    one: &Waiting,
    (plan, wish): (&Plan, &Wish),
    served: &[Served<'_>],
    name_of: &dyn Fn(AthleteId) -> String,
) -> Option<RestingView> {
    let athlete_id = AthleteId(Uuid::from_u128(one.athlete));
    let region = served.iter().find(|served| served.id == athlete_id)?.region(wish);
    let limit = plan.short_of.as_ref().map(|why| &why.limit);
    Some(RestingView {
        athlete_id,
        display_name: name_of(athlete_id),
        explanation: one.reason.text(&region, limit),
        waiting: Some(one.reason.code().to_owned()),
        not_permitted: None,
        overtaken: false,
    })
}

pub(super) fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

fn content(plans: &[&Plan], question: &Question, wish: &Wish, squad: &Squad<'_>) -> Content {
    let lane = |at: usize, round: u32, lane: &PlannedLane| {
        let candidate = question.candidates.get(lane.candidate)?;
        Some(LaneView {
            lane: lane.number,
            round,
            barrier_kind: candidate.kind.as_str().to_owned(),
            height_m: candidate.height.metres(),
            spacing_m: candidate.spacing.metres(),
            approach_m: approach_in(plans, at, lane, &|one| approach(candidate, one, wish, squad)).metres(),
            barriers: lane.barriers,
            athletes: lane.athletes.iter().filter_map(|one| placed(question, candidate, one, squad)).collect(),
            others: 0,
        })
    };
    let lanes_of = |((at, plan), round): ((usize, &&Plan), u32)| {
        plan.lanes.iter().filter_map(|one| lane(at, round, one)).collect::<Vec<_>>()
    };
    let later = |(round, pair): (u32, &[&Plan])| RoundView {
        round,
        changed_lanes: pair[1].changed.unwrap_or_default(),
        barriers_moved: lane_plan::barriers_moved(question, pair[0], pair[1]),
    };
    let first = plans[0];
    let after: f64 = plans[1..].iter().map(|plan| plan.total_regret).sum();
    Content {
        lanes: plans.iter().enumerate().zip(1..).flat_map(lanes_of).collect(),
        rounds: (2..).zip(plans.windows(2)).map(later).collect(),
        people_from: None,
        not_expected: Vec::new(),
        not_computed: Vec::new(),
        resting: Vec::new(),
        would_help: Vec::new(),
        total_regret: rounded(first.total_regret + after),
        largest_regret: rounded(plans.iter().map(|plan| plan.largest_regret).fold(0.0, f64::max)),
        proven_optimal: plans.iter().all(|plan| plan.proven_optimal),
        lower_bound: rounded(first.lower_bound + after),
        changed_lanes: first.changed,
        alternatives: Vec::new(),
        stock_used: Vec::new(),
        run_out_m: question.run_out.metres(),
        cautions: Vec::new(),
    }
}

/// The approach of a lane in a round (position in `plans`): a lane that stands as in the round before keeps its own, so that
/// none of its barriers is carried.
fn approach_in(plans: &[&Plan], at: usize, lane: &PlannedLane, own: &dyn Fn(&PlannedLane) -> Length) -> Length {
    let stood = |before: usize| {
        plans[before].lanes.iter().find(|old| (old.number, old.candidate) == (lane.number, lane.candidate))
    };
    match at.checked_sub(1).and_then(|before| Some((before, stood(before)?))) {
        Some((before, old)) => approach_in(plans, before, old, own),
        None => own(lane),
    }
}

/// The approach of a lane: the one asked for, that of a lane which stays from an earlier plan, or the one that suits most of those
/// who run there, of equals the longer.
fn approach(candidate: &Candidate, lane: &PlannedLane, wish: &Wish, squad: &Squad<'_>) -> Length {
    let stays = wish.last_time.iter().flat_map(|last| &last.lanes).find(|(number, was)| {
        // The straight was measured for the candidate's.
        let fits = was.approach <= candidate.approach;
        fits && (*number, was.configuration()) == (lane.number, candidate.configuration())
    });
    let here = |one: &lane_plan::Placed| squad.served.iter().find(|served| served.id.0.as_u128() == one.athlete);
    let suits = lane.athletes.iter().filter_map(here).map(|one| one.advice.approach.at(candidate.spacing));
    let suits: Vec<Length> = suits.collect();
    let most = suits.iter().copied().max_by_key(|one| (suits.iter().filter(|other| *other == one).count(), *one));
    wish.approach.or(stays.map(|(_, was)| was.approach)).or(most).unwrap_or(candidate.approach)
}

/// Where an athlete stands, beside what is advised, with what a coach must know of them.
fn placed(question: &Question, lane: &Candidate, one: &lane_plan::Placed, squad: &Squad<'_>) -> Option<PlacedView> {
    let athlete_id = AthleteId(Uuid::from_u128(one.athlete));
    let served = squad.served.iter().find(|served| served.id == athlete_id)?;
    let decision = &served.advice.decision;
    let advised = decision.region.advised()?;
    let hold = decision.hold_proposed.map_or(0.0, |hold| hold.mean);
    let standing = Standing {
        here: lane.configuration(),
        hold_here: one.hold,
        best: advised,
        hold_best: hold,
        regret: one.regret,
        step: squad.setting.policy.spacing_step,
        pinned: question.pins.iter().any(|pin| pin.athlete == one.athlete),
    };
    Some(PlacedView {
        athlete_id,
        display_name: (squad.name_of)(athlete_id),
        regret: rounded(one.regret),
        weight: Some(rounded(served.weight)),
        advised: judge::advised(decision),
        difference: Some(standing.difference()),
        needs_confirmation: decision.needs_confirmation,
        cautions: judge::personal(decision),
        hold_probability: rounded(one.hold),
        not_permitted: None,
        overtaken: false,
        standing: Some(StandingView::from(&standing)),
    })
}

/// The best plans with one lane fewer than this one uses, and with one lane more than may be used when there is one.
fn alternatives(
    question: &Question,
    plan: &Plan,
    one_more: Option<lane_plan::Lane>,
    stopped: &dyn Fn() -> bool,
) -> Vec<AlternativeView> {
    let used = plan.lanes.len();
    let fewer = (used > 1).then(|| (used - 1, Question { lanes_max: used - 1, ..question.clone() }));
    let more = one_more.map(|lane| {
        let mut more = question.clone();
        more.lanes.push(lane);
        more.lanes_max = more.lanes.len();
        (more.lanes.len(), more)
    });
    let answers = fewer.into_iter().chain(more);
    answers.map(|(lanes, changed)| alternative(lanes, &changed, plan, stopped)).collect()
}

fn alternative(lanes: usize, question: &Question, plan: &Plan, stopped: &dyn Fn() -> bool) -> AlternativeView {
    let nothing = AlternativeView { lanes, ..AlternativeView::default() };
    match lane_plan::plan(question, BUDGET, stopped) {
        Ok(other) => AlternativeView {
            total_regret: Some(rounded(other.total_regret)),
            largest_regret: Some(rounded(other.largest_regret)),
            // Sums over different athletes are no comparison.
            costs_regret: (other.waiting == plan.waiting).then(|| rounded(other.total_regret - plan.total_regret)),
            waiting: Some(other.waiting.len()),
            proven_optimal: Some(other.proven_optimal),
            set_out: other.lanes.iter().filter_map(|lane| lane_view(question, lane)).collect(),
            ..nothing
        },
        Err(PlanError::Budget) => AlternativeView { not_planned: Some("time".to_owned()), ..nothing },
        Err(_) => AlternativeView { not_planned: Some("infeasible".to_owned()), ..nothing },
    }
}

fn lane_view(question: &Question, lane: &PlannedLane) -> Option<AlternativeLaneView> {
    let candidate = question.candidates.get(lane.candidate)?;
    Some(AlternativeLaneView {
        lane: lane.number,
        barrier_kind: candidate.kind.as_str().to_owned(),
        height_m: candidate.height.metres(),
        spacing_m: candidate.spacing.metres(),
        barriers: lane.barriers,
        athletes: lane.athletes.len(),
    })
}
