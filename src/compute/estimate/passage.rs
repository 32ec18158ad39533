//! When the limit first reaches what a specification asks for, if it goes on as it does now.

use super::drift::{Kernel, STRIDE, kernels};
use super::grid::{CELLS, FIRST_LIMIT_M, HEIGHT_COSTS, LANES, Lane, STEP_M, TRENDS_M, WIDTHS_M, excess_height_m};
use super::outcome::chances;
use super::window::Window;
use super::{Posterior, Settings};
use crate::units::Length;

const DAYS_PER_WEEK: u32 = 7;
/// The longest look ahead, weeks.
const WEEKS_MAX: u32 = 260;
/// Mass of a lane and trend too small to matter: all such rows hold less than 1e-9.
const ROW_LEAST: f64 = 5e-12;
/// Halvings of a metre: the limit that is needed is exact to 1e-12 m.
const HALVINGS: u32 = 40;

/// What is to be reached: intervals of a height and spacing held with a probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goal {
    /// Height of the barriers.
    pub height: Length,
    /// Spacing of the barriers.
    pub spacing: Length,
    /// The probability of holding an interval that is asked for, 0 to 1.
    pub hold: f64,
}

/// The distribution of the time at which a goal is first reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    /// The probability that the goal has been reached, now and after each step.
    reached: Vec<f64>,
    steps_per_week: u32,
}

impl Passage {
    /// The days from now after which the goal has been reached with a probability of at least `level`, rounded up; 0 for
    /// a goal that is reached now, none where the look ahead ends before.
    pub fn days_to(&self, level: f64) -> Option<u32> {
        let steps = self.reached.iter().position(|reached| *reached >= level)?;
        u32::try_from(steps).ok().map(|steps| (steps * DAYS_PER_WEEK).div_ceil(self.steps_per_week))
    }

    /// The probability that the goal is reached already.
    pub fn now(&self) -> f64 {
        self.reached.first().copied().unwrap_or(0.0)
    }

    /// The probability that the goal is reached within the look ahead.
    pub fn ever(&self) -> f64 {
        self.reached.last().copied().unwrap_or(0.0)
    }
}

impl Posterior {
    /// The time at which a goal is first reached within a number of weeks, at most 260, if the limit goes on to drift
    /// with its trend as it does between training days.
    ///
    /// Every state of the grid that satisfies the goal absorbs what enters it, so the distribution is exact on the
    /// grid. A state satisfies it when its own probability of holding, height cost and width included, is at least the
    /// one asked for; a limit beyond that, for which the spacing would be crowded, does as well. A width at which no
    /// limit holds so often satisfies it where it holds most often (design choice). A trend is carried on for at most
    /// [`Settings::trend_weeks`].
    ///
    /// # Source
    /// Absorbing states of a Markov chain: J. G. Kemeny, J. L. Snell, *Finite Markov Chains*, 1960.
    ///
    /// ```
    /// use lanewright_compute::estimate::{Goal, Posterior, Settings};
    /// use lanewright_compute::prior::{Basis, Prior};
    /// use lanewright_compute::units::Length;
    ///
    /// let prior = Prior { mean_m: 6.0, sd_m: 0.3, basis: Basis::default() };
    /// let posterior = Posterior::new(&prior, &Settings::default())?;
    /// let goal = Goal { height: Length::from_mm(300), spacing: Length::from_mm(6_250), hold: 0.8 };
    /// let passage = posterior.first_passage(&goal, 26);
    /// assert!(passage.now() < 0.1 && passage.ever() > 0.4);
    /// # Ok::<(), lanewright_compute::estimate::EstimateError>(())
    /// ```
    pub fn first_passage(&self, goal: &Goal, weeks: u32) -> Passage {
        let weeks = weeks.min(WEEKS_MAX);
        let settings = self.settings();
        let (steps_per_week, moving) = kernels(settings, 7);
        // As many steps as with a trend, so that all steps take equally long.
        let still = moving.map(|_| Kernel::new(0.0, settings.drift_m2 / f64::from(steps_per_week)));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 52
        let moving_steps = settings.trend_weeks as u32 * steps_per_week;
        let steps = weeks * steps_per_week;
        let mut gained = vec![0.0; steps as usize + 1];
        let needed = WIDTHS_M.map(|width| beyond_m(goal.hold, width, settings));
        for (index, lane) in Lane::all().enumerate().take(LANES) {
            let cost = HEIGHT_COSTS[lane.height_cost] * excess_height_m(goal.height);
            let goal_cell = cell_of(goal.spacing.metres() + cost - needed[lane.width]);
            for trend in 0..TRENDS_M.len() {
                let way = Way { goal_cell, moving: moving[trend], still: still[trend], moving_steps };
                way.follow(self.row(index, trend), self.window(index), &mut gained);
            }
        }
        let mut sum = 0.0;
        let reached = gained.into_iter().map(|mass| {
            sum += mass;
            f64::min(sum, 1.0)
        });
        Passage { reached: reached.collect(), steps_per_week }
    }
}

