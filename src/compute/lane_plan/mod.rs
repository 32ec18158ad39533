//! The lane plan: which lanes to set out for the group, and who runs where, proven to be the best.
//!
//! # Problem
//! Given are the athletes who are present, each with the configurations they may run and what running them
//! loses against their own advice ([`loss()`]), the lanes of a straight, and the barriers of the club. A plan
//! gives at most `lanes_max` lanes one configuration each (kind, height, spacing, approach) and every athlete
//! one of these lanes. It is the cheapest such plan:
//!
//! ```text
//! minimise    sum_i r(i, c(lane of i))  +  q * (lanes that were not there last time)
//! subject to  every athlete is in one lane, whose configuration they are permitted to run
//!             at most `capacity` athletes in a lane
//!             approach + (n - 1) spacing + run-out <= straight of the lane,      n = barriers_min
//!             n units of the stock for each lane, each unit set to one height
//!             pinned athletes in their own lane; pairs to be kept apart in different lanes
//! ```
//!
//! where r(i, c) is the weighted loss of athlete i at candidate c (0 to 2) and q = [`LastTime::unless_saves`].
//! With [`Objective::Fair`] the largest r(i, c) is minimised first, and the sum only among the plans that keep
//! to it. Barriers beyond the fewest are handed out after the search, as far as lengths and stock reach; they
//! cost nothing and decide nothing.
//!
//! # Method
//! 1. Losses become whole numbers ([`REGRET_UNIT`]), with the rank of the candidate in their last bits, so that
//!    ties fall the same way on every machine: smaller spacing, lower height, softer kind, shorter approach.
//! 2. Candidates that another one replaces at no loss to anybody are left out.
//! 3. A greedy plan, or a covering search where that finds none, gives the first plan to beat.
//! 4. Lagrangian relaxation of "each athlete in one lane" bounds the cost from below. Each part of the search
//!    moves its prices up this bound, and takes out the candidates that no better plan can contain.
//! 5. Branch and bound on lanes closes the gap between plan and bound. For given lanes the assignment is exact
//!    (shortest augmenting paths).
//! 6. For the fair objective a binary search over the losses that occur asks, by covering, which ceiling
//!    everybody can keep to.
//! 7. Where no plan has a place for all, the same search says who waits, with waiting as one more lane that
//!    costs far more than any other.
//!
//! The bound is a sum of whole numbers that holds for any prices, so a plan whose cost equals it is the best
//! there is: [`Plan::proven_optimal`]. Where the budget or the caller's `stop` ends the search, the plan is the
//! best that was found, and [`Plan::lower_bound`] says how much better another one could be at most.
//!
//! # Cost
//! Choosing lanes contains set covering, so no method is known that is fast on every problem; the number of
//! parts is exponential in the lanes at worst. Work is therefore counted in parts and limited by [`Budget`].
//! One evaluation of the bound takes time proportional to athletes times candidates, one assignment O(n (L³ + n
//! L)) for n athletes and L lanes.
//!
//! # Assumptions
//! P(hold), permissions and advice are right for the day; the plan never asks for them anew. Losses of
//! different athletes add up. All lanes run side by side at one time, so units are taken once per lane; what
//! runs one after the other is the matter of [`later_rounds`].
//!
//! # Used from
//! The service's lane plans build a [`Problem`] from the advice of everybody present ([`group()`]), ask
//! [`plan`], then [`later_rounds`] for those who wait, and [`plan`] again with a lane fewer and a lane more for
//! comparison. `./dev simulate squad` plans whole seasons with it.
//!
//! # Checked by
//! Brute force over every set of lanes and every assignment on hundreds of small problems, and a general
//! mixed-integer solver on sixty larger ones with scarce stock; both must give the same optimum.
//!
//! # Example
//! Three athletes are advised 6.00, 6.25 and 7.00 m, and there are two lanes. One lane must serve two of them.
//! The second in the lane of the first loses 1 - exp(-((6.25 - 6.00) / (2 · 0.25))² / 2) = 0.1175, the third in
//! the lane of the second 0.6753: so the first two share a lane. Ten units are enough for five barriers in each
//! of two lanes, and the straight would take six.
//!
//! ```
//! use lanewright_compute::decision::Configuration;
//! use lanewright_compute::lane_plan::{Athlete, Budget, Candidate, Lane, Objective, Problem, StockItem, plan};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let mm = Length::from_mm;
//! let at = |spacing| Configuration { barrier_kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(spacing) };
//! let spacings = [6_000, 6_250, 6_500, 6_750, 7_000];
//! let athlete = |id, advised: u32| Athlete {
//!     id,
//!     width_m: 0.25,
//!     height_cost: 1.0,
//!     advised: at(advised),
//!     advised_hold: 0.85,
//!     hold: vec![0.85; spacings.len()],
//!     permitted: spacings.iter().map(|spacing| *spacing <= advised).collect(),
//!     weight: 1.0,
//!     target: 0,
//! };
//! let candidate =
//!     |spacing| Candidate { kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(spacing), approach: mm(12_000) };
//! let problem = Problem {
//!     athletes: vec![athlete(1, 6_000), athlete(2, 6_250), athlete(3, 7_000)],
//!     candidates: spacings.iter().map(|spacing| candidate(*spacing)).collect(),
//!     lanes: (1..=2).map(|number| Lane { number, straight: mm(60_000) }).collect(),
//!     lanes_max: 2,
//!     capacity: 4,
//!     barriers_min: 4,
//!     barriers_max: 6,
//!     run_out: mm(10_000),
//!     stock: vec![StockItem { id: 1, kind: BarrierKind::LowBarrier, heights: vec![mm(500)], count: 10 }],
//!     pins: vec![],
//!     apart: vec![],
//!     objective: Objective::Total,
//!     last_time: None,
//! };
//! let best = plan(&problem, Budget { nodes: 10_000 }, &|| false).unwrap();
//! let set_out: Vec<_> =
//!     best.lanes.iter().map(|lane| (spacings[lane.candidate], lane.barriers, lane.athletes.len())).collect();
//! assert_eq!(set_out, [(6_000, 5, 2), (7_000, 5, 1)]);
//! assert!((best.total_regret - 0.117_503_097).abs() < 1e-9 && best.proven_optimal);
//!
//! // Kept apart, the first two take a lane each, and the third loses as much as they saved by sharing, and more.
//! let apart = Problem { apart: vec![(1, 2)], ..problem };
//! let worse = plan(&apart, Budget { nodes: 10_000 }, &|| false).unwrap();
//! assert!(worse.total_regret > 0.6 && worse.proven_optimal);
//! ```
//!
//! # Source
//! M. L. Fisher, "The Lagrangian Relaxation Method for Solving Integer Programming Problems", Management
//! Science 27, 1981. The parts name their own.

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
    /// The athlete, as in [`Athlete::id`].
    pub athlete: u128,
    /// What running here instead of as advised loses, 0 to 1, times the athlete's weight: 0 to 2, in steps of
    /// [`REGRET_UNIT`].
    pub regret: f64,
    /// Mean probability that an interval is held here, 0 to 1: [`Athlete::hold`] at the lane's candidate.
    pub hold: f64,
}

