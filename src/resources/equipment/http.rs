//! Equipment over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::list_page::list_page;
use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::lanes::Lanes;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::patch::Patch;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::routed;
use crate::platform::stored::IfMatch;

/// Creates a stock of barriers.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/equipment", impl_for = create_equipment, tag = "equipment",
    responses((status = 201, description = "Created", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_equipment(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let tx = permit.write(&db).await?;
    routed::create::<Edits>(&req, tx, body.read()?).await
}

/// Lists the equipment, oldest first.
///
/// As a page for people it is a list to count by: the same records, with room for what was counted.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/equipment", impl_for = list_equipment, tag = "equipment",
    responses((status = 200, description = "A page", content((Page = "application/json"), (String = "text/html"))))
)]
async fn list_equipment(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let format = choose(&req, &[])?;
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, wanted.after, wanted.fetch()).await?;
    let measure = paper::measure(&mut tx, format).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(match format {
        Format::Paper(form) => {
            drop(tx);
            paper::Desk(&permit, &db, &lanes).answer(form, measure, list_page(&body, measure)).await?
        }
        _ => page::answer(&req, &body),
    })
}

/// Reads a stock of barriers.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/equipment/{equipment_id}", impl_for = get_equipment, tag = "equipment",
    responses((status = 200, description = "The equipment", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_equipment(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    routed::read::<Edits>(&req, permit.read(&db).await?).await
}

/// Changes a stock of barriers (merge patch).
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/equipment/{equipment_id}", impl_for = update_equipment, tag = "equipment",
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_equipment(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    routed::change::<Edits>(&req, &version, permit.write(&db).await?, &body.read()?).await
}

/// Deletes a stock of barriers.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/equipment/{equipment_id}", impl_for = delete_equipment, tag = "equipment",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_equipment(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    routed::delete::<Edits>(&req, &version, permit.write(&db).await?).await
}

routes!(create_equipment, list_equipment, get_equipment, update_equipment, delete_equipment);
