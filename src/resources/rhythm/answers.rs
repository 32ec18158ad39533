//! The JSON of an analysis of touchdown times.

use serde::Serialize;
use utoipa::ToSchema;

use super::model::{Question, Target};
use super::schedules::{CautionView, cautions, thousandths};
use crate::compute::rhythm::{
    AgainstSchedule, Analysis, Consistency, Fade, Finding, Interval, Measured, Pace, ReadingError, SOURCE, Timing,
    analyse, compare,
};
use crate::resources::advice::vocabulary;

/// Ten-thousandths: for figures far below one.
fn fine(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}

/// One interval: from the touchdown of the same number to the next.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmInterval)]
struct IntervalView {
    /// Number, from 1.
    #[schema(minimum = 1, maximum = 19, example = 1)]
    interval: usize,
    /// Difference of its touchdown times, seconds; null when one is missing. With `used` false it is not to be trusted.
    #[schema(minimum = -120, maximum = 120, example = 1.04)]
    time_s: Option<f64>,
    /// Standard deviation of that time from the clock alone, seconds.
    #[schema(minimum = 0, maximum = 1, example = 0.0068)]
    time_sd_s: Option<f64>,
    /// Speed, metres per second; null when the interval is left out.
    #[schema(minimum = 0, maximum = 40, example = 8.173)]
    speed_mps: Option<f64>,
    /// Standard deviation of the speed from the clock alone, metres per second.
    #[schema(minimum = 0, maximum = 10, example = 0.053)]
    speed_sd_mps: Option<f64>,
    /// Steps a second, four to an interval; null when the interval is left out.
    #[schema(minimum = 0, maximum = 10, example = 3.846)]
    stride_rate_hz: Option<f64>,
    /// Standard deviation of the stride rate from the clock alone.
    #[schema(minimum = 0, maximum = 5, example = 0.025)]
    stride_rate_sd_hz: Option<f64>,
    /// Whether it goes into the figures of the run.
    used: bool,
    /// What is said of it: `missing`, `not_monotonic`, `too_short`, `too_long`, `forgotten_tap`, `doubtful_mark`, `broken`.
    #[schema(value_type = Vec<vocabulary::RhythmFlag>, max_items = 7, example = json!([]))]
    flags: Vec<&'static str>,
}

impl IntervalView {
    fn new(number: usize, one: &Interval, interval_sd_s: f64) -> Self {
        let value = |of: fn(&Pace) -> Measured| one.pace.as_ref().map(|pace| thousandths(of(pace).value));
        let sd = |of: fn(&Pace) -> Measured| one.pace.as_ref().map(|pace| fine(of(pace).sd));
        Self {
            interval: number,
            time_s: one.reading.time_s.map(thousandths),
            time_sd_s: one.reading.time_s.map(|_| fine(interval_sd_s)),
            speed_mps: value(|pace| pace.speed_mps),
            speed_sd_mps: sd(|pace| pace.speed_mps),
            stride_rate_hz: value(|pace| pace.stride_rate_hz),
            stride_rate_sd_hz: sd(|pace| pace.stride_rate_hz),
            used: one.pace.is_some(),
            flags: one.reading.flags.iter().map(|flag| flag.code()).collect(),
        }
    }
}

/// Something that is wrong with a touchdown time.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmFinding)]
struct FindingView {
    /// The touchdown whose time is reported, from 1.
    #[schema(minimum = 1, maximum = 20, example = 4)]
    touchdown: usize,
    /// The interval it is about, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 19, example = 3)]
    interval: Option<usize>,
    /// Stable code, as the flags of the intervals.
    #[schema(value_type = vocabulary::RhythmFlag)]
    code: &'static str,
    /// One sentence or two.
    #[schema(max_length = 400, example = "Touchdown 4 is missing; the intervals before and after it are left out.")]
    text: String,
}

impl From<&Finding> for FindingView {
    fn from(one: &Finding) -> Self {
        Self { touchdown: one.touchdown, interval: one.interval, code: one.flag.code(), text: one.text.clone() }
    }
}

