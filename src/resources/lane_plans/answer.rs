//! Computes a plan from what is on file, and puts it as it is kept.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use uuid::Uuid;

use super::model::{self, Equipment, Wish};
use super::problem::no_plan;
use super::shapes::{AlternativeLaneView, AlternativeView, Content, LaneView, PlacedView, RestingView};
use super::stock;
use crate::compute::advice::{Advice, Setting};
use crate::compute::day::Day;
use crate::compute::decision::{Caution, Configuration};
use crate::compute::lane_plan::{self, Budget, Candidate, PlanError, Problem as Question};
use crate::compute::standing::Standing;
use crate::platform::ids::{AthleteId, ClubId};
use crate::platform::problem::{Code, Problem};
use crate::resources::advice::{CautionView, Memory, Person, StandingView};

/// Work that one plan may take, beside its time, before the best so far is answered with its gap.
const BUDGET: Budget = Budget { nodes: 2_000_000 };

/// Everything a plan is computed from.
pub(super) struct Inputs {
    pub(super) club: ClubId,
    pub(super) wish: Wish,
    pub(super) people: Vec<Person>,
    pub(super) setting: Setting,
    pub(super) equipment: Vec<Equipment>,
    pub(super) on: Day,
    /// Whether the plans with a lane fewer and a lane more are wanted too.
    pub(super) alternatives: bool,
}

/// Computes the plan, and what a lane fewer or more would cost.
pub(super) fn compute(inputs: &Inputs, memory: &Memory, stop: &AtomicBool) -> Result<Content, Problem> {
    let began = Instant::now();
    let stopped = || stop.load(Ordering::Relaxed) || began.elapsed() > inputs.wish.time_limit;
    let mut advised: Vec<(&Person, Advice<'_>)> = Vec::with_capacity(inputs.people.len());
    for person in &inputs.people {
        advised.push((person, memory.advise(inputs.club, person, &inputs.setting, inputs.on)?));
    }
    let (resting, running): (Vec<_>, Vec<_>) = advised.into_iter().partition(|(_, advice)| model::rests(advice));
    if running.is_empty() {
        let detail = "No lane plan: everybody rests today. Nobody should run over barriers.";
        return Err(Problem::new(Code::Infeasible, detail));
    }
    let names: HashMap<AthleteId, &str> =
        inputs.people.iter().map(|person| (person.id, person.display_name.as_str())).collect();
    let name_of = |id: AthleteId| names.get(&id).copied().unwrap_or_default().to_owned();
    let mut wish = inputs.wish.clone();
    let runs = |id: &AthleteId| running.iter().any(|(person, _)| person.id == *id);
    wish.pins.retain(|(athlete, _)| runs(athlete));
    wish.apart.retain(|(a, b)| runs(a) && runs(b));
    let running: Vec<(AthleteId, &Advice<'_>)> = running.iter().map(|(person, advice)| (person.id, advice)).collect();
    let question = model::problem(&wish, &running, &inputs.equipment, inputs.setting.policy.spacing_step);
    if question.candidates.is_empty() {
        let detail = "No lane plan: the club owns no barriers that these athletes may run. What would do: add wickets or \
                      lower barriers with POST /v1/clubs/{club_id}/equipment.";
        return Err(Problem::new(Code::Infeasible, detail));
    }
    let plan =
        lane_plan::plan(&question, BUDGET, &stopped).map_err(|error| no_plan(error, wish.barriers.0, name_of))?;
    let alternatives =
        if inputs.alternatives { alternatives(&question, &plan, wish.one_more, &stopped) } else { Vec::new() };
    let stock_used = stock::taken(&inputs.equipment, &question.candidates, &plan.stock_used);
    let content = content(&plan, &question, &wish, name_of);
    Ok(Content { resting: resting.iter().map(resting_view).collect(), alternatives, stock_used, ..content })
}

fn resting_view((person, advice): &(&Person, Advice<'_>)) -> RestingView {
    RestingView {
        athlete_id: person.id,
        display_name: person.display_name.clone(),
        explanation: advice.decision.explanation(),
    }
}

fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

fn configuration(candidate: &Candidate) -> Configuration {
    Configuration { barrier_kind: candidate.kind, height: candidate.height, spacing: candidate.spacing }
}

fn content(plan: &lane_plan::Plan, question: &Question, wish: &Wish, name_of: impl Fn(AthleteId) -> String) -> Content {
    let lane = |lane: &lane_plan::PlannedLane| {
        let candidate = question.candidates.get(lane.candidate)?;
        let placed = |one: &lane_plan::Placed| {
            let athlete_id = AthleteId(Uuid::from_u128(one.athlete));
            PlacedView {
                athlete_id,
                display_name: name_of(athlete_id),
                regret: rounded(one.regret),
                hold_probability: rounded(one.hold),
                standing: standing(question, candidate, one).map(|standing| StandingView::from(&standing)),
            }
        };
        Some(LaneView {
            lane: lane.number,
            barrier_kind: candidate.kind.as_str().to_owned(),
            height_m: candidate.height.metres(),
            spacing_m: candidate.spacing.metres(),
            approach_m: candidate.approach.metres(),
            barriers: lane.barriers,
            athletes: lane.athletes.iter().map(placed).collect(),
        })
    };
    Content {
        lanes: plan.lanes.iter().filter_map(lane).collect(),
        resting: Vec::new(),
        total_regret: rounded(plan.total_regret),
        largest_regret: rounded(plan.largest_regret),
        proven_optimal: plan.proven_optimal,
        lower_bound: rounded(plan.lower_bound),
        changed_lanes: plan.changed,
        alternatives: Vec::new(),
        stock_used: Vec::new(),
        run_out_m: wish.run_out.metres(),
        cautions: Caution::BASE.iter().map(CautionView::from).collect(),
    }
}

/// Why an athlete stands in a lane, and what the athlete loses there.
fn standing(question: &Question, here: &Candidate, placed: &lane_plan::Placed) -> Option<Standing> {
    let athlete = question.athletes.iter().find(|athlete| athlete.id == placed.athlete)?;
    Some(Standing {
        here: configuration(here),
        hold_here: placed.hold,
        best: configuration(question.candidates.get(placed.best)?),
        hold_best: *athlete.hold.get(placed.best)?,
        regret: placed.regret,
        pinned: question.pins.iter().any(|pin| pin.athlete == placed.athlete),
    })
}

/// The best plans with one lane fewer than this one uses, and with one lane more than may be used when there is one.
fn alternatives(
    question: &Question,
    plan: &lane_plan::Plan,
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

fn alternative(
    lanes: usize,
    question: &Question,
    plan: &lane_plan::Plan,
    stopped: &dyn Fn() -> bool,
) -> AlternativeView {
    let nothing = AlternativeView { lanes, ..AlternativeView::default() };
    match lane_plan::plan(question, BUDGET, stopped) {
        Ok(other) => AlternativeView {
            total_regret: Some(rounded(other.total_regret)),
            largest_regret: Some(rounded(other.largest_regret)),
            costs_regret: Some(rounded(other.total_regret - plan.total_regret)),
            proven_optimal: Some(other.proven_optimal),
            set_out: other.lanes.iter().filter_map(|lane| lane_view(question, lane)).collect(),
            ..nothing
        },
        Err(PlanError::Budget) => AlternativeView { not_planned: Some("time".to_owned()), ..nothing },
        Err(_) => AlternativeView { not_planned: Some("infeasible".to_owned()), ..nothing },
    }
}

fn lane_view(question: &Question, lane: &lane_plan::PlannedLane) -> Option<AlternativeLaneView> {
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
