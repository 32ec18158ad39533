//! The JSON that asks about rhythm.

use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::model::{Outlook, Question, RawQuestion, RawTimes, Wanted};
use crate::platform::fault::Fault;

/// Touchdown times to analyse.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RhythmQuestion, example = json!({"spacing_m": 8.5, "touchdown_times_s": [2.61, 3.65, 4.67, null, 6.72], "timing_method": "video", "video_fps": 60, "event_code": "100H", "target_time_s": 14.0}))]
pub struct AnalysisFields {
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 8.5)]
    spacing_m: f64,
    /// Touchdown time behind each barrier since the start, seconds; null where one was missed.
    #[schema(min_items = 2, max_items = 20, example = json!([2.61, 3.65, 4.67, null, 6.72]))]
    touchdown_times_s: Vec<Option<f64>>,
    /// How they were taken: `hand`, `tap`, `video` or `gate`.
    #[schema(value_type = crate::resources::advice::vocabulary::TimingMethod)]
    timing_method: String,
    /// Frames per second; needed with `video`, refused without.
    #[schema(minimum = 10, maximum = 1000, example = 60)]
    video_fps: Option<i64>,
    /// Event to compare with; needs `target_time_s`.
    #[schema(min_length = 1, max_length = 20, example = "100H")]
    event_code: Option<String>,
    /// Final time over the event whose schedule the run is compared with, seconds.
    #[schema(minimum = 5, maximum = 60, example = 14.0)]
    target_time_s: Option<f64>,
    /// Start line to the first barrier, metres; the event's when absent. Only with `event_code`.
    #[schema(minimum = 5, maximum = 30, example = 13.0)]
    approach_m: Option<f64>,
}

impl AnalysisFields {
    /// Parses the question.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Question, Vec<Fault>> {
        Question::parse(&RawQuestion {
            spacing_m: self.spacing_m,
            approach_m: self.approach_m,
            times: RawTimes {
                times_s: &self.touchdown_times_s,
                method: &self.timing_method,
                video_fps: self.video_fps,
            },
            event_code: self.event_code.as_deref(),
            target_time_s: self.target_time_s,
        })
    }
}

/// Touchdown times that point to a final time.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = FinalTimeQuestion, example = json!({"event_code": "100H", "touchdown_times_s": [2.61, 3.65, 4.67], "timing_method": "tap"}))]
pub struct FinalTimeFields {
    /// The event.
    #[schema(min_length = 1, max_length = 20, example = "100H")]
    event_code: String,
    /// Touchdown time behind each of the first barriers since the start, seconds; null where one was missed.
    #[schema(min_items = 1, max_items = 20, example = json!([2.61, 3.65, 4.67]))]
    touchdown_times_s: Vec<Option<f64>>,
    /// How they were taken: `hand`, `tap`, `video` or `gate`.
    #[schema(value_type = crate::resources::advice::vocabulary::TimingMethod)]
    timing_method: String,
    /// Frames per second; needed with `video`, refused without.
    #[schema(minimum = 10, maximum = 1000, example = 60)]
    video_fps: Option<i64>,
    /// Distance between barriers, metres, where the event has several courses.
    #[schema(minimum = 4, maximum = 10, example = 8.5)]
    spacing_m: Option<f64>,
    /// Start line to the first barrier, metres, where the event has several courses.
    #[schema(minimum = 5, maximum = 30, example = 13.0)]
    approach_m: Option<f64>,
    /// Barriers, where the event has several courses.
    #[schema(minimum = 2, maximum = 20, example = 10)]
    barriers: Option<u8>,
}

impl FinalTimeFields {
    /// Parses the question.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Outlook, Vec<Fault>> {
        let wanted = Wanted { spacing_m: self.spacing_m, approach_m: self.approach_m, barriers: self.barriers };
        let times =
            RawTimes { times_s: &self.touchdown_times_s, method: &self.timing_method, video_fps: self.video_fps };
        Outlook::parse(&self.event_code, &wanted, &times)
    }

    /// The event.
    pub fn event_code(&self) -> &str {
        &self.event_code
    }
}

/// Which schedule.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct ScheduleParams {
    /// The event.
    #[param(min_length = 1, max_length = 20, example = "100H")]
    pub event_code: String,
    /// The final time, seconds.
    #[param(minimum = 5, maximum = 60, example = 14.0)]
    pub final_time_s: f64,
    /// Distance between barriers, metres, where the event has several courses.
    #[param(minimum = 4, maximum = 10, example = 8.5)]
    pub spacing_m: Option<f64>,
    /// Start line to the first barrier, metres, where the event has several courses.
    #[param(minimum = 5, maximum = 30, example = 13.0)]
    pub approach_m: Option<f64>,
    /// Barriers, where the event has several courses.
    #[param(minimum = 2, maximum = 20, example = 10)]
    pub barriers: Option<u8>,
}
