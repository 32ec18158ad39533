//! The final time that the first touchdown times of a race point to.
//!
//! A grid over final times F, each equally likely beforehand within the range of the course:
//!
//! ```text
//! log L(F) = -1/2 [ (t - s(F))ᵀ V(F)⁻¹ (t - s(F)) + log det V(F) ]
//! ```
//!
//! with t the touchdown times read, s(F) the club's schedule and V(F) its spread ([`super::spread`]). 241 final times
//! over the whole range find where the weight is; 241 more inside it give the quantiles. Cost: some 480 factorisations
//! of a matrix of at most 20 by 20.
//!
//! # Worked
//!
//! The 110 m, touchdowns as in 14.0 s, no race of the club known:
//!
//! | touchdowns read | video 60: median, 90 % range | by hand |
//! | --- | --- | --- |
//! | 1 | 14.02, 13.21 to 14.90 s | 14.04, 13.01 to 15.19 s |
//! | 3 | 14.01, 13.66 to 14.37 s | 14.02, 13.42 to 14.65 s |
//! | 5 | 13.97, 13.72 to 14.24 s | 13.99, 13.59 to 14.41 s |
//! | 8 | 14.01, 13.87 to 14.15 s | 14.00, 13.75 to 14.26 s |
//! | 10 | 14.00, 13.87 to 14.13 s | 14.00, 13.81 to 14.19 s |
//!
//! # How good
//!
//! On simulated senior races the finish from five touchdowns misses by at most 0.12 s on average, and 90 % ranges hold
//! 0.86 to 0.94 of the times (`tests/compute/rhythm_finish.rs`). From the first touchdown alone the standard error
//! lies between 0.09 and 0.30 s; J. Lopez del Amo and others, J. Human Sport & Exercise 13(3): 504-517, 2018, report
//! 0.09 to 0.23 s.
//!
//! # Assumed
//!
//! The athlete finishes the race as begun: no fall, no easing off. The clock of the finish is the same, so its own
//! error is not added.

use super::calibration::{Calibration, is_run};
use super::consistency::chi_square_quantile;
use super::course::Course;
use super::linear::Cholesky;
use super::schedule::{OutOfRange, equivalent_s, touchdowns, valid_range_s};
use super::spread::covariance;
use super::timing::Timing;
use super::whole;
use thiserror::Error;

/// Final times tried over the whole valid range, and again around the likeliest.
///
/// Steps of about 0.05 s over the 110 m, finer than the widths above. Design choice.
const TRIED: usize = 240;

/// A forecast of the final time by the clock of the touchdown times, seconds (s).
///
/// Quantiles ascend. All lie inside the course's valid range but for half a fine step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinalTime {
    /// Mean.
    pub mean: f64,
    /// 5 % quantile.
    pub p05: f64,
    /// 25 % quantile.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// 75 % quantile.
    pub p75: f64,
    /// 95 % quantile.
    pub p95: f64,
    /// Whether the touchdown times lie together as fewer than one race in a thousand would at any final time.
    ///
    /// With one touchdown never. Told so that nobody trusts a range from times of two athletes or a wrong course.
    pub unusual: bool,
}

/// Why touchdown times point to no final time.
///
/// The number in `Length` is the course's barriers.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum FinalTimeError {
    /// No touchdown time, or more entries than barriers.
    #[error("must have at least one touchdown time and no more entries than the {0} barriers of the course")]
    Length(u8),
    /// Times do not rise as a run can.
    #[error("must have times that rise by {} to {} seconds an interval", super::INTERVAL_S.0, super::INTERVAL_S.1)]
    NotARun,
    /// They point to a final time that has no schedule.
    #[error("point to a final time outside the {:.2} to {:.2} seconds of this course", .0.low_s, .0.high_s)]
    Outside(OutOfRange),
}

