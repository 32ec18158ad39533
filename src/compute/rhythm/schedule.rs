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
//!
//! # Worked
//!
//! 110 m in 14.0 s: touchdown 1 at 1.01 + 0.110 · 14 = 2.55 s, mean interval 0.029 + 0.0765 · 14 = 1.10 s, run-in 1.55
//! s. The nine intervals take 0.971, 0.954, 0.953, 0.962, 0.978, 1.000, 1.027, 1.059 and 1.096 of the mean, which sum
//! to 9, so the touchdowns stand at 2.55, 3.62, 4.67, 5.72, 6.77, 7.85, 8.95, 10.08, 11.24 and 12.45 s.
//!
//! | course | final times with a schedule (s) | of whoever runs the 110 m in 14.0 s |
//! | --- | --- | --- |
//! | 110 m, 10 at 9.14 m | 12.80 to 25.00 | 14.00 |
//! | 100 m, 10 at 8.50 m | 11.68 to 22.70 | 12.73 |
//! | 80 m, 8 at 8.00 m | 9.34 to 18.20 | 10.20 |
//! | 75 m, 8 at 7.50 m | 8.80 to 17.12 | 9.60 |
//! | 70 m, 8 at 7.00 m | 8.25 to 16.03 | 9.00 |
//!
//! The last column is the same athlete at the same speeds and no forecast across events: heights differ.
//!
//! # Cost and inversion
//!
//! Every time is straight in E between the knots 12.8, 15 and 25 s, so the E of a final time is found by one division,
//! and a schedule costs a few exponentials an interval. Final times outside the range of a course are refused, never
//! extended.

use super::course::Course;
use super::shape::Shape;
use super::whole;
use thiserror::Error;

/// Touchdown 1 of the 110 m hurdles: seconds at nought and seconds per second of final time.
///
/// Common practice, no source.
const TOUCHDOWN_1: (f64, f64) = (1.01, 0.110);
/// Mean interval time of the 110 m hurdles.
///
/// Seconds at nought and seconds per second of final time, as above. Common practice, no source.
const UNIT: (f64, f64) = (0.029, 0.0765);
/// How much longer its first interval takes for the acceleration that is still to come, a share of the mean one.
///
/// Design choice between two published races, see the module.
const ACCELERATION: f64 = 0.0325;
/// Intervals over which that falls to its e-th part.
const ACCELERATED_IN: f64 = 1.1;
/// How much longer its last interval takes for tiring, a share of the mean one; grows with the square of the way there.
///
/// Design choice between the same two.
const FADE: f64 = 0.1575;
/// Steps from its first to its last interval.
///
/// Eight spacings of 9.14 m from the first interval to the last; x is cut off there, so a longer lane does not fade
/// for ever.
const STEPS: f64 = 8.0;
/// Its intervals.
const INTERVALS: f64 = 9.0;
/// Its spacing, metres (m).
///
/// World Athletics, 110 m hurdles: 13.72, 9.14 and 14.02 m ([`crate::specs`]).
const SPACING_M: f64 = 9.14;
/// Its start line to first landing and last landing to finish, metres (m): 13.72 and 14.02 with 0.118 of 9.14 more or less.
///
/// 14.80 and 12.94 m: a touchdown lies 0.118 of the spacing behind its barrier.
const FIRST_LANDING_M: f64 = 13.72 + 0.118 * SPACING_M;
const RUN_IN_M: f64 = 14.02 - 0.118 * SPACING_M;

/// Fastest 110 m hurdles: the one published row of touchdown times.
const FASTEST_S: f64 = 12.8;
/// Where the lines end.
///
/// There the run-in after the landing is run at 7.39 m/s and the last interval at 7.09 m/s; design choice.
const LINES_END_S: f64 = 15.0;
/// Slowest: 4.7 m/s between the barriers of the 110 m; design choice.
const SLOWEST_S: f64 = 25.0;
/// The final time at which a [`Shape`] is told: the mean of the 151 elite races of Iwasaki and others, 2022.
///
/// At it the touchdown 1 is 2.5115 s, the mean interval 1.0732 s, the run-in 1.4795 s.
pub(super) const REFERENCE_S: f64 = 13.65;