/// Mean over the intervals used, with the standard deviations that the clock gives it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmMean)]
struct MeanView {
    /// Interval time, seconds.
    #[schema(minimum = 0, maximum = 3, example = 1.043)]
    time_s: f64,
    /// Its standard deviation, seconds.
    #[schema(minimum = 0, maximum = 1, example = 0.0017)]
    time_sd_s: f64,
    /// Speed, metres per second.
    #[schema(minimum = 0, maximum = 40, example = 8.15)]
    speed_mps: f64,
    /// Its standard deviation.
    #[schema(minimum = 0, maximum = 10, example = 0.013)]
    speed_sd_mps: f64,
    /// Steps a second.
    #[schema(minimum = 0, maximum = 10, example = 3.835)]
    stride_rate_hz: f64,
    /// Its standard deviation.
    #[schema(minimum = 0, maximum = 5, example = 0.006)]
    stride_rate_sd_hz: f64,
}

impl From<&Pace> for MeanView {
    fn from(pace: &Pace) -> Self {
        Self {
            time_s: thousandths(pace.time_s.value),
            time_sd_s: fine(pace.time_s.sd),
            speed_mps: thousandths(pace.speed_mps.value),
            speed_sd_mps: fine(pace.speed_mps.sd),
            stride_rate_hz: thousandths(pace.stride_rate_hz.value),
            stride_rate_sd_hz: fine(pace.stride_rate_hz.sd),
        }
    }
}

/// Coefficient of variation of the interval times, the error of the clock taken out.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmConsistency)]
struct ConsistencyView {
    /// Standard deviation over mean, a share.
    #[schema(minimum = 0, maximum = 3, example = 0.021)]
    cv: f64,
    /// Lower end of its 90 % interval.
    #[schema(minimum = 0, maximum = 3, example = 0.012)]
    p05: f64,
    /// Upper end of its 90 % interval.
    #[schema(minimum = 0, maximum = 50, example = 0.044)]
    p95: f64,
    /// Whether the spread is more than the clock alone brings about in 19 runs of 20.
    distinguishable: bool,
    /// That in a sentence.
    #[schema(max_length = 200, example = "The spread is more than the error of the clock explains.")]
    text: &'static str,
}

impl From<&Consistency> for ConsistencyView {
    fn from(one: &Consistency) -> Self {
        let text = if one.distinguishable {
            "The spread of the interval times is more than the error of the clock explains."
        } else {
            "The spread of the interval times cannot be told apart from the error of the clock."
        };
        let Consistency { cv, p05, p95, distinguishable } = *one;
        Self { cv: fine(cv), p05: fine(p05), p95: fine(p95), distinguishable, text }
    }
}

/// How interval times change along the run (slope of Theil and Sen).
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmFade)]
struct FadeView {
    /// Seconds per interval; above zero the athlete slows.
    #[schema(minimum = -3, maximum = 3, example = 0.012)]
    slope_s: f64,
    /// Lower end of its 90 % interval.
    #[schema(minimum = -5, maximum = 5, example = 0.002)]
    p05: f64,
    /// Upper end of its 90 % interval.
    #[schema(minimum = -5, maximum = 5, example = 0.021)]
    p95: f64,
    /// Standard deviation that the clock alone gives to a straight line through the same intervals.
    #[schema(minimum = 0, maximum = 3, example = 0.0015)]
    timing_sd_s: f64,
}

impl From<&Fade> for FadeView {
    fn from(fade: &Fade) -> Self {
        Self { slope_s: fine(fade.slope), p05: fine(fade.p05), p95: fine(fade.p95), timing_sd_s: fine(fade.timing_sd) }
    }
}

/// One touchdown beside the schedule; later or longer than scheduled is above zero.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmDifference)]
struct DifferenceView {
    /// The barrier, from 1.
    #[schema(minimum = 1, maximum = 20, example = 2)]
    touchdown: usize,
    /// Scheduled touchdown time, seconds.
    #[schema(minimum = 0, maximum = 60, example = 3.69)]
    scheduled_s: f64,
    /// Touchdown time less schedule, seconds; null where it is missing or in doubt, or behind a forgotten tap.
    #[schema(minimum = -120, maximum = 120, example = -0.04)]
    difference_s: Option<f64>,
    /// Scheduled time of the interval that ends here, seconds; null for the first touchdown.
    #[schema(minimum = 0, maximum = 3, example = 1.088)]
    interval_scheduled_s: Option<f64>,
    /// Time of that interval less schedule, seconds; null where it is left out.
    #[schema(minimum = -3, maximum = 3, example = -0.048)]
    interval_difference_s: Option<f64>,
}

