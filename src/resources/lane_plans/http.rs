//! Lane plans over HTTP.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use actix_web::web::{self, Data};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use uuid::Uuid;

use super::answer::{Inputs, compute};
use super::model::{Raw, Wish};
use super::shapes::{Content, LaneView, Page, Request, View};
use super::store::{self, Plan, StoredPlan};
use crate::compute::day::Day;
use crate::compute::lane_plan::{self, Candidate};
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, LanePlanId, SessionId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::stored::{self, Stored};
use crate::resources::advice::{self, Memory};

/// Raises a flag when dropped: a client that goes away stops the search.
struct StopOnDrop(Arc<AtomicBool>);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

pub(super) fn view(stored: &StoredPlan) -> Result<View, StoreError> {
    let corrupt = |_| StoreError::Corrupt("lane plan");
    Ok(View {
        id: stored.id,
        rev: stored.rev,
        session_id: stored.value.session,
        request: serde_json::from_value(stored.value.request.clone()).map_err(corrupt)?,
        content: serde_json::from_value(stored.value.content.clone()).map_err(corrupt)?,
    })
}

/// Loads the inputs, naming every broken field of the request.
async fn inputs(
    tx: &mut ClubTx,
    session: SessionId,
    info: store::SessionInfo,
    request: &Request,
) -> Result<Inputs, Problem> {
    let asked = match &request.athlete_ids {
        Some(ids) => ids.clone(),
        None => store::present(tx, session).await?,
    };
    if asked.is_empty() || asked.len() > lane_plan::MAX_ATHLETES {
        let detail = "must name 1 to 300 athletes, or record who attends the session first";
        return Err(Problem::invalid(vec![Fault::at("/athlete_ids", "length", detail)]));
    }
    let people = advice::load(tx, Some(&asked), None, info.held_on).await?;
    let ids: Vec<AthleteId> = people.iter().map(|person| person.id).collect();
    let missing: Vec<Fault> = asked
        .iter()
        .enumerate()
        .filter(|(_, id)| !ids.contains(id) && request.athlete_ids.is_some())
        .map(|(at, id)| {
            Fault::at(format!("/athlete_ids/{at}"), "unknown_id", format!("there is no athlete {id} in your groups"))
        })
        .collect();
    if !missing.is_empty() {
        return Err(Problem::invalid(missing));
    }
    let raw = Raw {
        lanes: request.lanes,
        reserved_lanes: &request.reserved_lanes,
        lane_straights: request.lane_straights.iter().map(|one| (one.lane, one.straight_m)).collect(),
        unless_saves: request.like.map(|like| like.unless_saves),
        time_limit_s: request.time_limit_s,
        capacity: request.capacity,
        barriers_min: request.barriers.min,
        barriers_max: request.barriers.max,
        approach_m: request.approach_m,
        run_out_m: request.run_out_m,
        straight_m: request.straight_m,
        hold_target: request.hold_target,
        objective: &request.objective,
        pins: request.pins.iter().map(|pin| (pin.athlete_id, pin.lane)).collect(),
        apart: request.apart.iter().map(|[a, b]| (*a, *b)).collect(),
    };
    let venue = info.venue.map(|(_, straight, lanes)| (straight, lanes));
    let mut wish = Wish::parse(&raw, &ids, venue)?;
    if let (Some(last), Some(like)) = (&mut wish.last_time, &request.like) {
        last.lanes = lanes_of(tx, like.lane_plan_id).await?;
    }
    let setting = advice::setting(tx).await?;
    let equipment = store::equipment(tx).await?;
    let on = Day::from_days(info.held_on.to_epoch_days()).ok_or(StoreError::Corrupt("session"))?;
    Ok(Inputs { club: tx.club, wish, people, setting, equipment, on, alternatives: request.alternatives })
}

/// The lanes of an earlier plan.
async fn lanes_of(tx: &mut ClubTx, id: LanePlanId) -> Result<Vec<(u32, Candidate)>, Problem> {
    let found = store::find_anywhere(tx, id).await?;
    let unknown = || Fault::at("/like/lane_plan_id", "unknown_id", "there is no such lane plan in your groups");
    let found = found.ok_or_else(|| Problem::invalid(vec![unknown()]))?;
    let content: Content = serde_json::from_value(found.content).map_err(|_| StoreError::Corrupt("lane plan"))?;
    let lanes: Option<_> = content.lanes.iter().map(LaneView::configuration).collect();
    Ok(lanes.ok_or(StoreError::Corrupt("lane plan"))?)
}

