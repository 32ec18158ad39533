//! A club's own schedule: the usual one, moved towards the club's races as far as their number and clocks allow.
//!
//! The usual schedule rests on elite races; a squad's first touchdown, acceleration and fade are its own. Learning
//! them is regression with four unknowns for each course, held back by how well the usual shape is known to do. Few
//! races move it little, and nothing has to be switched on: with no race the schedule is the usual one, bit for bit.
//!
//! Weights that a club's races get (touchdown 1, interval, acceleration, fade), computed for n races of all ten
//! barriers of the 110 m:
//!
//! | | n = 1 | n = 5 | n = 20 |
//! | --- | --- | --- | --- |
//! | gates, 13.65 s | 0.80 0.73 0.71 0.77 | 0.95 0.93 0.93 0.94 | 0.99 0.98 0.98 0.99 |
//! | by hand, 13.65 s | 0.36 0.21 0.10 0.30 | 0.69 0.51 0.28 0.63 | 0.88 0.78 0.54 0.84 |
//! | gates, 18 s | 0.70 0.61 0.61 0.67 | 0.92 0.89 0.89 0.91 | 0.98 0.97 0.97 0.98 |
//!
//! Acceleration sits in the first two intervals and is the first to be lost in the error of a thumb.
//!
//! Cost: for each race a factorisation of at most 20 by 20; 500 races are some million multiplications.

use super::course::Course;
use super::linear::{Cholesky, dot};
use super::readings::{INTERVAL_S, LATEST_S};
use super::schedule::{OutOfRange, REFERENCE_S, equivalent_s, touchdowns};
use super::shape::{NUMBERS, Shape};
use super::spread::{club_variances, covariance};
use super::timing::Timing;
use thiserror::Error;

/// The most races that a calibration takes.
///
/// Which ones is for the caller to choose; the first in the list are taken. Design choice: it bounds the work.
pub const MAX_SERIES: usize = 500;

/// Touchdown times and final time of one race.
///
/// One athlete in one race; the times of one clock from one start.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Touchdown behind each barrier, seconds (s) from the athlete's own start; `None` for a missing one.
    pub touchdown_times_s: Vec<Option<f64>>,
    /// Final time, seconds (s), by the same clock.
    pub final_time_s: f64,
    /// How the times were taken.
    pub timing: Timing,
}

/// Why a race cannot be learnt from.
///
/// A race that cannot be learnt from is no error of the calibration: it is left out and the caller counts.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum SeriesError {
    /// Fewer than two touchdown times, or more entries than barriers.
    #[error("must have at least two touchdown times and no more entries than barriers")]
    Length,
    /// Times do not rise from the start to the finish as a run can.
    #[error("must have times that rise from start to finish, with intervals of {} to {} seconds", INTERVAL_S.0, INTERVAL_S.1)]
    NotARun,
    /// The final time has no schedule.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

/// What is known of the shape of a club's races on one course.
///
/// For one course: what is learnt over 75 m is not carried to 100 m.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// The club's shape, kept to one that is a race on the course.
    pub shape: Shape,
    /// How much the club's own races count in touchdown 1, mean interval time, acceleration and fade: 0 without any, towards 1 with many.
    ///
    /// Share of the club's own variance that its races explain; it says nothing about whether the shape differs from
    /// the usual one.
    pub weights: [f64; NUMBERS],
    /// Races that went in.
    pub series: usize,
    /// Covariance of what is still unknown of the numbers.
    ///
    /// What [`super::final_time`] widens its forecast by.
    pub(super) unknown: [[f64; NUMBERS]; NUMBERS],
}

impl Default for Calibration {
    /// The usual shape, no race of one's own.
    fn default() -> Self {
        let mut unknown = [[0.0; NUMBERS]; NUMBERS];
        for (at, variance) in club_variances().into_iter().enumerate() {
            unknown[at][at] = variance;
        }
        Self { shape: Shape::default(), weights: [0.0; NUMBERS], series: 0, unknown }
    }
}

