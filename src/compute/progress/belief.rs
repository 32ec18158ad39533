//! What a coach will believe on the way: the estimate carried forward in three numbers instead of a grid.
//!
//! A forecast asks the rules about thousands of days that have not come; on each they read P(hold) from an estimate that has
//! seen the runs up to then. The grid of [`crate::estimate`] is exact and far too slow for that. Here limit, height cost and
//! trend are jointly normal, the width stays as it is believed, and a session moves them by one step of Newton's method on
//! the same likelihood, flattened for what is not known of the limit.
//!
//! # Source
//! Kalman filter; the flattening: M. E. Glickman, "Parameter estimation in large dynamic paired comparison experiments",
//! Applied Statistics 48, 1999.
//!
//! # Formulas
//!
//! State (limit c, height cost g, trend d) with mean m and covariance P, width w with mean and spread fixed. With e
//! the height above 0.30 m and a = (1, -e, 0), the limit over that height has mean a·m and variance V = aᵀ P a.
//!
//! ```text
//! days pass:   m_c += t m_d        P_cc += 2 t P_cd + t² P_dd + q t     P_cg += t P_gd     P_cd += t P_dd
//! hold:        p_held at x = s - a·m with the width √(w² + sd(w)² + 3 V / π²)
//! session:     flat = 1 / √(1 + 3 V / (π w)²)
//!              information I = Σ (flat / w)² p (1 - p)        gradient G = Σ (flat / w) (p - seen)
//!              V' = 1 / (1 / V + I)       the limit moves by V' G, the rest by its covariance with the limit
//! ```
//!
//! The trend keeps on without the cut of [`Settings::trend_weeks`], since no gap of a forecast is that long.
//!
//! # How near it is
//!
//! Beside the grid, with the belief of [`crate::estimate`]'s example (limit 6.735 m, standard deviation 0.237 m):
//!
//! | height, spacing (m) | grid: P(hold), 5 % quantile | here |
//! | --- | --- | --- |
//! | 0.30, 6.00 | 0.897, 0.734 | 0.894, 0.777 |
//! | 0.30, 6.25 | 0.841, 0.591 | 0.838, 0.582 |
//! | 0.30, 6.50 | 0.696, 0.348 | 0.696, 0.324 |
//! | 0.50, 6.00 | 0.851, 0.609 | 0.849, 0.598 |
//! | 0.50, 6.25 | 0.723, 0.348 | 0.724, 0.337 |
//!
//! Four days later, after a session of four runs of four intervals at 6.00 m over wickets, all held: limit 6.763 m and
//! 0.194 m on the grid, 6.771 m and 0.199 m here; P(hold) at 6.25 m 0.883 and 0.861, since here the width is not
//! learned. The 95 % quantile is the mirror of the lower one, cut off at 1, and no rule reads it.

use crate::decision::Hold;
use crate::estimate::{Chances, Moments, Settings, chances};
use crate::units::Length;

/// Height at which the limit is stated, metres (m).
///
/// As in the grid.
const REFERENCE_M: f64 = 0.30;
/// 95 % quantile of the standard normal distribution.
///
/// To six decimals; beyond what the approximation deserves.
const Z95: f64 = 1.644_854;
/// Days of a week.
const WEEK: f64 = 7.0;

/// How far a barrier stands above the height at which the limit is stated, metres (m).
pub(super) fn excess_m(height: Length) -> f64 {
    (height.metres() - REFERENCE_M).max(0.0)
}

/// What a session showed, counted over its intervals.
///
/// Broken intervals do not occur in futures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Seen {
    pub held: u16,
    pub over_reached: u16,
    pub crowded: u16,
}

/// What is believed on a day to come.
///
/// Symmetric covariance, kept so by every step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Belief<'a> {
    mean: [f64; 3],
    covariance: [[f64; 3]; 3],
    width: (f64, f64),
    settings: &'a Settings,
}

impl<'a> Belief<'a> {
    /// Drops what the width has to do with the rest.
    pub fn new(moments: &Moments, settings: &'a Settings) -> Self {
        Self { mean: moments.mean, covariance: moments.covariance, width: moments.width_m, settings }
    }

    /// Mean height cost, metres of spacing per metre of height.
    ///
    /// For demands of configurations.
    pub const fn height_cost(&self) -> f64 {
        self.mean[1]
    }

    /// Lets days pass: the limit drifts with its trend.
    ///
    /// Nought days change nothing. The mean of the trend stays.
    pub fn wait(&mut self, days: i32) {
        let weeks = f64::from(days) / WEEK;
        self.mean[0] += weeks * self.mean[2];
        let p = &mut self.covariance;
        p[0][0] += weeks * (2.0 * p[0][2] + weeks * p[2][2]) + weeks * self.settings.drift_m2;
        p[0][1] += weeks * p[1][2];
        p[0][2] += weeks * p[2][2];
        p[1][0] = p[0][1];
        p[2][0] = p[0][2];
    }

