//! The JSON of touchdown schedules and forecasts.

use serde::Serialize;
use utoipa::ToSchema;

use crate::compute::decision::Caution;
use crate::compute::rhythm::{Calibration, Course, FinalTime, SOURCE, Schedule, Timing, courses, valid_range_s};
use crate::resources::advice::CautionCode;

/// Seconds, or any other figure, to the thousandth.
pub fn thousandths(value: f64) -> f64 {
    (value * 1_000.0).round() / 1_000.0
}

/// A stable code with its sentence.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmCaution)]
pub struct CautionView {
    /// Stable code.
    #[schema(value_type = CautionCode)]
    code: &'static str,
    /// One sentence.
    #[schema(max_length = 300, example = "This supports a qualified coach and never replaces one.")]
    pub text: &'static str,
}

/// The cautions that hold for everybody.
pub fn cautions() -> Vec<CautionView> {
    Caution::BASE.iter().map(|one| CautionView { code: one.code(), text: one.text() }).collect()
}

/// Where the barriers of a race stand.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmCourse)]
pub struct CourseView {
    /// Start to finish, metres.
    #[schema(minimum = 10, maximum = 300, example = 100)]
    pub race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 2, maximum = 20, example = 10)]
    pub barriers: u8,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 5, maximum = 30, example = 13)]
    pub approach_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 4, maximum = 10, example = 8.5)]
    pub spacing_m: f64,
    /// Last barrier to the finish, metres.
    #[schema(minimum = 0.5, maximum = 50, example = 10.5)]
    pub run_in_m: f64,
}

impl From<&Course> for CourseView {
    fn from(course: &Course) -> Self {
        Self {
            race_distance_m: course.race_distance().metres(),
            barriers: course.barriers(),
            approach_m: course.approach().metres(),
            spacing_m: course.spacing().metres(),
            run_in_m: course.run_in().metres(),
        }
    }
}

/// How much a club's own races count in its schedule: 0 not at all, towards 1 with many.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ScheduleWeights)]
struct WeightsView {
    /// In the first touchdown time.
    #[schema(minimum = 0, maximum = 1, example = 0.62)]
    touchdown_1: f64,
    /// In the mean interval time.
    #[schema(minimum = 0, maximum = 1, example = 0.71)]
    interval_time: f64,
    /// In the acceleration over the first intervals.
    #[schema(minimum = 0, maximum = 1, example = 0.3)]
    acceleration: f64,
    /// In the fade.
    #[schema(minimum = 0, maximum = 1, example = 0.4)]
    fade: f64,
}

/// How far the club's own schedule lies from the usual one, told for the 110 m hurdles in 13.65 s.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ScheduleShift)]
struct ShiftView {
    /// Later first touchdown, seconds.
    #[schema(minimum = -2, maximum = 2, example = 0.04)]
    touchdown_1_s: f64,
    /// Longer mean interval time, seconds.
    #[schema(minimum = -1, maximum = 1, example = -0.004)]
    interval_time_s: f64,
    /// More acceleration still to come in the first interval, a share of the mean interval time.
    #[schema(minimum = -2, maximum = 2, example = 0.01)]
    acceleration: f64,
    /// More slowing towards the last interval, a share of the mean interval time.
    #[schema(minimum = -2, maximum = 2, example = -0.02)]
    fade: f64,
}

/// What the club's own race tests did to the schedule.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ScheduleCalibration)]
pub struct CalibrationView {
    /// Results that went in: finished races over the same course, of athletes that you see.
    #[schema(minimum = 0, maximum = 500, example = 8)]
    series_used: usize,
    /// Results over the same course that cannot be learnt from, such as times that do not rise.
    #[schema(minimum = 0, maximum = 500, example = 1)]
    series_left_out: usize,
    /// How much they count.
    weights: WeightsView,
    /// What they changed.
    shift: ShiftView,
    /// How the two are brought together, and the source of that.
    #[schema(max_length = 700, example = "Own races count n / (n + k) ...")]
    method: &'static str,
}

const METHOD: &str = "Mean of the club's shape given its races, normal around the usual shape: own races count n / (n + k), with \
k = 0.25 for exactly timed races of 13.65 s over 110 m, more for slower races and for a less exact clock. Formula: H. Buehlmann, \
Experience Rating and Credibility, ASTIN Bulletin 4, 1967; D. V. Lindley, A. F. M. Smith, Bayes Estimates for the Linear Model, \
1972. The variances are a design choice.";

impl CalibrationView {
    /// Of what was learnt from some results, others left out.
    pub fn new(club: &Calibration, series_left_out: usize) -> Self {
        let [touchdown_1, interval_time, acceleration, fade] = club.weights.map(thousandths);
        Self {
            series_used: club.series,
            series_left_out,
            weights: WeightsView { touchdown_1, interval_time, acceleration, fade },
            shift: ShiftView {
                touchdown_1_s: thousandths(club.shape.touchdown_1_s),
                interval_time_s: thousandths(club.shape.unit_s),
                acceleration: thousandths(club.shape.acceleration),
                fade: thousandths(club.shape.fade),
            },
            method: METHOD,
        }
    }
}

