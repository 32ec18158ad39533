//! Who waits when not everybody finds a place, and what would help.
//!
//! The plan is asked for everybody first. Only where no plan has a place for all may athletes wait, at a cost
//! of [`WAITS`] times their weight each, far above what any lane can lose: the same search then tells who runs,
//! and the plan is made anew for them. Who waited last time counts more, so that it is somebody else's turn.
//!
//! Steps, each of which may end the matter:
//!
//! 1. Who is permitted no candidate at all waits with `nothing_permitted`. With a pin that is a contradiction,
//!    and there is no plan.
//! 2. A plan for all others, if any exists: nobody waits for want of a place.
//! 3. The diagnosis: which limit binds, and which single change would do ([`Plan::short_of`]).
//! 4. The cheapest choice of who waits, with waiting as a lane of its own.
//! 5. The best plan for the rest, in the objective that was asked for, with last time's lanes.
//!
//! # How far "as many as run" holds
//! One athlete more who waits costs 20 to 40, one more who runs loses 2 at most, but may push others into
//! poorer lanes. So somebody waits although a place could be made only where that would cost the others 20
//! whole losses or more together: ten athletes who lose everything at weight 2. Otherwise as many run as can.
//!
//! # Worked example
//! One lane with two places, three athletes with weights 1, 1 and 1.5 who lose nothing there. That one of the
//! first two waits costs 20, the third 30: the third runs, and one of the first two waits. Which of them,
//! nothing but the order of the ids decides.

use super::infeasible::{Infeasible, Limit, diagnose};
use super::instance::{Instance, cost_of_share};
use super::model::{Pin, Problem};
use super::search::Search;
use super::work::Work;
use super::{Plan, PlanError, plan_for_all};

/// What it costs when somebody waits, in losses of a whole lane: so much that nobody waits to spare others a
/// poorer lane (design choice; sums stay within whole numbers for 300 athletes: 300 · 40 · 1e9 · 2^17 = 1.6e18
/// of 9.2e18).
const WAITS: f64 = 20.0;

/// Why an athlete waits. Words for coaches are in `compute::english`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WaitReason {
    /// Nothing that can be set out lies inside the athlete's region; a later round helps nothing.
    NothingPermitted,
    /// The lanes, barriers or metres do not reach for everybody; a later round or a change of the limit helps.
    NoPlace,
}

impl WaitReason {
    /// The stable code, as it is published and kept with a plan.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NothingPermitted => "nothing_permitted",
            Self::NoPlace => "no_place",
        }
    }
}

/// An athlete without a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// The athlete.
    pub athlete: u128,
    /// Why.
    pub reason: WaitReason,
}

/// The problem of some of its athletes (positions in [`Problem::athletes`]), with the wishes about them: pins
/// and pairs of which everybody is left. Lanes, candidates, stock and last time stay; the order of athletes
/// too. It may be nobody, which no search takes.
pub(super) fn only(problem: &Problem, runs: impl Fn(usize) -> bool) -> Problem {
    let athletes: Vec<_> =
        (0..problem.athletes.len()).filter(|&a| runs(a)).map(|a| problem.athletes[a].clone()).collect();
    let here = |id: u128| athletes.iter().any(|athlete| athlete.id == id);
    let pins = problem.pins.iter().copied().filter(|pin| here(pin.athlete)).collect();
    let apart = problem.apart.iter().copied().filter(|&(a, b)| here(a) && here(b)).collect();
    Problem { athletes, pins, apart, ..problem.clone() }
}

/// The problem without some athletes.
fn without(problem: &Problem, gone: &[usize]) -> Problem {
    only(problem, |a| !gone.contains(&a))
}

