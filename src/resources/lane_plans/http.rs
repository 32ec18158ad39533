//! Lane plans over HTTP.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{NaiveDate, Utc};
use tokio::time::Instant;
use uuid::Uuid;

use super::answer::{From, Inputs, compute};
use super::model::{self, Raw, Wish};
use super::request::Request;
use super::session_store;
use super::shapes::{Content, LaneView, NotExpectedView, Page, View};
use super::sight::{self, SeenPlan};
use super::store::{self, Plan, StoredPlan};
use super::sync::Edits;
use crate::compute::day::Day;
use crate::compute::lane_plan::{self, Candidate};
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind, StoreError};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, LanePlanId, SessionId};
use crate::platform::lanes::Lanes;
use crate::platform::ops::Editable;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::people::People;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch, Stored};
use crate::resources::advice::{self, Memory};

/// Raises a flag when dropped: a client that goes away stops the search.
struct StopOnDrop(Arc<AtomicBool>);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// A plan as the actor sees it: of routes, of the feed and of conflicts alike.
pub(super) fn view(stored: &SeenPlan) -> Result<View, StoreError> {
    let (request, content) = stored.value.shown()?;
    Ok(View { id: stored.id, rev: stored.rev, session_id: stored.value.plan.session, request, content })
}

/// One plan as the actor sees it.
async fn seen(tx: &mut ClubTx, found: StoredPlan) -> Result<SeenPlan, Problem> {
    sight::seen(tx, vec![found]).await?.pop().ok_or_else(|| Problem::not_found("lane plan"))
}

/// Loads the inputs, naming every broken field of the request.
async fn inputs(
    tx: &mut ClubTx,
    session: SessionId,
    info: session_store::SessionInfo,
    request: &Request,
) -> Result<Inputs, Problem> {
    let (from, asked, not_expected) = who_runs(tx, session, info.held_on, request).await?;
    if asked.is_empty() || asked.len() > lane_plan::MAX_ATHLETES {
        let detail = match from {
            From::Groups => "leaves 0 or more than 300 athletes to expect: name them in athlete_ids",
            _ => "must name 1 to 300 athletes, or record who attends the session first",
        };
        let pointer = if from == From::Groups { "/group_ids" } else { "/athlete_ids" };
        return Err(Problem::invalid(vec![Fault::at(pointer, "length", detail)]));
    }
    let people = advice::load_for_session(tx, &asked, session, info.held_on).await?;
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
        rounds: request.rounds,
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
    let served = served(tx, info.held_on).await?;
    let alternatives = request.alternatives;
    let (club, surface) = (tx.club, info.surface);
    Ok(Inputs { club, wish, people, from, not_expected, setting, equipment, on, surface, served, alternatives })
}

/// Who is planned for, where they come from, and who of the groups planned for is not expected.
async fn who_runs(
    tx: &mut ClubTx,
    session: SessionId,
    held_on: NaiveDate,
    request: &Request,
) -> Result<(From, Vec<AthleteId>, Vec<NotExpectedView>), Problem> {
    if let Some(ids) = &request.athlete_ids {
        if request.group_ids.is_some() {
            let detail = "does not go together with athlete_ids: leave out one of them";
            return Err(Problem::invalid(vec![Fault::at("/group_ids", "contradiction", detail)]));
        }
        return Ok((From::Named, ids.clone(), Vec::new()));
    }
    let Some(groups) = &request.group_ids else { return who_comes(tx, session, held_on).await };
    grants::require(tx, groups, "/group_ids").await?;
    let (expected, others) = expected(tx, session, held_on, groups).await?;
    Ok((From::Groups, expected, others))
}

/// Who attends a session, of those whom the actor sees; before anybody was noted, who is expected of the session's groups and
/// who is not.
pub(super) async fn who_comes(
    tx: &mut ClubTx,
    session: SessionId,
    held_on: NaiveDate,
) -> Result<(From, Vec<AthleteId>, Vec<NotExpectedView>), Problem> {
    let present = store::present(tx, session).await?;
    if store::is_attended(tx, session).await? {
        return Ok((From::Attendance, present, Vec::new()));
    }
    let groups = store::groups(tx, session).await?;
    let (expected, others) = expected(tx, session, held_on, &groups).await?;
    Ok((From::Groups, expected, others))
}

/// Who is there beside a plan: what was noted after it was made stands on its sheet.
#[derive(Debug, Default)]
pub(super) struct Beside {
    /// Members of the session's groups whom the plan does not name and nobody noted as present, by name.
    pub absent: Vec<String>,
    /// Those who are noted as present, by name: they came after it was made.
    pub late: Vec<String>,
    /// Whom the plan has in a lane and who are not among those noted as present.
    pub gone: Vec<AthleteId>,
}

