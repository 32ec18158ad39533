//! How even a rhythm is, once the error of the clock is taken out.
//!
//! With n interval times read, sample variance r, and the clock's covariance matrix C (σ² on the diagonal, -σ² / 2
//! beside it), let P take the mean off. Then
//!
//! ```text
//! E r = τ² + trace(P C P) / (n - 1)             τ² the athlete's own variance
//! τ² = max(0, r - clock)       clock = σ² (1 + 1 / n) for neighbours, σ² for intervals apart
//! ν  = trace(M)² / trace(M²)   M = P (C + τ² I) P     degrees of freedom
//! 90 %: r ν / χ²(0.95, ν) - clock   to   r ν / χ²(0.05, ν) - clock
//! ```
//!
//! and everything is told as a share of the mean, √variance / mean t, with what falls below nought cut to nought.
//!
//! # Worked
//!
//! Intervals of 1.00, 1.06, 0.98, 1.05, 1.01, 1.08 s: mean 1.03 s, standard deviation read 0.0390 s.
//!
//! | clock | what it adds | consistency | 90 % | distinguishable |
//! | --- | --- | --- | --- | --- |
//! | gate, σ 0.005 s | 0.0054 s | 0.0375 | 0.025 to 0.079 | yes |
//! | video 60, σ 0.0068 s | 0.0073 s | 0.0372 | 0.024 to 0.079 | yes |
//! | hand, σ 0.10 s | 0.108 s | 0 | 0 to 0 | no |
//!
//! The last row is a rhythm read more even than the clock lets one expect. That even the upper end is nought says no
//! more than that; it befalls at most about one run in twenty, and `distinguishable` is what to read.

use super::timing::covariance;

/// Spread of the interval times of one run, the timing error taken out.
///
/// About 0.02 is a very even run (design choice of the least spread in reading); no published norm is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consistency {
    /// Coefficient of variation: standard deviation over mean of the true interval times, a share; never below zero.
    pub cv: f64,
    /// Lower end of its 90 % interval.
    pub p05: f64,
    /// Upper end of its 90 % interval.
    pub p95: f64,
    /// Whether the spread that was read is more than the timing error alone brings about in 19 runs of 20.
    ///
    /// One-sided at 5 %, with the clock's own degrees of freedom.
    pub distinguishable: bool,
}

/// Consistency of interval times (number in running order, seconds) read with an error of `interval_sd_s` seconds.
///
/// The sample variance is lessened by what timing error adds to it, neighbours correlated by -0.5; the interval is that of a
/// variance whose degrees of freedom are matched to the correlated errors. None for fewer than three intervals.
///
/// Trends count as unevenness: an athlete who fades regularly has a larger value. n² work. Needs times above nought.
///
/// # Source
/// Subtraction of the error variance: method of moments. Degrees of freedom: F. E. Satterthwaite, "An Approximate
/// Distribution of Estimates of Variance Components", Biometrics Bulletin 2: 110-114, 1946.
pub(super) fn consistency(used: &[(usize, f64)], interval_sd_s: f64) -> Option<Consistency> {
    let n = used.len();
    if n < 3 {
        return None;
    }
    let count = super::whole(n);
    let mean = used.iter().map(|(_, time)| time).sum::<f64>() / count;
    let read = used.iter().map(|(_, time)| (time - mean) * (time - mean)).sum::<f64>() / (count - 1.0);
    let (clock, clock_freedom) = centred(used, 0.0, interval_sd_s);
    let own = (read - clock).max(0.0);
    let (_, freedom) = centred(used, own, interval_sd_s);
    let cv = |variance: f64| libm::sqrt(variance.max(0.0)) / mean;
    Some(Consistency {
        cv: cv(own),
        p05: cv(read * freedom / chi_square_quantile(0.95, freedom) - clock),
        p95: cv(read * freedom / chi_square_quantile(0.05, freedom) - clock),
        distinguishable: read > clock * chi_square_quantile(0.95, clock_freedom) / clock_freedom,
    })
}

