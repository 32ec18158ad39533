//! The holding area and the devices over HTTP: for admins.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, get, post};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use utoipa::IntoParams;
use uuid::Uuid;

use super::admin_shapes::{DevicePage, DeviceView, HeldPage, HeldView, Place, RefusedPage, RefusedView, Rejection};
use super::admin_store::{self as store, HeldRow, Place as After};
use super::items::{self, Parsed};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::GroupId;
use crate::platform::ops::{Fact, Method, Op, edit};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::resources::sessions;

/// Which facts a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct HeldParams {
    /// Those that were decided, instead of those that are open.
    #[serde(default)]
    decided: bool,
    /// Records on the page.
    #[param(minimum = 1, maximum = 200, default = 50, example = 50)]
    limit: Option<u16>,
    /// The `next_cursor` of the page before.
    #[param(max_length = 500)]
    cursor: Option<String>,
}

/// Which fact of an id.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct OneHeld {
    /// Its type; needed only when facts of several types are held under this id.
    #[serde(rename = "type")]
    #[param(max_length = 30, example = "run")]
    kind: Option<String>,
}

/// The fact in the path.
async fn load(tx: &mut ClubTx, req: &HttpRequest, kind: Option<&str>) -> Result<HeldRow, Problem> {
    let id = path_id(req, "held_item_id", "held item")?;
    let mut found = store::held_as(tx, id, kind).await?;
    if found.len() > 1 {
        let types: Vec<&str> = found.iter().map(|one| one.kind.as_str()).collect();
        let detail =
            format!("Facts of several types are held under this id: {}. Name one with ?type=.", types.join(", "));
        return Err(Problem::new(Code::Conflict, detail));
    }
    found.pop().ok_or_else(|| Problem::not_found("held item"))
}

fn decided_before() -> Problem {
    Problem::new(Code::Conflict, "An admin decided on this before.")
}

/// Lists the recorded facts that could not be filed by themselves.
#[utoipa::path(
    tag = "sync",
    params(("club_id" = Uuid, Path, description = "The club"), HeldParams),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "A page", body = HeldPage))
)]
#[get("/v1/clubs/{club_id}/held-items")]
async fn list_held_items(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<HeldParams>,
) -> Result<HttpResponse, Problem> {
    let HeldParams { decided, limit, cursor } = params.0;
    let wanted = PageParams { limit, cursor }.parse::<After>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::held(&mut tx, decided, wanted.after.clone(), wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| (row.id, row.kind.clone()));
    let body = HeldPage { items: rows.into_iter().map(HeldView::from).collect(), next_cursor };
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
}

/// Makes the session of a fact, for a group, on the day that the fact claims.
async fn make_session(tx: &mut ClubTx, data: &Map<String, Value>, group: GroupId) -> Result<(), Problem> {
    let session = data.get("session_id").and_then(Value::as_str).and_then(|text| Uuid::try_parse(text).ok());
    let at = data.get("run_at").or_else(|| data.get("assessed_at")).and_then(Value::as_str);
    let day = at.and_then(|text| text.get(..10));
    let (Some(session), Some(day)) = (session, day) else {
        let fault = Fault::at("/group_id", "no_session", "only goes with a fact of a session");
        return Err(Problem::invalid(vec![fault]));
    };
    if !sessions::sync::pull(tx, &[session]).await?.is_empty() {
        return Ok(());
    }
    let fields = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let Value::Object(data) = fields else { return Ok(()) };
    let op = Op { method: Method::Put, id: session, if_none_match: true, if_match: None, base_rev: None, data };
    edit::<sessions::sync::Edits>(tx, &op).await.map(|_| ())
}

/// The fact in the path, which nobody else files or decides on meanwhile.
async fn alone(tx: &mut ClubTx, req: &HttpRequest, one: &OneHeld, with_session: bool) -> Result<HeldRow, Problem> {
    let held = load(tx, req, one.kind.as_deref()).await?;
    let named = |name| held.data.get(name).and_then(Value::as_str).and_then(|text| Uuid::try_parse(text).ok());
    let session = named("session_id").filter(|_| with_session);
    tx.alone_all([Some(held.id), named("supersedes"), session].into_iter().flatten()).await?;
    load(tx, req, Some(&held.kind)).await
}

