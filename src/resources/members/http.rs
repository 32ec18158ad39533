//! Members over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::model::{Assignment, Member};
use super::shapes::{Fields, Page, View};
use super::store;
use crate::platform::access::{Caller, ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::db::{Actor, ClubTx, Db, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::patch;
use crate::platform::patch::Patch;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch, Stored};

async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<Stored<AccountId, Member>, Problem> {
    let id = AccountId(path_id(req, "member_id", "member")?);
    Ok(store::find(tx, id).await?)
}

/// Lists the members of the club.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/members", impl_for = list_members, tag = "members",
    responses((status = 200, description = "A page", body = Page))
)]
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
    get, path = "/v1/clubs/{club_id}/members/{member_id}", impl_for = get_member, tag = "members",
    responses((status = 200, description = "The member", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_member(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let stored = load(&mut tx, &req).await?;
    Ok(stored::read(&req, stored.rev, &View::from(&stored)))
}

/// Gives a member another role or other groups (merge patch). The last admin stays.
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/members/{member_id}", impl_for = update_member, tag = "members",
    responses((status = 200, description = "Changed", body = View),
        (status = 409, description = "It is the last admin of the club")
    )
)]
async fn update_member(
    req: HttpRequest,
    version: IfMatch,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    version.require::<ClubAdmin>(&tx, before.rev, &View::from(&before))?;
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
    delete, path = "/v1/clubs/{club_id}/members/{member_id}", impl_for = delete_member, tag = "members",
    responses((status = 204, description = "Removed"),
        (status = 409, description = "It is the last admin of the club")
    )
)]
async fn delete_member(
    req: HttpRequest,
    version: IfMatch,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = load(&mut tx, &req).await?;
    version.require::<ClubAdmin>(&tx, before.rev, &View::from(&before))?;
    store::remove(&mut tx, before.id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Leaves a club; what you recorded stays with it. Your phones are told that the club is gone, and what they have not handed in yet
/// is taken for 30 days. The last admin makes another member admin first.
#[utoipa::path(
    delete, path = "/v1/me/clubs/{club_id}", impl_for = leave_club, tag = "members",
    responses((status = 204, description = "You are no member any more"),
        (status = 404, description = "You are no member of such a club"),
        (status = 409, description = "You are the last admin of the club")
    )
)]
async fn leave_club(req: HttpRequest, caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let club = ClubId(path_id(&req, "club_id", "club")?);
    let mut tx = db.write(club, &Actor::unseeing(caller.account)).await?;
    tx.alone(caller.account.0).await?;
    store::find(&mut tx, caller.account).await.map_err(|error| match error {
        StoreError::NotFound(_) => Problem::not_found("club"),
        other => other.into(),
    })?;
    store::remove(&mut tx, caller.account).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(list_members, get_member, update_member, delete_member, leave_club);