/// Plans for everybody, or for as many as find a place.
///
/// # Errors
/// [`PlanError::Infeasible`] where pins contradict what may be run or set out; [`PlanError::Budget`] where the
/// budget ended before a plan.
pub(super) fn plan_for_most(problem: &Problem, work: &mut Work<'_>) -> Result<Plan, PlanError> {
    let regrets = all_regrets(problem);
    let pinned = |a: usize| problem.pins.iter().any(|pin: &Pin| pin.athlete == problem.athletes[a].id);
    let stranded: Vec<usize> = (0..regrets.len()).filter(|&a| regrets[a].iter().all(Option::is_none)).collect();
    if stranded.iter().any(|&a| pinned(a)) {
        return Err(PlanError::Infeasible(diagnose(problem, &regrets)));
    }
    let mut waiting: Vec<Waiting> = named(problem, &stranded, WaitReason::NothingPermitted);
    let rest = without(problem, &stranded);
    if rest.athletes.is_empty() {
        return Ok(Plan::nobody(problem, waiting));
    }
    let regrets = all_regrets(&rest);
    if let Some(plan) = plan_for_all(&rest, &regrets, work)? {
        return Ok(Plan { waiting, ..plan });
    }
    let why = diagnose(&rest, &regrets);
    let (out, proven) = who_waits(&rest, &regrets, work, &why)?;
    waiting.extend(named(&rest, &out, WaitReason::NoPlace));
    waiting.sort_by_key(|one| one.athlete);
    let few = without(&rest, &out);
    if few.athletes.is_empty() {
        return Ok(Plan { short_of: Some(why), ..Plan::nobody(problem, waiting) });
    }
    let plan = plan_for_all(&few, &all_regrets(&few), work)?;
    let plan = plan.ok_or_else(|| PlanError::Infeasible(why.clone()))?;
    Ok(Plan { waiting, short_of: Some(why), proven_optimal: plan.proven_optimal && proven, ..plan })
}

/// The regrets of everybody at every candidate; see [`Problem::regret_units`].
fn all_regrets(problem: &Problem) -> Vec<Vec<Option<i64>>> {
    (0..problem.athletes.len()).map(|a| problem.regret_units(a)).collect()
}

/// These athletes (positions in [`Problem::athletes`]) as those who wait, by their ids.
fn named(problem: &Problem, athletes: &[usize], reason: WaitReason) -> Vec<Waiting> {
    athletes.iter().map(|&a| Waiting { athlete: problem.athletes[a].id, reason }).collect()
}

/// Those who cost least by waiting (positions in [`Problem::athletes`]), and whether that is proven.
///
/// What stood there last time does not count here: nobody waits to spare a lane from being set out anew. Nor
/// does the fair objective: the sum decides who runs. Athletes with a pin never wait.
///
/// # Errors
/// `why` where the pins are what clashes, or where even with everybody else waiting the pinned lanes cannot be;
/// [`PlanError::Budget`] where the budget ended first.
fn who_waits(
    problem: &Problem,
    regrets: &[Vec<Option<i64>>],
    work: &mut Work<'_>,
    why: &Infeasible,
) -> Result<(Vec<usize>, bool), PlanError> {
    if matches!(why.limit, Limit::Pins { .. }) {
        return Err(PlanError::Infeasible(why.clone()));
    }
    let cost = |a: usize| cost_of_share(WAITS * problem.athletes[a].weight);
    let anew = Problem { last_time: None, ..problem.clone() };
    let instance = Instance::of(&anew, regrets, i64::MAX).with_bench(cost);
    let mut search = Search::new(&instance, work);
    let bound = search.run(None);
    let Some(found) = search.best.take() else {
        return Err(if bound.is_some() { PlanError::Budget } else { PlanError::Infeasible(why.clone()) });
    };
    let waits = found.lane_of.iter().enumerate().filter(|(_, lane)| Some(**lane) == instance.bench);
    Ok((waits.map(|(at, _)| instance.athletes[at]).collect(), !work.spent))
}

impl Plan {
    /// The plan of a day on which nothing can be set out for anybody: all wait with
    /// [`WaitReason::NothingPermitted`], proven, without a search.
    ///
    /// ```
    /// use lanewright_compute::lane_plan::{Plan, WaitReason};
    ///
    /// let plan = Plan::without_lanes([7, 8].into_iter());
    /// assert!(plan.lanes.is_empty() && plan.proven_optimal);
    /// assert_eq!(plan.waiting.iter().map(|one| one.athlete).collect::<Vec<_>>(), [7, 8]);
    /// assert!(plan.waiting.iter().all(|one| one.reason.code() == "nothing_permitted"));
    /// ```
    pub fn without_lanes(athletes: impl Iterator<Item = u128>) -> Self {
        let waiting = athletes.map(|athlete| Waiting { athlete, reason: WaitReason::NothingPermitted }).collect();
        Self {
            lanes: Vec::new(),
            waiting,
            short_of: None,
            stock_used: Vec::new(),
            total_regret: 0.0,
            largest_regret: 0.0,
            changed: None,
            lower_bound: 0.0,
            proven_optimal: true,
            nodes: 0,
        }
    }

    /// The plan of a day on which nobody finds a place: no lane stands, so none is new.
    fn nobody(problem: &Problem, waiting: Vec<Waiting>) -> Self {
        let changed = problem.last_time.as_ref().map(|_| 0);
        Self { waiting, changed, ..Self::without_lanes(std::iter::empty()) }
    }
}