/// Files a held fact: where it says, or where the body says.
#[utoipa::path(
    tag = "sync",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("held_item_id" = Uuid, Path, description = "The fact"),
        OneHeld
    ),
    request_body = Place,
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Filed", body = HeldView),
        (status = 409, description = "An admin decided on this before, or the id is used by another record")
    )
)]
#[post("/v1/clubs/{club_id}/held-items/{held_item_id}/accept")]
async fn accept_held_item(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<OneHeld>,
    body: Body<Place>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let place = body.read()?;
    let held = alone(&mut tx, &req, &params.0, place.group_id.is_some()).await?;
    if !store::decide(&mut tx, (&held.kind, held.id), permit.actor.account.0, "accepted", None).await? {
        return Err(decided_before());
    }
    let Value::Object(mut data) = held.data else { return Err(Problem::not_found("held item")) };
    if let Some(athlete) = place.athlete_id {
        data.insert("athlete_id".to_owned(), json!(athlete));
    }
    if let Some(session) = place.session_id {
        data.insert("session_id".to_owned(), json!(session));
    }
    if let Some(test) = place.race_test_id {
        data.insert("race_test_id".to_owned(), json!(test));
    }
    if let Some(at) = place.at {
        data.insert(if held.kind == "run" { "run_at" } else { "assessed_at" }.to_owned(), json!(at));
    }
    if let Some(group) = place.group_id {
        make_session(&mut tx, &data, group).await?;
    }
    // It stays the record of who recorded it.
    tx.actor.account.0 = held.member;
    tx.skew_ms = held.skew_ms;
    let parsed = Parsed::held(held.id, &held.kind, Value::Object(data));
    if let Err(problem) = &parsed.parsed {
        return Err(problem.again());
    }
    match items::file(&mut tx, &[(0, &parsed)]).await?.pop() {
        Some(Fact::Stored(_)) => {}
        Some(Fact::Refused(problem)) => return Err(problem),
        _ => return Err(Problem::new(Code::Conflict, "The id of the fact is used by another record.")),
    }
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    Ok(HttpResponse::Ok().json(HeldView::from(load(&mut tx, &req, Some(&held.kind)).await?)))
}

/// Rejects a held fact; the coach's phone is told why when it sends the fact again.
#[utoipa::path(
    tag = "sync",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("held_item_id" = Uuid, Path, description = "The fact"),
        OneHeld
    ),
    request_body = Rejection,
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Rejected", body = HeldView),
        (status = 409, description = "An admin decided on this before")
    )
)]
#[post("/v1/clubs/{club_id}/held-items/{held_item_id}/reject")]
async fn reject_held_item(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<OneHeld>,
    body: Body<Rejection>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let held = alone(&mut tx, &req, &params.0, false).await?;
    let mut faults = Faults::new();
    let reason = faults.text("/reason", &body.read()?.reason, 500);
    let reason = faults.finish(reason)?;
    if !store::decide(&mut tx, (&held.kind, held.id), permit.actor.account.0, "rejected", Some(&reason)).await? {
        return Err(decided_before());
    }
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    Ok(HttpResponse::Ok().json(HeldView::from(load(&mut tx, &req, Some(&held.kind)).await?)))
}

/// Lists values that lost against another edit.
#[utoipa::path(
    tag = "sync",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "A page", body = RefusedPage))
)]
#[get("/v1/clubs/{club_id}/refused-edits")]
async fn list_refused_edits(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::refused(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.op_id);
    let body = RefusedPage { items: rows.into_iter().map(RefusedView::from).collect(), next_cursor };
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
}

/// Lists the phones that sync, with what they have not read yet.
#[utoipa::path(
    tag = "sync",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "A page", body = DevicePage))
)]
#[get("/v1/clubs/{club_id}/sync-devices")]
async fn list_sync_devices(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::devices(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id);
    let body = DevicePage { items: rows.into_iter().map(DeviceView::from).collect(), next_cursor };
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
}

/// Makes a phone take a full copy: its tokens are refused from now on.
#[utoipa::path(
    tag = "sync",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("sync_device_id" = Uuid, Path, description = "The device")
    ),
    security(("access_token" = ["club.admin"])),
    responses((status = 204, description = "Its next pull is answered 410"))
)]
#[post("/v1/clubs/{club_id}/sync-devices/{sync_device_id}/resync")]
async fn resync_device(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = path_id(&req, "sync_device_id", "device")?;
    let mut tx = permit.write(&db).await?;
    if !store::resync(&mut tx, id).await? {
        return Err(Problem::not_found("device"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The routes for admins.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config
        .service(list_held_items)
        .service(accept_held_item)
        .service(reject_held_item)
        .service(list_refused_edits)
        .service(list_sync_devices)
        .service(resync_device);
}
