//! How the limit moves while time passes.
//!
//! Between two days the limit gains d t from its trend d and wanders with variance q t, t in weeks. On a grid of step
//! δ this is a random walk with, in each of n equal parts of the time,
//!
//! ```text
//! m = d t / n      v = q t / n
//! P(one up)   = (v + m² + m δ) / 2 δ²
//! P(one down) = (v + m² - m δ) / 2 δ²
//! P(stay)     = 1 - (v + m²) / δ²
//! ```
//!
//! whose mean and variance are exactly m and v; n is the smallest number for which v + m² <= δ² / 2 at every trend.
//! Means and variances of steps add, so those of the whole gap are exact too. The shape is nearly normal for many
//! steps and coarse for few.
//!
//! # Steps at the default settings (δ = 0.05 m, q = 0.002 m² a week)
//!
//! | gap | steps | up, stay, down at d = 0 | at d = 0.03 m a week |
//! | --- | --- | --- | --- |
//! | 1 day | 1 | 0.057, 0.886, 0.057 | 0.104, 0.878, 0.018 |
//! | 1 week | 4 | 0.100, 0.800, 0.100 | 0.186, 0.778, 0.036 |
//! | 2 weeks | 7 | 0.114, 0.771, 0.114 | 0.215, 0.742, 0.043 |
//! | 26 weeks | 91 | the same | the same |
//!
//! Beyond [`Settings::trend_weeks`] the trend stops and only the wandering goes on: after a year without runs the mean
//! has moved as far as after half a year, and the interval is wider.
//!
//! # Exactness
//!
//! Probability is conserved but for rounding (1e-12 after a season). The mean is exact always. Where no distribution
//! on three neighbouring cells has a mean m and so little variance, the variance is raised to the least possible, |m|
//! (δ - |m|). At the defaults that befalls the trend of 0.09 m a week at every gap and that of 0.06 m a week at some
//! of less than two weeks: over 26 weeks the fastest trend has a variance of 0.0568 m² instead of 0.0520 m².
//!
//! A random walk with a drift of its own is common practice for such series (no source); the kernel is arithmetic.

use super::Settings;
use super::grid::{CELLS, STEP_M, TRENDS_M};
use super::window::Window;

/// Cells of a row with an empty cell on both sides, so that a step needs no special case there.
pub(super) const STRIDE: usize = CELLS + 2;

/// Rates are told per week because training is.
const DAYS_PER_WEEK: f64 = 7.0;

/// The probabilities that the limit goes one cell down, stays, or goes one cell up in one step.
///
/// The three sum to one but for rounding and none is negative.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kernel {
    down: f64,
    stay: f64,
    up: f64,
}

/// The number of equal steps for a number of days, and the kernel of each trend for one step.
///
/// A normal distribution of mean m = d t and variance v = q t is narrower than a cell, so sampling or integrating it over
/// cells would be wrong. The three-point kernel has its mean and variance exactly; it takes the fewest steps for which
/// v + m² is at most half a squared cell for every trend.
///
/// `days` above nought. Steps are counted up one by one: at most some 1 700, for a gap of twenty years.
pub(super) fn kernels(settings: &Settings, days: i32) -> (u32, [Kernel; TRENDS_M.len()]) {
    let weeks = f64::from(days) / DAYS_PER_WEEK;
    let variance = settings.drift_m2 * weeks;
    let trend_weeks = weeks.min(settings.trend_weeks);
    let fits = |steps: u32| {
        let part = f64::from(steps);
        let fastest = TRENDS_M.iter().fold(0.0, |most: f64, d| most.max(d.abs())) * trend_weeks / part;
        variance / part + fastest * fastest <= STEP_M * STEP_M / 2.0
    };
    let mut steps = 1;
    while !fits(steps) {
        steps += 1;
    }
    let part = f64::from(steps);
    (steps, TRENDS_M.map(|d| Kernel::new(d * trend_weeks / part, variance / part)))
}

