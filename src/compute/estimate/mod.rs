//! The comfortable limit of one athlete: what their runs say about the spacing at which the rhythm just holds.
//!
//! Latent state: limit `c` (m, over a wicket of 0.30 m), height cost `g` (m of spacing per m of barrier height), width
//! `w` (m, how sharply the rhythm breaks) and trend `d` (m per week). An interval at spacing `s` and height `h` is
//! over-reached with logistic((s - C(h)) / w), crowded with logistic((C(h) - B - s) / w), else held, where
//! C(h) = c - g * max(0, h - 0.30). Inference is exact filtering on a fixed grid, without sampling: the same runs give
//! the same answer on every machine.
//!
//! # Problem
//!
//! A coach sets barriers at a spacing and sees, interval by interval, whether the three-stride rhythm is held,
//! over-reached (too long, a fourth step or a reach) or crowded (too short). The question is at which spacing this
//! athlete would hold it with which probability, over each height, today, and how sure that is after so few and so
//! clustered looks.
//!
//! # Model
//!
//! | part | formula | default | where |
//! | --- | --- | --- | --- |
//! | outcome of an interval | ordered logistic in the distance beyond the limit | band B 1.6 m, lapse 0.02 | [`chances`] |
//! | intervals of one run | log-likelihood times 1 / (1 + (n - 1) icc) | icc 0.5 | [`Settings::icc`] |
//! | prior of the limit | Normal from body, sprint, age or group | - | [`crate::prior`] |
//! | priors of g, ln w, d | Normal(1.0, 0.5), Normal(ln 0.22, 0.3), Normal(0.045, 0.05), cut to the grid | - | [`Settings`] |
//! | between days | c moves by Normal(d t, q t), t in weeks | q 0.002 m² a week | [`Settings::drift_m2`] |
//!
//! Hits and falls do not enter: they say how a barrier was cleared, not whether the spacing fits, and the rules of
//! [`crate::decision`] read them beside the estimate.
//!
//! # Algorithm
//!
//! The state space is a grid of 131 limits (3.50 to 10.00 m by 0.05 m), 7 height costs, 4 widths and 5 trends: 18 340
//! probabilities. A day with runs multiplies each by its likelihood and brings the sum back to one; days between move
//! the limit by a three-point kernel of the right mean and variance. Most cells hold next to nothing after a few runs,
//! so each pair of height cost and width keeps a moving window of limits; what the cells outside could hold is bounded
//! at every step, and a bound above 1e-9 makes the whole history be filtered once more on the full grid.
//!
//! # Cost and accuracy
//!
//! - Time grows with the days that have runs times the cells kept; runs of one day at one configuration are summed
//!   first. The demand that the benchmark `estimate_figures` measures: 60 athletes of 120 sessions in less than 120 ms
//!   on one core.
//! - Halving every step of the grid moves the mean limit by less than 0.01 m (`tests/compute/estimate_laws.rs`).
//! - Likelihoods and posteriors equal those of an independent program on scipy (`tests/compute/estimate_oracle.rs`).
//! - 90 % intervals of the limit hold the truth of simulated athletes, who are not the model, in 0.88 to 0.97 of cases
//!   (`tests/compute/calibration.rs`).
//!
//! # Assumed
//!
//! Outcomes are recorded as seen, but for the lapse. Days are independent given the state. The limit changes smoothly:
//! a growth spurt or a lay-off shows as a few surprising sessions. Height acts in a straight line above 0.30 m and not
//! at all below. Fatigue inside a session, wind and surface are not modelled; they widen what is seen and so the
//! width.
//!
//! # Used from
//!
//! [`crate::advice`] for the decision, [`crate::board`] for what was known on earlier days, [`crate::progress`] for
//! the daily series and the forecast, [`crate::race`] for the chance of a whole race, lane plans through the advice.
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
//!
//! # Worked
//!
//! The example's prior is Normal(6.975, 0.450). The twelve intervals weigh as 4.8 (each run of four counts for 4 / 2.5
//! = 1.6), and leave the limit at 6.719 m (90 %: 6.339 to 7.109) with 27 % of the prior's variance. Three days on, the
//! trend has moved it to 6.735 m. P(hold) over wickets is then 0.785 at 5.50 m, 0.897 at 6.00 m, 0.841 at 6.25 m,
//! 0.696 at 6.50 m and 0.264 at 7.00 m: too short costs the rhythm as well as too long.
//!
//! # Source
//!
//! Design choices unless a line names its source. Ordered outcomes: P. McCullagh, 1980; lapses: F. A. Wichmann, N. J.
//! Hill, 2001; design effect: L. Kish, 1965; filtering: L. R. Rabiner, 1989. Full titles stand beside the functions.

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
///
/// Two metres is below any gap that still holds three strides: runs closer than that, such as walkovers, are left out
/// by [`crate::advice`] before they come here. It bounds the lattice of distances. Design choice.
pub const SPACING_MIN: Length = Length::from_mm(2_000);
/// Longest spacing that an estimate accepts.
///
/// Well beyond the 10 m up to which a race counts as a sprint race ([`crate::specs::Spec::is_sprint`]); wider runs say
/// nothing about three strides and are left out by [`crate::advice`]. Design choice.
pub const SPACING_MAX: Length = Length::from_mm(15_000);
/// Highest barrier that an estimate accepts.
///
/// The highest hurdle of any rule set on file is 1.067 m; it bounds the lattice of distances. Design choice.
pub const HEIGHT_MAX: Length = Length::from_mm(1_500);
/// Most intervals of one run.
///
/// A lane of 20 barriers has 19. Design choice: an outer wall and not a limit of training.
pub const INTERVALS_MAX: u32 = 100;
/// Most runs of one estimate.
///
/// Twenty years of seven runs a day. Bounds the work of one request. Design choice.
pub const RUNS_MAX: usize = 50_000;
/// Longest time from the first run to the day of the estimate, days: 20 years.
///
/// 7 305 = 20 x 365.25. Bounds the drift steps of one gap and keeps day arithmetic far from overflow.
pub const DAYS_MAX: i32 = 7_305;

