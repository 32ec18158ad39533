//! Exports over HTTP: an admin asks for one, looks how far it is and downloads the archive.

use actix_web::body::SizedStream;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE, ContentEncoding, LOCATION};
use actix_web::web::{Bytes, Data};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{Duration, SubsecRound, Utc};
use futures_util::stream;

use super::model::{Export, MOST, State};
use super::shapes::{List, New, View};
use super::store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::audit;
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::ExportId;
use crate::platform::params::path_id;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::stored;

/// The media type of an archive.
const ZIP: &str = "application/zip";

/// The export in the path; the audit names its athlete.
async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<Export, Problem> {
    let id = ExportId(path_id(req, "export_id", "export")?);
    let found = store::find(tx, id).await?.ok_or_else(|| Problem::not_found("export"))?;
    audit::concerns(found.athlete.map(|athlete| athlete.0));
    Ok(found)
}

fn answered(req: &HttpRequest, fresh: bool, one: &Export) -> HttpResponse {
    let status = if fresh { StatusCode::CREATED } else { StatusCode::OK };
    HttpResponse::build(status)
        .insert_header((LOCATION, format!("{}/{}", req.path().trim_end_matches('/'), one.id)))
        .insert_header((CACHE_CONTROL, "private, no-store"))
        .json(View::from(one))
}

/// Asks for an export: of all that the club holds, or of all that it holds about one athlete.
///
/// The archive is made in the background, usually within seconds: look with `GET` until `state` is `ready`, then download it. It is a ZIP
/// with each table as `json/NAME.ndjson` and `csv/NAME.csv`, `schema.json` (what each column holds) and `manifest.json` (version of the
/// format, count, size and SHA-256 of every file, and what is left out and why), all as of one moment. Secrets and their hashes are never
/// in it. An export of an athlete is what the club owes somebody who asks for their data; it names nobody else but by ids.
/// It goes three days after it was made, and at once when somebody is erased whom it names, when something in it goes by the club's
/// retention, and when a consent in it is withdrawn. A club has 20 at the most (409). Keep an archive as carefully as the club's own data.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/exports", impl_for = create_export, tag = "exports",
    responses((status = 201, description = "Asked for", body = View), (status = 200, description = "Was asked for already", body = View),
        (status = 409, description = "The club has as many exports as it may have, or the id is taken"))
)]
async fn create_export(
    req: HttpRequest,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let New { id, athlete_id: athlete } = body.read()?;
    audit::concerns(athlete.map(|athlete| athlete.0));
    let id = id.unwrap_or_else(ExportId::new);
    tx.alone(id.0).await?;
    // One after the other: they are counted.
    tx.alone_in_club().await?;
    if let Some(found) = store::find(&mut tx, id).await? {
        stored::same_or_conflict(&found.athlete, &athlete)?;
        return Ok(answered(&req, false, &found));
    }
    if let Some(athlete) = athlete
        && !store::has_athlete(&mut tx, athlete).await?
    {
        let fault = Fault::at("/athlete_id", "unknown_id", "there is no such athlete in the club");
        return Err(Problem::invalid(vec![fault]));
    }
    let others = store::list(&mut tx).await?;
    if others.len() >= MOST {
        let detail =
            format!("The club has {MOST} exports. Delete one that nobody needs any more, or wait until one goes.");
        return Err(Problem::new(Code::Conflict, detail));
    }
    let now = Utc::now().trunc_subsecs(6);
    let waiting = others.iter().filter(|one| matches!(one.state, State::Waiting | State::Running)).count();
    let due_at = now + Duration::minutes(i64::try_from(waiting).unwrap_or_default());
    let asked = Export::asked(id, athlete, permit.account, now);
    store::insert(&mut tx, &asked, due_at).await?;
    tx.commit().await?;
    Ok(answered(&req, true, &asked))
}

/// Lists the exports that are not over, the latest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/exports", impl_for = list_exports, tag = "exports",
    responses((status = 200, description = "The exports", body = List))
)]
async fn list_exports(permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let items = store::list(&mut tx).await?.iter().map(View::from).collect();
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-store")).json(List { items }))
}

/// Tells how far an export is.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/exports/{export_id}", impl_for = get_export, tag = "exports",
    responses((status = 200, description = "The export", body = View))
)]
async fn get_export(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-store")).json(View::from(&found)))
}

/// Why there is no archive to download.
fn not_there(state: State) -> Problem {
    let detail = match state {
        State::Failed => "The archive could not be made. Ask for another export.",
        State::Withdrawn => {
            "Somebody whom the archive names was erased since, something in it is kept no longer, or a consent in it was withdrawn: so it \
             is gone. Ask for another export."
        }
        _ => "The archive is being made. Look with GET until its state is ready.",
    };
    Problem::new(Code::Conflict, detail)
}

/// Downloads the archive of an export that is `ready`.
///
/// Compare its SHA-256 with that of the export: an archive that is taken back while it is downloaded breaks off.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/exports/{export_id}/archive", impl_for = get_export_archive, tag = "exports",
    responses((status = 200, description = "The archive", body = Vec<u8>, content_type = "application/zip"),
        (status = 409, description = "The export is not ready: it is being made, could not be made, or was taken back"))
)]
async fn get_export_archive(
    req: HttpRequest,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    if found.state != State::Ready {
        return Err(not_there(found.state));
    }
    let actor = tx.actor.clone();
    drop(tx);
    let (db, club, id) = (db.get_ref().clone(), permit.club, found.id);
    // Each piece in a transaction of its own: nobody holds a connection for a slow network.
    let pieces = stream::try_unfold(0, move |place| {
        let (db, actor) = (db.clone(), actor.clone());
        async move {
            let mut tx = db.read(club, &actor).await?;
            let piece = store::piece(&mut tx, id, place).await?;
            Ok::<_, StoreError>(piece.map(|bytes| (Bytes::from(bytes), place + 1)))
        }
    });
    let name = format!("attachment; filename=\"{}\"", found.file_name());
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, ZIP))
        .insert_header((CONTENT_DISPOSITION, name))
        .insert_header((CACHE_CONTROL, "private, no-store"))
        // It is packed already.
        .insert_header(ContentEncoding::Identity)
        .body(SizedStream::new(u64::try_from(found.bytes).unwrap_or_default(), Box::pin(pieces))))
}

/// Deletes an export with its archive, made or not.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/exports/{export_id}", impl_for = delete_export, tag = "exports",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_export(req: HttpRequest, permit: InPerson<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let found = load(&mut tx, &req).await?;
    store::remove(&mut tx, found.id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_export, list_exports, get_export, get_export_archive, delete_export);
