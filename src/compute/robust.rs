//! Statistics that a few wild values cannot move: the median and the slope of Theil and Sen.
//!
//! The other modules ask here whenever a figure must not hang on one mistyped time or one bad day: trends of the limit
//! and of the spacing over weeks ([`crate::progress`]), fade along a run ([`crate::rhythm`]), expected race times
//! ([`crate::race`]).
//!
//! | function | stands against | cost | exactness |
//! | --- | --- | --- | --- |
//! | [`median`] | up to half of the values | n log n | exact but for one rounding of the mean of two |
//! | [`theil_sen`] | up to 29 % of the points (1 - 1/√2) | n² log n, n²/2 numbers of memory | as scipy to 1e-12 |
//! | [`normal_quantile`] | - | some hundred `erfc` | last digits of `libm::erfc` |
//!
//! The cases of scipy stand in `tests/oracle/theil_sen_cases.json`.
//!
//! Nothing here knows what it measures: units are those of the values handed in. All of it is deterministic, without
//! sampling, and the order of the points never matters. `libm` and not the machine's own library computes `erfc`, so
//! the same points give the same bits everywhere.

use thiserror::Error;

/// The most points that a slope is asked of: half a million pairs.
///
/// At 1 000 points the slopes of all 499 500 pairs take 4 MB. An athlete's two years of training days are at most 731
/// points, a run at most 19 intervals, so callers stay below it. Design choice.
pub const MAX_POINTS: usize = 1_000;

/// A straight line through points, found from the slopes of all pairs.
///
/// The line is that of the points' middles: half of the slopes of all pairs are steeper, half are flatter. It is not
/// the line of least squares and has no residual variance; what is known of its doubt is [`SlopeInterval`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TheilSen {
    /// Median of the slopes of all pairs whose `x` differ, units of y per unit of x.
    pub slope: f64,
    /// Median of y minus the slope times the median of x, units of y.
    pub intercept: f64,
    /// The interval of the slope; `None` when so many values are equal that it cannot be told.
    pub interval: Option<SlopeInterval>,
}

/// Between which slopes the true one lies, at the confidence that was asked for.
///
/// `low <= slope <= high` always. The interval has no distribution inside: nothing is said of how likely its middle is
/// against its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlopeInterval {
    /// Lower end, units of y per unit of x.
    pub low: f64,
    /// Upper end, units of y per unit of x.
    pub high: f64,
}

/// Why points have no slope.
///
/// Texts are worded to follow the name of a field. The variants are checked in the order `UnequalLengths`, `TooFew`,
/// `TooMany`, `NotFinite` (values), `NoSpread`, `NotFinite` (slopes), `Confidence`; the first that holds is told.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum TheilSenError {
    /// As many `x` as `y` are needed.
    #[error("must have one y for every x")]
    UnequalLengths,
    /// A line needs two points.
    #[error("must have at least two points")]
    TooFew,
    /// More points than the pairs can be formed of.
    #[error("must not have more than {MAX_POINTS} points")]
    TooMany,
    /// A value, or a slope between two of them, is not a finite number.
    #[error("must be finite numbers")]
    NotFinite,
    /// All points stand above one another.
    #[error("must have at least two different x")]
    NoSpread,
    /// The confidence is not from 0.5 to below 1.
    #[error("must have a confidence from 0.5 to below 1")]
    Confidence,
}

