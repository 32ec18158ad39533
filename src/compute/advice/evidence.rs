//! What of an athlete's runs counts as evidence, and for what.
//!
//! Advice turns on three questions about runs, and each reads others of them:
//!
//! | question | runs read | answer |
//! | --- | --- | --- |
//! | where does the athlete train now | of the last 56 days, since a return | [`current`]: the configuration run last, of those with six intervals |
//! | what counts for a step from there | the same, at least as demanding | [`also`] |
//! | how wide may an easier lane be | the same | [`held`]: configurations with six intervals, more than half of them held |
//! | did the last session go wrong | all of the last day with a run | [`latest`] |
//! | does a coach's word still stand | since the word, no harder than it | [`given`] |
//!
//! # What counts elsewhere
//! An athlete whom a lane plan gives another lane every week would never gather twelve intervals at one configuration, so what is at least as
//! demanding counts as well. With the demand `e = s + g max(0, h - 0.30 m)` of [`Configuration::demand_m`] and the club's step q,
//!
//! ```text
//! a run over (kind', h', s') counts for (kind, h, s) when
//!   rung(kind') >= rung(kind),   h' >= h (within the tolerance),   e' >= e - q / 2
//! ```
//!
//! Half a step is half of what a club can tell apart on the ground. A harder barrier at a closer spacing counts, a softer or lower one at a
//! wider spacing does not, however demanding: clearing a height is learned at that height.
//!
//! # Example
//! For low barriers of 0.50 m, 6.50 m apart, with g = 1.0 and q = 0.25 m, the demand is 6.50 + 0.20 = 6.70 m and what counts begins at
//! 6.575 m. Low barriers of 0.60 m, 6.30 m apart, demand 6.60 m and count; 6.25 m apart they demand 6.55 m and do not. Foam of 0.50 m, 6.50 m
//! apart, counts (one rung); wickets do not, however far apart. The same by wickets, where height costs nothing:
//!
//! ```
//! use lanewright_compute::advice::{Record, RunRecord, Setting, advise};
//! use lanewright_compute::day::Day;
//! use lanewright_compute::decision::{Clearance, Missing, Policy, Ratings, Status};
//! use lanewright_compute::prior::{Experience, PriorPolicy};
//! use lanewright_compute::specs::Birth;
//! use lanewright_compute::units::{BarrierKind, Length, Sex};
//!
//! let on = Day::from_ymd(2026, 11, 25).unwrap();
//! let run = |ago, spacing_mm, held| RunRecord {
//!     day: on.days() - ago, barrier_kind: BarrierKind::Wicket, height: Length::from_mm(300),
//!     spacing: Length::from_mm(spacing_mm), barriers: held + 1, held,
//!     over_reached: 0, crowded: 0, broken: 0, hits: 0, fell: false,
//! };
//! let needs = |runs| {
//!     let record = Record {
//!         sex: Sex::Male, birth: Birth::Year(2012), experience: Experience::Novice,
//!         stature_m: Some(1.60), leg_length_m: None, sprint_30m_s: None, sprint_50m_s: None, approach_strides: None,
//!         status: Status::Active, breaks: Vec::new(), surface: None, ratings: Ratings::default(),
//!         clearance: Clearance::NotNeeded, word: None, runs,
//!     };
//!     let (policy, start) = (Policy::default(), PriorPolicy::default());
//!     let (specs, age_groups, stock) = (Vec::new(), Vec::new(), Vec::new());
//!     let setting = Setting { ruleset: "UKA".to_owned(), specs, age_groups, stock, policy, start };
//!     let decision = advise(&record, &setting, on).unwrap().decision;
//!     let intervals = decision.missing.iter().find_map(|one| match *one {
//!         Missing::Intervals { count } => Some(count),
//!         _ => None,
//!     });
//!     (decision.current.map(|at| at.spacing.mm()), intervals)
//! };
//! assert_eq!(needs(vec![run(3, 6_000, 5)]), (None, Some(12)), "five intervals are no current configuration");
//! assert_eq!(needs(vec![run(3, 6_000, 6)]), (Some(6_000), Some(6)));
//! assert_eq!(needs(vec![run(5, 5_880, 4), run(3, 6_000, 6)]), (Some(6_000), Some(2)), "0.12 m easier counts");
//! assert_eq!(needs(vec![run(5, 5_870, 4), run(3, 6_000, 6)]), (Some(6_000), Some(6)), "0.13 m easier does not");
//! assert_eq!(needs(vec![run(57, 6_000, 9), run(3, 6_000, 6)]), (Some(6_000), Some(6)), "eight weeks and a day");
//! ```
//!
//! # Where it is asked
//! By [`super::advise_from`] for the day asked, and by the futures of [`crate::progress`], whose runs are drawn by lot, thousands of
//! times: what a forecast takes for evidence is what a decision will.
//!
//! # Source
//! Design choices; the numbers they are held against are those of [`Policy`].

