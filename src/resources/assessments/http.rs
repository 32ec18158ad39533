//! Assessments over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::record;
use super::shapes::{Batch, Page, View};
use super::store::{self, Place};
use crate::platform::access::{AssessmentWrite, Permit, SquadRead};
use crate::platform::batch::{self, BatchResult};
use crate::platform::body::Body;
use crate::platform::corrections;
use crate::platform::dates;
use crate::platform::db::{Db, Kind};
use crate::platform::facts::{self, Wanted};
use crate::platform::ids::{AssessmentId, AthleteId, SessionId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored;

/// Which assessments a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only assessments of this athlete.
    athlete_id: Option<AthleteId>,
    /// Only assessments of this session.
    session_id: Option<SessionId>,
    /// Only from this day on, in the club's time zone.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Only up to this day, in the club's time zone.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
    /// Also assessments that were corrected or withdrawn.
    #[serde(default)]
    superseded: bool,
}

/// Records assessments, each on its own: a broken one is rejected, the others are stored.
///
/// Assessments are never changed: a correction is a new one with `supersedes`, a withdrawal has `void` as well; either
/// may follow what it corrects in the same batch.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/assessments", impl_for = create_assessments, tag = "assessments",
    responses((status = 200, description = "One result for each assessment", body = BatchResult))
)]
async fn create_assessments(
    permit: Permit<AssessmentWrite>,
    db: Data<Db>,
    body: Body<Batch>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let sent = body.read()?;
    batch::check_length("/assessments", sent.assessments.len())?;
    let (mut items, mut decisions) =
        record::file(&mut tx, &sent.assessments, |at| format!("/assessments/{at}")).await?;
    corrections::hold_second(&mut tx, "assessment", (&mut items, &mut decisions), &sent.assessments, &[]).await?;
    let revs = tx.commit().await?;
    let body = batch::results(items, &decisions, |id| Some(revs.of(Kind::Assessment, id, 0)).filter(|rev| *rev > 0));
    Ok(HttpResponse::Ok().json(body))
}

/// Lists the assessments of athletes that you see by when they were, without those that were corrected or withdrawn.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/assessments", impl_for = list_assessments, tag = "assessments",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_assessments(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { athlete_id, session_id, from, to, superseded } = params.0;
    let wanted = page.0.parse::<Place>()?;
    let (athlete, session) = (athlete_id.map(|id| id.0), session_id.map(|id| id.0));
    let (all, after, fetch) = (superseded, wanted.after, wanted.fetch());
    let mut tx = permit.read(&db).await?;
    let zone = tx.zone().await?;
    let begin = |day: NaiveDate| dates::begins(day, zone);
    let (from, before) = (from.and_then(begin), to.and_then(|to| to.succ_opt()).and_then(begin));
    let rows = store::page(&mut tx, Wanted { athlete, session, from, before, all, after, fetch }).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| facts::Place(row.value.assessed_at, row.id.0));
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads an assessment.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/assessments/{assessment_id}", impl_for = get_assessment, tag = "assessments",
    responses((status = 200, description = "The assessment", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_assessment(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = AssessmentId(path_id(&req, "assessment_id", "assessment")?);
    let mut tx = permit.read(&db).await?;
    let found = store::find(&mut tx, id).await?.ok_or_else(|| Problem::not_found("assessment"))?;
    Ok(stored::read(&req, found.rev, &View::from(&found)))
}

routes!(create_assessments, list_assessments, get_assessment);
