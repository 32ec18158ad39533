//! An estimate that goes on from the last one when only newer runs came in.
//!
//! The same athlete is asked about again and again, mostly with nothing new or with one more session. The belief after
//! the last run's day is kept, and only newer days are filtered. Bit for bit equality with a fresh estimate is
//! demanded and tested: both do the same operations in the same order, since the fresh one also passes through that
//! state.
//!
//! | what changed | what is done |
//! | --- | --- |
//! | nothing, same day | the kept answer, no computation |
//! | nothing, another day | one drift from the kept belief, one summary |
//! | runs of later days came in | their updates, one drift, one summary |
//! | a run of an old day was added, changed or removed; another prior or setting | everything anew |
//! | a run more on the last day kept | everything anew: a day is one update |

use super::posterior::{LEFT_OUT_MAX, Posterior};
use super::{Estimate, EstimateError, RunCounts, Settings, estimate};
use crate::prior::Prior;

/// What was believed about an athlete after all runs known so far, to be kept between estimates (about 300 KB).
///
/// Valid for one athlete only; it recognises another by prior and runs, not by name. The list of runs is kept whole to
/// be compared, 20 bytes for each.
#[derive(Clone, Debug)]
pub struct Kept {
    prior: Prior,
    /// Ascending.
    runs: Vec<RunCounts>,
    /// After the day of the last run, before any time has passed since.
    posterior: Posterior,
    /// The day of the last estimate, and what it said.
    last: (i32, Estimate),
}

impl Kept {
    /// What it weighs, bytes, but for some hundred.
    ///
    /// For the budget of what is kept in memory.
    pub fn bytes(&self) -> usize {
        size_of_val(&self.runs[..]) + self.posterior.bytes() + self.last.1.bytes()
    }

    /// The last estimate, when nothing was learned since.
    ///
    /// Compared by value: prior, settings, day and every run.
    fn again(&self, prior: &Prior, runs: &[RunCounts], on_day: i32, settings: &Settings) -> Option<Estimate> {
        let same =
            self.last.0 == on_day && self.prior == *prior && self.posterior.settings() == settings && self.runs == runs;
        same.then(|| self.last.1.clone())
    }

    /// Whether an estimate from this prior and these runs (ascending) may go on from here: the runs known are the same, and
    /// the others are of later days.
    ///
    /// Also true for no newer run at all. False where the next run falls on the last day kept.
    fn leads_to(&self, prior: &Prior, runs: &[RunCounts], settings: &Settings) -> bool {
        let newer = self.runs.len();
        self.prior == *prior
            && self.posterior.settings() == settings
            && runs.get(..newer) == Some(&self.runs[..])
            && runs.get(newer).is_none_or(|next| self.runs.last().is_none_or(|last| last.day < next.day))
    }
}

/// The same as [`estimate`], bit for bit, in less time when `kept` comes from an estimate whose runs are all among these and
/// older than the others. Leaves what the next estimate can go on from in `kept`.
///
/// A history whose windows left out too much is answered by the full grid and not kept, so the next call does it
/// again.
///
/// # Errors
/// As [`estimate`]; `kept` is empty then.
///
/// # Example
/// ```
/// use lanewright_compute::estimate::{Settings, estimate, estimate_keeping};
/// use lanewright_compute::prior::{Experience, PriorInputs, PriorPolicy, predict};
/// use lanewright_compute::units::Sex;
///
/// let prior = predict(&PriorInputs::unknown(Sex::Male, Experience::Novice), &PriorPolicy::default())?;
/// let mut kept = None;
/// let first = estimate_keeping(&mut kept, &prior, &[], 20_000, &Settings::default())?;
/// assert_eq!(first.limit_m, estimate(&prior, &[], 20_000, &Settings::default())?.limit_m);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn estimate_keeping(
    kept: &mut Option<Kept>,
    prior: &Prior,
    runs: &[RunCounts],
    on_day: i32,
    settings: &Settings,
) -> Result<Estimate, EstimateError> {
    let mut known: Vec<RunCounts> = runs.iter().filter(|run| run.day <= on_day).copied().collect();
    known.sort_unstable();
    if let Some(again) = kept.as_ref().and_then(|kept| kept.again(prior, &known, on_day, settings)) {
        return Ok(again);
    }
    let (from, mut posterior) = match kept.take().filter(|kept| kept.leads_to(prior, &known, settings)) {
        Some(kept) => (kept.runs.len(), kept.posterior),
        None => (0, Posterior::new(prior, settings)?),
    };
    posterior.learn(&known[from..])?;
    let mut today = posterior.clone();
    today.advance(on_day)?;
    if today.left_out() > LEFT_OUT_MAX {
        // Runs that contradict all that was believed: the whole grid, from the beginning.
        return estimate(prior, &known, on_day, settings);
    }
    let summary = today.summary();
    *kept = Some(Kept { prior: *prior, runs: known, posterior, last: (on_day, summary.clone()) });
    Ok(summary)
}