/// What one run showed, counted over its intervals.
///
/// Ordered by day, then height, spacing and counts, so that a sorted list brings the runs of one day at one
/// configuration together; they may then be summed. Barrier kind does not enter: a wicket and a hurdle of one height
/// count alike. The sum of the four counts must lie from 1 to [`INTERVALS_MAX`].
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
    ///
    /// Scored as "not held" whichever way it broke: log(1 - P(held)).
    pub broken: u16,
}

impl RunCounts {
    /// Intervals of the run.
    ///
    /// At most 4 x 65 535: the check of a run, not this function, bounds it to [`INTERVALS_MAX`].
    pub fn intervals(&self) -> u32 {
        u32::from(self.held) + u32::from(self.over_reached) + u32::from(self.crowded) + u32::from(self.broken)
    }

    /// Whether a run can be scored: spacing, height and number of intervals, in this order; nothing is said about its
    /// day.
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
///
/// Counts what was multiplied in, runs by runs: not what was on file after the day of the estimate. All nought and no
/// day before the first run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Runs.
    pub runs: u32,
    /// Intervals of these runs.
    ///
    /// Unweighted: a run of four counts as four here although it weighs less.
    pub intervals: u32,
    /// Days with runs.
    pub days: u32,
    /// The last of these days, days since 1970-01-01.
    pub last_day: Option<i32>,
}

/// Why there is no estimate.
///
/// None of these comes from an athlete who is merely unusual: each names an input that cannot be. Nothing is learned
/// from a list of which one run is refused.
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
/// With runs of the whole history in hand this is the exact answer; where only newer runs came in,
/// [`estimate_keeping`] gives the same bits in less time. No runs: the prior as it is, whatever the day, and
/// `evidence` all nought. Equal runs entered twice count twice; telling a double upload from two runs is the caller's.
///
/// The whole history is filtered again without windows when the cells left out could hold more than 1e-9: runs that
/// contradict everything believed before, such as a mistyped spacing. Such a history costs both passes.
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

/// Learns from ascending runs and lets time pass to the day asked for; the prior's day is that of the first run, so
/// that an athlete without runs does not drift.
fn filter(mut posterior: Posterior, runs: &[RunCounts], on_day: i32) -> Result<Posterior, EstimateError> {
    posterior.learn(runs)?;
    posterior.advance(on_day)?;
    Ok(posterior)
}