impl Beside {
    /// Reads it, of those whom the actor sees; who came although not expected is so no more.
    pub(super) async fn of(
        tx: &mut ClubTx,
        held_on: NaiveDate,
        plan: &Plan,
        content: &mut Content,
    ) -> Result<Self, Problem> {
        let groups = store::groups(tx, plan.session).await?;
        let is_noted = store::is_attended(tx, plan.session).await?;
        let present = if is_noted { Some(store::present(tx, plan.session).await?) } else { None };
        let is_here = |athlete: &AthleteId| present.as_ref().is_some_and(|all| all.contains(athlete));
        let mut others: Vec<AthleteId> =
            advice::members(tx, plan.session, held_on, &groups).await?.into_iter().map(|one| one.athlete).collect();
        // Guests come too.
        others.extend(present.iter().flatten().filter(|one| !others.contains(one)).copied().collect::<Vec<_>>());
        let surprises: Vec<AthleteId> =
            content.not_expected.iter().map(|one| one.athlete_id).filter(|athlete| is_here(athlete)).collect();
        content.not_expected.retain(|one| !surprises.contains(&one.athlete_id));
        others.retain(|athlete| !plan.people.contains(athlete) || surprises.contains(athlete));
        let people = People::of(tx, others.iter().copied()).await?;
        let named = |here: bool| {
            let which = others.iter().filter(|athlete| is_here(athlete) == here);
            let mut names: Vec<String> = which.filter_map(|one| people.name(*one)).map(str::to_owned).collect();
            names.sort_unstable();
            names
        };
        let placed = content.lanes.iter().flat_map(|lane| &lane.athletes).map(|one| one.athlete_id);
        let gone = placed.filter(|one| present.is_some() && !is_here(one)).collect();
        Ok(Self { absent: named(false), late: named(true), gone })
    }
}

/// The members of groups who are expected, and those who are not.
async fn expected(
    tx: &mut ClubTx,
    session: SessionId,
    held_on: NaiveDate,
    groups: &[GroupId],
) -> Result<(Vec<AthleteId>, Vec<NotExpectedView>), Problem> {
    let (mut expected, mut others) = (Vec::new(), Vec::new());
    for one in advice::members(tx, session, held_on, groups).await? {
        match one.missing_since {
            None => expected.push(one.athlete),
            Some(last_seen_on) => {
                others.push(NotExpectedView { athlete_id: one.athlete, display_name: String::new(), last_seen_on });
            }
        }
    }
    Ok((expected, others))
}

/// What each athlete lost in the plans of the last weeks, latest first; waiting is the whole of it.
async fn served(tx: &mut ClubTx, before: NaiveDate) -> Result<HashMap<AthleteId, Vec<f64>>, StoreError> {
    let mut found: HashMap<AthleteId, Vec<f64>> = HashMap::new();
    for plan in store::lately(tx, before).await? {
        let content: Content = serde_json::from_value(plan).map_err(|_| StoreError::Corrupt("lane plan"))?;
        for one in content.lanes.iter().flat_map(|lane| &lane.athletes) {
            // Plans of before there were weights measured something else.
            let Some(weight) = one.weight else { continue };
            found.entry(one.athlete_id).or_default().push(one.regret / weight.max(1.0));
        }
        for one in content.resting.iter().filter(|one| one.waiting.is_some()) {
            found.entry(one.athlete_id).or_default().push(1.0);
        }
    }
    Ok(found)
}

/// The lanes of an earlier plan.
async fn lanes_of(tx: &mut ClubTx, id: LanePlanId) -> Result<Vec<(u32, Candidate)>, Problem> {
    let found = store::find_anywhere(tx, id).await?;
    let unknown = || Fault::at("/like/lane_plan_id", "unknown_id", "there is no such lane plan in your groups");
    let found = found.ok_or_else(|| Problem::invalid(vec![unknown()]))?;
    let content: Content = serde_json::from_value(found.content).map_err(|_| StoreError::Corrupt("lane plan"))?;
    // What stands there is what the last round left.
    let last = content.lanes.iter().map(|lane| lane.round).max();
    let stands = content.lanes.iter().filter(|lane| Some(lane.round) == last);
    let lanes: Option<_> = stands.map(LaneView::configuration).collect();
    Ok(lanes.ok_or(StoreError::Corrupt("lane plan"))?)
}

