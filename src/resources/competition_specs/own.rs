//! A club's own competition specifications over HTTP.

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

/// Creates a competition specification of the club's own. From `valid_from` on it replaces a published one of
/// the same rule set, event, environment, sex and age group. Start, spacings and run-in must add up to the distance.
#[utoipa::path(
    tag = "competition_specs",
    params(("club_id" = Uuid, Path, description = "The club")),
    request_body = New,
    security(("access_token" = ["club.admin"])),
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
#[post("/v1/clubs/{club_id}/competition-specs")]
async fn create_competition_spec(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let new = body.read()?;
    routed::create::<Edits>(&req, permit.write(&db).await?, new).await
}

/// Lists the competition specifications of the club's own, oldest first.
#[utoipa::path(
    tag = "competition_specs",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/competition-specs")]
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
    tag = "competition_specs",
    params(("club_id" = Uuid, Path, description = "The club"), ("competition_spec_id" = Uuid, Path, description = "The competition specification")),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "The competition specification", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/competition-specs/{competition_spec_id}")]
async fn get_competition_spec(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a competition specification of the club's own (merge patch).
#[utoipa::path(
    tag = "competition_specs",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("competition_spec_id" = Uuid, Path, description = "The competition specification"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    request_body(content = Fields, content_type = "application/merge-patch+json"),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "It would overlap another of the rule set")
    )
)]
#[patch("/v1/clubs/{club_id}/competition-specs/{competition_spec_id}")]
async fn update_competition_spec(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Map<String, Value>>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a competition specification of the club's own.
#[utoipa::path(
    tag = "competition_specs",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("competition_spec_id" = Uuid, Path, description = "The competition specification"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    security(("access_token" = ["club.admin"])),
    responses((status = 204, description = "Deleted"))
)]
#[delete("/v1/clubs/{club_id}/competition-specs/{competition_spec_id}")]
async fn delete_competition_spec(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, permit.write(&db).await?).await
}

/// The routes of competition specifications of the club's own.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config
        .service(create_competition_spec)
        .service(list_competition_specs)
        .service(get_competition_spec)
        .service(update_competition_spec)
        .service(delete_competition_spec);
}