impl Calibration {
    /// Learns a club's shape from its races on a course, in any order, at most [`MAX_SERIES`]; a race that cannot be learnt
    /// from is left out. Without any the result is the default.
    ///
    /// The shape θ of the club is normal around the usual one (0) with variances τ²; that of one race is normal around θ with
    /// variances σ²; its touchdown times add the errors of intervals and marks. The answer is the mean of θ given all races,
    /// `(T⁻¹ + Σ ZᵀV⁻¹Z)⁻¹ Σ ZᵀV⁻¹r`. For one number read without error this is the mean of the races times n / (n + k),
    /// k = σ² / τ²: 0.25 for races of 13.65 s, more for slower ones, and more the less exact the clock. The weight told is the
    /// share of the variance τ² that the races take away, which is n / (n + k) there.
    ///
    /// The order of the races only moves roundings. A shape that would not be a race is shrunk towards the usual one;
    /// `unknown` is not.
    ///
    /// # Source
    /// H. Bühlmann, "Experience Rating and Credibility", ASTIN Bulletin 4: 199-207, 1967 (n / (n + k)); D. V. Lindley, A. F. M.
    /// Smith, "Bayes Estimates for the Linear Model", Journal of the Royal Statistical Society B 34: 1-41, 1972. The
    /// variances: see [`super::RACE_SD`] and [`super::CLUB_SDS`].
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Calibration, Schedule, Series, Timing, courses};
    ///
    /// let course = courses("110H")[0];
    /// let mut times = Schedule::new(&course, 14.0, &Default::default()).unwrap().touchdown_times_s;
    /// times.iter_mut().for_each(|time| *time += 0.1);
    /// let late = Series {
    ///     touchdown_times_s: times.into_iter().map(Some).collect(),
    ///     final_time_s: 14.0,
    ///     timing: Timing::Gate,
    /// };
    /// let club = Calibration::learn(&course, &vec![late; 20]);
    /// assert!(club.shape.touchdown_1_s > 0.09 && club.weights[0] > 0.9);
    /// ```
    pub fn learn(course: &Course, series: &[Series]) -> Self {
        let variances = club_variances();
        let mut precision: Vec<Vec<f64>> = (0..NUMBERS)
            .map(|i| (0..NUMBERS).map(|j| if i == j { 1.0 / variances[i] } else { 0.0 }).collect())
            .collect();
        let mut pull = vec![0.0; NUMBERS];
        let mut taken = 0;
        for evidence in series.iter().take(MAX_SERIES).filter_map(|one| one.evidence(course).ok()) {
            for (i, row) in precision.iter_mut().enumerate() {
                pull[i] += dot(&evidence.effects[i], &evidence.misses);
                for (j, entry) in row.iter_mut().enumerate() {
                    *entry += dot(&evidence.effects[i], &evidence.effects[j]);
                }
            }
            taken += 1;
        }
        let Some(factor) = Cholesky::of(&precision).filter(|_| taken > 0) else { return Self::default() };
        let mean = factor.solve(&pull);
        let mut unknown = [[0.0; NUMBERS]; NUMBERS];
        for (at, row) in unknown.iter_mut().enumerate() {
            let unit: Vec<f64> = (0..NUMBERS).map(|j| if j == at { 1.0 } else { 0.0 }).collect();
            row.copy_from_slice(&factor.solve(&unit));
        }
        let shape = Shape::of_row(core::array::from_fn(|at| mean[at])).within(course);
        let weights = core::array::from_fn(|at| (1.0 - unknown[at][at] / variances[at]).clamp(0.0, 1.0));
        Self { shape, weights, series: taken, unknown }
    }
}

/// What one race says, made independent and of unit variance.
///
/// Products of these rows are ZᵀV⁻¹Z and ZᵀV⁻¹r.
struct Evidence {
    /// For each of the numbers, how far it moves each time.
    effects: [Vec<f64>; NUMBERS],
    /// How far each time lies behind the usual schedule.
    misses: Vec<f64>,
}