impl Kernel {
    /// The kernel of a mean (m) and variance (m²).
    ///
    /// No distribution on neighbouring cells has a mean m and a variance below |m| step - m²; a fast trend over a single day
    /// asks for less. Its variance is raised to that.
    pub fn new(mean: f64, variance: f64) -> Self {
        let square = (variance + mean * mean).max(mean.abs() * STEP_M);
        let cell = STEP_M * STEP_M;
        let (down, up) = ((square - mean * STEP_M) / (2.0 * cell), (square + mean * STEP_M) / (2.0 * cell));
        Self { down: down.max(0.0), stay: 1.0 - square / cell, up: up.max(0.0) }
    }

    /// Moves a row's mass by a number of steps; the row is empty outside `window`. Answers the window after them.
    ///
    /// Two buffers take turns, so that a step never reads what it wrote; the result ends in `row`. Cost: steps times
    /// the window, which grows by two cells a step. Cells of `row` outside the final window are left as they were,
    /// which is nought.
    pub fn run(self, steps: u32, row: &mut [f64], window: Window) -> Window {
        let mut other = [0.0; STRIDE];
        let mut window = window;
        let mut in_row = true;
        for _ in 0..steps {
            window = window.widened();
            if in_row {
                self.step(row, &mut other, window);
            } else {
                self.step(&other, row, window);
            }
            in_row = !in_row;
        }
        if !in_row {
            row[1 + window.from..=window.to].copy_from_slice(&other[1 + window.from..=window.to]);
        }
        window
    }

    /// Writes what one step makes of `old` into the cells of `window`, the window after the step, of `new`.
    ///
    /// Mass that would leave the grid stays in the end cell.
    ///
    /// `up` comes from the cell below, `down` from the cell above. At the first cell of the grid what would go down
    /// stays, at the last what would go up: mass is kept, and an athlete at the end of the grid is pinned there.
    fn step(self, old: &[f64], new: &mut [f64], window: Window) {
        let (from, to) = (window.from, window.to);
        let cells = new[1 + from..=to].iter_mut().zip(&old[1 + from..=to]);
        for ((new, &here), (&below, &above)) in cells.zip(old[from..to].iter().zip(&old[2 + from..2 + to])) {
            *new = self.stay * here + (self.up * below + self.down * above);
        }
        if from == 0 {
            new[1] += self.down * old[1];
        }
        if to == CELLS {
            new[CELLS] += self.up * old[CELLS];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kernel_has_the_mean_and_variance_of_the_drift() {
        let settings = Settings::default();
        for days in [3, 7, 14, 100] {
            let (steps, kernels) = kernels(&settings, days);
            let part = f64::from(days) / 7.0 / f64::from(steps);
            for (kernel, d) in kernels.iter().zip(TRENDS_M) {
                let mean = (kernel.up - kernel.down) * STEP_M;
                let variance = (kernel.up + kernel.down) * STEP_M * STEP_M - mean * mean;
                let least = d.abs() * part * STEP_M - d * d * part * part;
                assert!((mean - d * part).abs() < 1e-15);
                assert!((variance - (settings.drift_m2 * part).max(least)).abs() < 1e-15);
            }
        }
    }

    #[test]
    fn a_kernel_is_a_distribution_for_every_gap() {
        for days in 1..400 {
            for kernel in kernels(&Settings::default(), days).1 {
                assert!(kernel.down >= 0.0 && kernel.up >= 0.0 && kernel.stay > 0.25);
                assert!((kernel.down + kernel.stay + kernel.up - 1.0).abs() < 1e-15);
            }
        }
    }

    #[test]
    fn mass_at_the_end_of_the_grid_stays_there() {
        let mut row = [0.0; STRIDE];
        (row[1], row[CELLS]) = (0.25, 0.75);
        let kernel = Kernel::new(0.01, 0.001);
        kernel.run(51, &mut row, Window::WHOLE);
        assert!((row.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!(row[0] == 0.0 && row[STRIDE - 1] == 0.0);
    }
}