/// Where the figures come from, in plain English.
///
/// Shown with every schedule that the service answers.
pub const SOURCE: &str = "Constants of the 110 m hurdles (touchdown 1 at 1.01 + 0.110 x final time, mean interval time \
0.029 + 0.0765 x final time): common practice, no source. Acceleration over the first intervals and fade over the last: design \
choice, between a published target schedule for 12.8 s (fastest second and third interval) and a published final of the women's \
100 m hurdles (fastest between barriers 5 and 6), which pull apart. Other courses run at the same speeds by distance, and final \
times slower than 15.0 s over 110 m in the same proportions: design choice, not validated.";

/// Touchdown times for a final time.
///
/// Times rise strictly; the first is above 0 and the last below `finish_s`, for every valid final time and every shape
/// that [`Shape::within`] has passed.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    /// Touchdown behind each barrier, seconds (s) from the start, in running order.
    pub touchdown_times_s: Vec<f64>,
    /// The final time, seconds (s).
    ///
    /// As asked for, not rounded; of a discounted course the one that follows.
    pub finish_s: f64,
}

/// A final time for which there is no schedule.
///
/// The two ends are valid themselves.
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
    /// Exact to rounding in the final time: the run-in takes what the touchdowns leave.
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
    /// For practice over closer barriers towards a full race: same speeds by distance, so closer barriers give shorter
    /// intervals. Its own finish time is the answer, not the one asked for.
    ///
    /// ```
    /// use lanewright_compute::rhythm::{Course, Schedule, Shape, courses};
    /// use lanewright_compute::units::Length;
    ///
    /// let full = courses("110H")[0];
    /// let closer = Course::new(full.approach(), Length::from_mm(8_640), full.barriers(), full.run_in()).unwrap();
    /// let goal = Schedule::new(&full, 15.0, &Shape::default()).unwrap();
    /// let practice = Schedule::discounted(&full, 15.0, &closer, &Shape::default()).unwrap();
    /// assert!(practice.finish_s < goal.finish_s);
    /// assert!(practice.interval_times_s()[4] < goal.interval_times_s()[4]);
    /// ```
    ///
    /// # Errors
    /// [`OutOfRange`] for a final time that the full course has no schedule for.
    pub fn discounted(full: &Course, final_time_s: f64, run: &Course, shape: &Shape) -> Result<Self, OutOfRange> {
        let equivalent = equivalent_s(full, final_time_s)?;
        let finish_s = finish(run, equivalent);
        Ok(Self { touchdown_times_s: touchdowns(run, equivalent, shape), finish_s })
    }

    /// Interval times, seconds (s), in running order: one fewer than barriers.
    ///
    /// Landing to landing.
    pub fn interval_times_s(&self) -> Vec<f64> {
        self.touchdown_times_s.windows(2).map(|pair| pair[1] - pair[0]).collect()
    }

    /// Last touchdown to finish, seconds (s).
    ///
    /// From the landing behind the last barrier; above nought for every valid schedule.
    pub fn run_in_s(&self) -> f64 {
        self.finish_s - self.touchdown_times_s.last().copied().unwrap_or_default()
    }
}

/// The final times, seconds (s), fastest and slowest, that a course has schedules for, each to the hundredth.
///
/// They are those of athletes who run the 110 m hurdles in 12.8 to 25.0 s.
///
/// One hundredth narrower than exact at most. Depends on the course alone and not on a club's shape.
pub fn valid_range_s(course: &Course) -> (f64, f64) {
    // Rounded inwards, so that the times told are themselves valid.
    let (low, high) = (finish(course, FASTEST_S), finish(course, SLOWEST_S));
    (libm::ceil(low * 100.0 - 1e-6) / 100.0, libm::floor(high * 100.0 + 1e-6) / 100.0)
}

/// What the 110 m hurdles in E seconds are made of, seconds (s).
///
/// They sum, with nine units, to E.
struct Parts {
    touchdown_1: f64,
    unit: f64,
    run_in: f64,
}

