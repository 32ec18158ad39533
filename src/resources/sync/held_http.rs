//! The holding area over HTTP: for admins, and for those who recorded what is held.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use utoipa::IntoParams;
use utoipa::openapi::path::Operation;
use uuid::Uuid;

use super::admin_shapes::{HeldPage, HeldView, Place, Rejection};
use super::admin_store::{self as store, HeldRow, Place as After};
use super::held_model::{Claim, May, Wanted};
use super::items::{self, Kind, Parsed};
use super::model::Type;
use crate::platform::access::{ClubAdmin, Permit, Recorder, part};
use crate::platform::body::Body;
use crate::platform::corrections;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::{Fault, Faults};
use crate::platform::holding::CORRECTED;
use crate::platform::ids::{self, AthleteId, GroupId};
use crate::platform::ops::{Fact, Method, Op, clock_of, edit};
use crate::platform::page::{self, PageOf, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::people::People;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::{Named, Said, routes, say_either};
use crate::resources::sessions;

/// Which facts a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct HeldParams {
    /// Those that were decided, instead of those that are open.
    #[serde(default)]
    decided: bool,
}

fn page_of(req: &HttpRequest, wanted: &PageOf<After>, rows: Vec<HeldRow>) -> HttpResponse {
    let (rows, next_cursor) = wanted.cut(rows, |row| (row.id, row.kind.clone()));
    let body = HeldPage { items: rows.into_iter().map(HeldView::from).collect(), next_cursor };
    page::answer(req, &body)
}

/// Which fact of an id.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct OneHeld {
    /// Its type; needed only when facts of several types are held under this id.
    #[serde(rename = "type")]
    #[param(value_type = Option<Type>, inline, example = "run")]
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
    Problem::new(Code::Conflict, "Somebody decided on this before.")
}

/// Who decides on held facts: an admin on all of them, others on what [`Claim::may`] says.
struct Decider {
    admin: Permit<ClubAdmin>,
    /// None for an admin.
    recorder: Option<Recorder>,
}

impl FromRequest for Decider {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let req = req.clone();
        Box::pin(async move {
            let db = part::<Db>(&req)?;
            Self::of(&req, db).await
        })
    }
}

impl Said for Decider {
    fn say(operation: &mut Operation, schemas: &mut Named) {
        say_either::<Permit<ClubAdmin>, Recorder>(operation, schemas);
    }
}

impl Decider {
    async fn of(req: &HttpRequest, db: &Db) -> Result<Self, Problem> {
        let admin = Permit::<ClubAdmin>::extract(req).await?;
        let refused = match admin.admit(db).await {
            Ok(()) => return Ok(Self { admin, recorder: None }),
            Err(problem) if !matches!(problem.code(), Code::Forbidden | Code::NotFound) => return Err(problem),
            Err(problem) => problem,
        };
        match Recorder::extract(req).await {
            Ok(who) => Ok(Self { admin, recorder: Some(who) }),
            Err(problem) if problem.status() >= 500 => Err(problem),
            Err(_) => Err(refused),
        }
    }

    /// The fact in the path, for the caller alone, when it is theirs to decide on. Of others nobody learns whether they are there.
    async fn open(
        &self,
        db: &Db,
        (req, one): (&HttpRequest, &OneHeld),
        (wanted, with_session): (Wanted, bool),
    ) -> Result<(ClubTx, HeldRow), Problem> {
        let (mut tx, recorder) = match &self.recorder {
            None => (self.admin.write(db).await?, None),
            Some(who) => who.write(db).await.map(|(tx, who)| (tx, Some(who)))?,
        };
        let refused = |problem: Problem| {
            let detail = "An admin of the club decides on held facts; you may take back your own, and settle a second \
                correction of what you corrected.";
            match &recorder {
                None => problem,
                Some(who) if who.role.is_none() => Problem::not_found("club"),
                Some(_) => Problem::new(Code::Forbidden, detail),
            }
        };
        let held = alone(&mut tx, req, one, with_session).await.map_err(|problem| match problem.code() {
            Code::NotFound | Code::Conflict => refused(problem),
            _ => problem,
        })?;
        if !may(&mut tx, recorder.as_ref(), &held, wanted).await? {
            return Err(refused(Problem::not_found("held item")));
        }
        Ok((tx, held))
    }

