//! Training groups over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

use super::model::Group;
use super::store;
use super::sync::Edits;
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::ids::GroupId;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::routed;
use crate::platform::shape::{Create, Kept};

/// A training group.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = GroupFields, example = json!({"name": "Under 14 hurdles", "season": "2026 outdoor"}))]
pub struct Fields {
    /// Name, unique in the club.
    #[schema(min_length = 1, max_length = 80, example = "Under 14 hurdles")]
    name: String,
    /// The season it trains for, in the club's own words.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 40, example = "2026 outdoor")]
    season: Option<String>,
}

/// A new training group.
type New = Create<GroupId, Fields>;

/// A training group.
pub type View = Kept<GroupId, Fields>;

/// A page of training groups.
type Page = page::Page<View>;

impl From<&Group> for Fields {
    fn from(group: &Group) -> Self {
        Self { name: group.name.clone(), season: group.season.clone() }
    }
}

impl TryFrom<Fields> for Group {
    type Error = Vec<Fault>;

    fn try_from(fields: Fields) -> Result<Self, Vec<Fault>> {
        Self::parse(&fields.name, fields.season.as_deref())
    }
}

/// Creates a training group.
#[utoipa::path(
    tag = "groups",
    params(("club_id" = Uuid, Path, description = "The club")),
    request_body = New,
    security(("access_token" = ["club.admin"])),
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
#[post("/v1/clubs/{club_id}/groups")]
async fn create_group(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let new = body.read()?;
    routed::create::<Edits>(&req, permit.write(&db).await?, new).await
}

/// Lists the training groups that you see, oldest first.
#[utoipa::path(
    tag = "groups",
    params(("club_id" = Uuid, Path, description = "The club"), PageParams),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "A page", body = Page))
)]
#[get("/v1/clubs/{club_id}/groups")]
async fn list_groups(
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

/// Reads a training group.
#[utoipa::path(
    tag = "groups",
    params(("club_id" = Uuid, Path, description = "The club"), ("group_id" = Uuid, Path, description = "The group")),
    security(("access_token" = ["squad.read"])),
    responses((status = 200, description = "The group", body = View), (status = 304, description = "Unchanged"))
)]
#[get("/v1/clubs/{club_id}/groups/{group_id}")]
async fn get_group(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a training group (merge patch).
#[utoipa::path(
    tag = "groups",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("group_id" = Uuid, Path, description = "The group"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    request_body(content = Fields, content_type = "application/merge-patch+json"),
    security(("access_token" = ["club.admin"])),
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "Another record of the club has this name")
    )
)]
#[patch("/v1/clubs/{club_id}/groups/{group_id}")]
async fn update_group(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Map<String, Value>>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a training group that nobody belongs to any more.
#[utoipa::path(
    tag = "groups",
    params(
        ("club_id" = Uuid, Path, description = "The club"),
        ("group_id" = Uuid, Path, description = "The group"),
        ("If-Match" = String, Header, description = "ETag of the version you read")
    ),
    security(("access_token" = ["club.admin"])),
    responses((status = 204, description = "Deleted"),
        (status = 409, description = "Athletes, sessions or members belong to it")
    )
)]
#[delete("/v1/clubs/{club_id}/groups/{group_id}")]
async fn delete_group(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, permit.write(&db).await?).await
}

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.service(create_group).service(list_groups).service(get_group).service(update_group).service(delete_group);
}