impl Parts {
    /// Above 15 s the parts of 15 s, stretched by E / 15.
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
///
/// 1 for the 110 m, 0.930 for 8.50 m, 0.766 for 7.00 m.
pub(super) fn spacing_share(course: &Course) -> f64 {
    course.spacing().metres() / SPACING_M
}

/// The mean interval time of the 110 m hurdles at the reference time, seconds (s).
///
/// 1.0732 s.
pub(super) const fn reference_unit_s() -> f64 {
    UNIT.0 + UNIT.1 * REFERENCE_S
}

/// How much an interval, counted from nought, has of acceleration still to come and of fade, each less its mean over the nine
/// intervals of the 110 m, so that neither moves the mean interval time there.
///
/// Acceleration: 0.814 at the first interval of the 110 m, then 0.217 and -0.024, falling towards -0.185; fade: -0.354
/// at the first, 0.646 at the ninth. Closer barriers are passed sooner on both curves, so ten at 8.5 m fade less than
/// ten at 9.14 m.
pub(super) fn curves(interval: usize, spacing_share: f64) -> [f64; 2] {
    let at = (whole(interval) * spacing_share).min(STEPS);
    let left = |at: f64| libm::exp(-at / ACCELERATED_IN);
    // Of the geometric series of nine, and of the squares from 0 to 8: 204 / 64 / 9.
    let mean_left = (1.0 - left(INTERVALS)) / (1.0 - left(1.0)) / INTERVALS;
    [left(at) - mean_left, (at / STEPS) * (at / STEPS) - 17.0 / 48.0]
}

/// Usual time of an interval, counted from nought, as a share of the mean one of the 110 m at the same speed.
///
/// 0.95 to 1.10 on the 110 m.
fn usual_share(interval: usize, spacing_share: f64) -> f64 {
    let [acceleration, fade] = curves(interval, spacing_share);
    1.0 + ACCELERATION * acceleration + FADE * fade
}

/// Usual touchdown times of a course, seconds (s), for the 110 m in `equivalent` seconds.
///
/// Starts from touchdown 1 of the 110 m and the difference of the first landings, at the speed of the first interval.
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
///
/// A shape moves touchdowns and leaves the finish: what they gain the run-in loses.
pub(super) fn touchdowns(course: &Course, equivalent: f64, shape: &Shape) -> Vec<f64> {
    let mut times = usual_touchdowns(course, equivalent);
    for (time, effect) in times.iter_mut().zip(Shape::effects(course)) {
        *time += shape.shift_s(&effect) * equivalent / REFERENCE_S;
    }
    times
}

/// The final time of a course, seconds (s).
///
/// Of the usual shape, since a final time is what is given.
pub(super) fn finish(course: &Course, equivalent: f64) -> f64 {
    let run_in = Parts::of(equivalent).run_in * course.run_in_after_landing_m() / RUN_IN_M;
    usual_touchdowns(course, equivalent).last().copied().unwrap_or_default() + run_in
}

/// The equivalents at which the two straight pieces of every time begin and end, seconds (s).
pub(super) const KNOTS: [f64; 3] = [FASTEST_S, LINES_END_S, SLOWEST_S];

/// The 110 m time, seconds (s), of whoever runs a course in a final time.
///
/// 12.8 to 25.0 s; the inverse of `finish` on its two straight pieces.
pub(super) fn equivalent_s(course: &Course, final_time_s: f64) -> Result<f64, OutOfRange> {
    let (low_s, high_s) = valid_range_s(course);
    if !(final_time_s >= low_s && final_time_s <= high_s) {
        return Err(OutOfRange { low_s, high_s });
    }
    let [fast, middle, slow] = KNOTS.map(|equivalent| (equivalent, finish(course, equivalent)));
    let ((e0, t0), (e1, t1)) = if final_time_s <= middle.1 { (fast, middle) } else { (middle, slow) };
    Ok((e0 + (e1 - e0) * (final_time_s - t0) / (t1 - t0)).clamp(FASTEST_S, SLOWEST_S))
}