/// How the mass of one lane and trend goes on.
struct Way {
    /// The first cell that satisfies the goal.
    goal_cell: usize,
    moving: Kernel,
    still: Kernel,
    /// Steps after which the trend ends.
    moving_steps: u32,
}

impl Way {
    /// Adds to `gained` what reaches the goal now and at each step.
    fn follow(&self, row: &[f64], window: Window, gained: &mut [f64]) {
        let goal = self.goal_cell;
        let total: f64 = row[1 + window.from..=window.to].iter().sum();
        if total < ROW_LEAST {
            return;
        }
        let reached: f64 = row[1 + goal.clamp(window.from, window.to)..=window.to].iter().sum();
        gained[0] += reached;
        if goal <= window.from {
            return;
        }
        let mut old = [0.0; STRIDE];
        let mut new = [0.0; STRIDE];
        let mut window = Window { from: window.from, to: window.to.min(goal) };
        old[1 + window.from..=window.to].copy_from_slice(&row[1 + window.from..=window.to]);
        for (step, gained) in (0..).zip(&mut gained[1..]) {
            let kernel = if step < self.moving_steps { self.moving } else { self.still };
            if goal < CELLS && window.to == goal {
                *gained += kernel.up() * old[goal];
            }
            let wider = window.widened();
            window = Window { from: wider.from, to: wider.to.min(goal) };
            kernel.step(&old, &mut new, window);
            std::mem::swap(&mut old, &mut new);
        }
    }
}

/// How far beyond the limit, metres (m) and mostly negative, an interval is still held with a probability.
///
/// Holding is likeliest half a band inside the limit and falls from there on.
fn beyond_m(hold: f64, width_m: f64, settings: &Settings) -> f64 {
    let held = |x: f64| chances(x, width_m, settings).held;
    let (mut enough, mut short) = (-settings.band_m / 2.0, 10.0 * width_m);
    if held(enough) <= hold {
        return enough;
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(enough, short);
        if held(middle) >= hold {
            enough = middle;
        } else {
            short = middle;
        }
    }
    enough
}

/// The cell nearest to a limit, metres (m), at most [`CELLS`]: beyond the grid.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // 0 to CELLS
fn cell_of(limit_m: f64) -> usize {
    ((limit_m - FIRST_LIMIT_M) / STEP_M).round().clamp(0.0, CELLS as f64) as usize
}

#[cfg(test)]
mod tests {
    use super::super::RunCounts;
    use super::super::grid::limit_m;
    use super::*;
    use crate::prior::{Basis, Prior};

    fn posterior(settings: &Settings) -> Posterior {
        let prior = Prior { mean_m: 6.4, sd_m: 0.5, basis: Basis::default() };
        let mut posterior = Posterior::new(&prior, settings).unwrap();
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
        posterior
    }

    fn goal(spacing_mm: u32) -> Goal {
        Goal { height: Length::from_mm(600), spacing: Length::from_mm(spacing_mm), hold: 0.8 }
    }