    /// Mean and variance of the limit over barriers of a height (m, m²).
    ///
    /// The variance is kept above nought for the divisions that follow.
    fn limit_over(&self, height: Length) -> (f64, f64) {
        let (e, p) = (excess_m(height), &self.covariance);
        (self.mean[0] - self.mean[1] * e, (p[0][0] - 2.0 * e * p[0][1] + e * e * p[1][1]).max(1e-9))
    }

    /// The probability that an interval is held, and how sure that is.
    ///
    /// `p05 <= mean <= p95`. The doubt about limit and width is taken one at a time at their 95 % points, and the two
    /// drops are added in squares.
    pub fn hold(&self, height: Length, spacing: Length) -> Hold {
        let (limit, variance) = self.limit_over(height);
        let (width, sd) = self.width;
        let x = spacing.metres() - limit;
        let held = |x: f64, width: f64| chances(x, width, self.settings).held;
        // What is not known of the limit widens the curve: variances add, and that of a logistic curve is (pi w)²/3.
        let wide = libm::sqrt(width * width + sd * sd + 3.0 * variance / (std::f64::consts::PI * std::f64::consts::PI));
        let mean = held(x, wide);
        let (middle, reach) = (held(x, width), Z95 * libm::sqrt(variance));
        let of_limit = middle - f64::min(held(x + reach, width), held(x - reach, width));
        let of_width = middle - held(x, width + Z95 * sd);
        let below = libm::sqrt(of_limit * of_limit + of_width * of_width);
        Hold { mean, p05: (middle - below).clamp(0.0, mean), p95: (middle + below).clamp(mean, 1.0) }
    }

    /// The probability of holding an interval at the likeliest spacing over wickets: half a band inside the limit.
    ///
    /// 0.93 in the module's example. A bound of what any spacing can promise while the width stays.
    pub fn best_hold(&self) -> f64 {
        let (width, sd) = self.width;
        chances(-self.settings.band_m / 2.0, libm::sqrt(width * width + sd * sd), self.settings).held
    }

    /// Learns from a session of runs of about `per_run` intervals at one configuration.
    ///
    /// A run of `per_run` intervals weighs as in the grid, 1 / (1 + (n - 1) icc). One Newton step from
    /// the mean, so it is exact only as far as the likelihood is a parabola there.
    pub fn learn(&mut self, height: Length, spacing: Length, seen: Seen, per_run: f64) {
        let (limit, variance) = self.limit_over(height);
        let width = self.width.0;
        let x = spacing.metres() - limit;
        let flat =
            1.0 / libm::sqrt(1.0 + 3.0 * variance / (width * width * std::f64::consts::PI * std::f64::consts::PI));
        let weight = 1.0 / (1.0 + (per_run - 1.0).max(0.0) * self.settings.icc);
        let [held, over, crowded] = [seen.held, seen.over_reached, seen.crowded].map(|n| weight * f64::from(n));
        let all = held + over + crowded;
        let logistic = |z: f64| 1.0 / (1.0 + libm::exp(-z));
        let reach = logistic(flat * x / width);
        let crowd = logistic(flat * (-self.settings.band_m - x) / width);
        let slope = flat / width;
        let information = slope * slope * all * (reach * (1.0 - reach) + crowd * (1.0 - crowd));
        let gradient = slope * ((all * reach - over) + (crowded - all * crowd));
        let after = 1.0 / (1.0 / variance + information);
        self.shift(height, after * gradient, (variance, after));
    }

    /// Moves the limit over a height by `shift` (m) and its variance from one value to another, and all that hangs with it.
    ///
    /// Gains are covariances with the limit over that height, divided by its variance: a Kalman update by a
    /// pseudo-observation.
    fn shift(&mut self, height: Length, shift: f64, (before, after): (f64, f64)) {
        let e = excess_m(height);
        let gain: [f64; 3] = std::array::from_fn(|i| (self.covariance[i][0] - e * self.covariance[i][1]) / before);
        for i in 0..3 {
            self.mean[i] += gain[i] * shift;
            for j in 0..3 {
                self.covariance[i][j] -= gain[i] * gain[j] * (before - after);
            }
        }
    }
}

/// Chances of an interval at a distance beyond the limit, drawn from by lot.
///
/// One interval: `share` from 0 to below 1 falls into held, over-reached or crowded, in this order.
pub(super) fn outcome(share: f64, chances: &Chances) -> Seen {
    if share < chances.held {
        Seen { held: 1, ..Seen::default() }
    } else if share < chances.held + chances.over_reached {
        Seen { over_reached: 1, ..Seen::default() }
    } else {
        Seen { crowded: 1, ..Seen::default() }
    }
}