impl From<&AgainstSchedule> for DifferenceView {
    fn from(one: &AgainstSchedule) -> Self {
        Self {
            touchdown: one.touchdown,
            scheduled_s: thousandths(one.scheduled_s),
            difference_s: one.difference_s.map(thousandths),
            interval_scheduled_s: one.interval_scheduled_s.map(thousandths),
            interval_difference_s: one.interval_difference_s.map(thousandths),
        }
    }
}

/// A run beside the schedule of a target time.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmVersusSchedule)]
struct VersusView {
    /// The event.
    #[schema(max_length = 20, example = "100H")]
    event_code: String,
    /// The final time over the event's full course, seconds.
    #[schema(minimum = 1, maximum = 60, example = 14.0)]
    target_time_s: f64,
    /// Whether the schedule is that of another spacing or approach than the event's, run at the same speeds.
    discounted: bool,
    /// The touchdowns in running order.
    #[schema(min_items = 1, max_items = 20)]
    touchdowns: Vec<DifferenceView>,
    /// Where the schedule comes from.
    #[schema(max_length = 700, example = "Constants of the 110 m hurdles ...: common practice, no source.")]
    source: &'static str,
    /// Cautions; show them wherever the comparison is shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

impl VersusView {
    fn new(times: &[Option<f64>], analysis: &Analysis, target: &Target) -> Self {
        Self {
            event_code: target.event_code.clone(),
            target_time_s: target.final_time_s,
            discounted: target.discounted,
            touchdowns: compare(times, analysis, &target.schedule).iter().map(DifferenceView::from).collect(),
            source: SOURCE,
            cautions: cautions(),
        }
    }
}

/// What touchdown times say.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmAnalysis)]
pub struct AnalysisView {
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 8.5)]
    spacing_m: f64,
    /// Standard deviation of an interval by this clock, seconds.
    #[schema(minimum = 0, maximum = 1, example = 0.0068)]
    interval_sd_s: f64,
    /// Where that figure comes from.
    #[schema(
        max_length = 300,
        example = "Video: 1 / (frames per second x square root of 6) for an interval, arithmetic."
    )]
    timing_source: &'static str,
    /// The intervals in running order.
    #[schema(min_items = 1, max_items = 19)]
    intervals: Vec<IntervalView>,
    /// What is wrong with single values; nothing is corrected or filled in.
    #[schema(max_items = 100)]
    findings: Vec<FindingView>,
    /// How many intervals go into the figures below. A broken interval does: the run was like that.
    #[schema(minimum = 0, maximum = 19, example = 4)]
    intervals_used: usize,
    /// Mean over them; null without any.
    mean: Option<MeanView>,
    /// `cv` of `consistency`; null for fewer than three intervals.
    #[schema(minimum = 0, maximum = 3, example = 0.021)]
    consistency_cv: Option<f64>,
    /// How even the rhythm is; null for fewer than three intervals.
    consistency: Option<ConsistencyView>,
    /// `slope_s` of `fade`; null for fewer than three intervals.
    #[schema(minimum = -3, maximum = 3, example = 0.012)]
    fade_s_per_interval: Option<f64>,
    /// Whether the athlete slows; null for fewer than three intervals.
    fade: Option<FadeView>,
    /// Beside the schedule of a target time, when one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    versus_schedule: Option<VersusView>,
}

impl AnalysisView {
    /// Analyses and puts the answer into JSON.
    ///
    /// # Errors
    /// What the analysis refuses.
    pub fn of(question: &Question) -> Result<Self, ReadingError> {
        let Question { spacing, times_s, timing, target } = question;
        let analysis = analyse(*spacing, times_s, *timing)?;
        let interval_sd_s = Timing::interval_sd_s(*timing);
        let numbered = analysis.intervals.iter().zip(1..);
        let consistency = analysis.consistency.as_ref().map(ConsistencyView::from);
        let fade = analysis.fade.as_ref().map(FadeView::from);
        Ok(Self {
            spacing_m: spacing.metres(),
            interval_sd_s: fine(interval_sd_s),
            timing_source: timing.source(),
            intervals: numbered.map(|(one, number)| IntervalView::new(number, one, interval_sd_s)).collect(),
            findings: analysis.findings.iter().map(FindingView::from).collect(),
            intervals_used: analysis.used,
            mean: analysis.mean.as_ref().map(MeanView::from),
            consistency_cv: consistency.as_ref().map(|one| one.cv),
            consistency,
            fade_s_per_interval: fade.as_ref().map(|one| one.slope_s),
            fade,
            versus_schedule: target.as_ref().map(|target| VersusView::new(times_s, &analysis, target)),
        })
    }
}
