//! Refused values and the devices over HTTP: for admins.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::admin_shapes::{DevicePage, DeviceView, RefusedPage, RefusedView};
use super::admin_store as store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::db::Db;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;

/// Lists values that lost against another edit; they are kept for 90 days.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/refused-edits", impl_for = list_refused_edits, tag = "sync",
    responses((status = 200, description = "A page", body = RefusedPage))
)]
async fn list_refused_edits(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::refused(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.op_id);
    let body = RefusedPage { items: rows.into_iter().map(RefusedView::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Lists the phones that sync, with what they have not read yet.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sync-devices", impl_for = list_sync_devices, tag = "sync",
    responses((status = 200, description = "A page", body = DevicePage))
)]
async fn list_sync_devices(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::devices(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id);
    let body = DevicePage { items: rows.into_iter().map(DeviceView::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Makes a phone take a full copy: its tokens are refused from now on.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/sync-devices/{sync_device_id}/resync", impl_for = resync_device, tag = "sync",
    responses((status = 204, description = "Its next pull is answered 410"))
)]
async fn resync_device(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = path_id(&req, "sync_device_id", "device")?;
    let mut tx = permit.write(&db).await?;
    if !store::resync(&mut tx, id).await? {
        return Err(Problem::not_found("device"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(list_refused_edits, list_sync_devices, resync_device);
