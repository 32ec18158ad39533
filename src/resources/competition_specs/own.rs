//! A club's own competition specifications over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post};
use serde_json::{Map, Value};
use uuid::Uuid;

use super::shapes::{Fields, New, Page, View};
use super::store::{self, StoredOwn};
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::ids::CompetitionSpecId;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::patch;
use crate::platform::problem::Problem;
use crate::platform::stored::{self, Stored};

async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<StoredOwn, Problem> {
    let id = CompetitionSpecId(path_id(req, "competition_spec_id", "competition specification")?);
    store::find(tx, id).await?.ok_or_else(|| Problem::not_found("competition specification"))
}

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
    let (id, fields) = body.read()?.split();
    let value = fields.parse()?;
    let mut tx = permit.write(&db).await?;
    if !store::insert(&mut tx, id, &value).await? {
        let found = store::find(&mut tx, id).await?.ok_or_else(Problem::gone)?;
        stored::same_or_conflict(&found.value, &value)?;
        return Ok(stored::created(&req, false, id, found.rev, &View::from(&found)));
    }
    let rev = tx.commit().await?.of(id, 0);
    Ok(stored::created(&req, true, id, rev, &View::from(&Stored { id, rev, value })))
}

/// Lists the competition specifications of the club's own.
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
    Ok(page::answer(&req, body.next_cursor.as_deref(), &body))
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
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    Ok(stored::read(&req, found.rev, &View::from(&found)))
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
    responses((status = 200, description = "Changed", body = View))
)]
#[patch("/v1/clubs/{club_id}/competition-specs/{competition_spec_id}")]
async fn update_competition_spec(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Map<String, Value>>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    stored::require_match(&req, before.rev, &View::from(&before))?;
    let fields: Fields = patch::merge(&Fields::from(&before.value), &body.read()?)?;
    let value = fields.parse()?;
    store::save(&mut tx, before.id, &value).await?;
    let rev = tx.commit().await?.of(before.id, before.rev);
    Ok(stored::changed(rev, &View::from(&Stored { id: before.id, rev, value })))
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
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    stored::require_match(&req, before.rev, &View::from(&before))?;
    store::remove(&mut tx, before.id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
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
