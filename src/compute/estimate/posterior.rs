//! What is believed about an athlete on a day: probabilities over the grid, moved by time and by runs.
//!
//! The belief is a table p(c, g, w, d) over 131 x 7 x 4 x 5 cells, stored as 140 rows: one for each pair of height
//! cost and width (a "lane") and trend. Two operations move it:
//!
//! - time: every row is convolved with the kernel of its trend ([`super::drift`]),
//! - runs: every row of a lane is multiplied by exp(log L - max log L), and the whole is divided by its sum.
//!
//! The likelihood does not know the trend, so one row of factors serves five rows of cells. What a day's trend was is
//! learned all the same: a trend that has carried its mass to where the runs are gains weight.
//!
//! # What is left out
//!
//! After each update the outermost cells of a lane's window are emptied while they hold, on each side, at most 1e-15
//! of all mass and at most 1e-6 of the lane's own. What went is written down per lane, and at every later update that
//! figure is raised by the most that a cell outside could have gained, exp(bound - log evidence), so
//! [`Posterior::left_out`] is an upper bound of the mass that an unwindowed filter would now have there; what would
//! meanwhile have drifted back into the window is counted as if it had stayed. Above 1e-9 the caller starts again with
//! the whole grid.
//!
//! # Numbers
//!
//! Logarithms below -600 against the best cell count as -600, so a sum is never nought. A whole grid keeps 1e-290 in
//! every cell, which drift and later runs can still raise. Sums are plain: 18 340 positive terms lose at most some
//! 1e-13, and the sum is brought back to one at every update.
//!
//! # Cost
//!
//! 149 KB of cells. An update of a day with one configuration touches, per lane, the window's cells once for the
//! logarithms and five times for the rows; a gap of a week costs four kernel steps over every row (see
//! [`super::drift`]).

use super::drift::{STRIDE, kernels};
use super::grid::{CELLS, HEIGHT_COSTS, LANES, Lane, TRENDS_M, WIDTHS_M, limit_m};
use super::likelihood::{Trial, log_likelihood, trials};
use super::outcome::LogTables;
use super::summary::{Estimate, Point, Spread, spread_of_row};
use super::window::Window;
use super::{DAYS_MAX, EstimateError, Evidence, RUNS_MAX, RunCounts, Settings};
use crate::prior::Prior;

/// Rows of a lane, one per trend.
///
/// A row is addressed as lane x 5 + trend.
const TRENDS: usize = TRENDS_M.len();
/// Mass left out at most on each side of a lane's window at each update.
///
/// A hundred updates of 28 lanes leave out less than 1e-11 in all, were nothing raised again. Design choice.
const TAIL: f64 = 1e-15;
/// Share of a lane's own mass left out at most on each side: even an unlikely lane keeps its shape.
///
/// Design choice: the mean height cost rests on unlikely lanes as well, and a lane cut to a single cell could not
/// follow.
const LANE_TAIL: f64 = 1e-6;
/// The most that the cells left out may hold before an estimate filters the whole grid instead.
///
/// Far below what moves a quantile that is told to the centimetre. Design choice; `tests/compute/estimate_laws.rs`
/// compares with the slow filter.
pub(super) const LEFT_OUT_MAX: f64 = 1e-9;
/// The least mass of a limit, height cost and width that figures are made of: all below it hold less than 1e-9.
///
/// 3 668 points of 1e-13 are 4e-10. Of the module's example 2 089 points are left. Design choice.
const POINT_LEAST: f64 = 1e-13;
/// The least mass of a cell of a whole grid: later runs can still raise every cell.
///
/// Products with a likelihood that underflow are lifted back to it. Design choice: near the smallest double (2e-308),
/// with room.
const LEAST_MASS: f64 = 1e-290;
/// The least logarithm of a cell's likelihood over the best cell's: the sum of all cells never becomes zero.
///
/// exp(-600) is about 1e-261. Design choice.
const LEAST_LOG: f64 = -600.0;

