//! What the runs on file say of the last days: the latest session, and where a return stands.

use std::cmp::Reverse;

use super::{Record, RunRecord, evidence, held};
use crate::decision::{Back, Configuration, LatestSession, rung};
use crate::wellbeing::Since;

/// Where a return stands: sessions run since, and what was held last before it.
pub(super) fn way_back(record: &Record, back: Since, today: i32) -> Back {
    let mut days: Vec<i32> = record.runs.iter().filter(|run| run.intervals() > 0).map(|run| run.day).collect();
    days.retain(|day| (back.since..today).contains(day));
    days.sort_unstable();
    days.dedup();
    // A run on the day of the report was run before anybody knew; one against a standing report or restriction was not.
    let rested = |day: i32| record.breaks.iter().any(|one| one.stands(day) && one.on < day);
    let before: Vec<&RunRecord> = record.runs.iter().filter(|run| run.day < back.since && !rested(run.day)).collect();
    Back {
        sessions: u32::try_from(days.len()).unwrap_or(u32::MAX),
        confirmed: back.confirmed,
        last_held: last_held(&before),
    }
}

/// The configuration held last: of those with at least six intervals, most of them held, the one run last; of several run
/// last on one day the closest and lowest.
fn last_held(runs: &[&RunRecord]) -> Option<Configuration> {
    let held = held(runs);
    let last_run = |at: &Configuration| runs.iter().filter(|run| run.configuration() == *at).map(|run| run.day).max();
    held.into_iter().max_by_key(|at| (last_run(at), Reverse((rung(at.barrier_kind), at.height, at.spacing))))
}

/// The latest session in which the athlete ran.
pub(super) fn latest(record: &Record, today: i32) -> Option<LatestSession> {
    let on = record.runs.iter().map(|run| run.day).filter(|day| *day <= today).max()?;
    let runs: Vec<&RunRecord> = record.runs.iter().filter(|run| run.day == on).collect();
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
