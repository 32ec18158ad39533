//! A record as it is stored, and its version as `ETag`, `If-Match` and `If-None-Match` (RFC 9110).

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, ETAG, IF_MATCH, IF_NONE_MATCH, LOCATION};
use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;

use super::problem::{Code, Problem};

/// A record with its id and version (the number of its last change in the club).
#[derive(Clone, Debug, PartialEq)]
pub struct Stored<Id, T> {
    /// The id.
    pub id: Id,
    /// The number of the last change.
    pub rev: i64,
    /// The record.
    pub value: T,
}

/// The entity tag of a version.
pub fn etag(rev: i64) -> String {
    format!("\"{rev}\"")
}

fn listed(req: &HttpRequest, name: actix_web::http::header::HeaderName, tag: &str) -> Option<bool> {
    let mut values = req.headers().get_all(name).filter_map(|value| value.to_str().ok()).peekable();
    values.peek()?;
    Some(
        values
            .flat_map(|value| value.split(','))
            .map(str::trim)
            .any(|one| one == "*" || one.strip_prefix("W/").unwrap_or(one) == tag),
    )
}

/// Checks that the caller changes the version they read.
///
/// # Errors
/// 428 without `If-Match`; 412 with the current record when it names another version.
pub fn require_match(req: &HttpRequest, rev: i64, current: &impl Serialize) -> Result<(), Problem> {
    match listed(req, IF_MATCH, &etag(rev)) {
        Some(true) => Ok(()),
        Some(false) => Err(Problem::new(
            Code::Stale,
            "The record changed since you read it; `current` holds it as it is now. Nothing was stored.",
        )
        .with_current(current)
        .with_header(ETAG, &etag(rev))),
        None => Err(Problem::new(
            Code::PreconditionRequired,
            "Send If-Match with the ETag of the version you read, so that nobody's change is lost.",
        )),
    }
}

/// Whether the caller already has the representation with this entity tag.
pub fn has(req: &HttpRequest, tag: &str) -> bool {
    listed(req, IF_NONE_MATCH, tag) == Some(true)
}

/// Answers a read: 304 when the caller already has this version.
pub fn read(req: &HttpRequest, rev: i64, body: &impl Serialize) -> HttpResponse {
    if has(req, &etag(rev)) {
        return HttpResponse::NotModified().insert_header((ETAG, etag(rev))).finish();
    }
    with_tag(StatusCode::OK, rev, body)
}

/// Answers a change.
pub fn changed(rev: i64, body: &impl Serialize) -> HttpResponse {
    with_tag(StatusCode::OK, rev, body)
}

/// Answers a create: 201 with `Location`, or 200 when a repeat found the record already there.
pub fn created(
    req: &HttpRequest,
    fresh: bool,
    id: impl std::fmt::Display,
    rev: i64,
    body: &impl Serialize,
) -> HttpResponse {
    let status = if fresh { StatusCode::CREATED } else { StatusCode::OK };
    let mut answer = with_tag(status, rev, body);
    let location = format!("{}/{id}", req.path().trim_end_matches('/'));
    if let Ok(value) = actix_web::http::header::HeaderValue::from_str(&location) {
        answer.headers_mut().insert(LOCATION, value);
    }
    answer
}

fn with_tag(status: StatusCode, rev: i64, body: &impl Serialize) -> HttpResponse {
    HttpResponse::build(status)
        .insert_header((ETAG, etag(rev)))
        .insert_header((CACHE_CONTROL, "private, no-cache"))
        .json(body)
}

/// Compares a create that was sent again with what is stored.
///
/// # Errors
/// 409 when the id is taken by other content.
pub fn same_or_conflict<T: PartialEq>(stored: &T, sent: &T) -> Result<(), Problem> {
    if stored == sent {
        return Ok(());
    }
    Err(Problem::new(Code::Conflict, "This id is already used by a record with other content. Send a new id."))
}
