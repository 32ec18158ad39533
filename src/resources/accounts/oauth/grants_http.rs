//! The apps that act for somebody, and how they end that.

use actix_web::http::StatusCode;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};

use super::shapes::{ConnectedList, ConnectedView};
use super::{apps_store, codes_store};
use crate::platform::access::Caller;
use crate::platform::client::ClientId;
use crate::platform::db::Db;
use crate::platform::ids::AppId;
use crate::platform::params::path_id;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::accounts::sign_in::uncached;

/// The apps that you let act for you, in all your clubs.
#[utoipa::path(
    get, path = "/v1/me/apps", impl_for = list_connected_apps, tag = "apps",
    responses((status = 200, description = "The apps", body = ConnectedList))
)]
async fn list_connected_apps(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = db.account_tx().await?;
    let clubs = codes_store::clubs(&mut tx, caller.account).await?;
    drop(tx);
    let mut items = Vec::new();
    // Each in a transaction of its own, since each club may live on another node.
    for club in clubs {
        items.extend(apps_store::granted(&db, club, caller.account).await?.into_iter().map(ConnectedView::from));
    }
    Ok(uncached(StatusCode::OK, &ConnectedList { items }))
}

/// Ends that an app acts for you, on every device: its tokens are refused from the next request on with the problem
/// `app-revoked`, which tells it to forget what it keeps. Repeating it changes nothing.
#[utoipa::path(
    delete, path = "/v1/me/apps/{app_id}", impl_for = disconnect_app, tag = "apps",
    responses((status = 204, description = "It acts for you no more"))
)]
async fn disconnect_app(req: HttpRequest, caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let app = AppId(path_id(&req, "app_id", "app")?);
    let mut tx = db.account_tx().await?;
    let clubs = codes_store::clubs(&mut tx, caller.account).await?;
    drop(tx);
    // The club first: that alone ends it at once, and the rest may be done again.
    for club in clubs {
        if apps_store::withdraw(&db, ClientId { club, app }, caller.account).await? {
            break;
        }
    }
    let mut tx = db.account_tx().await?;
    codes_store::end(&mut tx, caller.account, app).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(list_connected_apps, disconnect_app);