/// One lane of the plan. Its marks on the track follow from the candidate and the barriers; see
/// [`crate::set_out`].
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedLane {
    /// The number painted on the track.
    pub number: u32,
    /// What it carries (position in [`Problem::candidates`], in the caller's order).
    pub candidate: usize,
    /// Barriers set out, [`Problem::barriers_min`] to [`Problem::barriers_max`]: as many as the lane's straight
    /// and the stock left by the other lanes allow.
    pub barriers: u32,
    /// Who runs here, by id; never nobody.
    pub athletes: Vec<Placed>,
}

/// Units of one stock item set to one height, over all lanes of the plan together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct StockUse {
    /// The stock item, as in [`StockItem::id`].
    pub item: u128,
    /// The height they are set to, one of [`StockItem::heights`].
    pub height: crate::units::Length,
    /// How many, at least 1; over all heights of an item at most [`StockItem::count`].
    pub count: u32,
}

/// The lanes to set out and who runs where.
///
/// Everybody of the problem is either in exactly one lane or in [`Plan::waiting`].
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The lanes in use, by number; none when everybody waits. Fewer than allowed where another lane would
    /// serve nobody better.
    pub lanes: Vec<PlannedLane>,
    /// Who finds no place, and what would help, by id where somebody waits for want of a place; nobody where
    /// any plan has a place for all.
    pub waiting: Vec<Waiting>,
    /// Why somebody waits for want of a place, with the changes that would do; none where nobody waits, or only
    /// those for whom nothing is permitted.
    pub short_of: Option<Infeasible>,
    /// What is taken from the stock, by item and height; the counts of a height add up to the barriers of its
    /// lanes.
    pub stock_used: Vec<StockUse>,
    /// Sum of the regrets of those who run, 0 to 600; without what changed lanes cost.
    pub total_regret: f64,
    /// The largest regret of one who runs, 0 to 2; 0 when nobody runs.
    pub largest_regret: f64,
    /// Lanes that were not there last time, counted as [`LastTime`] says; none without a last time.
    pub changed: Option<usize>,
    /// What the objective (the total, or with [`Objective::Fair`] the total among the plans with the smallest
    /// largest regret, with what the changed lanes must save) cannot fall below. 0 with [`Objective::Fair`]
    /// where the budget ended before the smallest largest regret was known; of a plan in which somebody waits,
    /// the bound of the plan for those who run.
    pub lower_bound: f64,
    /// Whether no better plan exists: the whole search was finished, including who waits and, with
    /// [`Objective::Fair`], the ceiling.
    pub proven_optimal: bool,
    /// Parts of the search that were looked into, over all searches of this plan; at most [`Budget::nodes`].
    pub nodes: u64,
}