use super::{EVIDENCE_DAYS, Record, RunRecord};
use crate::decision::{Configuration, Current, Evidence, Given, LatestSession, Policy, Word, rung};
use crate::units::{BarrierKind, Length};

/// Intervals that make a configuration the current one, all days together.
const CURRENT_INTERVALS: u32 = 6;

/// A word with what was run since, over its configuration or anything easier. A report or a restriction that began on its day or later
/// overtakes it, whether or not it still stands; a fall does so before it comes here.
pub(super) fn given(word: Word, record: &Record, recent: &[&RunRecord], policy: &Policy) -> Given {
    // What was said before a report or restriction is over with it.
    let overtaken = word.overtaken || record.breaks.iter().any(|one| one.on >= word.on);
    Given { word: Word { overtaken, ..word }, tried: tried(&word, recent, policy) }
}

/// What was run since a word over its configuration or anything easier.
pub(crate) fn tried(word: &Word, recent: &[&RunRecord], policy: &Policy) -> Evidence {
    let since = |run: &&&RunRecord| run.day >= word.since && word.is_tried_by(run.configuration(), policy);
    let tried: Vec<&RunRecord> = recent.iter().filter(since).copied().collect();
    evidence(&tried)
}

/// The runs that count as evidence on a day (days since 1970-01-01): from [`EVIDENCE_DAYS`] before it to the day itself, with an interval at
/// least. In the order of the record; what was run before a return is left out by the caller.
pub(crate) fn recent(runs: &[RunRecord], today: i32) -> Vec<&RunRecord> {
    let counts = |run: &&RunRecord| run.day <= today && today - run.day <= EVIDENCE_DAYS && run.intervals() > 0;
    runs.iter().filter(counts).collect()
}

/// The configuration run last, of those with at least six intervals; of several on one day the one with more intervals that day,
/// then the wider spacing; none before six at any. `recent` as [`recent`] gives it; `height_cost` in metres of spacing per metre of height.
///
/// Not the one with most intervals: where an athlete trains is where they were last, and last week's lane is history. Six intervals need not
/// be of the last day, so that one short run elsewhere does not move anybody.
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

/// What makes runs those over one configuration; exact to the millimetre, as a plan wrote them.
fn key(run: &RunRecord) -> (BarrierKind, Length, Length) {
    (run.barrier_kind, run.height, run.spacing)
}

/// Whether two runs are over one configuration.
#[allow(clippy::trivially_copy_pass_by_ref)] // what `chunk_by` asks for
pub(super) fn alike(a: &&RunRecord, b: &&RunRecord) -> bool {
    key(a) == key(b)
}

/// The runs sorted by kind, height and spacing, so that those over one configuration stand beside each other, in the order in which they
/// came.
pub(super) fn by_configuration<'a>(recent: &[&'a RunRecord]) -> Vec<&'a RunRecord> {
    let mut sorted = recent.to_vec();
    sorted.sort_by_key(|run| key(run));
    sorted
}

/// Configurations with at least six intervals of which most were held, by kind, height and spacing. Half is not most.
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
///
/// Its days are those without a run at the configuration, so that the sum of both counts no day twice.
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

/// The counts of some runs together, over whatever configurations; zeros for none.
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

/// The latest session up to a day: everything run on the last day with a record, over all configurations and without the window, walkovers
/// and single barriers too, since one can fall there. None before the first run. Two sessions of one day are one here.
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
