//! One athlete drawn from what is believed, for looking ahead.
//!
//! A forecast needs athletes as they may truly be, not the middle of the belief: whoever is already past the limit
//! believed arrives early, and the spread of dates is what is asked for. Draws are not random: the cumulative mass is
//! cut at (k + 1/2) / n for k = 0 to n - 1, and each cut falls into a state. All weigh alike, and the same belief
//! gives the same athletes. 64 draws from the belief of [`crate::estimate`]'s example meet its mean limit to 0.019 m
//! (its standard deviation is 0.237 m) and its mean trend to 0.0002 m a week; 1 000 meet the limit to 0.004 m.
//!
//! The order is trend, then height cost and width, then limit: what comes first is met in proportion even by few
//! draws, what comes last only on average.

use super::Posterior;
use super::grid::{HEIGHT_COSTS, Lane, STEP_M, TRENDS_M, WIDTHS_M, limit_m};

/// An athlete as they may truly be.
///
/// Limits lie inside 3.475 to 10.025 m; the other three are grid points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Comfortable limit over a wicket of 0.30 m, metres (m).
    pub limit_m: f64,
    /// Metres of spacing per metre of height.
    pub height_cost: f64,
    /// Width, metres (m).
    pub width_m: f64,
    /// Trend of the limit, metres per week (m/week).
    pub trend_m: f64,
}

/// What is believed, in means and covariances.
///
/// For the forecast's approximation by a normal distribution in three numbers; the width keeps only its own mean and
/// spread, its correlation with the limit is dropped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moments {
    /// Means of the limit (m), the height cost and the trend (m/week).
    pub mean: [f64; 3],
    /// Their covariances, in the same order.
    ///
    /// Symmetric, from the same sums; a variance of a belief on one grid point may come out a rounding below nought.
    pub covariance: [[f64; 3]; 3],
    /// Mean of the squared width, square metres (m²).
    pub width_square_m2: f64,
    /// Mean and standard deviation of the width, metres (m).
    pub width_m: (f64, f64),
}

impl Posterior {
    /// `count` athletes, spread evenly over what is believed: the states at the middle of equal shares of the mass, trend
    /// after trend, each cell of the limit counted as spread evenly over its width. The same belief gives the same draws.
    ///
    /// As many as asked for, but for rounding at the last one; none for a count of nought. Neighbouring draws are
    /// neighbours in the grid: whoever pairs them with other lots must draw those independently.
    ///
    /// # Source
    /// Systematic sampling: J. S. Liu, R. Chen, "Sequential Monte Carlo methods for dynamic systems", J. Am. Statist. Assoc.
    /// 93, 1998.
    ///
    /// ```
    /// use lanewright_compute::estimate::{Posterior, Settings};
    /// use lanewright_compute::prior::{Basis, Prior};
    ///
    /// let prior = Prior { mean_m: 6.0, sd_m: 0.3, basis: Basis::default() };
    /// let draws = Posterior::new(&prior, &Settings::default())?.draws(100);
    /// let mean = draws.iter().map(|one| one.limit_m).sum::<f64>() / 100.0;
    /// assert!(draws.len() == 100 && (mean - 6.0).abs() < 0.05);
    /// # Ok::<(), lanewright_compute::estimate::EstimateError>(())
    /// ```
    #[allow(clippy::cast_precision_loss)] // few
    pub fn draws(&self, count: usize) -> Vec<State> {
        let share = self.mass() / count.max(1) as f64;
        let mut draws = Vec::with_capacity(count);
        let (mut before, mut next) = (0.0, share / 2.0);
        self.each(|state, mass| {
            while draws.len() < count && next < before + mass {
                let within = STEP_M * ((next - before) / mass - 0.5);
                draws.push(State { limit_m: state.limit_m + within, ..state });
                next += share;
            }
            before += mass;
        });
        draws
    }

    /// Means and covariances of what is believed.
    ///
    /// Exact sums over all cells, divided by the mass.
    pub fn moments(&self) -> Moments {
        let total = self.mass();
        let (mut mean, mut square, mut width, mut width_square) = ([0.0; 3], [[0.0; 3]; 3], 0.0, 0.0);
        self.each(|state, mass| {
            let share = mass / total;
            let values = [state.limit_m, state.height_cost, state.trend_m];
            for (i, a) in values.into_iter().enumerate() {
                mean[i] += share * a;
                for (j, b) in values.into_iter().enumerate() {
                    square[i][j] += share * a * b;
                }
            }
            width += share * state.width_m;
            width_square += share * state.width_m * state.width_m;
        });
        let covariance = std::array::from_fn(|i| std::array::from_fn(|j| square[i][j] - mean[i] * mean[j]));
        let width_sd = libm::sqrt((width_square - width * width).max(0.0));
        Moments { mean, covariance, width_square_m2: width_square, width_m: (width, width_sd) }
    }

    /// Shows every state with its mass.
    ///
    /// Cells without mass are skipped; trend outermost, then lanes, then limits ascending.
    fn each(&self, mut show: impl FnMut(State, f64)) {
        for (trend, trend_m) in TRENDS_M.into_iter().enumerate() {
            for (index, lane) in Lane::all().enumerate() {
                let (row, window) = (self.row(index, trend), self.window(index));
                let (height_cost, width_m) = (HEIGHT_COSTS[lane.height_cost], WIDTHS_M[lane.width]);
                for cell in window.from..window.to {
                    let mass = row[1 + cell];
                    if mass > 0.0 {
                        show(State { limit_m: limit_m(cell), height_cost, width_m, trend_m }, mass);
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{RunCounts, Settings};
    use super::*;
    use crate::prior::{Basis, Prior};
    use crate::units::Length;

    #[test]
    fn draws_have_the_moments_of_what_is_believed() {
        let prior = Prior { mean_m: 6.4, sd_m: 0.5, basis: Basis::default() };
        let mut posterior = Posterior::new(&prior, &Settings::default()).unwrap();
        let run = |day, spacing_mm, held| RunCounts {
            day,
            height: Length::from_mm(500),
            spacing: Length::from_mm(spacing_mm),
            held,
            over_reached: 4 - held,
            crowded: 0,
            broken: 0,
        };
        posterior.learn(&[run(20_000, 6_000, 4), run(20_003, 6_250, 3), run(20_007, 6_250, 4)]).unwrap();
        let (draws, moments) = (posterior.draws(4_000), posterior.moments());
        assert_eq!(draws.len(), 4_000);
        let values: Vec<[f64; 3]> = draws.iter().map(|one| [one.limit_m, one.height_cost, one.trend_m]).collect();
        let mean: [f64; 3] = std::array::from_fn(|i| values.iter().map(|one| one[i]).sum::<f64>() / 4_000.0);
        for i in 0..3 {
            assert!((mean[i] - moments.mean[i]).abs() < 2e-3, "{mean:?} {:?}", moments.mean);
            for j in 0..3 {
                let both = values.iter().map(|one| (one[i] - mean[i]) * (one[j] - mean[j])).sum::<f64>() / 4_000.0;
                assert!((both - moments.covariance[i][j]).abs() < 2e-3, "{i} {j} {both}");
            }
        }
        assert!((moments.mean[0] - posterior.summary().limit_m.mean).abs() < 1e-9);
        assert!((moments.width_m.0 - posterior.summary().width_m).abs() < 1e-9);
    }
}