/// What is believed about an athlete on a day, to be kept and moved on by later runs.
///
/// Moved on in the order of days only; [`Posterior::learn`] takes the runs of many days at once. Two posteriors that
/// saw the same runs hold the same bits, whether these came in one list or in several, as long as each day came whole:
/// a day learned in two parts is two updates, which is the same but for rounding. Cloning copies 150 KB.
///
/// # Example
/// ```
/// use lanewright_compute::estimate::{Posterior, Settings};
/// use lanewright_compute::prior::{Experience, PriorInputs, PriorPolicy, predict};
/// use lanewright_compute::units::Sex;
///
/// let prior = predict(&PriorInputs::unknown(Sex::Male, Experience::Novice), &PriorPolicy::default())?;
/// let mut posterior = Posterior::new(&prior, &Settings::default())?;
/// posterior.advance(20_000)?;
/// assert!((posterior.mass() - 1.0).abs() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct Posterior {
    settings: Settings,
    prior: Prior,
    /// Of the limit on the grid, in m²; a prior cut off by the end of the grid has less than the square of its spread.
    prior_variance: f64,
    /// One row of [`STRIDE`] per lane and trend; zero outside the lane's window.
    cells: Vec<f64>,
    windows: [Window; LANES],
    /// Per lane, what the cells left out could hold by now.
    ///
    /// Probability, at most 1 each.
    left_out: [f64; LANES],
    /// False for the whole grid, which then never trims and keeps every cell above nought.
    windowed: bool,
    /// Days since 1970-01-01.
    day: Option<i32>,
    evidence: Evidence,
}

impl Posterior {
    /// Starts from a prior; the first day it meets is the day of the prior.
    ///
    /// The four priors are independent, each a normal curve sampled at its grid points and brought to the sum one: the
    /// width's in its logarithm. Accepts prior means from 3.5 to 10 m and spreads from 0.2 to 3 m, wider than
    /// [`crate::prior::predict`] gives.
    ///
    /// # Errors
    /// [`EstimateError::Prior`] or [`EstimateError::Setting`] when one is impossible.
    pub fn new(prior: &Prior, settings: &Settings) -> Result<Self, EstimateError> {
        settings.validate()?;
        if !(3.5..=10.0).contains(&prior.mean_m) || !(0.2..=3.0).contains(&prior.sd_m) {
            return Err(EstimateError::Prior);
        }
        let limits: [f64; CELLS] =
            normalised(std::array::from_fn(|cell| normal(limit_m(cell), prior.mean_m, prior.sd_m)));
        let costs = normalised(HEIGHT_COSTS.map(|g| normal(g, settings.height_cost_mean, settings.height_cost_sd)));
        let median = libm::log(settings.width_median_m);
        let widths = normalised(WIDTHS_M.map(|w| normal(libm::log(w), median, settings.width_log_sd)));
        let trends = normalised(TRENDS_M.map(|d| normal(d, settings.trend_mean_m, settings.trend_sd_m)));
        let mut cells = Vec::with_capacity(LANES * TRENDS * STRIDE);
        for lane in Lane::all() {
            for trend in trends {
                let share = costs[lane.height_cost] * widths[lane.width] * trend;
                cells.push(0.0);
                cells.extend(limits.iter().map(|limit| limit * share));
                cells.push(0.0);
            }
        }
        let mut new = Self {
            settings: *settings,
            prior: *prior,
            prior_variance: 0.0,
            cells,
            windows: [Window::WHOLE; LANES],
            left_out: [0.0; LANES],
            windowed: true,
            day: None,
            evidence: Evidence::default(),
        };
        new.prior_variance = new.limit_variance();
        Ok(new)
    }

    /// Starts from a prior and never leaves a cell out: slower, for runs that contradict all that was believed.
    ///
    /// Some times slower, exact for any runs; [`Posterior::left_out`] stays nought.
    pub(super) fn whole(prior: &Prior, settings: &Settings) -> Result<Self, EstimateError> {
        Ok(Self { windowed: false, ..Self::new(prior, settings)? })
    }

