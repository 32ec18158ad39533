//! A record as it is stored, and its version as `ETag`, `If-Match` and `If-None-Match` (RFC 9110).

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::StatusCode;
use actix_web::http::header::{
    CACHE_CONTROL, CONTENT_DISPOSITION, ContentType, ETAG, HeaderName, HeaderValue, IF_MATCH, IF_NONE_MATCH, LOCATION,
    VARY,
};
use actix_web::{FromRequest, HttpRequest, HttpResponse, ResponseError};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::Serialize;

use super::access::{Act, shown};
use super::audit;
use super::db::ClubTx;
use super::problem::{Code, Problem};
use super::token::sha256;

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

/// The entity tag of an answer: the version, and what tells this answer from what others may see of the same version.
///
/// What a member sees of a record depends on their groups, and names in it may change without the record. So the tag
/// covers the whole body, and `If-None-Match` compares all of it; `If-Match` compares only the version before the hyphen,
/// because an edit stands on the version, whoever read it.
fn etag(rev: i64, body: &[u8]) -> String {
    let view = sha256(body).into_iter().take(9).collect::<Vec<u8>>();
    format!("\"{rev}-{}\"", URL_SAFE_NO_PAD.encode(view))
}

/// The version that an entity tag names; tags that hold only the version are taken as well.
fn version(tag: &str) -> &str {
    let inner = tag.trim_matches('"');
    inner.split_once('-').map_or(inner, |(rev, _)| rev)
}

fn listed(req: &HttpRequest, name: HeaderName, fits: impl Fn(&str) -> bool) -> Option<bool> {
    let mut values = req.headers().get_all(name).filter_map(|value| value.to_str().ok()).peekable();
    values.peek()?;
    Some(
        values
            .flat_map(|value| value.split(','))
            .map(str::trim)
            .any(|one| one == "*" || fits(one.strip_prefix("W/").unwrap_or(one))),
    )
}

/// The versions that a request may change, from its `If-Match`. Only a route that takes it can ask, and its operation says so.
#[derive(Clone, Debug)]
pub struct IfMatch(HttpRequest);

impl FromRequest for IfMatch {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Ok(Self(req.clone())))
    }
}

impl IfMatch {
    /// Checks that the caller changes the version they read.
    ///
    /// # Errors
    /// 428 without `If-Match`; 412 when it names another version, with the current record for who may read it (`A`).
    pub fn require<A: Act>(&self, tx: &ClubTx, rev: i64, current: &impl Serialize) -> Result<(), Problem> {
        let here = rev.to_string();
        require(&self.0, shown::<A>(tx), rev, current, |tag, _| version(tag) == here)
    }

    /// Checks that the caller replaces the list they read: of this version, and of those whom they see now. Who has come to
    /// see more people since would otherwise take those off the list whom the old one did not show them.
    ///
    /// # Errors
    /// 428 without `If-Match`; 412 when it names another version, or what others were shown, with the current list for who may
    /// read it (`A`).
    pub fn require_list<A: Act>(&self, tx: &ClubTx, rev: i64, current: &impl Serialize) -> Result<(), Problem> {
        let bare = format!("\"{rev}\"");
        require(&self.0, shown::<A>(tx), rev, current, |tag, here| tag == here || tag == bare)
    }
}

/// Why an edit of another version is refused. Who may not read the record is told its version alone.
fn stale(shown: bool, rev: i64, current: &impl Serialize, here: &str) -> Problem {
    if !shown {
        let detail =
            "The record changed since you read it, and your access token does not read it. Nothing was stored.";
        return Problem::new(Code::Stale, detail).with_header(ETAG, &format!("\"{rev}\""));
    }
    // It tells as much as a read.
    audit::shows();
    let detail = "The record changed since you read it; `current` holds it as it is now. Nothing was stored.";
    Problem::new(Code::Stale, detail).with_current(current).with_header(ETAG, here)
}

fn require(
    req: &HttpRequest,
    shown: bool,
    rev: i64,
    current: &impl Serialize,
    fits: impl Fn(&str, &str) -> bool,
) -> Result<(), Problem> {
    let here = etag(rev, &serde_json::to_vec(current).unwrap_or_default());
    match listed(req, IF_MATCH, |tag| fits(tag, &here)) {
        Some(true) => Ok(()),
        Some(false) => Err(stale(shown, rev, current, &here)),
        None => Err(Problem::new(
            Code::PreconditionRequired,
            "Send If-Match with the ETag of the version you read, so that nobody's change is lost.",
        )),
    }
}

/// Whether the caller already has the representation with this entity tag.
pub fn has(req: &HttpRequest, tag: &str) -> bool {
    listed(req, IF_NONE_MATCH, |one| one == tag) == Some(true)
}

/// Answers a read: 304 when the caller already has this answer.
pub fn read(req: &HttpRequest, rev: i64, body: &impl Serialize) -> HttpResponse {
    with_tag(Some(req), StatusCode::OK, rev, body)
}

/// Answers a change.
pub fn changed(rev: i64, body: &impl Serialize) -> HttpResponse {
    with_tag(None, StatusCode::OK, rev, body)
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
    let mut answer = with_tag(None, status, rev, body);
    let location = format!("{}/{id}", req.path().trim_end_matches('/'));
    if let Ok(value) = HeaderValue::from_str(&location) {
        answer.headers_mut().insert(LOCATION, value);
    }
    answer
}

/// Answers a read with a file for people, such as a table; 304 when the caller already has it.
pub fn file(req: &HttpRequest, rev: i64, media: &'static str, name: &str, bytes: Vec<u8>) -> HttpResponse {
    let mut answer = document(req, rev, media, bytes);
    if answer.status() == StatusCode::OK
        && let Ok(attached) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""))
    {
        answer.headers_mut().insert(CONTENT_DISPOSITION, attached);
    }
    answer
}

/// Answers a read with a document that is looked at where it is asked for; 304 when the caller already has it.
pub fn document(req: &HttpRequest, rev: i64, media: &'static str, bytes: Vec<u8>) -> HttpResponse {
    let tag = etag(rev, &bytes);
    let known = has(req, &tag);
    let mut answer = HttpResponse::build(if known { StatusCode::NOT_MODIFIED } else { StatusCode::OK });
    answer
        .insert_header((ETAG, tag))
        .insert_header((CACHE_CONTROL, "private, no-cache"))
        .insert_header((VARY, "accept"));
    if known { answer.finish() } else { answer.content_type(media).body(bytes) }
}

/// Answers with a body and its tag; 304 when `read` is a request that names the tag.
fn with_tag(read: Option<&HttpRequest>, status: StatusCode, rev: i64, body: &impl Serialize) -> HttpResponse {
    let Ok(bytes) = serde_json::to_vec(body) else {
        return Problem::new(Code::Internal, "The answer could not be written.").error_response();
    };
    let tag = etag(rev, &bytes);
    let known = read.is_some_and(|req| has(req, &tag));
    let mut answer = HttpResponse::build(if known { StatusCode::NOT_MODIFIED } else { status });
    answer.insert_header((ETAG, tag)).insert_header((CACHE_CONTROL, "private, no-cache"));
    if known { answer.finish() } else { answer.content_type(ContentType::json()).body(bytes) }
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
