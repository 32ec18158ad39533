//! Assessments over HTTP.

use std::collections::HashSet;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::{NaiveDate, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::model::Assessment;
use super::shapes::{Batch, Page, View};
use super::store::{self, Filter, Known};
use crate::platform::access::{AssessmentWrite, Permit, SquadRead};
use crate::platform::batch::{self, BatchResult, Decision, Item};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AssessmentId, AthleteId, SessionId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::stored::{self, Stored};

/// Which assessments a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only assessments of this athlete.
    athlete_id: Option<AthleteId>,
    /// Only assessments of this session.
    session_id: Option<SessionId>,
    /// Only from this day on (UTC).
    from: Option<NaiveDate>,
    /// Only up to this day (UTC).
    to: Option<NaiveDate>,
    /// Also assessments that were corrected or withdrawn.
    #[serde(default)]
    superseded: bool,
    /// Records on the page.
    #[param(minimum = 1, maximum = 200, default = 50, example = 50)]
    limit: Option<u16>,
    /// The `next_cursor` of the page before.
    #[param(max_length = 500)]
    cursor: Option<String>,
}

/// Refuses an assessment whose athlete, session or superseded assessment is not there for the caller.
fn check_references(one: &Assessment, known: &Known, replaced: &mut HashSet<Uuid>, id: Uuid) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    if !known.athletes.contains(&one.athlete.0) {
        faults.add("/athlete_id", "unknown_id", "there is no such athlete in your groups");
    }
    if one.session.is_some_and(|session| !known.sessions.contains(&session.0)) {
        faults.add("/session_id", "unknown_id", "there is no such session for your groups");
    }
    if let Some(earlier) = one.supersedes {
        match known.superseded.get(&earlier.0) {
            Some((athlete, _)) if *athlete != one.athlete.0 => {
                faults.add("/supersedes", "other_athlete", "must be an assessment of the same athlete");
            }
            Some((_, Some(later))) if *later != id => {
                faults.add("/supersedes", "superseded", format!("was corrected before, by {later}; correct that one"));
            }
            Some(_) if !replaced.insert(earlier.0) => {
                faults.add("/supersedes", "superseded", "is corrected twice in this batch");
            }
            Some(_) => {}
            None => faults.add("/supersedes", "unknown_id", "there is no such assessment"),
        }
    }
    faults.finish(Some(()))
}

/// Parses the batch and checks what it refers to.
async fn judge(tx: &mut ClubTx, batch: &Batch) -> Result<Vec<Item<Assessment>>, Problem> {
    let now = Utc::now();
    let parsed: Vec<_> =
        batch.assessments.iter().map(|fields| (fields.id.0, Assessment::from(fields).parse(now))).collect();
    let good = || parsed.iter().filter_map(|(_, one)| one.as_ref().ok());
    let athletes: Vec<Uuid> = good().map(|one| one.athlete.0).collect();
    let sessions: Vec<Uuid> = good().filter_map(|one| one.session).map(|id| id.0).collect();
    let superseded: Vec<Uuid> = good().filter_map(|one| one.supersedes).map(|id| id.0).collect();
    let known = store::known(tx, &athletes, &sessions, &superseded).await?;
    let (mut replaced, mut seen) = (HashSet::new(), HashSet::new());
    let items = parsed.into_iter().enumerate().map(|(at, (id, one))| {
        let checked = one.and_then(|one| {
            // A repeat inside the batch corrects nothing anew.
            let mut nothing = HashSet::new();
            let replaced = if seen.insert(id) { &mut replaced } else { &mut nothing };
            check_references(&one, &known, replaced, id).map(|()| one)
        });
        Item { id, value: checked.map_err(|faults| batch::invalid_item(&format!("/assessments/{at}"), faults)) }
    });
    Ok(items.collect())
}

/// Records assessments, each on its own: a broken one is rejected, the others are stored.
///
/// Assessments are never changed: a correction is a new one with `supersedes`, a withdrawal has `void` as well.
#[utoipa::path(
    tag = "assessments",
    params(("club_id" = Uuid, Path, description = "The club")),
    request_body = Batch,
    security(("access_token" = ["assessment.write"])),
    responses((status = 200, description = "One result for each assessment", body = BatchResult))
)]
#[post("/v1/clubs/{club_id}/assessments")]
async fn create_assessments(
    permit: Permit<AssessmentWrite>,
    db: Data<Db>,
    body: Body<Batch>,
) -> Result<HttpResponse, Problem> {
    let sent = body.read()?;
    batch::check_length("/assessments", sent.assessments.len())?;
    let mut tx = permit.write(&db).await?;
    let items = judge(&mut tx, &sent).await?;
    let ids: Vec<Uuid> = items.iter().map(|item| item.id).collect();
    let taken = store::by_ids(&mut tx, &ids).await?;
    let decisions = batch::decide(&items, &taken);
    let fresh: Vec<(AssessmentId, &Assessment)> = items
        .iter()
        .zip(&decisions)
        .filter(|(_, decision)| **decision == Decision::Insert)
        .filter_map(|(item, _)| item.value.as_ref().ok().map(|one| (AssessmentId(item.id), one)))
        .collect();
    store::insert(&mut tx, &fresh).await?;
    let revs = tx.commit().await?;
    let body = batch::results(items, &decisions, |id| Some(revs.of(id, 0)).filter(|rev| *rev > 0));
    Ok(HttpResponse::Ok().json(body))
}

/// Lists the assessments of athletes that you see, without those that were corrected or withdrawn.
#[utoipa::path(
    tag = "assessments",
    params(("club_id" = Uuid, Path, description = "The club"), ListParams),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/assessments")]
async fn list_assessments(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { athlete_id, session_id, from, to, superseded, limit, cursor } = params.0;
    let wanted = PageParams { limit, cursor }.parse::<Uuid>()?;
    let filter = Filter { athlete: athlete_id, session: session_id, from, to, all: superseded };
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, &filter, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
}

/// Reads an assessment.
#[utoipa::path(
    tag = "assessments",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("assessment_id" = Uuid, Path, description = "The assessment")
    ),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "The assessment", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/assessments/{assessment_id}")]
async fn get_assessment(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = path_id(&req, "assessment_id", "assessment")?;
    let mut tx = permit.read(&db).await?;
    let (value, rev) =
        store::by_ids(&mut tx, &[id]).await?.remove(&id).ok_or_else(|| Problem::not_found("assessment"))?;
    let known = store::known(&mut tx, &[value.athlete.0], &[], &[]).await?;
    if !known.athletes.contains(&value.athlete.0) {
        return Err(Problem::not_found("assessment"));
    }
    Ok(stored::read(&req, rev, &View::from(&Stored { id: AssessmentId(id), rev, value })))
}

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.service(create_assessments).service(list_assessments).service(get_assessment);
}