/// Touchdown times for a final time.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TouchdownSchedule)]
pub struct ScheduleView {
    /// The event.
    #[schema(max_length = 20, example = "100H")]
    pub event_code: String,
    /// Where the barriers stand.
    pub course: CourseView,
    /// Touchdown time behind each barrier from the start, seconds.
    #[schema(min_items = 2, max_items = 20, example = json!([2.602, 3.69, 4.796]))]
    pub touchdown_times_s: Vec<f64>,
    /// Time of each interval, seconds: one fewer.
    #[schema(min_items = 1, max_items = 19, example = json!([1.088, 1.106]))]
    pub interval_times_s: Vec<f64>,
    /// Last touchdown to the finish, seconds.
    #[schema(minimum = 0, maximum = 30, example = 1.253)]
    pub run_in_s: f64,
    /// The final time, seconds.
    #[schema(minimum = 1, maximum = 60, example = 14.0)]
    pub finish_s: f64,
    /// Fastest and slowest final time that this course has a schedule for, seconds.
    #[schema(min_items = 2, max_items = 2, example = json!([11.73, 22.78]))]
    valid_range_s: [f64; 2],
    /// Where the constants come from: common practice and design choices, not validated.
    #[schema(max_length = 700, example = "Constants of the 110 m hurdles ...: common practice, no source.")]
    pub source: &'static str,
    /// Every course of this event on file; ask for another one with `spacing_m`, `approach_m` and `barriers`.
    #[schema(min_items = 1, max_items = 30)]
    courses: Vec<CourseView>,
    /// What the club's own race tests did to it; only in a club.
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration: Option<CalibrationView>,
    /// Cautions; show them wherever the schedule is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

impl ScheduleView {
    /// A schedule as JSON, with what a club's races did to it.
    pub fn new(event_code: &str, course: &Course, schedule: &Schedule, calibration: Option<CalibrationView>) -> Self {
        let touchdown_times_s: Vec<f64> = schedule.touchdown_times_s.iter().copied().map(thousandths).collect();
        let (low, high) = valid_range_s(course);
        Self {
            event_code: event_code.to_owned(),
            course: course.into(),
            // Differences of the rounded times, so that the printed column adds up.
            interval_times_s: touchdown_times_s.windows(2).map(|pair| thousandths(pair[1] - pair[0])).collect(),
            run_in_s: thousandths(schedule.finish_s - touchdown_times_s.last().copied().unwrap_or_default()),
            touchdown_times_s,
            finish_s: schedule.finish_s,
            valid_range_s: [low, high],
            source: SOURCE,
            courses: courses(event_code).iter().map(CourseView::from).collect(),
            calibration,
            cautions: cautions(),
        }
    }
}

/// Mean and quantiles of a forecast, seconds.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FinalTimeForecast)]
struct ForecastView {
    /// Mean, seconds.
    #[schema(minimum = 1, maximum = 60, example = 14.1)]
    mean: f64,
    /// 5 % quantile, seconds: the 90 % interval begins.
    #[schema(minimum = 1, maximum = 60, example = 13.5)]
    p05: f64,
    /// 25 % quantile, seconds: the 50 % interval begins.
    #[schema(minimum = 1, maximum = 60, example = 13.85)]
    p25: f64,
    /// Median.
    #[schema(minimum = 1, maximum = 60, example = 14.1)]
    p50: f64,
    /// 75 % quantile, seconds: the 50 % interval ends.
    #[schema(minimum = 1, maximum = 60, example = 14.35)]
    p75: f64,
    /// 95 % quantile, seconds: the 90 % interval ends.
    #[schema(minimum = 1, maximum = 60, example = 14.7)]
    p95: f64,
}

/// The final time that touchdown times point to.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FinalTimeAnswer)]
pub struct FinalTimeView {
    /// The event.
    #[schema(max_length = 20, example = "100H")]
    event_code: String,
    /// Where the barriers stand.
    course: CourseView,
    /// The forecast by the clock of the touchdown times.
    final_time_s: ForecastView,
    /// Touchdown times it rests on.
    #[schema(minimum = 1, maximum = 20, example = 3)]
    touchdowns_used: usize,
    /// Standard deviation of an interval by that clock, seconds.
    #[schema(minimum = 0, maximum = 1, example = 0.1)]
    interval_sd_s: f64,
    /// Whether the touchdown times lie together as fewer than one race in a thousand does: check them.
    unusual: bool,
    /// Fastest and slowest final time that a forecast can tell for this course, seconds.
    #[schema(min_items = 2, max_items = 2, example = json!([11.73, 22.78]))]
    valid_range_s: [f64; 2],
    /// Where the schedule and its spread come from.
    #[schema(max_length = 1200, example = "Constants of the 110 m hurdles ...: common practice, no source.")]
    source: String,
    /// Cautions; show them wherever the forecast is shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

impl FinalTimeView {
    /// A forecast as JSON.
    pub fn new(event_code: &str, course: &Course, found: &FinalTime, used: usize, timing: Timing) -> Self {
        let (low, high) = valid_range_s(course);
        let FinalTime { mean, p05, p25, p50, p75, p95, unusual } = *found;
        let [mean, p05, p25, p50, p75, p95] = [mean, p05, p25, p50, p75, p95].map(thousandths);
        let spread = "Spread of races around it: set to the errors of Iwasaki, Nunome and Nozawa, PLoS ONE 17(12): e0278651, \
                      2022, and widened for slower races and for the doubt about the constants, design choice.";
        Self {
            event_code: event_code.to_owned(),
            course: course.into(),
            final_time_s: ForecastView { mean, p05, p25, p50, p75, p95 },
            touchdowns_used: used,
            interval_sd_s: thousandths(timing.interval_sd_s() * 10.0) / 10.0,
            unusual,
            valid_range_s: [low, high],
            source: format!("{SOURCE} {spread} {}", timing.source()),
            cautions: cautions(),
        }
    }
}
