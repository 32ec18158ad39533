//! Touchdown schedules: when each barrier must be cleared for a final time.
//!
//! One model serves every event. It is written for the 110 m hurdles and carried over by the speed profile along the
//! distance: whoever runs the 110 m hurdles in E seconds runs another course at the same speeds.
//!
//! - Touchdown 1 is at 1.01 + 0.110 E, the mean interval takes 0.029 + 0.0765 E; the rest is run-in.
//! - Athletes still accelerate over the first barriers and fade over the last. With x the distance behind the first barrier in
//!   spacings of 9.14 m, an interval takes 1 + 0.0325 e^(-x/1.1) + 0.1575 (x/8)^2 of the mean one, less what the two add on
//!   average. So the first interval is slower than the second and third, the fastest is the third of ten barriers (the third
//!   or fourth where barriers stand closer), and the last takes 15 % longer than it. Behind x = 8 nothing slows further.
//! - Another approach is longer or shorter by some metres, which are run at the speed of the first interval.
//! - Another spacing is run at the speed that the 110 m has at the same distance from its first barrier; another run-in at the
//!   same speed as the run-in of the 110 m.
//! - The lines hold to E = 15.0 s: beyond, they would leave a run-in slower than the last interval, although no barrier stands
//!   in it. From there on everything takes longer in the same proportion.
//! - The height of the barriers does not enter.
//!
//! # Source
//! The lines of the 110 m hurdles: common practice, no source. The two curves: design choice between two published facts that
//! pull apart. A target schedule for 12.8 s (B. McFarlane, "The Science of Hurdling", quoted second-hand and rounded to 0.1 s)
//! has intervals of 1.0 0.9 0.9 1.0 1.0 1.0 1.0 1.1 1.1 s: fastest second and third; its ten times are met within 0.12 s. In the
//! women's Olympic final of 2004 the fastest unit lay between barriers 5 and 6 ("100m Hurdle race: Time Analysis of Olympic
//! Level Women", Inquiries in Sport & Physical Education, 2011). One is a coaching text, the other one race; the third interval
//! lies between them, nearer the first. A club's own race tests move acceleration and fade separately. Carrying all over to other
//! courses and slower times: design choice. Landing: see [`crate::set_out`].

use super::course::Course;
use super::shape::Shape;
use super::whole;
use thiserror::Error;

/// Touchdown 1 of the 110 m hurdles: seconds at nought and seconds per second of final time.
const TOUCHDOWN_1: (f64, f64) = (1.01, 0.110);
/// Mean interval time of the 110 m hurdles.
const UNIT: (f64, f64) = (0.029, 0.0765);
/// How much longer its first interval takes for the acceleration that is still to come, a share of the mean one.
const ACCELERATION: f64 = 0.0325;
/// Intervals over which that falls to its e-th part.
const ACCELERATED_IN: f64 = 1.1;
/// How much longer its last interval takes for tiring, a share of the mean one; grows with the square of the way there.
const FADE: f64 = 0.1575;
/// Steps from its first to its last interval.
const STEPS: f64 = 8.0;
/// Its intervals.
const INTERVALS: f64 = 9.0;
/// Its spacing, metres (m).
const SPACING_M: f64 = 9.14;
/// Its start line to first landing and last landing to finish, metres (m): 13.72 and 14.02 with 0.118 of 9.14 more or less.
const FIRST_LANDING_M: f64 = 13.72 + 0.118 * SPACING_M;
const RUN_IN_M: f64 = 14.02 - 0.118 * SPACING_M;

/// Fastest 110 m hurdles: the one published row of touchdown times.
const FASTEST_S: f64 = 12.8;
/// Where the lines end.
const LINES_END_S: f64 = 15.0;
/// Slowest: 4.7 m/s between the barriers of the 110 m; design choice.
const SLOWEST_S: f64 = 25.0;
/// The final time at which a [`Shape`] is told: the mean of the 151 elite races of Iwasaki and others, 2022.
pub(super) const REFERENCE_S: f64 = 13.65;

