//! What the routes of one kind of record do: the same reading, parsing, checking and writing as the edits of phones.

use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;
use serde_json::{Map, Value};
use uuid::Uuid;

use super::db::ClubTx;
use super::ops::{self, Editable};
use super::params::path_id;
use super::problem::Problem;
use super::shape::Create;
use super::stored::{self, IfMatch};

/// A kind of record with routes of its own.
pub trait Routed: Editable<Value: Clone> {
    /// The record as a read answers it.
    type View: Serialize;
    /// The name of its id in the path.
    const PARAM: &'static str;

    /// The record as a read answers it.
    fn view(id: Uuid, rev: i64, value: Self::Value) -> Self::View;
}

/// The record in the path, when the actor sees it.
async fn load<R: Routed>(tx: &mut ClubTx, req: &HttpRequest) -> Result<(Uuid, i64, R::Value), Problem> {
    let id = path_id(req, R::PARAM, R::WHAT)?;
    let (rev, value) = R::find(tx, id).await?.ok_or_else(|| Problem::not_found(R::WHAT))?;
    Ok((id, rev, value))
}

/// Creates a record; the same content with the same id again is answered as it stands.
///
/// # Errors
/// What its parsing and its store refuse.
pub async fn create<R: Routed>(
    req: &HttpRequest,
    mut tx: ClubTx,
    new: Create<impl Into<Uuid>, R::Fields>,
) -> Result<HttpResponse, Problem> {
    let id = new.id.map_or_else(Uuid::now_v7, Into::into);
    tx.alone(id).await?;
    let value = R::parse(&mut tx, new.fields, None).await?;
    if R::insert(&mut tx, id, &value).await? {
        let rev = tx.commit().await?.of(R::KIND, id, 0);
        return Ok(stored::created(req, true, id, rev, &R::view(id, rev, value)));
    }
    let (rev, found) = R::find(&mut tx, id).await?.ok_or_else(Problem::gone)?;
    stored::same_or_conflict(&found, &value)?;
    Ok(stored::created(req, false, id, rev, &R::view(id, rev, found)))
}

/// Reads the record in the path.
///
/// # Errors
/// 404 when it is not there.
pub async fn read<R: Routed>(req: &HttpRequest, mut tx: ClubTx) -> Result<HttpResponse, Problem> {
    let (id, rev, value) = load::<R>(&mut tx, req).await?;
    Ok(stored::read(req, rev, &R::view(id, rev, value)))
}

/// Changes the record in the path by a merge patch.
///
/// # Errors
/// 404, 428, 412, and what its parsing and its store refuse.
pub async fn change<R: Routed>(
    req: &HttpRequest,
    version: &IfMatch,
    mut tx: ClubTx,
    patch: &Map<String, Value>,
) -> Result<HttpResponse, Problem> {
    let (id, rev, before) = load::<R>(&mut tx, req).await?;
    version.require(rev, &R::view(id, rev, before.clone()))?;
    let value = ops::patch::<R>(&mut tx, id, &before, patch).await?;
    let rev = tx.commit().await?.of(R::KIND, id, rev);
    Ok(stored::changed(rev, &R::view(id, rev, value)))
}

/// Deletes the record in the path.
///
/// # Errors
/// 404, 428, 412, and what its store refuses.
pub async fn delete<R: Routed>(req: &HttpRequest, version: &IfMatch, mut tx: ClubTx) -> Result<HttpResponse, Problem> {
    let (id, rev, before) = load::<R>(&mut tx, req).await?;
    version.require(rev, &R::view(id, rev, before.clone()))?;
    R::remove(&mut tx, id, &before).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}