    /// The fact as it is now.
    async fn answer(&self, db: &Db, req: &HttpRequest, kind: &str) -> Result<HttpResponse, Problem> {
        let mut tx = match &self.recorder {
            None => self.admin.read(db).await?,
            Some(who) => who.read(db).await?.0,
        };
        Ok(HttpResponse::Ok().json(HeldView::from(load(&mut tx, req, Some(kind)).await?)))
    }
}

/// Whether a fact is the caller's to decide on.
async fn may(tx: &mut ClubTx, recorder: Option<&Recorder>, held: &HeldRow, wanted: Wanted) -> Result<bool, Problem> {
    let Some(who) = recorder else { return Ok(true) };
    let me = who.actor.account.0;
    let claim = Claim {
        recorded: held.member == me,
        rival: held.rival == Some(me),
        second: held.reason == CORRECTED,
        records: Kind::parse(&held.kind).is_ok_and(|kind| kind.barred(who).is_none()),
        athlete: held.names("athlete_id").map(AthleteId),
    };
    Ok(match claim.may(wanted) {
        May::Yes => true,
        May::Seeing(athlete) => People::of(tx, [athlete]).await?.sees(athlete),
        May::No => false,
    })
}

/// Lists the recorded facts that could not be filed by themselves.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/held-items", impl_for = list_held_items, tag = "sync",
    responses((status = 200, description = "A page", body = HeldPage))
)]
async fn list_held_items(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<HeldParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = page.0.parse::<After>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::held(&mut tx, params.0.decided, wanted.after.clone(), wanted.fetch()).await?;
    Ok(page_of(&req, &wanted, rows))
}

/// Lists what you recorded and could not be filed by itself, and what became of it; and second corrections of what you corrected.
///
/// A second correction waits for either coach or an admin: accept it and it stands, reject it and the other stays.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/own-held-items", impl_for = list_own_held_items, tag = "sync",
    responses((status = 200, description = "A page", body = HeldPage))
)]
async fn list_own_held_items(
    req: HttpRequest,
    who: Recorder,
    db: Data<Db>,
    params: Params<HeldParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = page.0.parse::<After>()?;
    let (mut tx, _) = who.read(&db).await?;
    let rows = store::own(&mut tx, params.0.decided, wanted.after.clone(), wanted.fetch()).await?;
    Ok(page_of(&req, &wanted, rows))
}

/// Puts the moment at which a fact was in the place of what a wrong clock said.
async fn set_clock(
    tx: &mut ClubTx,
    kind: &str,
    data: &mut Map<String, Value>,
    at: DateTime<Utc>,
) -> Result<(), Problem> {
    let Some((field, is_day)) = clock_of(kind) else {
        let fault = Fault::at("/at", "not_used", "does not go with this fact, which is of the day of its race test");
        return Err(Problem::invalid(vec![fault]));
    };
    let when = if is_day { json!(tx.day_of(at).await?) } else { json!(at) };
    data.insert(field.to_owned(), when);
    Ok(())
}

/// Makes the session of a fact, for a group, on the day in the club on which the fact claims to have been.
async fn make_session(tx: &mut ClubTx, data: &Map<String, Value>, group: GroupId) -> Result<(), Problem> {
    let session = ids::named(data, "session_id");
    let at = data.get("run_at").or_else(|| data.get("assessed_at")).and_then(Value::as_str);
    let at = at.and_then(|text| DateTime::parse_from_rfc3339(text).ok());
    let (Some(session), Some(at)) = (session, at) else {
        let fault = Fault::at("/group_id", "no_session", "only goes with a fact of a session");
        return Err(Problem::invalid(vec![fault]));
    };
    let day = tx.day_of(at.to_utc()).await?;
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
    let session = held.names("session_id").filter(|_| with_session);
    let mut records: Vec<Uuid> = [Some(held.id), session].into_iter().flatten().collect();
    for corrected in [held.names("supersedes"), held.names("clears")].into_iter().flatten() {
        records.push(corrected);
        records.extend(corrections::standing(tx, &held.kind, corrected).await?.map(|stands| stands.id));
    }
    tx.alone_all(records).await?;
    load(tx, req, Some(&held.kind)).await
}

