//! Training groups over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::model::Group;
use super::store;
use super::sync::Edits;
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::ids::GroupId;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::routed::plain_routes;
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
    /// Whether its time is over: it keeps its athletes, sessions and figures, and leaves the lists. Absent: no.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    archived: bool,
}

/// Which groups a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Also groups that were archived.
    #[serde(default)]
    archived: bool,
}

/// A new training group.
type New = Create<GroupId, Fields>;

/// A training group.
pub type View = Kept<GroupId, Fields>;

/// A page of training groups.
type Page = page::Page<View>;

impl From<&Group> for Fields {
    fn from(group: &Group) -> Self {
        Self { name: group.name.clone(), season: group.season.clone(), archived: group.archived }
    }
}

impl TryFrom<Fields> for Group {
    type Error = Vec<Fault>;

    fn try_from(fields: Fields) -> Result<Self, Vec<Fault>> {
        Self::parse(&fields.name, fields.season.as_deref(), fields.archived)
    }
}

/// Lists the training groups that you see, oldest first, without those that were archived.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/groups", impl_for = list_groups, tag = "groups",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_groups(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = page.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, params.0.archived, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

plain_routes! {
    "groups" at "/v1/clubs/{club_id}/groups", "group_id", written by ClubAdmin;
    /// Creates a training group.
    create_group;
    /// Reads a training group.
    get_group: "The group";
    /// Changes a training group (merge patch). One whose time is over is archived: set `archived`.
    update_group or "Another record of the club has this name";
    /// Deletes a training group that nobody belongs to any more.
    delete_group or "Athletes, sessions or members belong to it";
    listed by list_groups;
}