impl Series {
    /// Checks that a calibration can learn from this race on a course.
    ///
    /// In this order: enough times, times that rise, a final time with a schedule.
    ///
    /// # Errors
    /// [`SeriesError`] for the first reason why not.
    pub fn check(&self, course: &Course) -> Result<(), SeriesError> {
        self.evidence(course).map(|_| ())
    }

    /// Whitened with the covariance of one race in a known shape: [`super::spread`] plus the clock at start and
    /// finish.
    fn evidence(&self, course: &Course) -> Result<Evidence, SeriesError> {
        let at: Vec<usize> =
            (0..self.touchdown_times_s.len()).filter(|at| self.touchdown_times_s[*at].is_some()).collect();
        let times: Vec<f64> = self.touchdown_times_s.iter().copied().flatten().collect();
        if times.len() < 2 || self.touchdown_times_s.len() > usize::from(course.barriers()) {
            return Err(SeriesError::Length);
        }
        if !is_run(&at, &times) || times.last().is_none_or(|last| *last >= self.final_time_s) {
            return Err(SeriesError::NotARun);
        }
        let equivalent = equivalent_s(course, self.final_time_s)?;
        let usual = touchdowns(course, equivalent, &Shape::default());
        let mut covariance = covariance(course, equivalent, &at, &[[0.0; NUMBERS]; NUMBERS], self.timing);
        self.add_clock_of_finish(course, equivalent, &at, &mut covariance);
        let factor = Cholesky::of(&covariance).ok_or(SeriesError::NotARun)?;
        let scale = equivalent / REFERENCE_S;
        let effects = Shape::effects(course);
        Ok(Evidence {
            effects: core::array::from_fn(|of| {
                factor.whiten(&at.iter().map(|at| effects[*at][of] * scale).collect::<Vec<_>>())
            }),
            misses: factor.whiten(&at.iter().zip(&times).map(|(at, time)| time - usual[*at]).collect::<Vec<_>>()),
        })
    }

    /// The marks of start and finish move what the schedule expects: the start all times alike, the finish in proportion to
    /// how much each expected time follows the final time.
    ///
    /// A finish read late by δ makes the schedule expect touchdown k later by f_k δ; a start read late makes all read
    /// times earlier by δ and the expected ones by f_k δ, together (1 - f_k) δ.
    fn add_clock_of_finish(&self, course: &Course, equivalent: f64, at: &[usize], covariance: &mut [Vec<f64>]) {
        let variance = self.timing.mark_sd_s() * self.timing.mark_sd_s();
        let follows = follows(course, equivalent);
        for (row, a) in covariance.iter_mut().zip(at) {
            for (entry, b) in row.iter_mut().zip(at) {
                *entry += variance * (follows[*a] * follows[*b] + (1.0 - follows[*a]) * (1.0 - follows[*b]));
            }
        }
    }
}

/// How much each touchdown time of a course follows its final time, seconds per second.
///
/// 0.11 for touchdown 1 up to 0.80 for touchdown 10 of the 110 m below 15 s; on the straight piece it is a constant.
fn follows(course: &Course, equivalent: f64) -> Vec<f64> {
    // Straight on either side of the knots: a short step inside one piece.
    let other = equivalent * 0.999;
    let (here, there) =
        (touchdowns(course, equivalent, &Shape::default()), touchdowns(course, other, &Shape::default()));
    let step = super::schedule::finish(course, equivalent) - super::schedule::finish(course, other);
    here.iter().zip(&there).map(|(here, there)| (here - there) / step).collect()
}

/// Whether times at these barriers (indices) rise as a run can.
///
/// Across missing touchdowns the mean interval must lie within 0.6 to 3 s; the first above 0 s, the last at most 120
/// s.
pub(super) fn is_run(at: &[usize], times: &[f64]) -> bool {
    let first = times.first().is_some_and(|first| *first > 0.0);
    let last = times.last().is_some_and(|last| *last <= LATEST_S);
    let steps = at.windows(2).zip(times.windows(2)).all(|(at, times)| {
        let each = (times[1] - times[0]) / super::whole(at[1] - at[0]);
        (INTERVAL_S.0..=INTERVAL_S.1).contains(&each)
    });
    first && last && steps
}