    /// The day up to which it knows, days since 1970-01-01; none before the first.
    pub const fn day(&self) -> Option<i32> {
        self.day
    }

    /// What it has seen.
    pub const fn evidence(&self) -> Evidence {
        self.evidence
    }

    /// The probability that it holds; one but for rounding.
    ///
    /// Within 1e-12 after drift and runs of a season, say the tests.
    pub fn mass(&self) -> f64 {
        self.cells.iter().sum()
    }

    /// At most this share of the probability could by now lie in the cells that were left out.
    ///
    /// Above 1e-9 the latest runs contradict all that was believed; [`super::estimate`] over all runs is exact then.
    ///
    /// Nought before the first update. Never falls but by runs that make the cells outside even less likely.
    pub fn left_out(&self) -> f64 {
        self.left_out.iter().sum()
    }

    /// What its cells weigh, bytes.
    pub(super) fn bytes(&self) -> usize {
        size_of_val(&self.cells[..])
    }

    /// Lets time pass until a day (days since 1970-01-01): the limit drifts with its trend.
    ///
    /// The first call only sets the day: the prior is that of the first day met. Advancing by 14 days and by 7 twice
    /// agree but for the grid: the numbers of kernel steps differ. The same day again changes nothing.
    ///
    /// # Errors
    /// [`EstimateError::Earlier`] for a day before the known one; [`EstimateError::TooLong`] for more than 20 years.
    pub fn advance(&mut self, day: i32) -> Result<(), EstimateError> {
        let known = self.day.unwrap_or(day);
        if day < known {
            return Err(EstimateError::Earlier { day, known });
        }
        let days = day.checked_sub(known).filter(|&days| days <= DAYS_MAX).ok_or(EstimateError::TooLong)?;
        if days > 0 {
            self.drift(days);
        }
        self.day = Some(day);
        Ok(())
    }

    /// Learns from runs in any order, none before the known day; on an error it has learned nothing.
    ///
    /// The posterior stands on the last day of the runs afterwards. An empty list does nothing. Runs of a day already
    /// known are taken as further runs of that day.
    ///
    /// # Errors
    /// [`EstimateError`] when a run is impossible or before the known day, or there are too many.
    pub fn learn(&mut self, runs: &[RunCounts]) -> Result<(), EstimateError> {
        self.learn_showing(runs, |_| {})
    }

    /// Learns like [`Posterior::learn`] and shows what is believed after each day of the runs, earliest first.
    ///
    /// `show` is called once for each day, with the day's runs in; the days between are not shown.
    pub(super) fn learn_showing(
        &mut self,
        runs: &[RunCounts],
        mut show: impl FnMut(&Self),
    ) -> Result<(), EstimateError> {
        if runs.len() > RUNS_MAX {
            return Err(EstimateError::TooManyRuns(runs.len()));
        }
        runs.iter().try_for_each(RunCounts::check)?;
        let mut runs = runs.to_vec();
        runs.sort_unstable();
        let (Some(first), Some(last)) = (runs.first(), runs.last()) else {
            return Ok(());
        };
        let known = self.day.unwrap_or(first.day);
        if first.day < known {
            return Err(EstimateError::Earlier { day: first.day, known });
        }
        if last.day.checked_sub(known).is_none_or(|days| days > DAYS_MAX) {
            return Err(EstimateError::TooLong);
        }
        let mut tables = LogTables::new(&self.settings);
        for of_day in runs.chunk_by(|a, b| a.day == b.day) {
            self.advance(of_day[0].day)?;
            self.update(&trials(of_day, &self.settings), &mut tables);
            self.count(of_day);
            show(self);
        }
        Ok(())
    }

    /// Days are counted once however many lists their runs came in, as long as these followed each other.
    #[allow(clippy::cast_possible_truncation)] // at most RUNS_MAX
    fn count(&mut self, runs: &[RunCounts]) {
        let seen = &mut self.evidence;
        seen.runs += runs.len() as u32;
        seen.intervals += runs.iter().map(RunCounts::intervals).sum::<u32>();
        seen.days += u32::from(seen.last_day != Some(runs[0].day));
        seen.last_day = Some(runs[0].day);
    }

