//! A club's own competition specifications over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::patch::Patch;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::routed;
use crate::platform::stored::IfMatch;

/// Creates a competition specification of the club's own. From `valid_from` on it replaces a published one of
/// the same rule set, event, environment, sex and age group. Start, spacings and run-in must add up to the distance.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/competition-specs", impl_for = create_competition_spec, tag = "competition_specs",
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_competition_spec(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let tx = permit.write(&db).await?;
    routed::create::<Edits>(&req, tx, body.read()?).await
}

/// Lists the competition specifications of the club's own, oldest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/competition-specs", impl_for = list_competition_specs, tag = "competition_specs",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_competition_specs(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads a competition specification of the club's own.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/competition-specs/{competition_spec_id}", impl_for = get_competition_spec, tag = "competition_specs",
    responses((status = 200, description = "The competition specification", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_competition_spec(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a competition specification of the club's own (merge patch).
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/competition-specs/{competition_spec_id}", impl_for = update_competition_spec, tag = "competition_specs",
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "It would overlap another of the rule set")
    )
)]
async fn update_competition_spec(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, &version, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a competition specification of the club's own.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/competition-specs/{competition_spec_id}", impl_for = delete_competition_spec, tag = "competition_specs",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_competition_spec(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, &version, permit.write(&db).await?).await
}

routes!(
    create_competition_spec,
    list_competition_specs,
    get_competition_spec,
    update_competition_spec,
    delete_competition_spec,
);
