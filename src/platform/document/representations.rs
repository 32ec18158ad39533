//! What a record or a computation also looks like, each at a path of its own: `set-out.csv` beside `set-out`.
//!
//! A route negotiates by `Accept`; the document gives every other representation its own path, and a request for that path
//! goes to the route with the `Accept` that it stands for. A new representation needs nothing here but its ending.

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{ACCEPT, HeaderValue};
use actix_web::http::uri::PathAndQuery;
use actix_web::http::{Method, Uri};
use actix_web::middleware::Next;
use actix_web::web::Data;
use utoipa::openapi::path::{Operation, PathItem};
use utoipa::openapi::{OpenApi, RefOr};

use super::Known;
use super::schemas::default_of;
use crate::platform::sheets::xlsx;

/// The endings of paths, what they stand for, and how people call it.
const ENDINGS: [(&str, &str, &str); 5] = [
    ("csv", "text/csv", "CSV"),
    ("xlsx", xlsx::MEDIA, "XLSX"),
    ("svg", "image/svg+xml", "SVG"),
    ("html", "text/html", "a page for phone and paper"),
    ("pdf", "application/pdf", "PDF for paper"),
];

/// Those of [`ENDINGS`] that are tables.
const TABLES: [&str; 2] = ["csv", "xlsx"];

/// The good answer of an operation.
fn answer(operation: &mut Operation) -> Option<&mut utoipa::openapi::Response> {
    match operation.responses.responses.get_mut("200")? {
        RefOr::T(answer) => Some(answer),
        RefOr::Ref(_) => None,
    }
}

fn without_accept(operation: &mut Operation) {
    let accept = |one: &RefOr<utoipa::openapi::path::Parameter>| matches!(one, RefOr::T(one) if one.name == "Accept");
    operation.parameters.iter_mut().for_each(|given| given.retain(|one| !accept(one)));
    operation.responses.responses.remove("406");
}

/// A table has as many rows as its route says where no `limit` is sent: what a page has then is none of it.
fn without_usual_limit(operation: &mut Operation) {
    for one in operation.parameters.iter_mut().flatten() {
        if let RefOr::T(one) = one
            && one.name == "limit"
            && let Some(default) = one.schema.as_mut().and_then(default_of)
        {
            *default = None;
        }
    }
}

/// The operation for one representation; none when it does not have it, or has nothing else.
fn alone(operation: &Operation, (ending, media, called): (&str, &str, &str)) -> Option<Operation> {
    let mut own = operation.clone();
    let content = &mut answer(&mut own)?.content;
    if content.len() < 2 || !content.contains_key(media) {
        return None;
    }
    content.retain(|known, _| known == media);
    without_accept(&mut own);
    if TABLES.contains(&ending) {
        without_usual_limit(&mut own);
    }
    own.operation_id = own.operation_id.map(|id| format!("{id}_{ending}"));
    own.summary = own.summary.map(|says| format!("{} As {called}.", says.trim_end()));
    Some(own)
}

/// Gives every representation but JSON a path of its own.
pub fn describe(api: &mut OpenApi) {
    let mut found = Vec::new();
    for (path, item) in &mut api.paths.paths {
        let Some(operation) = &mut item.get else { continue };
        // Whatever comes as one form of a document for people comes as the others.
        if let Some(answer) = answer(operation)
            && let Some(page) = answer.content.get("text/html").cloned()
        {
            answer.content.insert("application/pdf".to_owned(), page);
        }
        let others: Vec<_> = ENDINGS.into_iter().filter_map(|one| Some((one, alone(operation, one)?))).collect();
        if others.is_empty() {
            continue;
        }
        if let Some(answer) = answer(operation) {
            // What has no JSON is CSV on its plain path.
            let plain = if answer.content.contains_key("application/json") { "application/json" } else { "text/csv" };
            answer.content.retain(|media, _| media == plain);
        }
        without_accept(operation);
        for ((ending, ..), own) in others {
            found.push((format!("{path}.{ending}"), own));
        }
    }
    for (path, operation) in found {
        let mut item = PathItem::default();
        item.get = Some(operation);
        api.paths.paths.insert(path, item);
    }
}

/// Where a request for a path with an ending leads, and what it accepts there.
fn plain(req: &ServiceRequest) -> Option<(Uri, HeaderValue)> {
    let path = req.path();
    let (_, ending) = path.rsplit_once('.')?;
    let (ending, media, _) = ENDINGS.into_iter().find(|(known, ..)| *known == ending)?;
    let known = req.app_data::<Data<Known>>()?.has_literally(req.method().as_str(), path);
    let pattern = req.resource_map().match_pattern(path);
    let own = pattern.is_some_and(|pattern| pattern.rsplit_once('.').is_some_and(|(_, end)| end == ending));
    if *req.method() != Method::GET || !known || own {
        return None;
    }
    let stem = path.strip_suffix(ending)?.strip_suffix('.')?;
    let query = req.query_string();
    let text = if query.is_empty() { stem.to_owned() } else { format!("{stem}?{query}") };
    let mut parts = req.uri().clone().into_parts();
    parts.path_and_query = Some(PathAndQuery::try_from(text).ok()?);
    Some((Uri::from_parts(parts).ok()?, HeaderValue::from_static(media)))
}

/// Leads a request for a representation to the route that has it.
///
/// # Errors
/// Those of the inner service.
pub async fn lead<B: MessageBody>(
    mut req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, actix_web::Error> {
    if let Some((uri, accept)) = plain(&req) {
        req.match_info_mut().get_mut().update(&uri);
        req.head_mut().uri = uri;
        req.headers_mut().insert(ACCEPT, accept);
    }
    next.call(req).await
}
