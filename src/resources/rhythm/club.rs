//! Rhythm of a club's own runs and race tests over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;
use utoipa::ToSchema;

use super::answers::AnalysisView;
use super::http::{course_asked, schedule_asked};
use super::model::Question;
use super::schedule_page::page;
use super::schedules::{CalibrationView, ScheduleView};
use super::shapes::ScheduleParams;
use super::store;
use crate::compute::rhythm::Calibration;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::Db;
use crate::platform::ids::{AthleteId, RunId};
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;

const CACHE: (&str, &str) = ("cache-control", "private, no-cache");

/// What the touchdown times of a run say.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RunRhythm)]
struct RunRhythm {
    /// The run.
    run_id: RunId,
    /// Who ran.
    athlete_id: AthleteId,
    /// The analysis.
    #[serde(flatten)]
    analysis: AnalysisView,
}

/// Analyses the touchdown times of a recorded run.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/runs/{run_id}/rhythm", impl_for = get_run_rhythm, tag = "rhythm",
    responses(
        (status = 200, description = "The analysis", body = RunRhythm),
        (status = 409, description = "The run has fewer than two barriers or no touchdown times")
    )
)]
async fn get_run_rhythm(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let run_id = RunId(path_id(&req, "run_id", "run")?);
    let mut tx = permit.read(&db).await?;
    let run = store::run_times(&mut tx, run_id).await?.ok_or_else(|| Problem::not_found("run"))?;
    drop(tx);
    let Some((times_s, timing)) = run.times.filter(|(times, _)| times.len() > 1) else {
        let detail = "No touchdown times of two barriers or more were recorded with this run, so it shows no rhythm. A \
                      correction of the run can add them.";
        return Err(Problem::new(Code::Conflict, detail));
    };
    let question = Question { spacing: run.spacing, times_s, timing, target: None };
    let turn = lanes.athletes.turn(permit.who()).await?;
    let analysis = turn.run(move || AnalysisView::of(&question)).await??;
    Ok(HttpResponse::Ok().insert_header(CACHE).json(RunRhythm { run_id, athlete_id: run.athlete, analysis }))
}

/// The touchdown schedule of an event for a final time, moved towards the club's own race tests.
///
/// It learns from finished races over the same course with touchdown times, of athletes that you see; a race with a fall is
/// left out. Without any it is the public schedule. The page is a touchdown chart with room for the times of three runs.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/rhythm/schedule", impl_for = get_club_rhythm_schedule, tag = "rhythm",
    responses(
        (status = 200, description = "The schedule", content((ScheduleView = "application/json"), (String = "text/html")))
    )
)]
async fn get_club_rhythm_schedule(
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    req: HttpRequest,
    // Taken in as it is: whether the caller may ask at all is answered first.
    params: Result<Params<ScheduleParams>, Problem>,
) -> Result<HttpResponse, Problem> {
    let asked = params?.0;
    let format = choose(&req, &[])?;
    let course = course_asked(&asked)?;
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    let series = store::race_series(&mut tx, &course).await?;
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    let view = turn.run(move || {
        let club = Calibration::learn(&course, &series);
        let schedule = schedule_asked(&asked, &course, &club.shape)?;
        let calibration = CalibrationView::new(&club, series.len() - club.series);
        Ok::<_, Problem>(ScheduleView::new(&asked.event_code, &course, &schedule, Some(calibration)))
    });
    let view = view.await??;
    Ok(match format {
        Format::Paper(form) => paper::Desk(&permit, &db, &lanes).answer(form, measure, page(&view, measure)).await?,
        _ => HttpResponse::Ok().insert_header(CACHE).json(view),
    })
}

routes!(get_run_rhythm, get_club_rhythm_schedule);
