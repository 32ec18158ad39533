//! Venues over HTTP.

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

/// Creates a venue.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/venues", impl_for = create_venue, tag = "venues",
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_venue(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let tx = permit.write(&db).await?;
    routed::create::<Edits>(&req, tx, body.read()?).await
}

/// Lists the venues, oldest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/venues", impl_for = list_venues, tag = "venues",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_venues(
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

/// Reads a venue.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/venues/{venue_id}", impl_for = get_venue, tag = "venues",
    responses((status = 200, description = "The venue", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_venue(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a venue (merge patch).
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/venues/{venue_id}", impl_for = update_venue, tag = "venues",
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "Another record of the club has this name")
    )
)]
async fn update_venue(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, &version, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a venue.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/venues/{venue_id}", impl_for = delete_venue, tag = "venues",
    responses((status = 204, description = "Deleted"),
        (status = 409, description = "Sessions are held there")
    )
)]
async fn delete_venue(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, &version, permit.write(&db).await?).await
}

routes!(create_venue, list_venues, get_venue, update_venue, delete_venue);
