//! Stride marks of a spacing and the beat of an interval time, for everybody.

use actix_web::HttpResponse;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::http::CACHE;
use super::model::SPACING;
use super::schedules::{CautionView, cautions, thousandths};
use crate::compute::rhythm::{Beat, CueError, cue};
use crate::compute::set_out::{LaneSetting, Mark, MarkKind, set_out};
use crate::compute::units::Length;
use crate::platform::fault::Fault;
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::vocabulary;

fn refused(parameter: &str, code: &str, detail: impl std::fmt::Display) -> Problem {
    Problem::malformed(Fault::of(parameter, code, detail.to_string()))
}

/// Which spacing.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct MarksParams {
    /// Distance between barriers, metres.
    #[param(minimum = 1, maximum = 20, example = 8.5)]
    spacing_m: f64,
}

/// A mark between two barriers.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = StrideMark)]
struct StrideMarkView {
    /// `landing`, `stride_1`, `stride_2`, `stride_3`, or `barrier` for the next barrier.
    #[schema(value_type = vocabulary::StrideMarkPlace)]
    mark: &'static str,
    /// Distance behind the barrier just cleared, metres, to the centimetre.
    #[schema(minimum = 0, maximum = 20, example = 2.6)]
    at_m: f64,
    /// Distance from the mark before, metres, to the centimetre.
    #[schema(minimum = 0, maximum = 20, example = 1.6)]
    step_m: f64,
    /// That distance as a share of the spacing.
    #[schema(minimum = 0, maximum = 1, example = 0.188)]
    share: f64,
}

/// Where the feet come down between two barriers.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = StrideMarks)]
struct MarksView {
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 8.5)]
    spacing_m: f64,
    /// The marks in running order, the next barrier last; the third stride ends at the take-off.
    #[schema(min_items = 5, max_items = 5)]
    marks: Vec<StrideMarkView>,
    /// Where the shares come from.
    #[schema(max_length = 400, example = "Ukrainian university guide on hurdling ...")]
    source: &'static str,
    /// Cautions; show them wherever the marks are shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

const MARKS_SOURCE: &str = "Ukrainian university guide on hurdling, library item 4281, pp. 12-14, author and year not shown: model \
of the women's 100 m hurdles. That its shares hold for other spacings is a design choice.";

/// Where the feet come down between two barriers of a spacing, as the set-out sheet marks them.
#[utoipa::path(
    get, path = "/v1/rhythm/stride-marks", impl_for = get_stride_marks, tag = "rhythm",
    responses((status = 200, description = "The marks", body = MarksView))
)]
async fn get_stride_marks(params: Params<MarksParams>) -> Result<HttpResponse, Problem> {
    let spacing = Length::between(params.0.spacing_m, SPACING.0, SPACING.1)
        .map_err(|error| refused("spacing_m", "out_of_range", error))?;
    let lane = LaneSetting { approach: Length::default(), spacing, barriers: 2, run_out: Length::default() };
    let marks = set_out(&lane).map_err(|error| refused("spacing_m", "out_of_range", error))?;
    // Between the first barrier and the second; the take-off lies on the mark of the third stride.
    let between = |mark: &&Mark| {
        !matches!(mark.kind, MarkKind::Start | MarkKind::TakeOff | MarkKind::RunOutEnd) && mark.at > Length::default()
    };
    let mut before = Length::default();
    let rows = marks.iter().filter(between).map(|mark| {
        let step = Mark { at: Length::from_mm(mark.at.mm() - before.mm()), ..*mark };
        before = mark.at;
        let share = thousandths(step.at.metres() / spacing.metres());
        StrideMarkView { mark: mark.kind.as_str(), at_m: mark.at_tape(), step_m: step.at_tape(), share }
    });
    let marks = rows.collect();
    let view = MarksView { spacing_m: spacing.metres(), marks, source: MARKS_SOURCE, cautions: cautions() };
    Ok(HttpResponse::Ok().insert_header(CACHE).json(view))
}

/// Which rhythm.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct CueParams {
    /// Interval time, seconds.
    #[param(minimum = 0.6, maximum = 3, example = 1.08)]
    interval_time_s: f64,
    /// How many intervals.
    #[param(minimum = 1, maximum = 19, example = 4)]
    intervals: usize,
}

/// One beat.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmBeat)]
struct BeatView {
    /// When, seconds after the first landing.
    #[schema(minimum = 0, maximum = 60, example = 0.27)]
    at_s: f64,
    /// `landing`, `stride_1`, `stride_2` or `stride_3`, the take-off.
    #[schema(value_type = vocabulary::RhythmStep)]
    step: &'static str,
    /// The interval, from 1; the landing behind the last barrier counts as the next.
    #[schema(minimum = 1, maximum = 20, example = 1)]
    interval: usize,
}

impl From<&Beat> for BeatView {
    fn from(beat: &Beat) -> Self {
        Self { at_s: thousandths(beat.at_s), step: beat.step.as_str(), interval: beat.interval }
    }
}

/// The beat of a rhythm.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmCue)]
struct CueView {
    /// Interval time, seconds.
    #[schema(minimum = 0.6, maximum = 3, example = 1.08)]
    interval_time_s: f64,
    /// The beats: four an interval, and the landing that ends the last.
    #[schema(min_items = 5, max_items = 77)]
    beats: Vec<BeatView>,
    /// What the beats rest on.
    #[schema(max_length = 200, example = "Evenly spaced beats, four an interval: design choice.")]
    source: &'static str,
}

/// When each foot comes down for an interval time: evenly spaced beats, four an interval.
#[utoipa::path(
    get, path = "/v1/rhythm/cue", impl_for = get_rhythm_cue, tag = "rhythm",
    responses((status = 200, description = "The beats", body = CueView))
)]
async fn get_rhythm_cue(params: Params<CueParams>) -> Result<HttpResponse, Problem> {
    let CueParams { interval_time_s, intervals } = params.0;
    let beats = cue(interval_time_s, intervals).map_err(|error| {
        let parameter = match error {
            CueError::IntervalTime => "interval_time_s",
            CueError::Intervals => "intervals",
        };
        refused(parameter, "out_of_range", error)
    })?;
    let beats = beats.iter().map(BeatView::from).collect();
    let view = CueView { interval_time_s, beats, source: "Evenly spaced beats, four an interval: design choice." };
    Ok(HttpResponse::Ok().insert_header(CACHE).json(view))
}

routes!(get_stride_marks, get_rhythm_cue);
