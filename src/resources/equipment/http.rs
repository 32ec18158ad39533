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
use crate::platform::db::Db;
use crate::platform::lanes::Lanes;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::routed::plain_routes;

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

plain_routes! {
    "equipment" at "/v1/clubs/{club_id}/equipment", "equipment_id", written by ClubAdmin;
    /// Creates a stock of barriers.
    create_equipment;
    /// Reads a stock of barriers.
    get_equipment: "The equipment";
    /// Changes a stock of barriers (merge patch).
    update_equipment;
    /// Deletes a stock of barriers.
    delete_equipment;
    listed by list_equipment;
}
