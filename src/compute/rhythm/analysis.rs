//! What a run's touchdown times say: times, speeds and stride rates of the intervals, consistency, fade.
//!
//! From interval times t_k (s), spacing s (m) and the clock's error σ (s):
//!
//! ```text
//! speed = s / t            error  s σ / t²
//! stride rate = 4 / t      error  4 σ / t²
//! mean of k used           error from the covariances of shared marks
//! consistency              see its type
//! fade                     median slope of t over the interval's number, per interval
//! ```
//!
//! Errors are first order, which at 0.10 s of 1.1 s is off by less than 1 % of the figure. Mean speed is that of the
//! mean time, s / mean t, and not the mean of speeds: it is the distance covered over the time it took.
//!
//! # Worked
//!
//! 8.50 m, an interval of 1.10 s by video at 60 frames (σ = 0.0068 s): 7.727 m/s with 0.048, 3.636 strides a second
//! with 0.0225.
//!
//! Fade over intervals of 1.00, 1.02, 1.03, 1.06, 1.07 s: the median of the ten slopes is 0.01875 s an interval. Sen's
//! interval at 90 % is 0.010 to 0.020; the clock gives a straight line through five neighbours a standard deviation of
//! 0.245 σ. By gates (0.0012 s) the interval becomes 0.010 to 0.0208, by hand (0.0245 s) -0.0215 to 0.0590: by hand
//! this run says nothing about fading.
//!
//! # Used from
//!
//! The answers about a recorded run and about times sent along; [`super::compare()`] sets an analysis beside a schedule.

use super::consistency::{Consistency, consistency};
use super::readings::{Finding, Reading, ReadingError, read};
use super::timing::{Timing, sum_sd};
use super::whole;
use crate::robust::{normal_quantile, theil_sen};
use crate::units::Length;

/// Steps of an interval in the three-stride rhythm: three strides and the barrier stride.
///
/// Steps and not strides in the sense of two steps: a contact of either foot counts.
///
/// # Source
/// The definition of the rhythm; common practice, no source.
pub const STEPS: f64 = 4.0;

/// A figure with the standard deviation that the timing error gives it, in the figure's unit.
///
/// Not the whole doubt about the athlete: how much their next interval differs is consistency, not this.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The figure.
    pub value: f64,
    /// Standard deviation from the timing error alone.
    pub sd: f64,
}

/// Time, speed and stride rate of one interval or of the mean of several.
///
/// The three carry the same information and one relative error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Interval time, seconds (s).
    pub time_s: Measured,
    /// Speed, metres per second (m/s).
    pub speed_mps: Measured,
    /// Strides a second (Hz), four to an interval.
    pub stride_rate_hz: Measured,
}

impl Pace {
    /// From an interval time and its standard deviation, first order in the error.
    ///
    /// Relative errors of speed and rate equal that of the time.
    fn of(spacing_m: f64, time_s: Measured) -> Self {
        let share = time_s.sd / time_s.value;
        let over = |what: f64| Measured { value: what / time_s.value, sd: what / time_s.value * share };
        Self { time_s, speed_mps: over(spacing_m), stride_rate_hz: over(STEPS) }
    }
}

/// One interval.
///
/// `pace` is none exactly where the reading is not used.
#[derive(Clone, Debug, PartialEq)]
pub struct Interval {
    /// The time read, right or wrong, and what is said of it.
    pub reading: Reading,
    /// Its figures; none when it is left out.
    pub pace: Option<Pace>,
}

/// How interval times change along the run.
///
/// Seconds per interval; over nine intervals a slope of 0.01 makes the last 0.08 s longer than the first. A median of
/// pairs of intervals: acceleration over the first two and fade over the last two partly cancel in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fade {
    /// Slope, seconds (s) per interval; above zero the athlete slows.
    pub slope: f64,
    /// Lower end of its 90 % interval.
    pub p05: f64,
    /// Upper end of its 90 % interval.
    pub p95: f64,
    /// Standard deviation that the timing error gives to a straight line through the same intervals.
    pub timing_sd: f64,
}

