//! Why there is no plan, in words and as a problem.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::advice::Advice;
use crate::compute::english::{one_more_round, ratings_that_open};
use crate::compute::lane_plan::{Infeasible, Limit, Plan, PlanError, Relaxation, WaitReason};
use crate::platform::ids::AthleteId;
use crate::platform::problem::{Code, Problem};
use crate::resources::advice::vocabulary;

/// A change of one limit that gives everybody a place.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = Relaxation)]
pub struct RelaxationView {
    /// `capacity`, `barriers_min`, `straight`, `stock`, `pins`, `rounds` or `ratings`.
    #[schema(value_type = vocabulary::RelaxedLimit)]
    pub limit: String,
    /// The change in words.
    #[schema(max_length = 300, example = "2 more low barriers settable to 0.60 m")]
    pub text: String,
}

impl RelaxationView {
    fn new(limit: &str, text: String) -> Self {
        Self { limit: limit.to_owned(), text }
    }
}

/// The limit that binds, and what would do.
#[derive(Debug, Serialize, ToSchema)]
pub struct InfeasibleView {
    /// `no_permitted_configuration`, `places`, `pins`, `straight`, `stock` or `several`.
    #[schema(max_length = 30, example = "stock")]
    limit: &'static str,
    /// The pinned athlete that has no permitted configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    athlete_id: Option<AthleteId>,
    /// Each of these alone would do; the smallest of its kind.
    #[schema(max_items = 10)]
    relaxations: Vec<RelaxationView>,
}

fn relaxation(one: &Relaxation, barriers_min: u32) -> RelaxationView {
    let limit = match one {
        Relaxation::Capacity(_) => "capacity",
        Relaxation::BarriersMin(_) => "barriers_min",
        Relaxation::Straight(_) => "straight",
        Relaxation::Units { .. } => "stock",
        Relaxation::NoPins => "pins",
    };
    RelaxationView::new(limit, one.text(barriers_min))
}

/// What would give those who wait a place; `another_round` tells whether one can be asked for: changes of the limits that bind, one more round, ratings that open barriers.
pub fn would_help(plan: &Plan, barriers_min: u32, waiting: &[&Advice<'_>], another_round: bool) -> Vec<RelaxationView> {
    let short = plan.short_of.iter().flat_map(|why| &why.relaxations).map(|one| relaxation(one, barriers_min));
    let no_place = plan.waiting.iter().filter(|one| one.reason == WaitReason::NoPlace).count();
    let rounds = (another_round && no_place > 0 && !plan.lanes.is_empty())
        .then(|| RelaxationView::new("rounds", one_more_round(no_place)));
    let missing = waiting.iter().map(|advice| advice.decision.missing.as_slice());
    let ratings = ratings_that_open(missing).map(|text| RelaxationView::new("ratings", text));
    short.chain(rounds).chain(ratings).collect()
}

/// The answer when no plan exists.
pub fn no_plan(error: PlanError, barriers_min: u32, name_of: impl Fn(AthleteId) -> String) -> Problem {
    let why = match error {
        PlanError::Infeasible(why) => why,
        PlanError::Budget => {
            return Problem::new(
                Code::Unavailable,
                "No plan was found in the time there is. Ask for fewer lanes or athletes.",
            );
        }
        PlanError::Problem(error) => {
            return Problem::new(Code::Infeasible, format!("The plan cannot be computed: {error}."));
        }
    };
    let view = InfeasibleView {
        limit: word(&why.limit),
        athlete_id: alone(&why),
        relaxations: why.relaxations.iter().map(|one| relaxation(one, barriers_min)).collect(),
    };
    let limit = match &why.limit {
        Limit::NoPermittedConfiguration { .. } => {
            let name = view.athlete_id.map(name_of).unwrap_or_default();
            format!("{name} is pinned to a lane, and nothing that can be set out is permitted for them today")
        }
        Limit::Places { athletes, places } => {
            format!("{athletes} athletes, but only {places} places")
        }
        Limit::Pins { lane } => {
            format!("the athletes pinned to lane {lane} cannot run there together")
        }
        Limit::Straight => "the straight is too short for the fewest barriers".to_owned(),
        Limit::Stock => "there are too few barriers".to_owned(),
        Limit::Several => "several limits bind at once".to_owned(),
    };
    let texts: Vec<&str> = view.relaxations.iter().map(|one| one.text.as_str()).collect();
    let remedy = match texts.as_slice() {
        [] if view.athlete_id.is_some() => "no pin for them; they wait then".to_owned(),
        [] => "change more than one limit".to_owned(),
        some => some.join(", or "),
    };
    Problem::new(Code::Infeasible, format!("No lane plan: {limit}. What would do: {remedy}.")).with_current(view)
}

fn word(limit: &Limit) -> &'static str {
    match limit {
        Limit::NoPermittedConfiguration { .. } => "no_permitted_configuration",
        Limit::Places { .. } => "places",
        Limit::Pins { .. } => "pins",
        Limit::Straight => "straight",
        Limit::Stock => "stock",
        Limit::Several => "several",
    }
}

fn alone(why: &Infeasible) -> Option<AthleteId> {
    match why.limit {
        Limit::NoPermittedConfiguration { athlete } => Some(AthleteId(uuid::Uuid::from_u128(athlete))),
        _ => None,
    }
}