/// The final time that touchdown times point to, seconds (s) from the start in running order, `None` for a missing one.
///
/// Every final time of the valid range is as likely beforehand; each is weighed by how well the touchdown times fit its
/// schedule, given how races spread around it, what is unknown of the club's shape and the error of the clock. The
/// forecast counts from the same start mark, so that mark's error does not enter.
///
/// Missing times are skipped, wherever they are, as long as one is there. At the ends of the range the flat prior
/// acts: a forecast there leans inwards.
///
/// # Errors
/// [`FinalTimeError`], nothing is computed.
///
/// # Source
/// Bayes' theorem on a grid with the spread of [`super::RACE_SD`]; design choice.
///
/// ```
/// use lanewright_compute::rhythm::{Calibration, Timing, courses, final_time};
///
/// let course = courses("110H")[0];
/// let first = [Some(2.55), Some(3.58), Some(4.62), Some(5.69), Some(6.77)];
/// let found = final_time(&course, &Calibration::default(), &first, Timing::Video(60)).unwrap();
/// assert!(found.p05 < 14.0 && 14.0 < found.p95);
/// ```
pub fn final_time(
    course: &Course,
    club: &Calibration,
    touchdown_times_s: &[Option<f64>],
    timing: Timing,
) -> Result<FinalTime, FinalTimeError> {
    let at: Vec<usize> = (0..touchdown_times_s.len()).filter(|at| touchdown_times_s[*at].is_some()).collect();
    let times: Vec<f64> = touchdown_times_s.iter().copied().flatten().collect();
    if times.is_empty() || touchdown_times_s.len() > usize::from(course.barriers()) {
        return Err(FinalTimeError::Length(course.barriers()));
    }
    if !is_run(&at, &times) {
        return Err(FinalTimeError::NotARun);
    }
    let fit = |final_time: f64| fit(course, club, &at, &times, timing, final_time);
    let (low, high) = valid_range_s(course);
    let (coarse, step) = tried(low, high, &fit);
    let best = coarse.iter().enumerate().max_by(|a, b| a.1.1.likelihood.total_cmp(&b.1.1.likelihood));
    let outside = FinalTimeError::Outside(OutOfRange { low_s: low, high_s: high });
    let (index, (_, best)) = best.ok_or(outside)?;
    let at_end = index == 0 || index + 1 == coarse.len();
    // A bad clock may point a little outside; what fits no valid time at all is refused.
    if at_end && best.misfit > chi_square_quantile(0.99, whole(times.len())) {
        return Err(outside);
    }
    // All that carries weight, and no more.
    let heavy = |one: &&(f64, Fit)| one.1.likelihood > best.likelihood - 20.0;
    let from = coarse.iter().find(heavy).map_or(low, |one| one.0 - step).max(low);
    let to = coarse.iter().rev().find(heavy).map_or(high, |one| one.0 + step).min(high);
    let (fine, _) = tried(from, to, &fit);
    let freedom = whole(times.len() - 1);
    let unusual = times.len() > 1 && best.misfit > chi_square_quantile(0.999, freedom);
    Ok(summary(&fine, best.likelihood, unusual))
}

/// How well a final time fits.
///
/// `misfit` is about chi-square with as many degrees as times read at the true final time, one fewer at the best one.
#[derive(Clone, Copy, Debug)]
struct Fit {
    /// Natural logarithm of the likelihood, up to a constant.
    likelihood: f64,
    /// Squared distance in standard deviations.
    misfit: f64,
}

/// None where the final time has no schedule by rounding.
fn fit(
    course: &Course,
    club: &Calibration,
    at: &[usize],
    times: &[f64],
    timing: Timing,
    final_time: f64,
) -> Option<Fit> {
    let equivalent = equivalent_s(course, final_time).ok()?;
    let expected = touchdowns(course, equivalent, &club.shape);
    let factor = Cholesky::of(&covariance(course, equivalent, at, &club.unknown, timing))?;
    let misses: Vec<f64> = at.iter().zip(times).map(|(at, time)| time - expected[*at]).collect();
    let misfit: f64 = factor.whiten(&misses).iter().map(|miss| miss * miss).sum();
    Some(Fit { likelihood: -0.5 * (misfit + factor.log_determinant()), misfit })
}

/// Evenly spaced final times with their fit, and the step between them.
///
/// At most 241 entries, ascending.
fn tried(low: f64, high: f64, fit: &impl Fn(f64) -> Option<Fit>) -> (Vec<(f64, Fit)>, f64) {
    let step = (high - low) / whole(TRIED);
    let times = (0..=TRIED).map(|at| (low + step * whole(at)).min(high));
    (times.filter_map(|time| fit(time).map(|fit| (time, fit))).collect(), step)
}

/// Mean and quantiles of evenly spaced final times, each weighed by its likelihood and spread over its step.
///
/// Weights are exponentials of differences to the best, so they never overflow; the heaviest is about 1.
fn summary(tried: &[(f64, Fit)], best: f64, unusual: bool) -> FinalTime {
    let weights: Vec<f64> = tried.iter().map(|(_, fit)| libm::exp(fit.likelihood - best)).collect();
    let total: f64 = weights.iter().sum();
    let mean = tried.iter().zip(&weights).map(|((time, _), weight)| time * weight).sum::<f64>() / total;
    let step = if tried.len() > 1 { tried[1].0 - tried[0].0 } else { 0.0 };
    let quantile = |level: f64| {
        let mut below = 0.0;
        for ((time, _), weight) in tried.iter().zip(&weights) {
            if below + weight >= level * total {
                return time + step * ((level * total - below) / weight - 0.5);
            }
            below += weight;
        }
        tried.last().map_or(mean, |(time, _)| *time)
    };
    let [p05, p25, p50, p75, p95] = [0.05, 0.25, 0.5, 0.75, 0.95].map(quantile);
    FinalTime { mean, p05, p25, p50, p75, p95, unusual }
}