/// The line through points (`x[i]`, `y[i]`) in any order, with the interval of its slope at a confidence of 0.5 to below 1.
///
/// Equal values of x or y are allowed; a pair with equal x has no slope and is left out. With few points the interval is no
/// wider than the slopes that there are: two points give an interval of no width.
///
/// With N slopes, n points and the two-sided normal deviate z of the confidence, the interval runs between two of the
/// sorted slopes, of ranks (counted from nought)
///
/// ```text
/// low  = round((N - z σ) / 2) - 1        high = round((N + z σ) / 2)
/// 18 σ² = n (n - 1)(2n + 5) - Σ t (t - 1)(2t + 5)
/// ```
///
/// where the sum runs over every group of t equal x and every group of t equal y. Ranks beyond the ends are moved to
/// the ends. Where so many values are equal that σ² is below zero, there is no interval.
///
/// Worked: x = 0, 1, 2, 3, 4 and y = 1, 3, 5, 7, 90 give six slopes of 2 and the four 22.25, 29, 42.5 and 83; their
/// median is 2. σ² = 5 · 4 · 15 / 18 = 16.67, z = 1.645 at a confidence of 0.90, so the ranks are 1 and 8 and the
/// interval 2 to 42.5. The line of least squares through the same points rises by 18.2.
///
/// # Errors
/// [`TheilSenError`], nothing is computed.
///
/// # Source
/// P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of the American Statistical
/// Association 63: 1379-1389, 1968, interval by formula 2.6; intercept as in W. J. Conover, "Practical Nonparametric
/// Statistics". The ranks of the interval are rounded as `scipy.stats.theilslopes` rounds them.
///
/// # Complexity
/// n² log n for n points.
///
/// ```
/// use lanewright_compute::robust::theil_sen;
///
/// let line = theil_sen(&[0.0, 1.0, 2.0, 3.0, 4.0], &[1.0, 3.0, 5.0, 7.0, 90.0], 0.90).unwrap();
/// assert!((line.slope - 2.0).abs() < 1e-12);
/// assert!(line.interval.unwrap().high > 20.0);
/// ```
pub fn theil_sen(x: &[f64], y: &[f64], confidence: f64) -> Result<TheilSen, TheilSenError> {
    let mut slopes = sorted_slopes(x, y)?;
    if !(0.5..1.0).contains(&confidence) {
        return Err(TheilSenError::Confidence);
    }
    let interval = ranks(x, y, slopes.len(), normal_quantile(f64::midpoint(1.0, confidence)))
        .map(|(low, high)| SlopeInterval { low: slopes[low], high: slopes[high] });
    let slope = median(&mut slopes).ok_or(TheilSenError::NoSpread)?;
    let middle = |values: &[f64]| median(&mut values.to_vec()).ok_or(TheilSenError::TooFew);
    Ok(TheilSen { slope, intercept: middle(y)? - slope * middle(x)?, interval })
}

/// The median of values in any order, which are sorted in passing; `None` without a value.
///
/// Units: those of the values. The middle one, or half the sum of the two middle ones.
///
/// Ordered by `total_cmp`: a value that is not a number is not refused but sorted to an end, and may come back as the
/// median where such values are half of all; callers hand in finite values. Two middle values are halved before they
/// are added, so even the largest finite ones do not overflow.
///
/// ```
/// use lanewright_compute::robust::median;
///
/// assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
/// assert_eq!(median(&mut [3.0, 1.0, 2.0, 90.0]), Some(2.5));
/// assert_eq!(median(&mut []), None);
/// ```
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = values.get(half).copied()?;
    Some(if values.len() % 2 == 1 { upper } else { f64::midpoint(values[half - 1], upper) })
}

/// The standard normal quantile: the z below which a share `p` lies; infinite at 0 and 1, not a number outside.
///
/// Halving until neighbouring numbers are reached keeps it exact to the last digits of `libm::erfc` without a table.
///
/// The interval -40 to 0 holds every quantile of a share above 0 that a double can tell (the smallest lies near -38).
/// Shares above 0.5 go through the symmetry z(p) = -z(1 - p), so their exactness is that of 1 - p.
///
/// ```
/// use lanewright_compute::robust::normal_quantile;
///
/// assert!((normal_quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-12);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.5 {
        // The lower tail is where small numbers keep their digits.
        return -normal_quantile(1.0 - p);
    }
    if p.is_nan() || p < 0.0 {
        return f64::NAN;
    }
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    let (mut low, mut high) = (-40.0_f64, 0.0);
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            return middle;
        }
        if 0.5 * libm::erfc(-middle / core::f64::consts::SQRT_2) < p { low = middle } else { high = middle }
    }
}

/// The slopes of all pairs whose x differ, lowest first.
///
/// Up to n (n - 1) / 2 of them, in units of y per unit of x. A pair so close in x that its slope overflows makes the
/// whole answer [`TheilSenError::NotFinite`]: leaving it out would move the median silently.
fn sorted_slopes(x: &[f64], y: &[f64]) -> Result<Vec<f64>, TheilSenError> {
    match (x.len(), y.len()) {
        (n, m) if n != m => return Err(TheilSenError::UnequalLengths),
        (0 | 1, _) => return Err(TheilSenError::TooFew),
        (n, _) if n > MAX_POINTS => return Err(TheilSenError::TooMany),
        _ => {}
    }
    if x.iter().chain(y).any(|value| !value.is_finite()) {
        return Err(TheilSenError::NotFinite);
    }
    let mut slopes = Vec::with_capacity(x.len() * (x.len() - 1) / 2);
    for (i, (xi, yi)) in x.iter().zip(y).enumerate() {
        for (xj, yj) in x[..i].iter().zip(y) {
            let run = xi - xj;
            if run.abs() > 0.0 {
                slopes.push((yi - yj) / run);
            }
        }
    }
    if slopes.is_empty() {
        return Err(TheilSenError::NoSpread);
    }
    if slopes.iter().any(|slope| !slope.is_finite()) {
        return Err(TheilSenError::NotFinite);
    }
    slopes.sort_by(f64::total_cmp);
    Ok(slopes)
}

