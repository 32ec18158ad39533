//! The comfortable limit of one athlete: what their runs say about the spacing at which the rhythm just holds.
//!
//! Latent state: limit `c` (m, over a wicket of 0.30 m), height cost `g` (m of spacing per m of barrier height), width
//! `w` (m, how sharply the rhythm breaks) and trend `d` (m per week). An interval at spacing `s` and height `h` is
//! over-reached with logistic((s - C(h)) / w), crowded with logistic((C(h) - B - s) / w), else held, where
//! C(h) = c - g * max(0, h - 0.30). Inference is exact filtering on a fixed grid, without sampling: the same runs give
//! the same answer on every machine.
//!
//! # Example
//! ```
//! use lanewright_compute::estimate::{RunCounts, Settings, estimate};
//! use lanewright_compute::prior::{Experience, PriorInputs, PriorPolicy, predict};
//! use lanewright_compute::units::{Length, Sex};
//!
//! let inputs = PriorInputs { stature_m: Some(1.50), ..PriorInputs::unknown(Sex::Female, Experience::Novice) };
//! let prior = predict(&inputs, &PriorPolicy::default())?;
//! let wicket = Length::from_mm(300);
//! let run = |spacing_mm, held, over_reached| RunCounts {
//!     day: 20_000,
//!     height: wicket,
//!     spacing: Length::from_mm(spacing_mm),
//!     held,
//!     over_reached,
//!     crowded: 0,
//!     broken: 0,
//! };
//! let runs = [run(6_000, 4, 0), run(6_500, 3, 1), run(7_000, 0, 4)];
//! let estimate = estimate(&prior, &runs, 20_003, &Settings::default())?;
//! assert!((6.3..6.9).contains(&estimate.limit_m.mean));
//! assert!(estimate.hold(wicket, Length::from_mm(6_000)).mean > 0.8);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use thiserror::Error;

use super::prior::Prior;
use super::units::Length;

mod draws;
mod drift;
mod grid;
mod kept;
mod likelihood;
mod outcome;
mod posterior;
mod series;
mod settings;
mod summary;
mod window;

pub use draws::{Moments, State};
pub use kept::{Kept, estimate_keeping};
pub use outcome::{Chances, chances};
pub use posterior::Posterior;
pub use series::{Believed, Series, series};
pub use settings::Settings;
pub use summary::{Dominance, Estimate, Hold, HoldAt, Spread};

/// Shortest spacing that an estimate accepts.
pub const SPACING_MIN: Length = Length::from_mm(2_000);
/// Longest spacing that an estimate accepts.
pub const SPACING_MAX: Length = Length::from_mm(15_000);
/// Highest barrier that an estimate accepts.
pub const HEIGHT_MAX: Length = Length::from_mm(1_500);
/// Most intervals of one run.
pub const INTERVALS_MAX: u32 = 100;
/// Most runs of one estimate.
pub const RUNS_MAX: usize = 50_000;
/// Longest time from the first run to the day of the estimate, days: 20 years.
pub const DAYS_MAX: i32 = 7_305;

/// What one run showed, counted over its intervals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RunCounts {
    /// Day of the run, days since 1970-01-01.
    pub day: i32,
    /// Height of the barriers, at most [`HEIGHT_MAX`].
    pub height: Length,
    /// Spacing of the barriers, [`SPACING_MIN`] to [`SPACING_MAX`].
    pub spacing: Length,
    /// Intervals with the rhythm kept.
    pub held: u16,
    /// Intervals whose spacing was too long.
    pub over_reached: u16,
    /// Intervals whose spacing was too short.
    pub crowded: u16,
    /// Intervals broken for an unrecorded cause.
    pub broken: u16,
}

impl RunCounts {
    /// Intervals of the run.
    pub fn intervals(&self) -> u32 {
        u32::from(self.held) + u32::from(self.over_reached) + u32::from(self.crowded) + u32::from(self.broken)
    }

    fn check(&self) -> Result<(), EstimateError> {
        if !(SPACING_MIN..=SPACING_MAX).contains(&self.spacing) {
            return Err(EstimateError::Spacing(self.spacing));
        }
        if self.height > HEIGHT_MAX {
            return Err(EstimateError::Height(self.height));
        }
        if !(1..=INTERVALS_MAX).contains(&self.intervals()) {
            return Err(EstimateError::Intervals(self.intervals()));
        }
        Ok(())
    }
}

/// How much an estimate has seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Runs.
    pub runs: u32,
    /// Intervals of these runs.
    pub intervals: u32,
    /// Days with runs.
    pub days: u32,
    /// The last of these days, days since 1970-01-01.
    pub last_day: Option<i32>,
}

/// Why there is no estimate.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum EstimateError {
    /// The prior's mean is outside 3.5 to 10 m or its spread outside 0.2 to 3 m.
    #[error("the prior must have a mean from 3.5 to 10 metres and a spread from 0.2 to 3 metres")]
    Prior,
    /// A constant of the model, by its name in [`Settings`], is outside its range.
    #[error("setting {0} is outside its range")]
    Setting(&'static str),
    /// A run's spacing is not possible.
    #[error("a spacing must be from 2 to 15 metres, not {}", .0.metres())]
    Spacing(Length),
    /// A run's height is not possible.
    #[error("a barrier must be at most 1.5 metres high, not {}", .0.metres())]
    Height(Length),
    /// A run has no interval or too many.
    #[error("a run must have from 1 to 100 intervals, not {0}")]
    Intervals(u32),
    /// Too many runs for one estimate.
    #[error("an estimate takes at most 50 000 runs, not {0}")]
    TooManyRuns(usize),
    /// The runs began too long before the day of the estimate.
    #[error("the first run must be at most 20 years before the day of the estimate")]
    TooLong,
    /// A run or a day lies before what the posterior already knows.
    #[error("day {day} is before day {known}, which is already known")]
    Earlier {
        /// The day that was asked for, days since 1970-01-01.
        day: i32,
        /// The day up to which the posterior knows, days since 1970-01-01.
        known: i32,
    },
}

/// Estimates the limit of an athlete on a day (days since 1970-01-01) from their runs, in any order.
///
/// Runs after `on_day` are left out: on that day they were not known. The estimate's evidence says what was used.
///
/// # Errors
/// [`EstimateError`] when the prior, a setting or a run is impossible, or there are too many.
///
/// # Source
/// Forward filtering of a hidden Markov model (L. R. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77,
/// 1989); ordered outcomes: see [`chances`]; design effect of a run: L. Kish, *Survey Sampling*, 1965.
pub fn estimate(
    prior: &Prior,
    runs: &[RunCounts],
    on_day: i32,
    settings: &Settings,
) -> Result<Estimate, EstimateError> {
    let mut known: Vec<RunCounts> = runs.iter().filter(|run| run.day <= on_day).copied().collect();
    known.sort_unstable();
    let windowed = filter(Posterior::new(prior, settings)?, &known, on_day)?;
    if windowed.left_out() <= posterior::LEFT_OUT_MAX {
        return Ok(windowed.summary());
    }
    Ok(filter(Posterior::whole(prior, settings)?, &known, on_day)?.summary())
}

fn filter(mut posterior: Posterior, runs: &[RunCounts], on_day: i32) -> Result<Posterior, EstimateError> {
    posterior.learn(runs)?;
    posterior.advance(on_day)?;
    Ok(posterior)
}