/// Expected sample variance (s²) of intervals with a variance of their own and timing error, and its degrees of freedom.
///
/// For uncorrelated errors n - 1 degrees; for six neighbours and the clock alone 4.07, since shared marks leave less
/// freedom.
fn centred(used: &[(usize, f64)], own: f64, interval_sd_s: f64) -> (f64, f64) {
    let n = used.len();
    let whole: Vec<Vec<f64>> = (0..n)
        .map(|a| {
            (0..n).map(|b| covariance(used[a].0, used[b].0, interval_sd_s) + if a == b { own } else { 0.0 }).collect()
        })
        .collect();
    let means: Vec<f64> = whole.iter().map(|row| row.iter().sum::<f64>() / super::whole(n)).collect();
    let all = means.iter().sum::<f64>() / super::whole(n);
    // Both means taken off: the covariance of the differences from the run's mean.
    let rest = |a: usize, b: usize| whole[a][b] - means[a] - means[b] + all;
    let trace: f64 = (0..n).map(|a| rest(a, a)).sum();
    let squares: f64 = (0..n).flat_map(|a| (0..n).map(move |b| (a, b))).map(|(a, b)| rest(a, b) * rest(a, b)).sum();
    (trace / (super::whole(n) - 1.0), trace * trace / squares)
}

/// The value below which a chi-square variable of `freedom` degrees of freedom (above zero) lies with probability `p`.
///
/// Halving on the series of the incomplete gamma function; the figures asked for here have at most a few dozen degrees.
///
/// 80 halvings of at most freedom + 40 √freedom + 40 end below any rounding. p from 0 to below 1.
pub(super) fn chi_square_quantile(p: f64, freedom: f64) -> f64 {
    let (mut low, mut high) = (0.0, freedom + 40.0 * libm::sqrt(freedom) + 40.0);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if below(middle, freedom) < p { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// Probability that a chi-square variable lies below `x`.
///
/// The series Σ x^k / (a (a + 1) ... (a + k)) with a half the degrees, summed until a term is lost in rounding; exact
/// to about 1e-14 for the few dozen degrees asked for, slower for x far above a.
fn below(x: f64, freedom: f64) -> f64 {
    let (shape, x) = (freedom / 2.0, x / 2.0);
    let mut term = 1.0 / shape;
    let mut sum = term;
    let mut next = shape;
    while term > 1e-16 * sum {
        next += 1.0;
        term *= x / next;
        sum += term;
    }
    (sum * libm::exp(shape * libm::log(x) - x - libm::lgamma(shape))).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chi_square_quantiles_are_those_of_the_printed_tables() {
        // Any statistical table: 5 % and 95 % points for 1, 2, 5, 10 and 30 degrees of freedom.
        for (freedom, low, high) in [
            (1.0, 0.003_93, 3.841),
            (2.0, 0.103, 5.991),
            (5.0, 1.145, 11.070),
            (10.0, 3.940, 18.307),
            (30.0, 18.493, 43.773),
        ] {
            assert!((chi_square_quantile(0.05, freedom) - low).abs() < 6e-4, "{freedom}");
            assert!((chi_square_quantile(0.95, freedom) - high).abs() < 6e-4, "{freedom}");
        }
    }

    #[test]
    fn timing_error_adds_to_the_sample_variance_what_the_shared_marks_give() {
        // n neighbouring intervals: v (1 + 1/n), worked by hand; unneighboured ones: v.
        let neighbours: Vec<(usize, f64)> = (0..8).map(|k| (k, 1.0)).collect();
        assert!((centred(&neighbours, 0.0, 0.1).0 - 0.01 * (1.0 + 1.0 / 8.0)).abs() < 1e-12);
        let apart: Vec<(usize, f64)> = (0..8).map(|k| (2 * k, 1.0)).collect();
        let (variance, freedom) = centred(&apart, 0.0, 0.1);
        assert!((variance - 0.01).abs() < 1e-12);
        assert!((freedom - 7.0).abs() < 1e-9);
    }
}
