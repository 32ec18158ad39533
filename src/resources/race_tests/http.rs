//! Race tests over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::entries_store;
use super::shapes::{Fields, New, Page, Summary, View};
use super::store::{self, Filter, StoredTest};
use super::sync::Edits;
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind};
use crate::platform::ids::{RaceTestId, SessionId};
use crate::platform::ops::{self, Editable};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::patch::Patch;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch};

/// Which race tests a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only race tests of this session.
    session_id: Option<SessionId>,
    /// Only of sessions from this day on.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Only of sessions up to this day.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
}

/// The race test in the path, when the caller sees its session.
pub(super) async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<StoredTest, Problem> {
    let id = RaceTestId(path_id(req, "race_test_id", "race test")?);
    store::find(tx, id).await?.ok_or_else(|| Problem::not_found("race test"))
}

async fn view(tx: &mut ClubTx, stored: &StoredTest) -> Result<View, Problem> {
    Ok(View::new(stored, &entries_store::entrants(tx, stored.id).await?))
}

/// Plans a race test in a session, over a competition specification or dimensions of one's own.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/race-tests", impl_for = create_race_test, tag = "race_tests",
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_race_test(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let new = body.read()?;
    let id = new.id.unwrap_or_else(RaceTestId::new);
    tx.alone(id.0).await?;
    let test = Edits::parse(&mut tx, new, None).await?;
    let fresh = store::insert(&mut tx, id, &test).await?;
    let mut found = store::find(&mut tx, id).await?.ok_or_else(Problem::gone)?;
    stored::same_or_conflict(&found.value.test, &test)?;
    let entrants = entries_store::entrants(&mut tx, id).await?;
    if fresh {
        found.rev = tx.commit().await?.of(Kind::RaceTest, id, 0);
    }
    Ok(stored::created(&req, fresh, id, found.rev, &View::new(&found, &entrants)))
}

/// Lists the race tests of the sessions that you see, latest day first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/race-tests", impl_for = list_race_tests, tag = "race_tests",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_race_tests(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { session_id, from, to } = params.0;
    let wanted = page.0.parse::<(NaiveDate, Uuid)>()?;
    let filter = Filter { session: session_id, from, to };
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, &filter, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| (row.value.held_on, row.id.0));
    let body = Page { items: rows.iter().map(Summary::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads a race test with those of its entries that you see.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}", impl_for = get_race_test, tag = "race_tests",
    responses((status = 200, description = "The race test", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_race_test(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let body = view(&mut tx, &found).await?;
    Ok(stored::read(&req, found.rev, &body))
}

/// Changes name, state or timing of a race test (merge patch). What it is run over stays: times would no longer compare.
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}", impl_for = update_race_test, tag = "race_tests",
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_race_test(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let mut found = load(&mut tx, &req).await?;
    let entrants = entries_store::entrants(&mut tx, found.id).await?;
    version.require::<SquadRead>(&tx, found.rev, &View::new(&found, &entrants))?;
    found.value.test = ops::patch::<Edits>(&mut tx, found.id.0, &found.value.test, &body.read()?).await?;
    found.rev = tx.commit().await?.of(Kind::RaceTest, found.id, found.rev);
    Ok(stored::changed(found.rev, &View::new(&found, &entrants)))
}

/// Deletes a race test in which nothing was recorded.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}", impl_for = delete_race_test, tag = "race_tests",
    responses((status = 204, description = "Deleted"),
        (status = 409, description = "Results were recorded in it")
    )
)]
async fn delete_race_test(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let found = load(&mut tx, &req).await?;
    let entrants = entries_store::entrants(&mut tx, found.id).await?;
    version.require::<SquadRead>(&tx, found.rev, &View::new(&found, &entrants))?;
    Edits::remove(&mut tx, found.id.0, &found.value.test).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_race_test, list_race_tests, get_race_test, update_race_test, delete_race_test);
