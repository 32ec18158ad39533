//! What of an athlete's runs counts as evidence, and for what.

use super::{EVIDENCE_DAYS, Record, RunRecord};
use crate::decision::{Configuration, Current, Evidence, Given, LatestSession, Policy, Word, rung};
use crate::units::{BarrierKind, Length};

/// Intervals that make a configuration the current one.
const CURRENT_INTERVALS: u32 = 6;

/// A word with what was run since, over its configuration or anything easier.
pub(super) fn given(word: Word, record: &Record, recent: &[&RunRecord], policy: &Policy) -> Given {
    // What was said before a report or restriction is over with it.
    let overtaken = word.overtaken || record.breaks.iter().any(|one| one.on >= word.on);
    let word = Word { overtaken, ..word };
    let since = |run: &&&RunRecord| run.day >= word.since && word.is_tried_by(run.configuration(), policy);
    let tried: Vec<&RunRecord> = recent.iter().filter(since).copied().collect();
    Given { word, tried: evidence(&tried) }
}

/// The runs that count as evidence on a day.
pub(crate) fn recent(runs: &[RunRecord], today: i32) -> Vec<&RunRecord> {
    let counts = |run: &&RunRecord| run.day <= today && today - run.day <= EVIDENCE_DAYS && run.intervals() > 0;
    runs.iter().filter(counts).collect()
}

/// The configuration run last, of those with at least six intervals; of several on one day the one with more intervals,
/// then the wider spacing.
pub(crate) fn current(recent: &[&RunRecord], policy: &Policy, height_cost: f64) -> Option<Current> {
    let sorted = by_configuration(recent);
    let there = sorted.chunk_by(alike).filter(|runs| is_current(runs)).max_by_key(|runs| {
        let last = runs.iter().map(|run| run.day).max();
        let of_last: u32 = runs.iter().filter(|run| Some(run.day) == last).map(|run| run.intervals()).sum();
        (last, of_last, runs.first().map(|run| run.spacing))
    })?;
    let configuration = there.first()?.configuration();
    Some(Current {
        configuration,
        evidence: evidence(there),
        also: also(recent, there, configuration, policy, height_cost),
    })
}

/// Whether these runs over one configuration make it a current one.
pub(super) fn is_current(runs: &[&RunRecord]) -> bool {
    runs.iter().map(|run| run.intervals()).sum::<u32>() >= CURRENT_INTERVALS
}

fn key(run: &RunRecord) -> (BarrierKind, Length, Length) {
    (run.barrier_kind, run.height, run.spacing)
}

/// Whether two runs are over one configuration.
#[allow(clippy::trivially_copy_pass_by_ref)] // what `chunk_by` asks for
pub(super) fn alike(a: &&RunRecord, b: &&RunRecord) -> bool {
    key(a) == key(b)
}

/// The runs with those over one configuration beside each other, in the order in which they came.
pub(super) fn by_configuration<'a>(recent: &[&'a RunRecord]) -> Vec<&'a RunRecord> {
    let mut sorted = recent.to_vec();
    sorted.sort_by_key(|run| key(run));
    sorted
}

/// Configurations with at least six intervals of which most were held.
pub(super) fn held(recent: &[&RunRecord]) -> Vec<Configuration> {
    let of = |runs: &[&RunRecord]| {
        let all = evidence(runs);
        let held = all.intervals() >= CURRENT_INTERVALS && all.held * 2 > all.intervals();
        runs.first().filter(|_| held).map(|run| run.configuration())
    };
    by_configuration(recent).chunk_by(alike).filter_map(of).collect()
}

/// What counts beside the runs at a configuration itself: runs over the same or a higher barrier of no softer a kind whose
/// demand, in metres of spacing over a wicket, is at most half a step less.
fn also(recent: &[&RunRecord], there: &[&RunRecord], at: Configuration, policy: &Policy, height_cost: f64) -> Evidence {
    let least = at.demand_m(height_cost) - policy.spacing_step.metres() / 2.0;
    let as_demanding = |run: &&&RunRecord| {
        run.configuration() != at
            && rung(run.barrier_kind) >= rung(at.barrier_kind)
            && run.height.mm() + policy.height_tolerance.mm() >= at.height.mm()
            && run.configuration().demand_m(height_cost) >= least
    };
    let runs: Vec<&RunRecord> = recent.iter().filter(as_demanding).copied().collect();
    let mut days: Vec<i32> = runs.iter().map(|run| run.day).collect();
    days.sort_unstable();
    days.dedup();
    days.retain(|day| there.iter().all(|run| run.day != *day));
    Evidence { days: u32::try_from(days.len()).unwrap_or(u32::MAX), ..evidence(&runs) }
}

pub(super) fn evidence(runs: &[&RunRecord]) -> Evidence {
    let sum = |pick: fn(&RunRecord) -> u16| runs.iter().map(|run| u32::from(pick(run))).sum();
    Evidence {
        held: sum(|run| run.held),
        over_reached: sum(|run| run.over_reached),
        crowded: sum(|run| run.crowded),
        broken: sum(|run| run.broken),
        days: days(runs),
        barriers: sum(|run| run.barriers),
        hits: sum(|run| run.hits),
    }
}

/// On how many days they were run. Records come by day as a rule; a forecast asks thousands of times.
fn days(runs: &[&RunRecord]) -> u32 {
    let count = |days: usize| u32::try_from(days).unwrap_or(u32::MAX);
    if runs.is_sorted_by_key(|run| run.day) {
        return count(runs.chunk_by(|a, b| a.day == b.day).count());
    }
    let mut days: Vec<i32> = runs.iter().map(|run| run.day).collect();
    days.sort_unstable();
    days.dedup();
    count(days.len())
}

/// The latest session up to a day.
pub(crate) fn latest(runs: &[RunRecord], today: i32) -> Option<LatestSession> {
    let on = runs.iter().map(|run| run.day).filter(|day| *day <= today).max()?;
    let runs: Vec<&RunRecord> = runs.iter().filter(|run| run.day == on).collect();
    let all = evidence(&runs);
    Some(LatestSession {
        on,
        held: all.held,
        intervals: all.intervals(),
        barriers: all.barriers,
        hits: all.hits,
        fell: runs.iter().any(|run| run.fell),
    })
}
