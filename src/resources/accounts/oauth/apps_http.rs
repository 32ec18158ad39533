//! The apps of a club over HTTP: an admin registers, changes and revokes them.

use actix_web::http::StatusCode;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::Utc;

use super::apps_store::{self as store, Listed};
use super::model::App;
use super::shapes::{Fields, List, View};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::audit;
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::ids::AppId;
use crate::platform::params::path_id;
use crate::platform::patch::{self, Patch};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch, Stored};
use crate::resources::accounts::sign_in::uncached;

/// Registers an app of a third party, so that it may ask members to act for them: a public client of OAuth 2.0, which proves
/// itself by PKCE. Give its makers the `client_id`; there is no secret.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/apps", impl_for = create_app, tag = "apps",
    responses((status = 201, description = "Registered", body = View),
        (status = 409, description = "The club has as many apps as it may have"))
)]
async fn create_app(
    req: HttpRequest,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Body<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let Fields { name, redirect_uris, scopes } = body.read()?;
    let value = App::parse(&name, redirect_uris, scopes)?;
    let (id, now) = (AppId::new(), Utc::now());
    tx.alone_in_club().await?;
    store::insert(&mut tx, id, &value, now).await?;
    audit::makes(id);
    tx.commit().await?;
    let listed = Listed { app: Stored { id, rev: 1, value }, created_at: now, people: 0, last_used_at: None };
    Ok(stored::created(&req, true, id, 1, &View::new(permit.club, &listed)))
}

/// The apps that the club admits, oldest first: what each may have, how many members let it act for them, and when it was
/// last used.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/apps", impl_for = list_apps, tag = "apps",
    responses((status = 200, description = "The apps", body = List))
)]
async fn list_apps(permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let items = store::list(&mut tx).await?.iter().map(|one| View::new(permit.club, one)).collect();
    Ok(uncached(StatusCode::OK, &List { items }))
}

fn app_of(req: &HttpRequest) -> Result<AppId, Problem> {
    path_id(req, "app_id", "app").map(AppId)
}

/// Reads an app that the club admits.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/apps/{app_id}", impl_for = get_app, tag = "apps",
    responses((status = 200, description = "The app", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_app(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = app_of(&req)?;
    let mut tx = permit.read(&db).await?;
    let found = store::find(&mut tx, id).await?;
    Ok(stored::read(&req, found.app.rev, &View::new(permit.club, &found)))
}

/// Changes an app (merge patch). A scope that is taken away counts for nobody from the next request on; one that is added
/// counts for who is asked again. An address that is taken away brings no code any more.
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/apps/{app_id}", impl_for = update_app, tag = "apps",
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_app(
    req: HttpRequest,
    version: IfMatch,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let id = app_of(&req)?;
    let mut tx = permit.write(&db).await?;
    let before = store::find(&mut tx, id).await?;
    version.require::<ClubAdmin>(&tx, before.app.rev, &View::new(permit.club, &before))?;
    let Fields { name, redirect_uris, scopes } = patch::merge(&Fields::from(&before.app.value), &body.read()?)?;
    let value = App::parse(&name, redirect_uris, scopes)?;
    let rev = store::save(&mut tx, id, &value).await?;
    tx.commit().await?;
    let now = Listed { app: Stored { id, rev, value }, ..before };
    Ok(stored::changed(rev, &View::new(permit.club, &now)))
}

/// Revokes an app for the whole club, at once: every token that it has of any member is refused from the next request on with
/// the problem `app-revoked`, which tells it to forget what it keeps.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/apps/{app_id}", impl_for = delete_app, tag = "apps",
    responses((status = 204, description = "Revoked"))
)]
async fn delete_app(req: HttpRequest, permit: InPerson<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = app_of(&req)?;
    let mut tx = permit.write(&db).await?;
    if !store::revoke(&mut tx, id).await? {
        return Err(Problem::not_found("app"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_app, list_apps, get_app, update_app, delete_app);