    /// All trends of a lane share the window after drift, the widest: each step adds one cell on both sides whatever
    /// the kernel.
    fn drift(&mut self, days: i32) {
        let (steps, kernels) = kernels(&self.settings, days);
        for (lane, window) in self.windows.iter_mut().enumerate() {
            let before = *window;
            for (trend, kernel) in kernels.iter().enumerate() {
                let row = row_mut(&mut self.cells, lane, trend);
                *window = kernel.run(steps, row, before);
            }
        }
    }

    /// Multiplies by the likelihood of a day's trials and brings the sum back to one.
    ///
    /// The log of the evidence of the day, log Σ p L, is top + log(total); it is what raises the mass left out.
    fn update(&mut self, trials: &[Trial], tables: &mut LogTables) {
        let mut logs = vec![[0.0; CELLS]; LANES];
        let mut outside = [f64::NEG_INFINITY; LANES];
        let mut top = f64::NEG_INFINITY;
        for (index, lane) in Lane::all().enumerate() {
            let window = self.windows[index];
            let log = &mut logs[index][..window.to - window.from];
            outside[index] = log_likelihood(trials, tables, lane, window, &self.settings, log);
            top = log.iter().fold(top, |top, &value| top.max(value));
        }
        let mut total = 0.0;
        for (index, log) in logs.iter_mut().enumerate() {
            let window = self.windows[index];
            let factors = &mut log[..window.to - window.from];
            for log in &mut *factors {
                *log = libm::exp((*log - top).max(LEAST_LOG));
            }
            total += multiply(&mut self.cells, index, window, factors);
        }
        let scale = 1.0 / total;
        self.rescale(scale);
        if self.windowed {
            self.leave_out(&logs, &outside, scale, top + libm::log(total));
        }
    }

    /// Only cells inside windows are touched; a whole grid is lifted to its least mass in the same pass.
    fn rescale(&mut self, scale: f64) {
        let least = if self.windowed { 0.0 } else { LEAST_MASS };
        for (index, window) in self.windows.iter().enumerate() {
            for trend in 0..TRENDS {
                let row = row_mut(&mut self.cells, index, trend);
                row[1 + window.from..=window.to].iter_mut().for_each(|cell| *cell = (*cell * scale).max(least));
            }
        }
    }

    /// Empties the outermost cells of every window that hold next to nothing, and accounts for them.
    ///
    /// The tail is told in the scale before division, since `sums` are the masses before it. `outside` bounds the gain
    /// of what was left out earlier; the newly left out counts with its own mass, which already has today's likelihood
    /// in it.
    fn leave_out(&mut self, sums: &[[f64; CELLS]], outside: &[f64; LANES], scale: f64, evidence: f64) {
        for (index, sums) in sums.iter().enumerate() {
            let window = self.windows[index];
            let sums = &sums[..window.to - window.from];
            let lane_mass: f64 = sums.iter().sum();
            let tail = (TAIL / scale).min(LANE_TAIL * lane_mass);
            let (kept, mass) = window.trimmed(sums, tail);
            for trend in 0..TRENDS {
                let row = row_mut(&mut self.cells, index, trend);
                row[1 + window.from..=kept.from].fill(0.0);
                row[1 + kept.to..=window.to].fill(0.0);
            }
            self.windows[index] = kept;
            let raised = self.left_out[index] * libm::exp(outside[index] - evidence);
            self.left_out[index] = (raised + mass * scale).min(1.0);
        }
    }

