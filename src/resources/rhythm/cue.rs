//! Stride marks of a spacing and the beat of an interval time, for everybody.

use actix_web::HttpResponse;
use actix_web::web::Data;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::http::CACHE;
use super::played::{EVEN, Played, PlayedView, WAV, refused, sound_href, spacing};
use super::schedules::{CautionView, cautions, thousandths};
use crate::compute::rhythm::{CueError, cue};
use crate::compute::set_out::{LaneSetting, Mark, MarkKind, set_out};
use crate::compute::units::Length;
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::telemetry;
use crate::resources::advice::vocabulary;

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
    let spacing = spacing(params.0.spacing_m)?;
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
    /// Beats that count in; 4 when absent.
    #[param(minimum = 0, maximum = 8, example = 4)]
    count_in: Option<usize>,
    /// Distance between barriers, metres: then each beat tells where that foot comes down.
    #[param(minimum = 1, maximum = 20, example = 8.5)]
    spacing_m: Option<f64>,
}

/// The beat of a rhythm.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmCue)]
struct CueView {
    /// Interval time, seconds.
    #[schema(minimum = 0.6, maximum = 3, example = 1.08)]
    interval_time_s: f64,
    /// What is heard, and when.
    #[serde(flatten)]
    played: PlayedView,
    /// What the beats rest on.
    #[schema(max_length = 200, example = "Evenly spaced beats, four an interval: design choice.")]
    source: &'static str,
}

impl CueParams {
    fn played(&self) -> Result<Played, Problem> {
        let beats = cue(self.interval_time_s, self.intervals).map_err(|error| {
            let parameter = match error {
                CueError::IntervalTime => "interval_time_s",
                CueError::Intervals => "intervals",
            };
            refused(parameter, "out_of_range", error)
        })?;
        Played::new(beats, self.count_in, self.spacing_m.map(spacing).transpose()?)
    }
}

/// When each foot comes down for an interval time: evenly spaced beats, four an interval, behind a count-in.
#[utoipa::path(
    get, path = "/v1/rhythm/cue", impl_for = get_rhythm_cue, tag = "rhythm",
    responses((status = 200, description = "The beats", body = CueView))
)]
async fn get_rhythm_cue(params: Params<CueParams>) -> Result<HttpResponse, Problem> {
    let asked = params.0;
    let href = sound_href(
        "/v1/rhythm/cue.wav",
        &[
            ("interval_time_s", Some(asked.interval_time_s.to_string())),
            ("intervals", Some(asked.intervals.to_string())),
            ("count_in", asked.count_in.map(|beats| beats.to_string())),
        ],
    );
    let played = PlayedView::new(&asked.played()?, href);
    let view = CueView { interval_time_s: asked.interval_time_s, played, source: EVEN };
    Ok(HttpResponse::Ok().insert_header(CACHE).json(view))
}

/// The same beats as a sound to run to: WAV, one channel, at most 70 seconds and 2.3 MB.
///
/// A low long tone is a landing, high ticks are strides 1 and 2, a tone between them is stride 3, the take-off; a deeper one counts
/// in. `first_landing_at_s` of the JSON tells where in the sound its times begin, and its cautions hold for the sound.
#[utoipa::path(
    get, path = "/v1/rhythm/cue.wav", impl_for = get_rhythm_cue_wav, tag = "rhythm",
    responses(
        (status = 200, description = "The sound", body = Vec<u8>, content_type = "audio/wav"),
        (status = 429, description = "Too many are computing; `Retry-After` says how long to wait")
    )
)]
async fn get_rhythm_cue_wav(lanes: Data<Lanes>, params: Params<CueParams>) -> Result<HttpResponse, Problem> {
    let played = params.0.played()?;
    let turn = lanes.strangers.turn(telemetry::stranger()).await?;
    let sound = turn.run(move || played.sound()).await??;
    Ok(HttpResponse::Ok().insert_header(CACHE).content_type(WAV).body(sound))
}

routes!(get_stride_marks, get_rhythm_cue, get_rhythm_cue_wav);
