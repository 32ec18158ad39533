//! Members over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, delete, get, patch};
use serde_json::{Map, Value};
use uuid::Uuid;

use super::model::{Assignment, Member};
use super::shapes::{Fields, Page, View};
use super::store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind};
use crate::platform::grants;
use crate::platform::ids::AccountId;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::patch;
use crate::platform::problem::Problem;
use crate::platform::stored::{self, Stored};

async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<Stored<AccountId, Member>, Problem> {
    let id = AccountId(path_id(req, "member_id", "member")?);
    Ok(store::find(tx, id).await?)
}

/// Lists the members of the club.
#[utoipa::path(
    tag = "members",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/members")]
async fn list_members(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
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

/// Reads a member.
#[utoipa::path(
    tag = "members",
    params(("club_id" = Uuid, Path, description = "The club"), ("member_id" = Uuid, Path, description = "The member")),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "The member", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/members/{member_id}")]
async fn get_member(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let stored = load(&mut tx, &req).await?;
    Ok(stored::read(&req, stored.rev, &View::from(&stored)))
}

/// Gives a member another role or other groups (merge patch). The last admin stays.
#[utoipa::path(
    tag = "members",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("member_id" = Uuid, Path, description = "The member"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    request_body(content = Fields, content_type = "application/merge-patch+json"),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "It is the last admin of the club")
    )
)]
#[patch("/v1/clubs/{club_id}/members/{member_id}")]
async fn update_member(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Map<String, Value>>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    stored::require_match(&req, before.rev, &View::from(&before))?;
    let fields: Fields = patch::merge(&Fields::from(&before.value.assignment), &body.read()?)?;
    let assignment = Assignment::parse(fields.role, &fields.group_ids)?;
    grants::require(&mut tx, &assignment.groups, "/group_ids").await?;
    store::save(&mut tx, before.id, &assignment).await?;
    let rev = tx.commit().await?.of(Kind::Member, before.id, before.rev);
    let value = Member { assignment, ..before.value };
    Ok(stored::changed(rev, &View::from(&Stored { id: before.id, rev, value })))
}

/// Removes a member; what they recorded stays. The last admin stays.
#[utoipa::path(
    tag = "members",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("member_id" = Uuid, Path, description = "The member"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    security(("access_token" = ["club.admin"])),
    responses((status = 204, description = "Removed"),
        (status = 409, description = "It is the last admin of the club")
    )
)]
#[delete("/v1/clubs/{club_id}/members/{member_id}")]
async fn delete_member(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    stored::require_match(&req, before.rev, &View::from(&before))?;
    store::remove(&mut tx, before.id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The routes of members.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.service(list_members).service(get_member).service(update_member).service(delete_member);
}