/// Refuses a plan that was computed of what is no longer its author's to see: the session may have been taken from them meanwhile,
/// and its people moved or erased.
async fn still_seen(tx: &mut ClubTx, plan: &Plan) -> Result<(), Problem> {
    session_store::session(tx, plan.session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let people = People::of(tx, plan.people.iter().copied()).await?;
    if plan.people.iter().all(|one| people.sees(*one)) {
        return Ok(());
    }
    let detail = "Somebody in this plan was moved or deleted while it was computed; nothing was stored. Send it again.";
    Err(Problem::new(Code::Conflict, detail))
}

/// Computes and stores the lanes to set out for a session and who runs where.
///
/// The plan is for the athletes named, or for those of your groups who attend; before anybody was noted, or with `group_ids`, for
/// whoever is expected: everybody in those groups but who missed each of their last three sessions, of which cancelled ones are none
/// (`not_expected`). It serves each athlete's advice: nobody runs anything harder than advised, and what differs is said of each. It is
/// proven to be the best, or says its gap. Its time counts from the request: while others are computed it waits its turn, club by club;
/// 503 with `Retry-After` when too many wait or the time is over. Athletes with a restriction or report of pain rest. Where lanes,
/// barriers or metres do not reach for everybody, the others run in later rounds, with as few lanes as possible set out anew; `resting`
/// tells who still waits and `would_help` what would do. Whoever has something on file that cannot be used has no lane, and stands in
/// `not_computed` with what is wrong and the remedy. Only wishes that contradict each other are answered with 422 `infeasible`.
/// Everybody who sees the session sees the plan, but of its people only those whom they see; the others are counted in their lanes.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/sessions/{session_id}/lane-plans", impl_for = create_lane_plan, tag = "lane_plans",
    responses((status = 201, description = "Planned", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_lane_plan(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    body: Body<Request>,
) -> Result<HttpResponse, Problem> {
    let asked_at = Instant::now();
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let mut tx = permit.read(&db).await?;
    let info = session_store::session(&mut tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let request = body.read()?;
    let id = request.id.unwrap_or_else(LanePlanId::new);
    let asked = serde_json::to_value(&request).map_err(|_| StoreError::Corrupt("lane plan"))?;
    if let Some(found) = store::find(&mut tx, session, id).await? {
        stored::same_or_conflict(&found.value.request, &asked)?;
        let found = seen(&mut tx, found).await?;
        return Ok(stored::created(&req, false, id, found.rev, &view(&found)?));
    }
    drop(tx);
    // Nothing is held while others are computed; what the plan rests on is read when its turn has come.
    let until = asked_at + model::time_limit(request.time_limit_s);
    let turn = lanes.plans.turn_until(permit.who(), until).await?;
    // What is recorded while it is computed came after it.
    let known_at = Utc::now();
    let mut tx = permit.read(&db).await?;
    let inputs = inputs(&mut tx, session, info, &request).await?;
    drop(tx);
    let stop = Arc::new(AtomicBool::new(false));
    let guard = StopOnDrop(Arc::clone(&stop));
    let content = turn.run(move || compute(&inputs, &memory, until.into_std(), &stop)).await??;
    drop(guard);
    let plan = sight::kept(session, &request, content)?;
    let mut tx = permit.create(&db, id).await?;
    still_seen(&mut tx, &plan).await?;
    if !store::insert(&mut tx, id, &plan, known_at).await? {
        // It came twice at once, and the other one was faster, or it was deleted.
        let found = store::find(&mut tx, session, id).await?.ok_or_else(Problem::gone)?;
        stored::same_or_conflict(&found.value.request, &plan.request)?;
        let found = seen(&mut tx, found).await?;
        return Ok(stored::created(&req, false, id, found.rev, &view(&found)?));
    }
    let made = seen(&mut tx, Stored { id, rev: 0, value: plan }).await?;
    let rev = tx.commit().await?.of(Kind::LanePlan, id, 0);
    Ok(stored::created(&req, true, id, rev, &view(&Stored { rev, ..made })?))
}

/// The plan in the path, when the caller sees its session.
pub(super) async fn load(
    tx: &mut ClubTx,
    req: &HttpRequest,
) -> Result<(session_store::SessionInfo, SeenPlan), Problem> {
    let session = SessionId(path_id(req, "session_id", "session")?);
    let id = LanePlanId(path_id(req, "lane_plan_id", "lane plan")?);
    let info = session_store::session(tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let found = store::find(tx, session, id).await?.ok_or_else(|| Problem::not_found("lane plan"))?;
    Ok((info, seen(tx, found).await?))
}

/// Lists the lane plans of a session, oldest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/lane-plans", impl_for = list_lane_plans, tag = "lane_plans",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_lane_plans(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    if session_store::session(&mut tx, session).await?.is_none() {
        return Err(Problem::not_found("session"));
    }
    let rows = store::page(&mut tx, session, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let rows = sight::seen(&mut tx, rows).await?;
    let body = Page { items: rows.iter().map(view).collect::<Result<_, StoreError>>()?, next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads a lane plan.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{lane_plan_id}", impl_for = get_lane_plan, tag = "lane_plans",
    responses((status = 200, description = "The plan", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_lane_plan(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let (_, found) = load(&mut tx, &req).await?;
    Ok(stored::read(&req, found.rev, &view(&found)?))
}

/// Deletes a lane plan.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{lane_plan_id}", impl_for = delete_lane_plan, tag = "lane_plans",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_lane_plan(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let (_, found) = load(&mut tx, &req).await?;
    version.require::<SquadRead>(&tx, found.rev, &view(&found)?)?;
    Edits::remove(&mut tx, found.id.0, &found.value).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_lane_plan, list_lane_plans, get_lane_plan, delete_lane_plan);