/// Which of the sorted slopes bound the interval, for a two-sided normal deviate `z`.
///
/// Indices into the sorted slopes, both inside the list; `None` where the variance that ties leave is negative. Halves
/// round to even (`rint`), which is what the reference implementation does; rounding away from zero moves an interval
/// by one slope in some cases.
fn ranks(x: &[f64], y: &[f64], slopes: usize, z: f64) -> Option<(usize, usize)> {
    let spread = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let variance =
        (spread(count(x.len())) - tied(x).map(spread).sum::<f64>() - tied(y).map(spread).sum::<f64>()) / 18.0;
    if variance < 0.0 {
        return None;
    }
    let reach = z * libm::sqrt(variance);
    let upper = libm::rint(f64::midpoint(count(slopes), reach));
    let lower = libm::rint(f64::midpoint(count(slopes), -reach)) - 1.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to whole numbers from zero
    let index = |rank: f64| rank.clamp(0.0, count(slopes - 1)) as usize;
    Some((index(lower), index(upper)))
}

/// How many values are equal, for every value that occurs.
///
/// Groups of one come along and add nothing: t (t - 1)(2t + 5) is nought for t = 1.
fn tied(values: &[f64]) -> impl Iterator<Item = f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    // Compared as numbers, not by their bits: zero and minus zero are one value.
    sorted
        .chunk_by(|a, b| a.partial_cmp(b).is_some_and(core::cmp::Ordering::is_eq))
        .map(|run| count(run.len()))
        .collect::<Vec<_>>()
        .into_iter()
}

/// A number of points or pairs: at most half a million, exact in `f64`.
#[allow(clippy::cast_precision_loss)]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_without_a_slope_are_refused() {
        assert_eq!(theil_sen(&[0.0, 1.0], &[1.0], 0.9), Err(TheilSenError::UnequalLengths));
        assert_eq!(theil_sen(&[0.0], &[1.0], 0.9), Err(TheilSenError::TooFew));
        assert_eq!(theil_sen(&[], &[], 0.9), Err(TheilSenError::TooFew));
        let many = vec![0.0; MAX_POINTS + 1];
        assert_eq!(theil_sen(&many, &many, 0.9), Err(TheilSenError::TooMany));
        assert_eq!(theil_sen(&[0.0, f64::NAN], &[1.0, 2.0], 0.9), Err(TheilSenError::NotFinite));
        assert_eq!(theil_sen(&[0.0, 1.0], &[1.0, f64::INFINITY], 0.9), Err(TheilSenError::NotFinite));
        assert_eq!(theil_sen(&[0.0, 1e-300], &[0.0, 1e300], 0.9), Err(TheilSenError::NotFinite));
        assert_eq!(theil_sen(&[2.0, 2.0], &[1.0, 2.0], 0.9), Err(TheilSenError::NoSpread));
        for confidence in [0.49, 1.0, f64::NAN] {
            assert_eq!(theil_sen(&[0.0, 1.0], &[1.0, 2.0], confidence), Err(TheilSenError::Confidence));
        }
    }

    #[test]
    fn the_order_of_the_points_does_not_matter() {
        let (x, y) = ([0.0, 1.0, 2.0, 3.0, 5.0], [1.0, 1.5, 4.0, 2.0, 6.0]);
        let turned = |values: [f64; 5]| [values[3], values[0], values[4], values[2], values[1]];
        assert_eq!(theil_sen(&x, &y, 0.9), theil_sen(&turned(x), &turned(y), 0.9));
    }

    #[test]
    fn quantiles_of_the_normal_distribution_are_symmetric_and_end_where_they_must() {
        let ends = [normal_quantile(0.0), normal_quantile(1.0)];
        assert!(ends[0].is_infinite() && ends[0] < 0.0 && ends[1].is_infinite() && ends[1] > 0.0);
        assert!(normal_quantile(1.5).is_nan() && normal_quantile(-0.1).is_nan() && normal_quantile(f64::NAN).is_nan());
        assert!(normal_quantile(0.5).abs() < 1e-15);
        assert!((normal_quantile(0.05) + normal_quantile(0.95)).abs() < 1e-12);
    }
}