/// Why there is no plan.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PlanError {
    /// The problem cannot be read: [`Problem::check`] found a number outside its range or a reference to
    /// nothing.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// No plan satisfies every limit: the pins ask for what cannot be.
    #[error("no plan satisfies every limit")]
    Infeasible(Infeasible),
    /// The budget was spent, or the caller stopped, before any plan was found. A larger budget may find one, or
    /// show that there is none.
    #[error("no plan was found within the budget")]
    Budget,
}

/// Finds the plan that serves the advice of the group best.
///
/// Everybody has a place when any plan allows it. Otherwise some wait: who, is decided at a cost of twenty
/// whole losses for each (times the athlete's weight), so as many run as fit unless one more place would cost
/// the others more than that together, and those who were served badly lately come first. [`Plan::waiting`]
/// tells who waits and why. Whoever is permitted nothing that is a candidate waits in any case, without an
/// attempt to place them.
///
/// `stop` is asked before each part of the search and now and then within one; once it returns true it should
/// go on doing so, and the best plan so far is returned with its proven gap. The diagnosis of why somebody
/// waits has small budgets of its own and does not ask it.
///
/// The result depends on the problem and the budget alone, unless `stop` ends the search: equal input gives an
/// equal plan.
///
/// # Errors
/// [`PlanError`]; a problem is infeasible only where pins contradict what may be run or set out: a pinned
/// athlete is permitted nothing, or the athletes pinned to a lane are too many, are to be kept apart, or share
/// no configuration that their lane can carry.
///
/// # Complexity
/// Exponential in the lanes at worst, bounded by `budget`; polynomial for each part of the search.
pub fn plan(problem: &Problem, budget: Budget, stop: &dyn Fn() -> bool) -> Result<Plan, PlanError> {
    problem.check()?;
    let mut work = Work::new(budget, stop);
    waiting::plan_for_most(problem, &mut work)
}

/// The best plan with a place for everybody; none where there is none.
///
/// `regrets` holds one row per athlete and one entry per candidate, in regret units, none where not permitted.
/// For the fair objective the ceiling is found first and every entry above it counts as not permitted; the
/// search then minimises the sum as usual. The lanes of the covering that proved the ceiling are handed to the
/// search as its first plan.
///
/// # Errors
/// [`PlanError::Budget`] where the budget ended before a plan or a proof that there is none.
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

/// Whether any plan with a place for everybody exists; none when the budget is spent first. Costs play no part,
/// so this is a matter of covering alone and takes far fewer parts than the best plan.
fn exists(problem: &Problem, regrets: &[Vec<Option<i64>>], work: &mut Work<'_>) -> Option<bool> {
    let instance = Instance::of(problem, regrets, i64::MAX);
    Cover::new(&instance, i64::MAX, work, &mut None).exists()
}

/// The smallest largest regret, with which the fair objective begins.
struct Ceiling {
    /// Regret units; no limit at all ([`i64::MAX`]) when no plan was found.
    regret: i64,
    /// Whether no plan keeps to less: false only where the budget ended first.
    proven: bool,
    /// Lanes that keep to it, as positions in [`Problem::candidates`]; none when no covering was found.
    lanes: Option<Lanes>,
}

/// Finds the smallest ceiling by bisection.
///
/// The largest regret of a plan is always one of the entries, and whoever keeps to a ceiling keeps to any
/// higher one, so a binary search over the distinct entries is exact: about log2(athletes · candidates)
/// coverings, 17 at most. Entries below `own_best`, the largest over all athletes of their own smallest regret,
/// are left out, since not even private lanes keep to them.
///
/// Example: regrets (0, 3), (5, 1) and (2, 2) of three athletes at two candidates. Own best are 0, 1 and 2, so
/// the levels are 2, 3 and 5. With both lanes, 2 is kept to: first, second and either. With one lane the second
/// candidate keeps to 3 and the first to 5.
///
/// The covering works on all candidates: whether one replaces another is judged by what the members of a pinned
/// lane lose together, and the largest of their losses may still be larger there.
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
///
/// The ceiling's lanes were found among all candidates, while the search knows only those that nothing
/// replaces. Each lane becomes itself where it is still there, else the first candidate that replaces it: one
/// that loses no athlete anything and needs no scarcer units. Replacement is transitive, so there is always
/// one; were there none, the search would begin with its own guess.
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

/// Puts a found plan in terms of the problem: numbered lanes, barrier counts, units, ids, and losses as shares.
///
/// `lower_bound` is cut off at the plan's own objective, which rounding down of the bound cannot exceed but
/// adding shares as floating-point numbers might by the last digit.
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
