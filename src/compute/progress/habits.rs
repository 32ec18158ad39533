//! How an athlete trains: how many days apart, how much on a day, how often something goes wrong.
//!
//! A forecast needs to know what the next weeks will be like, and the best guess is the last eight: how many days
//! apart, how many runs and intervals, how often a fall or a hit. Gaps and doses are kept as lists to draw from, so an
//! irregular athlete stays irregular.
//!
//! Rates that are rare are drawn towards what is usual, (seen + a) / (of + b):
//!
//! | seen | fall in a session | barrier hit |
//! | --- | --- | --- |
//! | nothing yet | 0.4 / 20 = 0.020 | 2 / 100 = 0.020 |
//! | 16 sessions, no fall; 320 barriers, 4 hits | 0.4 / 36 = 0.011 | 6 / 420 = 0.014 |
//! | 16 sessions, 2 falls; 320 barriers, 40 hits | 2.4 / 36 = 0.067 | 42 / 420 = 0.100 |
//!
//! Gaps above two weeks are holidays and no habit; with fewer than two gaps a session a week is assumed.

use std::collections::BTreeMap;

use super::days::training_days;
use crate::advice::{EVIDENCE_DAYS, RunRecord};
use crate::decision::Configuration;

/// Days between sessions where too little is on file to say: a session a week (design choice).
const USUAL_GAP: i32 = 7;
/// The longest time between sessions that counts as a habit, days; a longer one is a holiday (design choice).
const GAP_MOST: i32 = 14;
/// Sessions on file from which the days between them are believed.
const GAPS_LEAST: usize = 2;
/// Runs, intervals of each, where nothing is on file (common practice, no source).
///
/// Four runs of four intervals: five barriers each.
const USUAL_DOSE: Dose = Dose { runs: 4, intervals: 16 };
/// A fall in fifty sessions is assumed before any session is seen, and weighs as much as twenty sessions (design choice).
///
/// Falls and sessions added to those seen.
const FALLS_BEFORE: (f64, f64) = (0.4, 20.0);
/// Two barriers hit in a hundred are assumed before any is seen, and weigh as much as a hundred (design choice).
///
/// Hits and barriers added to those seen.
const HITS_BEFORE: (f64, f64) = (2.0, 100.0);

/// What is run in a session at one configuration.
///
/// Both above nought. Intervals are the sum over the runs of the day's main configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Dose {
    pub runs: u16,
    pub intervals: u16,
}

/// How an athlete trained lately.
///
/// Of the 56 days up to the day of the forecast, both included.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Habits {
    /// Days from a session to the next; never empty.
    ///
    /// Each from 1 to 14.
    pub gaps: Vec<i32>,
    /// What is run in a session; never empty.
    pub doses: Vec<Dose>,
    /// The last training day, days since 1970-01-01.
    pub last: Option<i32>,
    /// The probability of a fall in a session.
    ///
    /// Per training day, 0 to 1.
    pub fall: f64,
    /// The probability that a barrier is hit.
    ///
    /// Per barrier, 0 to 1.
    pub hit: f64,
    /// What was run, one record for each day and configuration.
    ///
    /// With which the rules begin in every future.
    pub runs: Vec<RunRecord>,
}

impl Habits {
    /// The habits seen in the weeks whose runs are evidence on a day.
    ///
    /// A day whose main configuration has no interval on file (walkovers) gives a gap but no dose.
    pub fn of(runs: &[RunRecord], today: i32) -> Self {
        let days = training_days(runs, today - EVIDENCE_DAYS, today);
        let apart: Vec<i32> =
            days.windows(2).map(|pair| pair[1].day - pair[0].day).filter(|gap| *gap <= GAP_MOST).collect();
        let runs = summed(runs, today);
        let dose = |day: i32, main: Configuration| {
            let there = runs.iter().find(|run| run.0.day == day && run.0.configuration() == main)?;
            let intervals = u16::try_from(there.0.intervals()).ok()?;
            (intervals > 0).then_some(Dose { runs: there.1, intervals })
        };
        let mut doses: Vec<Dose> = days.iter().filter_map(|day| dose(day.day, day.main)).collect();
        if doses.is_empty() {
            doses.push(USUAL_DOSE);
        }
        let falls = days.iter().filter(|day| day.load.falls > 0).count();
        let (hits, barriers) = days.iter().fold((0, 0), |sum, day| (sum.0 + day.load.hits, sum.1 + day.load.barriers));
        #[allow(clippy::cast_precision_loss)] // at most 57 days
        let share = |seen: usize, of: usize, before: (f64, f64)| (seen as f64 + before.0) / (of as f64 + before.1);
        Self {
            gaps: if apart.len() < GAPS_LEAST { vec![USUAL_GAP] } else { apart },
            doses,
            last: days.last().map(|day| day.day),
            fall: share(falls, days.len(), FALLS_BEFORE),
            hit: share(hits as usize, barriers as usize, HITS_BEFORE),
            runs: runs.into_iter().map(|(run, _)| run).collect(),
        }
    }
}

/// The runs of each day and configuration as one, with their number; earliest first.
///
/// The record's `fell` says whether any of them fell; counts stop at what a field can hold.
fn summed(runs: &[RunRecord], today: i32) -> Vec<(RunRecord, u16)> {
    let mut found: BTreeMap<_, (RunRecord, u16)> = BTreeMap::new();
    for run in runs.iter().filter(|run| (today - EVIDENCE_DAYS..=today).contains(&run.day)) {
        let key = (run.day, run.barrier_kind, run.height, run.spacing);
        found
            .entry(key)
            .and_modify(|(sum, count)| {
                sum.barriers = sum.barriers.saturating_add(run.barriers);
                sum.held = sum.held.saturating_add(run.held);
                sum.over_reached = sum.over_reached.saturating_add(run.over_reached);
                sum.crowded = sum.crowded.saturating_add(run.crowded);
                sum.broken = sum.broken.saturating_add(run.broken);
                sum.hits = sum.hits.saturating_add(run.hits);
                sum.fell |= run.fell;
                *count += 1;
            })
            .or_insert((*run, 1));
    }
    found.into_values().collect()
}