    /// The mass over limit, height cost and width; the trend is summed out.
    ///
    /// At most 3 668 of them, in the order of lanes and then limits; the masses sum to one but for 1e-9. Independent
    /// of the trend, which no question about today asks for.
    pub(super) fn points(&self) -> Vec<Point> {
        let mut points = Vec::new();
        for (index, lane) in Lane::all().enumerate() {
            for cell in self.windows[index].from..self.windows[index].to {
                let mass: f64 = (0..TRENDS).map(|trend| self.cells[(index * TRENDS + trend) * STRIDE + 1 + cell]).sum();
                if mass < POINT_LEAST {
                    continue;
                }
                points.push(Point {
                    limit_m: limit_m(cell),
                    height_cost: HEIGHT_COSTS[lane.height_cost],
                    width_m: WIDTHS_M[lane.width],
                    mass,
                });
            }
        }
        points
    }

    /// Square metres (m²), about the mean, from points.
    fn limit_variance(&self) -> f64 {
        let points = self.points();
        let mean: f64 = points.iter().map(|point| point.mass * point.limit_m).sum();
        points.iter().map(|point| point.mass * (point.limit_m - mean) * (point.limit_m - mean)).sum()
    }

    /// The comfortable limit over a wicket of 0.30 m, metres (m): that of [`Posterior::summary`] but for rounding, at a
    /// fraction of the work.
    ///
    /// Quantiles take each cell as spread evenly over its 0.05 m, so they move smoothly between cells.
    pub fn limit_m(&self) -> Spread {
        let mut row = [0.0; CELLS];
        for (lane, window) in self.windows.iter().enumerate() {
            for trend in 0..TRENDS {
                let cells = self.row(lane, trend)[1 + window.from..=window.to].iter();
                row[window.from..window.to].iter_mut().zip(cells).for_each(|(sum, cell)| *sum += cell);
            }
        }
        spread_of_row(&row)
    }

    /// The mass of a lane and trend by cell of the limit, with an empty cell at both ends.
    ///
    /// 133 numbers: [`STRIDE`] with the empty ends that spare the kernel its special cases.
    pub(super) fn row(&self, lane: usize, trend: usize) -> &[f64] {
        let start = (lane * TRENDS + trend) * STRIDE;
        &self.cells[start..start + STRIDE]
    }

    /// The cells of the limit that a lane keeps.
    pub(super) const fn window(&self, lane: usize) -> Window {
        self.windows[lane]
    }

    /// The constants of the model.
    pub(super) const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Puts what is believed in figures that a coach can use.
    ///
    /// Costs one pass over the cells and a sort of the points; holds no reference to the posterior, so that both can
    /// be kept.
    pub fn summary(&self) -> Estimate {
        Estimate::new(self.points(), self.prior, self.prior_variance, self.evidence, self.settings)
    }
}

fn row_mut(cells: &mut [f64], lane: usize, trend: usize) -> &mut [f64] {
    let start = (lane * TRENDS + trend) * STRIDE;
    &mut cells[start..start + STRIDE]
}

/// Multiplies the window of every row of a lane by one factor per cell. Answers the new mass of the lane and leaves the
/// new mass of each cell over all trends in `factors`.
///
/// In: factors in the order of the window's cells. Out, in the same slots: masses before division by the new sum. Both
/// are needed, the latter to decide what is left out.
fn multiply(cells: &mut [f64], lane: usize, window: Window, factors: &mut [f64]) -> f64 {
    let mut sums = [0.0; CELLS];
    let sums = &mut sums[..factors.len()];
    for trend in 0..TRENDS {
        let row = row_mut(cells, lane, trend);
        for ((cell, factor), sum) in row[1 + window.from..=window.to].iter_mut().zip(&*factors).zip(&mut *sums) {
            *cell *= factor;
            *sum += *cell;
        }
    }
    factors.copy_from_slice(sums);
    sums.iter().sum()
}

/// The curve without its constant: the callers divide by the sum.
fn normal(x: f64, mean: f64, sd: f64) -> f64 {
    let z = (x - mean) / sd;
    libm::exp(-z * z / 2.0)
}

fn normalised<const N: usize>(weights: [f64; N]) -> [f64; N] {
    let total: f64 = weights.iter().sum();
    weights.map(|weight| weight / total)
}