/// Where the figures come from, in plain English.
pub const SOURCE: &str = "Constants of the 110 m hurdles (touchdown 1 at 1.01 + 0.110 x final time, mean interval time \
0.029 + 0.0765 x final time): common practice, no source. Acceleration over the first intervals and fade over the last: design \
choice, between a published target schedule for 12.8 s (fastest second and third interval) and a published final of the women's \
100 m hurdles (fastest between barriers 5 and 6), which pull apart. Other courses run at the same speeds by distance, and final \
times slower than 15.0 s over 110 m in the same proportions: design choice, not validated.";

/// Touchdown times for a final time.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    /// Touchdown behind each barrier, seconds (s) from the start, in running order.
    pub touchdown_times_s: Vec<f64>,
    /// The final time, seconds (s).
    pub finish_s: f64,
}

/// A final time for which there is no schedule.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
#[error("must be from {low_s:.2} to {high_s:.2} seconds for this course")]
pub struct OutOfRange {
    /// The fastest valid final time, seconds (s).
    pub low_s: f64,
    /// The slowest valid final time, seconds (s).
    pub high_s: f64,
}

impl Schedule {
    /// The schedule of a course for a final time, seconds (s), with the usual shape or a club's own.
    ///
    /// # Errors
    /// [`OutOfRange`] for a final time outside [`valid_range_s`].
    ///
    /// # Source
    /// See the head of this module.
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Schedule, Shape, courses};
    ///
    /// let schedule = Schedule::new(&courses("110H")[0], 14.0, &Shape::default()).unwrap();
    /// assert!((schedule.touchdown_times_s[0] - 2.55).abs() < 1e-9);
    /// assert!((schedule.touchdown_times_s[9] - 12.45).abs() < 1e-9);
    /// ```
    pub fn new(course: &Course, final_time_s: f64, shape: &Shape) -> Result<Self, OutOfRange> {
        let equivalent = equivalent_s(course, final_time_s)?;
        let touchdown_times_s = touchdowns(course, equivalent, shape);
        Ok(Self { touchdown_times_s, finish_s: final_time_s })
    }

    /// The schedule of a discounted course for whoever would run the full course in a final time, seconds (s).
    ///
    /// # Errors
    /// [`OutOfRange`] for a final time that the full course has no schedule for.
    pub fn discounted(full: &Course, final_time_s: f64, run: &Course, shape: &Shape) -> Result<Self, OutOfRange> {
        let equivalent = equivalent_s(full, final_time_s)?;
        let finish_s = finish(run, equivalent);
        Ok(Self { touchdown_times_s: touchdowns(run, equivalent, shape), finish_s })
    }

    /// Interval times, seconds (s), in running order: one fewer than barriers.
    pub fn interval_times_s(&self) -> Vec<f64> {
        self.touchdown_times_s.windows(2).map(|pair| pair[1] - pair[0]).collect()
    }

    /// Last touchdown to finish, seconds (s).
    pub fn run_in_s(&self) -> f64 {
        self.finish_s - self.touchdown_times_s.last().copied().unwrap_or_default()
    }
}

/// The final times, seconds (s), fastest and slowest, that a course has schedules for, each to the hundredth.
///
/// They are those of athletes who run the 110 m hurdles in 12.8 to 25.0 s.
pub fn valid_range_s(course: &Course) -> (f64, f64) {
    // Rounded inwards, so that the times told are themselves valid.
    let (low, high) = (finish(course, FASTEST_S), finish(course, SLOWEST_S));
    (libm::ceil(low * 100.0 - 1e-6) / 100.0, libm::floor(high * 100.0 + 1e-6) / 100.0)
}

/// What the 110 m hurdles in E seconds are made of, seconds (s).
struct Parts {
    touchdown_1: f64,
    unit: f64,
    run_in: f64,
}