/// Computes and stores the lanes to set out for a session and who runs where.
///
/// The plan is proven to be the best, or says its gap. Athletes with a restriction or report of pain rest. When no plan
/// satisfies the limits, the answer is 422 `infeasible` and `current` names the binding limit and the smallest change
/// of each limit that would do.
#[utoipa::path(
    tag = "lane_plans",
    params(("club_id" = Uuid, Path, description = "The club"), ("session_id" = Uuid, Path, description = "The session")),
    request_body = Request,
    security(("access_token" = ["plan.write"])),
    responses((status = 201, description = "Planned", body = View), (status = 200, description = "Was there already", body = View))
)]
#[post("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans")]
async fn create_lane_plan(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    memory: Data<Memory>,
    body: Body<Request>,
) -> Result<HttpResponse, Problem> {
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let mut tx = permit.read(&db).await?;
    let info = store::session(&mut tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let request = body.read()?;
    let id = request.id.unwrap_or_else(LanePlanId::new);
    let asked = serde_json::to_value(&request).map_err(|_| StoreError::Corrupt("lane plan"))?;
    let inputs = inputs(&mut tx, session, info, &request).await?;
    if let Some(found) = store::find(&mut tx, session, id).await? {
        stored::same_or_conflict(&found.value.request, &asked)?;
        return Ok(stored::created(&req, false, id, found.rev, &view(&found)?));
    }
    drop(tx);
    let stop = Arc::new(AtomicBool::new(false));
    let guard = StopOnDrop(Arc::clone(&stop));
    let content = web::block(move || compute(&inputs, &memory, &stop)).await??;
    drop(guard);
    let content = serde_json::to_value(content).map_err(|_| StoreError::Corrupt("lane plan"))?;
    let plan = Plan { session, request: asked, content };
    let mut tx = permit.create(&db, id).await?;
    if !store::insert(&mut tx, id, &plan).await? {
        // It came twice at once, and the other one was faster, or it was deleted.
        let found = store::find(&mut tx, session, id).await?.ok_or_else(Problem::gone)?;
        stored::same_or_conflict(&found.value.request, &plan.request)?;
        return Ok(stored::created(&req, false, id, found.rev, &view(&found)?));
    }
    let rev = tx.commit().await?.of(id, 0);
    Ok(stored::created(&req, true, id, rev, &view(&Stored { id, rev, value: plan })?))
}

/// The plan in the path, when the caller sees its session.
pub(super) async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<(store::SessionInfo, StoredPlan), Problem> {
    let session = SessionId(path_id(req, "session_id", "session")?);
    let id = LanePlanId(path_id(req, "plan_id", "lane plan")?);
    let info = store::session(tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let found = store::find(tx, session, id).await?.ok_or_else(|| Problem::not_found("lane plan"))?;
    Ok((info, found))
}

/// Lists the lane plans of a session.
#[utoipa::path(
    tag = "lane_plans",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("session_id" = Uuid, Path, description = "The session"),
        PageParams
    ),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans")]
async fn list_lane_plans(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    if store::session(&mut tx, session).await?.is_none() {
        return Err(Problem::not_found("session"));
    }
    let rows = store::page(&mut tx, session, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = Page { items: rows.iter().map(view).collect::<Result<_, StoreError>>()?, next_cursor };
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
}

/// Reads a lane plan.
#[utoipa::path(
    tag = "lane_plans",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("session_id" = Uuid, Path, description = "The session"),
        ("plan_id" = Uuid, Path, description = "The plan")
    ),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "The plan", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{plan_id}")]
async fn get_lane_plan(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let (_, found) = load(&mut tx, &req).await?;
    Ok(stored::read(&req, found.rev, &view(&found)?))
}

/// Deletes a lane plan.
#[utoipa::path(
    tag = "lane_plans",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("session_id" = Uuid, Path, description = "The session"),
        ("plan_id" = Uuid, Path, description = "The plan"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    security(("access_token" = ["plan.write"])),
    responses((status = 204, description = "Deleted"))
)]
#[delete("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{plan_id}")]
async fn delete_lane_plan(req: HttpRequest, permit: Permit<PlanWrite>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let (_, found) = load(&mut tx, &req).await?;
    stored::require_match(&req, found.rev, &view(&found)?)?;
    store::remove(&mut tx, found.value.session, found.id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The routes of lane plans.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.service(create_lane_plan).service(list_lane_plans).service(get_lane_plan).service(delete_lane_plan);
}
