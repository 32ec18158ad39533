//! What was run, day by day.
//!
//! A day is the unit of everything in this module: the estimate moves by days, slopes run over days, habits are gaps
//! between days. Two sessions on one day are one training day.
//!
//! Worked: on one day two runs of four intervals at 6.00 m and one of four at 6.25 m, all over wickets: main
//! configuration 6.00 m (eight intervals), widest 6.25 m, load 3 runs and 12 intervals.

use std::collections::BTreeMap;
use std::iter::Sum;
use std::ops::Add;

use crate::advice::RunRecord;
use crate::decision::Configuration;
use crate::units::{BarrierKind, Length};

/// How much was run, and what became of it (counts).
///
/// Sums without weights; `held <= intervals`. Additive: [`Add`] and [`Sum`] give the load of days, athletes and
/// squads.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Load {
    /// Runs.
    pub runs: u32,
    /// Intervals.
    pub intervals: u32,
    /// Intervals in which the rhythm held.
    pub held: u32,
    /// Barriers run over.
    ///
    /// One more than intervals in a run that was finished; barrier contacts in the sense of load, hit or not.
    pub barriers: u32,
    /// Barriers hit.
    pub hits: u32,
    /// Runs in which the athlete went down.
    ///
    /// A run counts once.
    pub falls: u32,
}

impl Load {
    /// Intervals are those with an outcome on file.
    fn of(run: &RunRecord) -> Self {
        Self {
            runs: 1,
            intervals: run.intervals(),
            held: u32::from(run.held),
            barriers: u32::from(run.barriers),
            hits: u32::from(run.hits),
            falls: u32::from(run.fell),
        }
    }

    /// Share of intervals held, 0 to 1; none without an interval.
    ///
    /// Broken, over-reached and crowded ones all count as not held.
    pub fn held_share(&self) -> Option<f64> {
        (self.intervals > 0).then(|| f64::from(self.held) / f64::from(self.intervals))
    }

    /// Barriers hit of a hundred run over; none without a barrier.
    ///
    /// From 0 to 100, unless more hits than barriers were entered.
    pub fn hits_per_100_barriers(&self) -> Option<f64> {
        (self.barriers > 0).then(|| 100.0 * f64::from(self.hits) / f64::from(self.barriers))
    }
}

impl Add for Load {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            runs: self.runs + other.runs,
            intervals: self.intervals + other.intervals,
            held: self.held + other.held,
            barriers: self.barriers + other.barriers,
            hits: self.hits + other.hits,
            falls: self.falls + other.falls,
        }
    }
}

impl Sum for Load {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::default(), Add::add)
    }
}

/// What one athlete ran on one day.
///
/// At least one run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TrainingDay {
    /// The day, days since 1970-01-01.
    pub day: i32,
    /// What was run over most: most intervals, then most runs, then the wider spacing, then the higher barrier.
    pub main: Configuration,
    /// The widest spacing of the day.
    pub widest: Length,
    /// Everything run.
    pub load: Load,
}

/// The days with runs between two days (days since 1970-01-01, both included), earliest first; runs in any order.
///
/// Days without runs have no entry. n log n in the runs.
///
/// ```
/// use lanewright_compute::progress::training_days;
///
/// assert!(training_days(&[], 20_000, 20_100).is_empty());
/// ```
pub fn training_days(runs: &[RunRecord], from: i32, to: i32) -> Vec<TrainingDay> {
    let mut by_day: BTreeMap<i32, Vec<&RunRecord>> = BTreeMap::new();
    for run in runs.iter().filter(|run| (from..=to).contains(&run.day)) {
        by_day.entry(run.day).or_default().push(run);
    }
    by_day.into_iter().filter_map(|(day, runs)| of_day(day, &runs)).collect()
}

/// None without runs.
fn of_day(day: i32, runs: &[&RunRecord]) -> Option<TrainingDay> {
    let mut by_configuration: BTreeMap<(Length, Length, BarrierKind), Load> = BTreeMap::new();
    for run in runs {
        let load = by_configuration.entry((run.spacing, run.height, run.barrier_kind)).or_default();
        *load = *load + Load::of(run);
    }
    let load = by_configuration.values().copied().sum();
    let widest = by_configuration.keys().last()?.0;
    let ((spacing, height, barrier_kind), _) =
        by_configuration.into_iter().max_by_key(|(key, load)| (load.intervals, load.runs, *key))?;
    Some(TrainingDay { day, main: Configuration { barrier_kind, height, spacing }, widest, load })
}
