//! What the routes of one kind of record do: the same reading, parsing, checking and writing as the edits of phones.

use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;
use serde_json::{Map, Value};
use uuid::Uuid;

use super::access::SquadRead;
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
    version.require::<SquadRead>(&tx, rev, &R::view(id, rev, before.clone()))?;
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
    version.require::<SquadRead>(&tx, rev, &R::view(id, rev, before.clone()))?;
    R::remove(&mut tx, id, &before).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The five routes of a kind of record that stands by itself, as its `sync.rs` reads, parses and writes it: takes the tag, the path,
/// the name of the id in it and the act that writes; then what the document says of each, beside what it says of all. `store`,
/// `Edits`, `Fields`, `New`, `View` and `Page` are those of the resource. A list that takes more is a handler of its own.
macro_rules! plain_routes {
    (
        $tag:literal at $path:literal, $param:literal, written by $act:ty;
        $(#[$create_says:meta])+ $create:ident;
        $(#[$get_says:meta])+ $get:ident: $one:literal;
        $(#[$update_says:meta])+ $update:ident $(such as $patch:tt)? $(or $stale:literal)?;
        $(#[$delete_says:meta])+ $delete:ident $(or $used:literal)?;
        $(#[$list_says:meta])+ $list:ident;
    ) => {
        $(#[$list_says])+
        #[utoipa::path(
            get, path = $path, impl_for = $list, tag = $tag,
            responses((status = 200, description = "A page", body = Page))
        )]
        async fn $list(
            req: actix_web::HttpRequest,
            permit: $crate::platform::access::Permit<$crate::platform::access::SquadRead>,
            db: actix_web::web::Data<$crate::platform::db::Db>,
            params: $crate::platform::params::Params<$crate::platform::page::PageParams>,
        ) -> Result<actix_web::HttpResponse, $crate::platform::problem::Problem> {
            let wanted = params.0.parse::<uuid::Uuid>()?;
            let mut tx = permit.read(&db).await?;
            let rows = store::page(&mut tx, wanted.after, wanted.fetch()).await?;
            let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
            let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
            Ok($crate::platform::page::answer(&req, &body))
        }

        $crate::platform::routed::plain_routes! {
            $tag at $path, $param, written by $act;
            $(#[$create_says])+ $create;
            $(#[$get_says])+ $get: $one;
            $(#[$update_says])+ $update $(such as $patch)? $(or $stale)?;
            $(#[$delete_says])+ $delete $(or $used)?;
            listed by $list;
        }
    };
    (
        $tag:literal at $path:literal, $param:literal, written by $act:ty;
        $(#[$create_says:meta])+ $create:ident;
        $(#[$get_says:meta])+ $get:ident: $one:literal;
        $(#[$update_says:meta])+ $update:ident $(such as $patch:tt)? $(or $stale:literal)?;
        $(#[$delete_says:meta])+ $delete:ident $(or $used:literal)?;
        listed by $list:ident;
    ) => {
        $(#[$create_says])+
        #[utoipa::path(
            post, path = $path, impl_for = $create, tag = $tag,
            responses(
                (status = 201, description = "Created", body = View),
                (status = 200, description = "Was there already", body = View)
            )
        )]
        async fn $create(
            req: actix_web::HttpRequest,
            permit: $crate::platform::access::Permit<$act>,
            db: actix_web::web::Data<$crate::platform::db::Db>,
            body: $crate::platform::body::Body<New>,
        ) -> Result<actix_web::HttpResponse, $crate::platform::problem::Problem> {
            let tx = permit.write(&db).await?;
            $crate::platform::routed::create::<Edits>(&req, tx, body.read()?).await
        }

        $(#[$get_says])+
        #[utoipa::path(
            get, path = concat!($path, "/{", $param, "}"), impl_for = $get, tag = $tag,
            responses((status = 200, description = $one, body = View), (status = 304, description = "Unchanged"))
        )]
        async fn $get(
            req: actix_web::HttpRequest,
            permit: $crate::platform::access::Permit<$crate::platform::access::SquadRead>,
            db: actix_web::web::Data<$crate::platform::db::Db>,
        ) -> Result<actix_web::HttpResponse, $crate::platform::problem::Problem> {
            $crate::platform::routed::read::<Edits>(&req, permit.read(&db).await?).await
        }

        $(#[$update_says])+
        #[utoipa::path(
            patch, path = concat!($path, "/{", $param, "}"), impl_for = $update, tag = $tag,
            $(request_body(
                content = Fields, content_type = "application/merge-patch+json", example = json!($patch)
            ),)?
            responses((status = 200, description = "Changed", body = View) $(, (status = 409, description = $stale))?)
        )]
        async fn $update(
            req: actix_web::HttpRequest,
            version: $crate::platform::stored::IfMatch,
            permit: $crate::platform::access::Permit<$act>,
            db: actix_web::web::Data<$crate::platform::db::Db>,
            body: $crate::platform::patch::Patch<Fields>,
        ) -> Result<actix_web::HttpResponse, $crate::platform::problem::Problem> {
            let tx = permit.write(&db).await?;
            $crate::platform::routed::change::<Edits>(&req, &version, tx, &body.read()?).await
        }

        $(#[$delete_says])+
        #[utoipa::path(
            delete, path = concat!($path, "/{", $param, "}"), impl_for = $delete, tag = $tag,
            responses((status = 204, description = "Deleted") $(, (status = 409, description = $used))?)
        )]
        async fn $delete(
            req: actix_web::HttpRequest,
            version: $crate::platform::stored::IfMatch,
            permit: $crate::platform::access::Permit<$act>,
            db: actix_web::web::Data<$crate::platform::db::Db>,
        ) -> Result<actix_web::HttpResponse, $crate::platform::problem::Problem> {
            $crate::platform::routed::delete::<Edits>(&req, &version, permit.write(&db).await?).await
        }

        $crate::platform::route::routes!($create, $list, $get, $update, $delete);
    };
}
pub(crate) use plain_routes;