impl Parts {
    fn of(equivalent: f64) -> Self {
        let on_line = equivalent.min(LINES_END_S);
        let line = |(base, slope): (f64, f64)| base + slope * on_line;
        let stretch = equivalent / on_line;
        let (touchdown_1, unit) = (line(TOUCHDOWN_1), line(UNIT));
        Self {
            touchdown_1: touchdown_1 * stretch,
            unit: unit * stretch,
            run_in: (on_line - touchdown_1 - INTERVALS * unit) * stretch,
        }
    }
}

/// Spacing of a course as a share of that of the 110 m.
pub(super) fn spacing_share(course: &Course) -> f64 {
    course.spacing().metres() / SPACING_M
}

/// The mean interval time of the 110 m hurdles at the reference time, seconds (s).
pub(super) const fn reference_unit_s() -> f64 {
    UNIT.0 + UNIT.1 * REFERENCE_S
}

/// How much an interval, counted from nought, has of acceleration still to come and of fade, each less its mean over the nine
/// intervals of the 110 m, so that neither moves the mean interval time there.
pub(super) fn curves(interval: usize, spacing_share: f64) -> [f64; 2] {
    let at = (whole(interval) * spacing_share).min(STEPS);
    let left = |at: f64| libm::exp(-at / ACCELERATED_IN);
    // Of the geometric series of nine, and of the squares from 0 to 8: 204 / 64 / 9.
    let mean_left = (1.0 - left(INTERVALS)) / (1.0 - left(1.0)) / INTERVALS;
    [left(at) - mean_left, (at / STEPS) * (at / STEPS) - 17.0 / 48.0]
}

/// Usual time of an interval, counted from nought, as a share of the mean one of the 110 m at the same speed.
fn usual_share(interval: usize, spacing_share: f64) -> f64 {
    let [acceleration, fade] = curves(interval, spacing_share);
    1.0 + ACCELERATION * acceleration + FADE * fade
}

/// Usual touchdown times of a course, seconds (s), for the 110 m in `equivalent` seconds.
fn usual_touchdowns(course: &Course, equivalent: f64) -> Vec<f64> {
    let parts = Parts::of(equivalent);
    let share = spacing_share(course);
    let more_m = course.first_landing_m() - FIRST_LANDING_M;
    let mut at = parts.touchdown_1 + more_m * parts.unit * usual_share(0, share) / SPACING_M;
    let mut times = vec![at];
    for interval in 0..usize::from(course.barriers() - 1) {
        at += parts.unit * share * usual_share(interval, share);
        times.push(at);
    }
    times
}

/// Touchdown times of a course, seconds (s), with a shape of one's own.
pub(super) fn touchdowns(course: &Course, equivalent: f64, shape: &Shape) -> Vec<f64> {
    let mut times = usual_touchdowns(course, equivalent);
    for (time, effect) in times.iter_mut().zip(Shape::effects(course)) {
        *time += shape.shift_s(&effect) * equivalent / REFERENCE_S;
    }
    times
}

/// The final time of a course, seconds (s).
pub(super) fn finish(course: &Course, equivalent: f64) -> f64 {
    let run_in = Parts::of(equivalent).run_in * course.run_in_after_landing_m() / RUN_IN_M;
    usual_touchdowns(course, equivalent).last().copied().unwrap_or_default() + run_in
}

/// The equivalents at which the two straight pieces of every time begin and end, seconds (s).
pub(super) const KNOTS: [f64; 3] = [FASTEST_S, LINES_END_S, SLOWEST_S];

/// The 110 m time, seconds (s), of whoever runs a course in a final time.
pub(super) fn equivalent_s(course: &Course, final_time_s: f64) -> Result<f64, OutOfRange> {
    let (low_s, high_s) = valid_range_s(course);
    if !(final_time_s >= low_s && final_time_s <= high_s) {
        return Err(OutOfRange { low_s, high_s });
    }
    let [fast, middle, slow] = KNOTS.map(|equivalent| (equivalent, finish(course, equivalent)));
    let ((e0, t0), (e1, t1)) = if final_time_s <= middle.1 { (fast, middle) } else { (middle, slow) };
    Ok((e0 + (e1 - e0) * (final_time_s - t0) / (t1 - t0)).clamp(FASTEST_S, SLOWEST_S))
}