/// What touchdown times say.
///
/// All figures of one run by one clock. Absence of a figure always has its reason in `findings` or in too few
/// intervals.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// The intervals in running order, one fewer than touchdowns.
    pub intervals: Vec<Interval>,
    /// What is wrong with single values, by touchdown.
    ///
    /// Empty for a clean run.
    pub findings: Vec<Finding>,
    /// How many intervals go into the figures below.
    pub used: usize,
    /// Mean over those; none without any.
    pub mean: Option<Pace>,
    /// Their consistency; none for fewer than three.
    pub consistency: Option<Consistency>,
    /// Their fade; none for fewer than three.
    pub fade: Option<Fade>,
}

/// Analyses touchdown times, seconds (s) from the start, in running order, `None` for a missing one; 2 to 20 of them.
///
/// Values that are missing, do not rise or cannot be run are reported and left out, never guessed. A broken interval is
/// reported and stays in the figures: the run was like that.
///
/// n² in the number of touchdowns. The spacing is not checked: nought gives speeds of nought.
///
/// # Errors
/// [`ReadingError`] for values that are no times at all.
///
/// ```
/// use lanewright_compute::rhythm::{Timing, analyse};
/// use lanewright_compute::units::Length;
///
/// let times = [Some(2.60), Some(3.70), Some(4.80), None, Some(7.00), Some(8.10)];
/// let found = analyse(Length::from_mm(8_500), &times, Timing::Video(60)).unwrap();
/// assert_eq!((found.intervals.len(), found.used), (5, 3));
/// assert!((found.mean.unwrap().speed_mps.value - 7.727).abs() < 1e-3);
/// ```
pub fn analyse(spacing: Length, times: &[Option<f64>], timing: Timing) -> Result<Analysis, ReadingError> {
    let sd = timing.interval_sd_s();
    let (readings, findings) = read(times, sd)?;
    let used: Vec<(usize, f64)> =
        readings.iter().enumerate().filter_map(|(at, reading)| reading.used().map(|time| (at, time))).collect();
    let pace = |value, sd| Pace::of(spacing.metres(), Measured { value, sd });
    let mean = (!used.is_empty()).then(|| {
        let share = 1.0 / whole(used.len());
        let equal: Vec<(usize, f64)> = used.iter().map(|(at, _)| (*at, share)).collect();
        pace(used.iter().map(|(_, time)| time).sum::<f64>() * share, sum_sd(&equal, sd))
    });
    Ok(Analysis {
        intervals: readings
            .into_iter()
            .map(|reading| Interval { pace: reading.used().map(|time| pace(time, sd)), reading })
            .collect(),
        findings,
        used: used.len(),
        mean,
        consistency: consistency(&used, sd),
        fade: fade(&used, sd),
    })
}

/// Theil-Sen slope over the intervals; its interval is Sen's or that of the timing error, whichever is wider, because a
/// handful of slopes can agree by chance.
///
/// The straight line whose error is told is that of least squares, as a stand-in: the error of a median of slopes has
/// no closed form with correlated marks.
fn fade(used: &[(usize, f64)], interval_sd_s: f64) -> Option<Fade> {
    if used.len() < 3 {
        return None;
    }
    let x: Vec<f64> = used.iter().map(|(at, _)| whole(*at)).collect();
    let y: Vec<f64> = used.iter().map(|(_, time)| *time).collect();
    let line = theil_sen(&x, &y, 0.90).ok()?;
    let middle = x.iter().sum::<f64>() / whole(x.len());
    let squares: f64 = x.iter().map(|at| (at - middle) * (at - middle)).sum();
    let weights: Vec<(usize, f64)> = used.iter().zip(&x).map(|((at, _), x)| (*at, (x - middle) / squares)).collect();
    let timing_sd = sum_sd(&weights, interval_sd_s);
    let reach = normal_quantile(0.95) * timing_sd;
    let (low, high) = line.interval.map_or((line.slope, line.slope), |interval| (interval.low, interval.high));
    Some(Fade { slope: line.slope, p05: low.min(line.slope - reach), p95: high.max(line.slope + reach), timing_sd })
}
