//! Venues over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post};
use serde_json::{Map, Value};
use uuid::Uuid;

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::routed;

/// Creates a venue.
#[utoipa::path(
    tag = "venues",
    params(("club_id" = Uuid, Path, description = "The club")),
    request_body = New,
    security(("access_token" = ["club.admin"])),
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
#[post("/v1/clubs/{club_id}/venues")]
async fn create_venue(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let new = body.read()?;
    routed::create::<Edits>(&req, permit.write(&db).await?, new).await
}

/// Lists the venues, oldest first.
#[utoipa::path(
    tag = "venues",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/venues")]
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
    tag = "venues",
    params(("club_id" = Uuid, Path, description = "The club"), ("venue_id" = Uuid, Path, description = "The venue")),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "The venue", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/venues/{venue_id}")]
async fn get_venue(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a venue (merge patch).
#[utoipa::path(
    tag = "venues",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("venue_id" = Uuid, Path, description = "The venue"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    request_body(content = Fields, content_type = "application/merge-patch+json"),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "Another record of the club has this name")
    )
)]
#[patch("/v1/clubs/{club_id}/venues/{venue_id}")]
async fn update_venue(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Map<String, Value>>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a venue.
#[utoipa::path(
    tag = "venues",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("venue_id" = Uuid, Path, description = "The venue"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    security(("access_token" = ["club.admin"])),
    responses((status = 204, description = "Deleted"),
        (status = 409, description = "Sessions are held there")
    )
)]
#[delete("/v1/clubs/{club_id}/venues/{venue_id}")]
async fn delete_venue(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, permit.write(&db).await?).await
}

/// The routes of venues.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.service(create_venue).service(list_venues).service(get_venue).service(update_venue).service(delete_venue);
}
