//! The calculators of rhythm, for everybody.

use actix_web::HttpResponse;
use actix_web::web::Data;

use super::answers::AnalysisView;
use super::model::{Wanted, course};
use super::schedules::{FinalTimeView, ScheduleView};
use super::shapes::{AnalysisFields, FinalTimeFields, ScheduleParams};
use crate::compute::rhythm::{Calibration, Course, FinalTimeError, ReadingError, Schedule, Shape, final_time};
use crate::platform::body::Body;
use crate::platform::fault::Fault;
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::telemetry;

/// Public data change with a release only.
pub const CACHE: (&str, &str) = ("cache-control", "public, max-age=3600");

impl From<ReadingError> for Problem {
    fn from(error: ReadingError) -> Self {
        let (pointer, code) = match error {
            ReadingError::Length => ("/touchdown_times_s".to_owned(), "length"),
            ReadingError::OutOfRange(at) => (format!("/touchdown_times_s/{at}"), "out_of_range"),
        };
        Self::invalid(vec![Fault::at(pointer, code, error.to_string())])
    }
}

/// Analyses touchdown times: interval times, speeds and stride rates with their errors, consistency, fade.
///
/// Values that are missing, do not rise or cannot be run are reported with a code and left out; nothing is corrected. With
/// `event_code` and `target_time_s` the run is compared with a schedule.
#[utoipa::path(
    post, path = "/v1/rhythm/analysis", impl_for = analyse_rhythm, tag = "rhythm",
    responses((status = 200, description = "The analysis", body = AnalysisView))
)]
async fn analyse_rhythm(lanes: Data<Lanes>, body: Body<AnalysisFields>) -> Result<HttpResponse, Problem> {
    let question = body.read()?.parse().map_err(Problem::invalid)?;
    let turn = lanes.strangers.turn(telemetry::stranger()).await?;
    let view = turn.run(move || AnalysisView::of(&question)).await??;
    Ok(HttpResponse::Ok().json(view))
}

/// The touchdown schedule of an event for a final time.
///
/// The constants are common practice without a published source, carried over to other courses and slower times as a
/// design choice; a final time outside the valid range is refused with that range.
#[utoipa::path(
    get, path = "/v1/rhythm/schedule", impl_for = get_rhythm_schedule, tag = "rhythm",
    responses((status = 200, description = "The schedule", body = ScheduleView))
)]
async fn get_rhythm_schedule(params: Params<ScheduleParams>) -> Result<HttpResponse, Problem> {
    let asked = params.0;
    let course = course_asked(&asked)?;
    let schedule = schedule_asked(&asked, &course, &Shape::default())?;
    let view = ScheduleView::new(&asked.event_code, &course, &schedule, None);
    Ok(HttpResponse::Ok().insert_header(CACHE).json(view))
}

/// The course that query parameters name.
pub fn course_asked(asked: &ScheduleParams) -> Result<Course, Problem> {
    let wanted = Wanted { spacing_m: asked.spacing_m, approach_m: asked.approach_m, barriers: asked.barriers };
    course(&asked.event_code, &wanted)
        .map_err(|(parameter, code, detail)| Problem::malformed(Fault::of(parameter, code, detail)))
}

/// The schedule that query parameters ask for.
pub fn schedule_asked(asked: &ScheduleParams, course: &Course, shape: &Shape) -> Result<Schedule, Problem> {
    Schedule::new(course, asked.final_time_s, shape)
        .map_err(|error| Problem::malformed(Fault::of("final_time_s", "out_of_range", error.to_string())))
}

/// The final time that the first touchdown times of a race point to, with 50 % and 90 % intervals.
///
/// Fewer touchdown times and a less exact clock make wider intervals.
#[utoipa::path(
    post, path = "/v1/rhythm/final-time", impl_for = forecast_final_time, tag = "rhythm",
    responses((status = 200, description = "The forecast", body = FinalTimeView))
)]
async fn forecast_final_time(lanes: Data<Lanes>, body: Body<FinalTimeFields>) -> Result<HttpResponse, Problem> {
    let fields = body.read()?;
    let asked = fields.parse().map_err(Problem::invalid)?;
    let turn = lanes.strangers.turn(telemetry::stranger()).await?;
    let view = turn.run(move || {
        let found = final_time(&asked.course, &Calibration::default(), &asked.times_s, asked.timing)?;
        let used = asked.times_s.iter().flatten().count();
        Ok::<_, FinalTimeError>(FinalTimeView::new(fields.event_code(), &asked.course, &found, used, asked.timing))
    });
    let view = view.await?.map_err(|error| {
        let code = match error {
            FinalTimeError::Length(_) => "length",
            FinalTimeError::NotARun => "not_a_run",
            FinalTimeError::Outside(_) => "out_of_range",
        };
        Problem::invalid(vec![Fault::at("/touchdown_times_s", code, error.to_string())])
    })?;
    Ok(HttpResponse::Ok().json(view))
}

routes!(analyse_rhythm, get_rhythm_schedule, forecast_final_time);