/// Lets a fact correct and clear what stands now, when what it named was corrected meanwhile.
async fn follow(tx: &mut ClubTx, held: &HeldRow, data: &mut Map<String, Value>) -> Result<(), Problem> {
    for field in ["supersedes", "clears"] {
        let Some(corrected) = ids::named(data, field) else { continue };
        if let Some(stands) = corrections::standing(tx, &held.kind, corrected).await?.filter(|one| one.id != held.id) {
            data.insert(field.to_owned(), json!(stands.id));
        }
    }
    Ok(())
}

/// Files a held fact: where it says, or where the body says.
///
/// What it corrects or clears is what stands now. An admin files all; a second correction (`corrected`) also either of the
/// two coaches, with the scopes `sync` and that of its own route, where it says. 409 also when facts of several types are held
/// under the id: then name one with `type`.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/held-items/{held_item_id}/accept", impl_for = accept_held_item, tag = "sync",
    responses((status = 200, description = "Filed", body = HeldView),
        (status = 409, description = "It was decided on before, or the id is used by another record")
    )
)]
async fn accept_held_item(
    req: HttpRequest,
    decider: Decider,
    db: Data<Db>,
    params: Result<Params<OneHeld>, Problem>,
    body: Body<Place>,
) -> Result<HttpResponse, Problem> {
    let (params, place) = (params?.0, body.read());
    let with_session = place.as_ref().is_ok_and(|place| place.group_id.is_some());
    let (mut tx, held) = decider.open(&db, (&req, &params), (Wanted::Accept, with_session)).await?;
    let place = place?;
    if decider.recorder.is_some() && place != Place::default() {
        return Err(Problem::new(Code::Forbidden, "Only an admin of the club files a fact elsewhere: send {}."));
    }
    if !store::decide(&mut tx, (&held.kind, held.id), decider.admin.account.0, "accepted", None).await? {
        return Err(decided_before());
    }
    let Value::Object(mut data) = held.data.clone() else { return Err(Problem::not_found("held item")) };
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
        set_clock(&mut tx, &held.kind, &mut data, at).await?;
    }
    if let Some(group) = place.group_id {
        make_session(&mut tx, &data, group).await?;
    }
    follow(&mut tx, &held, &mut data).await?;
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
    decider.answer(&db, &req, &held.kind).await
}

/// Rejects a held fact, or takes back one's own; its recorder is told why.
///
/// An admin rejects all; a second correction (`corrected`) also who recorded the one that stands. Who recorded a fact takes it
/// back (`withdrawn`), with the scope `sync`. 409 also when facts of several types are held under the id: then name one with `type`.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/held-items/{held_item_id}/reject", impl_for = reject_held_item, tag = "sync",
    responses((status = 200, description = "Rejected", body = HeldView),
        (status = 409, description = "It was decided on before")
    )
)]
async fn reject_held_item(
    req: HttpRequest,
    decider: Decider,
    db: Data<Db>,
    params: Result<Params<OneHeld>, Problem>,
    body: Body<Rejection>,
) -> Result<HttpResponse, Problem> {
    let params = params?.0;
    let (mut tx, held) = decider.open(&db, (&req, &params), (Wanted::Reject, false)).await?;
    let mut faults = Faults::new();
    let reason = faults.text("/reason", &body.read()?.reason, 500);
    let reason = faults.finish(reason)?;
    let me = decider.admin.account.0;
    let outcome = if held.member == me { "withdrawn" } else { "rejected" };
    if !store::decide(&mut tx, (&held.kind, held.id), me, outcome, Some(&reason)).await? {
        return Err(decided_before());
    }
    tx.commit().await?;
    decider.answer(&db, &req, &held.kind).await
}

routes!(list_held_items, list_own_held_items, accept_held_item, reject_held_item);
