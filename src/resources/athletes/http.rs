//! Athletes over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::erase_store;
use super::measured_store;
use super::model::{Athlete, Measurement, NewAthlete, Status};
use super::shapes::{Fields, New, Page, View};
use super::store::{self, Filter};
use crate::platform::access::{Permit, RosterWrite, SquadRead};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::patch::{self, Patch};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch, Stored};

/// Longest part of a name that is looked for.
const NAME_PART_MAX: usize = 80;

/// Which athletes a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only athletes of this group.
    group_id: Option<GroupId>,
    /// Only athletes of this status: `active`, `resting` or `left`.
    #[param(value_type = Option<super::model::Status>, inline, example = "active")]
    status: Option<String>,
    /// Only athletes whose name contains this, ignoring case.
    #[param(max_length = 80, example = "osei")]
    q: Option<String>,
}

/// The athlete in the path, when the caller sees them.
pub(super) async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<Stored<AthleteId, Athlete>, Problem> {
    let id = AthleteId(path_id(req, "athlete_id", "athlete")?);
    store::find(tx, id).await?.ok_or_else(|| Problem::not_found("athlete"))
}

async fn view(tx: &mut ClubTx, stored: &Stored<AthleteId, Athlete>) -> Result<View, Problem> {
    let measurements = measured_store::by_athlete(tx, &[stored.id]).await?;
    Ok(View::new(stored, measurements.get(&stored.id).map_or(&[], Vec::as_slice)))
}

/// Answers a create whose athlete is there, in the transaction that found it.
async fn repeated(req: &HttpRequest, tx: &mut ClubTx, new: NewAthlete) -> Result<HttpResponse, Problem> {
    let stored = store::find(tx, new.id).await?.ok_or_else(Problem::gone)?;
    let measured = measured_store::by_athlete(tx, &[new.id]).await?.remove(&new.id).unwrap_or_default();
    let answer = View::new(&stored, &measured);
    // What was measured since then does not make the repeat another athlete.
    let there =
        |sent: &(MeasurementId, Measurement)| measured.iter().any(|one| (one.id, one.value.measurement) == *sent);
    let same = (stored.value, new.measurements.iter().all(there));
    stored::same_or_conflict(&same, &(new.athlete, true))?;
    Ok(stored::created(req, false, new.id, stored.rev, &answer))
}

/// Adds an athlete to groups of yours.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes", impl_for = create_athlete, tag = "athletes",
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_athlete(
    req: HttpRequest,
    permit: Permit<RosterWrite>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let new = body.read()?.parse(tx.today().await?)?;
    grants::require(&mut tx, &new.athlete.groups, "/group_ids").await?;
    tx.alone(new.id.0).await?;
    if !store::insert(&mut tx, std::slice::from_ref(&new)).await? {
        return repeated(&req, &mut tx, new).await;
    }
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    let stored = store::find(&mut tx, new.id).await?.ok_or_else(|| Problem::not_found("athlete"))?;
    Ok(stored::created(&req, true, new.id, stored.rev, &view(&mut tx, &stored).await?))
}

/// Lists the athletes that you see, in the order they were added.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes", impl_for = list_athletes, tag = "athletes",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_athletes(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { group_id, status, q } = params.0;
    let wanted = page.0.parse::<Uuid>()?;
    let status = status
        .map(|word| Status::parse(&word))
        .transpose()
        .map_err(|detail| Problem::malformed(Fault::of("status", "word", detail)))?;
    if q.as_ref().is_some_and(|part| part.chars().count() > NAME_PART_MAX) {
        let detail = format!("must have at most {NAME_PART_MAX} characters");
        return Err(Problem::malformed(Fault::of("q", "length", detail)));
    }
    let filter = Filter { group: group_id, status, name: q };
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, &filter, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let ids: Vec<AthleteId> = rows.iter().map(|row| row.id).collect();
    let measurements = measured_store::by_athlete(&mut tx, &ids).await?;
    let items = rows.iter().map(|row| View::new(row, measurements.get(&row.id).map_or(&[], Vec::as_slice))).collect();
    let body = Page { items, next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads an athlete.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}", impl_for = get_athlete, tag = "athletes",
    responses((status = 200, description = "The athlete", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_athlete(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let stored = load(&mut tx, &req).await?;
    let view = view(&mut tx, &stored).await?;
    Ok(stored::read(&req, stored.rev, &view))
}

/// Changes an athlete (merge patch). Measurements have their own routes.
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/athletes/{athlete_id}", impl_for = update_athlete, tag = "athletes",
    request_body(content = Fields, content_type = "application/merge-patch+json", example = json!({"status": "resting"})),
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_athlete(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<RosterWrite>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let patch = body.read()?;
    if patch.contains_key("measurements") {
        return Err(Problem::invalid(vec![Fault::at(
            "/measurements",
            "append_only",
            "measurements are added and removed with their own routes",
        )]));
    }
    let before = load(&mut tx, &req).await?;
    let current = view(&mut tx, &before).await?;
    version.require::<SquadRead>(&tx, before.rev, &current)?;
    let fields: Fields = patch::merge(&Fields::from(&before.value), &patch)?;
    let athlete = fields.parse(tx.today().await?)?;
    grants::require_moved(&mut tx, &before.value.groups, &athlete.groups, "/group_ids").await?;
    store::save(&mut tx, before.id, &athlete, &before.value).await?;
    let rev = tx.commit().await?.of(Kind::Athlete, before.id, before.rev);
    let fields = Fields::from(&athlete);
    Ok(stored::changed(rev, &View { rev, fields, ..current }))
}

/// The athlete whom a request erases, when it may: there, of the version that it names, and of no group of others.
async fn erasable(
    tx: &mut ClubTx,
    req: &HttpRequest,
    version: &IfMatch,
) -> Result<Stored<AthleteId, Athlete>, Problem> {
    let before = load(tx, req).await?;
    let current = view(tx, &before).await?;
    version.require::<SquadRead>(tx, before.rev, &current)?;
    grants::require_assigned(tx, &before.value.groups)?;
    Ok(before)
}

/// Deletes an athlete: the personal data go at once and for good; runs stay as facts about nobody. That is for people: an app is
/// refused.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/athletes/{athlete_id}", impl_for = delete_athlete, tag = "athletes",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_athlete(
    req: HttpRequest,
    version: IfMatch,
    permit: InPerson<RosterWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    // Nobody waits for what is refused.
    let mut tx = permit.read(&db).await?;
    erasable(&mut tx, &req, &version).await?;
    drop(tx);
    // Looked at again: somebody may have changed, moved or erased the athlete meanwhile.
    let mut tx = permit.write_alone(&db).await?;
    let before = erasable(&mut tx, &req, &version).await?;
    erase_store::remove(&mut tx, before.id, &before.value.groups).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_athlete, list_athletes, get_athlete, update_athlete, delete_athlete);