    /// The probability that a Brownian motion with drift has gone up by `a` by a time.
    fn closed(a: f64, drift: f64, variance: f64, time: f64) -> f64 {
        let normal = |x: f64| libm::erfc(-x / std::f64::consts::SQRT_2) / 2.0;
        let spread = (variance * time).sqrt();
        let mirrored = (2.0 * drift * a / variance).exp() * normal((-a - drift * time) / spread);
        normal((drift * time - a) / spread) + mirrored
    }

    /// First passage of Brownian motion with drift: M. C. K. Tweedie, "Statistical properties of inverse Gaussian
    /// distributions", Annals of Mathematical Statistics 28, 1957.
    #[test]
    fn the_passage_is_the_published_one_of_brownian_motion() {
        let settings = Settings::default();
        let posterior = posterior(&settings);
        for spacing_mm in [6_000, 6_500, 7_000] {
            let goal = goal(spacing_mm);
            let passage = posterior.first_passage(&goal, 26);
            for weeks in [1_u32, 4, 12, 26] {
                let mut expected = 0.0;
                for (index, lane) in Lane::all().enumerate() {
                    let needed = beyond_m(0.8, WIDTHS_M[lane.width], &settings);
                    let limit = goal.spacing.metres() + 0.3 * HEIGHT_COSTS[lane.height_cost] - needed;
                    let limit = limit_m(cell_of(limit));
                    for (trend, drift) in TRENDS_M.iter().enumerate() {
                        for (cell, mass) in posterior.row(index, trend)[1..=CELLS].iter().enumerate() {
                            let a = limit - limit_m(cell);
                            let share =
                                if a < 1e-9 { 1.0 } else { closed(a, *drift, settings.drift_m2, f64::from(weeks)) };
                            expected += mass * share;
                        }
                    }
                }
                let found = passage.reached[(weeks * passage.steps_per_week) as usize];
                assert!((found - expected).abs() < 0.012, "{spacing_mm} mm, {weeks} weeks: {found} {expected}");
            }
        }
    }

    #[test]
    fn a_goal_comes_later_when_it_is_farther_and_never_goes_away() {
        let posterior = posterior(&Settings::default());
        let mut before = vec![1.0 + 1e-12; 105];
        for spacing_mm in [5_500, 6_000, 6_500, 7_000, 7_500] {
            let passage = posterior.first_passage(&goal(spacing_mm), 26);
            assert_eq!(passage.reached.len(), 105);
            assert!(passage.reached.is_sorted() && passage.ever() <= 1.0);
            assert!(passage.reached.iter().zip(&before).all(|(now, before)| now <= before));
            assert_eq!(passage.days_to(0.0), Some(0));
            before = passage.reached;
        }
    }

    #[test]
    fn a_trend_that_is_not_carried_on_leaves_the_drift_alone() {
        let settings = Settings { trend_weeks: 4.0, ..Settings::default() };
        let (long, short) = (posterior(&Settings::default()), posterior(&settings));
        let (long, short) = (long.first_passage(&goal(6_750), 26), short.first_passage(&goal(6_750), 26));
        assert!((long.reached[16] - short.reached[16]).abs() < 1e-9, "four weeks are alike");
        assert!(short.ever() < long.ever() - 0.05);
    }

    #[test]
    fn the_state_needed_holds_as_often_as_asked_for() {
        let settings = Settings::default();
        for width in WIDTHS_M {
            let held = chances(beyond_m(0.8, width, &settings), width, &settings).held;
            assert!((held - 0.8).abs() < 1e-9 || width > 0.39, "{width}: {held}");
        }
        assert!((beyond_m(0.8, 0.40, &settings) + 0.8).abs() < 1e-12, "this width never holds so often");
        assert_eq!((cell_of(0.0), cell_of(6.51), cell_of(30.0)), (0, 60, CELLS));
    }

    #[test]
    fn a_goal_beyond_the_grid_is_not_reached() {
        let passage = posterior(&Settings::default()).first_passage(&goal(12_000), 26);
        assert!(passage.ever() < 1e-12 && passage.days_to(0.05).is_none());
    }
}
