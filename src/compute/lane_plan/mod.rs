//! The lane plan: which lanes to set out for the group, and who runs where, proven to be the best.
//!
//! The group, the track and the equipment are a [`Problem`]; [`plan`] answers with a [`Plan`] or says why there is none.
//! Lagrangian relaxation of "each athlete in one lane" bounds the cost from below, branch and bound on lanes closes the
//! gap (M. L. Fisher, "The Lagrangian Relaxation Method for Solving Integer Programming Problems", Management Science 27,
//! 1981); everything is counted in whole units, so equal input gives an equal plan on every machine.

mod assign;
mod bound;
mod cover;
mod group;
mod guess;
mod infeasible;
mod instance;
mod layout;
mod loss;
mod model;
mod rounds;
mod search;
mod stock;
mod together;
mod waiting;
mod work;

use thiserror::Error;

pub use group::{Runner, group};
pub use infeasible::{Infeasible, Limit, Relaxation};
pub use loss::{WEIGHT_MOST, WEIGHT_SESSIONS, loss, weight};
pub use model::{
    Athlete, Candidate, Lane, LastTime, MAX_ATHLETES, MAX_BARRIERS, MAX_CANDIDATES, MAX_HEIGHTS, MAX_LANES,
    MAX_STOCK_ITEMS, MAX_UNITS, Objective, Part, Pin, Problem, ProblemError, REGRET_UNIT, StockItem,
};
pub use rounds::{MAX_ROUNDS, barriers_moved, later_rounds};
pub use waiting::{WaitReason, Waiting};
pub use work::Budget;

use cover::{Cover, Lanes};
use instance::{Instance, regret_of};
use model::share;
use search::{Found, Search};
use work::Work;

/// One athlete in a lane of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// The athlete.
    pub athlete: u128,
    /// What running here instead of as advised loses, 0 to 1, times the athlete's weight.
    pub regret: f64,
    /// Probability that an interval is held here.
    pub hold: f64,
}

/// One lane of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedLane {
    /// The number painted on the track.
    pub number: u32,
    /// What it carries (position in [`Problem::candidates`]).
    pub candidate: usize,
    /// Barriers set out.
    pub barriers: u32,
    /// Who runs here, by id.
    pub athletes: Vec<Placed>,
}

/// Units of one stock item set to one height.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct StockUse {
    /// The stock item.
    pub item: u128,
    /// The height they are set to.
    pub height: crate::units::Length,
    /// How many.
    pub count: u32,
}

/// The lanes to set out and who runs where.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The lanes in use, by number; none when everybody waits.
    pub lanes: Vec<PlannedLane>,
    /// Who finds no place, and what would help; nobody where any plan has a place for all.
    pub waiting: Vec<Waiting>,
    /// Why somebody waits for want of a place, with the changes that would do.
    pub short_of: Option<Infeasible>,
    /// What is taken from the stock, by item and height.
    pub stock_used: Vec<StockUse>,
    /// Sum of regrets.
    pub total_regret: f64,
    /// The largest regret.
    pub largest_regret: f64,
    /// Lanes that were not there last time; none without a last time.
    pub changed: Option<usize>,
    /// What the objective (the total, or with [`Objective::Fair`] the total among the plans with the smallest largest
    /// regret, with what the changed lanes must save) cannot fall below.
    pub lower_bound: f64,
    /// Whether no better plan exists.
    pub proven_optimal: bool,
    /// Parts of the search that were looked into.
    pub nodes: u64,
}

/// Why there is no plan.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PlanError {
    /// The problem cannot be read.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// No plan satisfies every limit.
    #[error("no plan satisfies every limit")]
    Infeasible(Infeasible),
    /// The budget was spent before any plan was found.
    #[error("no plan was found within the budget")]
    Budget,
}

/// Finds the plan that serves the advice of the group best.
///
/// Everybody has a place when any plan allows it. Otherwise as many run as fit, those who were served badly lately first, and
/// [`Plan::waiting`] tells who waits and why. `stop` is asked often; once true, the best plan so far is returned with its
/// proven gap.
///
/// # Errors
/// [`PlanError`]; a problem is infeasible only where pins contradict what may be run or set out.
///
/// # Complexity
/// Exponential in the lanes at worst, bounded by `budget`; polynomial for each part of the search.
pub fn plan(problem: &Problem, budget: Budget, stop: &dyn Fn() -> bool) -> Result<Plan, PlanError> {
    problem.check()?;
    let mut work = Work::new(budget, stop);
    waiting::plan_for_most(problem, &mut work)
}

/// The best plan with a place for everybody; none where there is none.
fn plan_for_all(
    problem: &Problem,
    regrets: &[Vec<Option<i64>>],
    work: &mut Work<'_>,
) -> Result<Option<Plan>, PlanError> {
    let ceiling = match problem.objective {
        Objective::Total => Ceiling { regret: i64::MAX, proven: true, lanes: None },
        Objective::Fair => smallest_ceiling(problem, regrets, work),
    };
    let instance = Instance::of(problem, regrets, ceiling.regret);
    let known = ceiling.lanes.and_then(|lanes| stand_ins(problem, regrets, ceiling.regret, &instance, &lanes));
    let mut search = Search::new(&instance, work);
    let bound = search.run(known.as_ref());
    let Some(mut found) = search.best.take() else {
        return if bound.is_some() { Err(PlanError::Budget) } else { Ok(None) };
    };
    let bound = bound.unwrap_or_default();
    let lower_bound = if ceiling.proven { share(regret_of(bound.min(found.cost)).max(0)) } else { 0.0 };
    together::arrange(problem, &instance, &mut found);
    let proven = ceiling.proven && !work.spent;
    Ok(Some(describe(problem, regrets, &instance, &found, lower_bound, (proven, work.nodes))))
}

