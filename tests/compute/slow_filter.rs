//! The straightforward filter: every cell, every day, no tables and no windows; any step of the grid.

use lanewright_compute::estimate::{RunCounts, Settings, chances};
use lanewright_compute::prior::Prior;

/// A cell's coordinates and probability.
pub struct Cell {
    pub limit_m: f64,
    pub height_cost: f64,
    pub width_m: f64,
    pub trend_m: f64,
    pub mass: f64,
}

/// The grid, one row of limits per (height cost, width, trend).
pub struct Slow {
    settings: Settings,
    step_m: f64,
    limits: usize,
    fastest_m: f64,
    pub cells: Vec<Cell>,
}

#[allow(clippy::cast_precision_loss)]
fn axis(first: f64, step: f64, count: usize) -> Vec<f64> {
    (0..count).map(|k| first + step * k as f64).collect()
}

impl Slow {
    /// A grid whose every step is divided by `fine`.
    #[allow(clippy::cast_precision_loss)]
    pub fn new(prior: &Prior, settings: &Settings, fine: usize) -> Self {
        let part = fine as f64;
        let limits = axis(3.5, 0.05 / part, 130 * fine + 1);
        let costs = axis(0.2, 0.4 / part, 6 * fine + 1);
        let trends = axis(-0.03, 0.03 / part, 4 * fine + 1);
        let widths = if fine == 1 {
            vec![0.10, 0.16, 0.25, 0.40]
        } else {
            let logs = axis(0.10_f64.ln(), (4.0_f64).ln() / (3.0 * part), 3 * fine + 1);
            logs.into_iter().map(f64::exp).collect()
        };
        let bell = |x: f64, mean: f64, sd: f64| (-0.5 * ((x - mean) / sd).powi(2)).exp();
        let mut cells = Vec::new();
        for &height_cost in &costs {
            for &width_m in &widths {
                for &trend_m in &trends {
                    for &limit_m in &limits {
                        let mass = bell(limit_m, prior.mean_m, prior.sd_m)
                            * bell(height_cost, settings.height_cost_mean, settings.height_cost_sd)
                            * bell(width_m.ln(), settings.width_median_m.ln(), settings.width_log_sd)
                            * bell(trend_m, settings.trend_mean_m, settings.trend_sd_m);
                        cells.push(Cell { limit_m, height_cost, width_m, trend_m, mass });
                    }
                }
            }
        }
        let mut slow = Self { settings: *settings, step_m: 0.05 / part, limits: limits.len(), fastest_m: 0.09, cells };
        slow.normalise();
        slow
    }

    fn normalise(&mut self) {
        let total: f64 = self.cells.iter().map(|cell| cell.mass).sum();
        self.cells.iter_mut().for_each(|cell| cell.mass /= total);
    }

    pub fn advance(&mut self, days: i32) {
        let weeks = f64::from(days) / 7.0;
        let (variance, trend_weeks) = (self.settings.drift_m2 * weeks, weeks.min(self.settings.trend_weeks));
        let square = self.step_m * self.step_m;
        let mut steps = 1.0;
        while variance / steps + (self.fastest_m * trend_weeks / steps).powi(2) > square / 2.0 {
            steps += 1.0;
        }
        for row in self.cells.chunks_mut(self.limits) {
            let mean = row[0].trend_m * trend_weeks / steps;
            let moment = (variance / steps + mean * mean).max(mean.abs() * self.step_m);
            let up = ((moment + mean * self.step_m) / (2.0 * square)).max(0.0);
            let down = ((moment - mean * self.step_m) / (2.0 * square)).max(0.0);
            let mut left = steps;
            while left > 0.5 {
                let before: Vec<f64> = row.iter().map(|cell| cell.mass).collect();
                for cell in row.iter_mut() {
                    cell.mass = 0.0;
                }
                for (i, mass) in before.into_iter().enumerate() {
                    row[i].mass += mass * (1.0 - moment / square);
                    row[(i + 1).min(self.limits - 1)].mass += mass * up;
                    row[i.saturating_sub(1)].mass += mass * down;
                }
                left -= 1.0;
            }
        }
    }

    /// Learns the runs of one day.
    pub fn learn(&mut self, runs: &[RunCounts]) {
        let mut logs = vec![0.0; self.cells.len()];
        for run in runs {
            let weight = 1.0 / (1.0 + (f64::from(run.intervals()) - 1.0) * self.settings.icc);
            for (log, cell) in logs.iter_mut().zip(&self.cells) {
                let excess = (run.height.metres() - 0.30).max(0.0);
                let beyond = run.spacing.metres() - (cell.limit_m - cell.height_cost * excess);
                let p = chances(beyond, cell.width_m, &self.settings);
                *log += weight
                    * (f64::from(run.held) * p.held.ln()
                        + f64::from(run.over_reached) * p.over_reached.ln()
                        + f64::from(run.crowded) * p.crowded.ln()
                        + f64::from(run.broken) * (1.0 - p.held).ln());
            }
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        for (cell, log) in self.cells.iter_mut().zip(logs) {
            cell.mass *= (log - top).exp();
        }
        self.normalise();
    }

    /// Learns runs sorted by day and lets time pass to `on_day`.
    pub fn filter(&mut self, runs: &[RunCounts], on_day: i32) {
        let mut day = None;
        for of_day in runs.chunk_by(|a, b| a.day == b.day) {
            self.advance(of_day[0].day - day.unwrap_or(of_day[0].day));
            self.learn(of_day);
            day = Some(of_day[0].day);
        }
        self.advance(on_day - day.unwrap_or(on_day));
    }

    pub fn mean(&self, of: impl Fn(&Cell) -> f64) -> f64 {
        self.cells.iter().map(|cell| cell.mass * of(cell)).sum()
    }
}