/// Whether any plan exists; none when the budget is spent first.
fn exists(problem: &Problem, regrets: &[Vec<Option<i64>>], work: &mut Work<'_>) -> Option<bool> {
    let instance = Instance::of(problem, regrets, i64::MAX);
    Cover::new(&instance, i64::MAX, work, &mut None).exists()
}

/// The smallest largest regret.
struct Ceiling {
    /// Regret units; no limit at all when no plan was found.
    regret: i64,
    /// Whether no plan keeps to less.
    proven: bool,
    /// Lanes that keep to it, as positions in [`Problem::candidates`].
    lanes: Option<Lanes>,
}

fn smallest_ceiling(problem: &Problem, regrets: &[Vec<Option<i64>>], work: &mut Work<'_>) -> Ceiling {
    let mut levels: Vec<i64> = regrets.iter().flatten().flatten().copied().collect();
    // Nobody can do better than their own best.
    let own_best = regrets.iter().filter_map(|row| row.iter().flatten().min()).max().copied().unwrap_or(0);
    levels.retain(|&level| level >= own_best);
    levels.sort_unstable();
    levels.dedup();
    let instance = Instance::whole(problem, regrets, i64::MAX);
    let (mut low, mut high) = (0, levels.len());
    let mut lanes = None;
    let mut proven = true;
    while low < high && proven {
        let middle = usize::midpoint(low, high);
        let mut found = None;
        match Cover::new(&instance, levels[middle], work, &mut found).exists() {
            Some(true) => (high, lanes) = (middle, found),
            Some(false) => low = middle + 1,
            None => proven = false,
        }
    }
    let lanes = lanes.map(|(pinned, open)| {
        let named = |lanes: Vec<usize>| lanes.into_iter().map(|c| instance.candidates[c]).collect();
        (named(pinned), named(open))
    });
    Ceiling { regret: levels.get(high).copied().unwrap_or(i64::MAX), proven, lanes }
}

/// The candidates of an instance that take the place of these (positions in [`Problem::candidates`]).
fn stand_ins(
    problem: &Problem,
    regrets: &[Vec<Option<i64>>],
    ceiling: i64,
    instance: &Instance,
    (pinned, open): &Lanes,
) -> Option<Lanes> {
    let whole = Instance::whole(problem, regrets, ceiling);
    let place = |c: usize| whole.candidates.iter().position(|&other| other == c);
    let stand_in = |&c: &usize| {
        let of = place(c)?;
        (0..instance.candidates.len()).find(|&k| {
            instance.candidates[k] == c || place(instance.candidates[k]).is_some_and(|k| whole.replaces(k, of))
        })
    };
    let all = |lanes: &[usize]| lanes.iter().map(stand_in).collect::<Option<Vec<usize>>>();
    Some((all(pinned)?, all(open)?))
}

/// Puts a found plan in terms of the problem.
fn describe(
    problem: &Problem,
    regrets: &[Vec<Option<i64>>],
    instance: &Instance,
    found: &Found,
    lower_bound: f64,
    (proven_optimal, nodes): (bool, u64),
) -> Plan {
    let choices = layout::lanes(problem, instance, found);
    let barriers = layout::barriers(problem, instance, &choices);
    let mut lanes: Vec<PlannedLane> = Vec::new();
    let (mut total, mut largest) = (0, 0);
    for (choice, &barriers) in choices.iter().zip(&barriers) {
        let mut athletes: Vec<Placed> = Vec::new();
        for &a in &choice.athletes {
            let regret = regrets[a][choice.candidate].unwrap_or(0);
            total += regret;
            largest = largest.max(regret);
            let runner = &problem.athletes[a];
            athletes.push(Placed { athlete: runner.id, regret: share(regret), hold: runner.hold[choice.candidate] });
        }
        athletes.sort_by_key(|placed| placed.athlete);
        let number = problem.lanes[choice.lane].number;
        lanes.push(PlannedLane { number, candidate: choice.candidate, barriers, athletes });
    }
    lanes.sort_by_key(|lane| lane.number);
    let changed = problem.last_time.as_ref().map(|last| (layout::changed(problem, &choices), last.unless_saves));
    #[allow(clippy::cast_precision_loss)] // at most MAX_LANES
    let objective = share(total) + changed.map_or(0.0, |(lanes, each)| lanes as f64 * each);
    Plan {
        lanes,
        waiting: Vec::new(),
        short_of: None,
        stock_used: layout::stock_used(problem, instance, &choices, &barriers),
        total_regret: share(total),
        largest_regret: share(largest),
        changed: changed.map(|(lanes, _)| lanes),
        lower_bound: lower_bound.min(objective),
        proven_optimal,
        nodes,
    }
}
