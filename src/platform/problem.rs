//! Every error as a status and `application/problem+json` (RFC 9457).

use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderName, HeaderValue, RETRY_AFTER, WWW_AUTHENTICATE};
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

use super::db::{StoreError, unique};
use super::fault::Fault;
use super::telemetry;

/// The closed list of problems; `type` in the answer is `/problems/<code>`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// 400: the body or a parameter cannot be read.
    Malformed,
    /// 401: no valid access token.
    Unauthenticated,
    /// 401: the access of the app that sent the token was withdrawn.
    AppRevoked,
    /// 403: signed in, but the act needs another role or scope.
    Forbidden,
    /// 403: needs a second factor.
    SecondFactor,
    /// 404: no such record in a club of yours.
    NotFound,
    /// 405: the path exists, the method does not.
    MethodNotAllowed,
    /// 406: no representation the client accepts.
    NotAcceptable,
    /// 408: the body came too slowly.
    Slow,
    /// 409: clashes with what is stored.
    Conflict,
    /// 424: something else of the batch that this needs failed.
    Dependency,
    /// 202: stored in the holding area until somebody decides.
    Held,
    /// 410: the record was deleted.
    Gone,
    /// 400: a token of the change feed that we did not give to this member of this club.
    SyncTokenInvalid,
    /// 410: a token of the change feed that is older than the log.
    SyncTokenExpired,
    /// 410: a token of the change feed from a history that a restored database does not have.
    HistoryDiverged,
    /// 412: the record changed since it was read.
    Stale,
    /// 413: the body is too large.
    TooLarge,
    /// 415: the body is of the wrong media type.
    MediaType,
    /// 422: readable, but breaks a rule.
    Invalid,
    /// 422: no lane plan satisfies the limits.
    Infeasible,
    /// 428: `If-Match` is needed.
    PreconditionRequired,
    /// 429: too many attempts.
    TooMany,
    /// 500: our fault.
    Internal,
    /// 503: busy or the database is away.
    Unavailable,
}

impl Code {
    /// Every problem, in order of status.
    pub const ALL: [Self; 25] = [
        Self::Malformed,
        Self::Unauthenticated,
        Self::AppRevoked,
        Self::Forbidden,
        Self::SecondFactor,
        Self::NotFound,
        Self::MethodNotAllowed,
        Self::NotAcceptable,
        Self::Slow,
        Self::Conflict,
        Self::Dependency,
        Self::Held,
        Self::Gone,
        Self::SyncTokenInvalid,
        Self::SyncTokenExpired,
        Self::HistoryDiverged,
        Self::Stale,
        Self::TooLarge,
        Self::MediaType,
        Self::Invalid,
        Self::Infeasible,
        Self::PreconditionRequired,
        Self::TooMany,
        Self::Internal,
        Self::Unavailable,
    ];

    /// Last part of the `type` address, status and title.
    pub const fn row(self) -> (&'static str, u16, &'static str) {
        match self {
            Self::Malformed => ("malformed", 400, "The request cannot be read"),
            Self::Unauthenticated => ("unauthenticated", 401, "Sign in first"),
            Self::AppRevoked => ("app-revoked", 401, "The app may no longer"),
            Self::Forbidden => ("forbidden", 403, "Not allowed"),
            Self::SecondFactor => ("second-factor", 403, "A second factor is needed"),
            Self::NotFound => ("not-found", 404, "Not found"),
            Self::MethodNotAllowed => ("method-not-allowed", 405, "Method not allowed"),
            Self::NotAcceptable => ("not-acceptable", 406, "No acceptable representation"),
            Self::Slow => ("slow", 408, "The body came too slowly"),
            Self::Conflict => ("conflict", 409, "Clashes with what is stored"),
            Self::Dependency => ("dependency", 424, "Something that this needs failed"),
            Self::Held => ("held", 202, "Held for a decision"),
            Self::Gone => ("gone", 410, "Deleted"),
            Self::SyncTokenInvalid => ("sync-token-invalid", 400, "The sync token is not one of ours"),
            Self::SyncTokenExpired => ("sync-token-expired", 410, "The sync token is too old"),
            Self::HistoryDiverged => ("history-diverged", 410, "The sync token is from another history"),
            Self::Stale => ("stale", 412, "Changed since you read it"),
            Self::TooLarge => ("too-large", 413, "The body is too large"),
            Self::MediaType => ("media-type", 415, "Unsupported media type"),
            Self::Invalid => ("invalid", 422, "Some fields break a rule"),
            Self::Infeasible => ("infeasible", 422, "No lane plan satisfies the limits"),
            Self::PreconditionRequired => ("precondition-required", 428, "If-Match is required"),
            Self::TooMany => ("too-many", 429, "Too many requests"),
            Self::Internal => ("internal", 500, "Something broke on our side"),
            Self::Unavailable => ("unavailable", 503, "Busy, try again"),
        }
    }

    /// The `type` in the answer.
    pub fn address(self) -> String {
        format!("/problems/{}", self.row().0)
    }
}

/// An error on its way to the client.
#[derive(Clone, Debug)]
pub struct Problem {
    code: Code,
    detail: String,
    errors: Vec<Fault>,
    current: Option<Value>,
    headers: Vec<(HeaderName, HeaderValue)>,
    undone: bool,
}

/// An error answer (RFC 9457).
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ProblemBody {
    /// Path that names the kind of problem; which answers with what it means and what to do.
    #[serde(rename = "type")]
    #[schema(value_type = super::problem_pages::ProblemType)]
    kind: String,
    /// The same for every problem of this type.
    #[schema(max_length = 100, example = "Some fields break a rule")]
    title: &'static str,
    /// The HTTP status.
    #[schema(minimum = 202, maximum = 599, example = 422)]
    status: u16,
    /// What happened this time and what to do about it.
    #[schema(max_length = 2000, example = "1 field breaks a rule; nothing was stored.")]
    detail: String,
    /// The request id, also in the log.
    #[schema(max_length = 100, example = "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57")]
    instance: String,
    /// Each broken field.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10_000)]
    errors: Vec<Fault>,
    /// With `stale`: the record as it is stored now, for a token that may read it. With `infeasible`: the binding limit and the smallest relaxation. With
    /// `sync-token-expired`: how far back the log goes (`retained_since`). Absent with everything else.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Object)]
    current: Option<Value>,
}

impl Problem {
    /// A problem with one sentence of detail.
    pub fn new(code: Code, detail: impl Into<String>) -> Self {
        Self { code, detail: detail.into(), errors: Vec::new(), current: None, headers: Vec::new(), undone: false }
    }

    /// A body or parameter that cannot be read.
    pub fn malformed(fault: Fault) -> Self {
        Self::new(Code::Malformed, "The request cannot be read; nothing was stored.").with_faults(vec![fault])
    }

    /// Fields that break a rule.
    pub fn invalid(errors: Vec<Fault>) -> Self {
        let detail = match errors.len() {
            1 => "1 field breaks a rule; nothing was stored.".to_owned(),
            n => format!("{n} fields break a rule; nothing was stored."),
        };
        Self { errors, ..Self::new(Code::Invalid, detail) }
    }

    /// No such record, or none that the caller may see.
    pub fn not_found(what: &str) -> Self {
        Self::new(Code::NotFound, format!("There is no such {what}, or it is not yours to see."))
    }

    /// The id belongs to a record that was deleted.
    pub fn gone() -> Self {
        Self::new(Code::Gone, "The record with this id was deleted. Create a new one with a new id.")
    }

    /// What an error of the database means.
    fn of_database(error: &sqlx::Error) -> Self {
        let id = telemetry::request_id();
        if let Some(constraint) = unique::violated(error) {
            tracing::warn!(request.id = id, constraint, "stored by another request at the same moment");
            return Self::new(Code::Conflict, unique::sentence(constraint.as_deref())).undone_by_others();
        }
        if StoreError::undone(error) {
            tracing::warn!(request.id = id, %error, "undone by other requests at the same moment");
            let detail = "Others changed the same records at that moment; nothing was stored. Try again.";
            return Self::new(Code::Unavailable, detail).undone_by_others();
        }
        if StoreError::unstorable(error) {
            let detail = "a text holds a NUL, or a date or number is beyond what can be kept";
            return Self::malformed(Fault::at("", "value", detail));
        }
        let busy = || Self::new(Code::Unavailable, "The database is busy or away; nothing was stored. Try again.");
        if StoreError::waited(error) {
            tracing::warn!(request.id = id, %error, "waited too long for other requests");
            return busy();
        }
        tracing::error!(request.id = id, %error, "database");
        if StoreError::passing(error) {
            return busy();
        }
        Self::new(Code::Internal, "Nothing was stored. Tell the operator the instance id.")
    }

    /// Adds a record or structured reason to the answer.
    #[must_use]
    pub fn with_current(self, current: impl Serialize) -> Self {
        Self { current: serde_json::to_value(current).ok(), ..self }
    }

    /// Adds broken fields.
    #[must_use]
    pub fn with_faults(self, errors: Vec<Fault>) -> Self {
        Self { errors, ..self }
    }

    /// The same problem once more.
    #[must_use]
    pub fn again(&self) -> Self {
        self.clone()
    }

    /// What is kept of a refusal, so that it can be given again; see [`Self::kept`].
    pub fn to_keep(&self) -> Value {
        json!({"code": self.code.row().0, "detail": self.detail, "errors": self.errors})
    }

    /// A refusal that was kept.
    pub fn kept(value: &Value) -> Self {
        let word = value["code"].as_str().unwrap_or_default();
        let code = Code::ALL.into_iter().find(|code| code.row().0 == word).unwrap_or(Code::Invalid);
        let errors = serde_json::from_value(value["errors"].clone()).unwrap_or_default();
        Self::new(code, value["detail"].as_str().unwrap_or_default()).with_faults(errors)
    }

    /// Says that nothing was wrong with the request: others at the same moment undid it, and the same once more will do.
    fn undone_by_others(self) -> Self {
        Self { undone: true, ..self }
    }

    /// Whether others at the same moment undid the work, so that the same once more will do.
    pub const fn was_undone(&self) -> bool {
        self.undone
    }

    /// Adds a header, left out when its value is not a legal header value.
    #[must_use]
    pub fn with_header(mut self, name: HeaderName, value: &str) -> Self {
        if let Ok(value) = HeaderValue::from_str(value) {
            self.headers.push((name, value));
        }
        self
    }

    /// Which problem it is.
    pub const fn code(&self) -> Code {
        self.code
    }

    /// The HTTP status.
    pub const fn status(&self) -> u16 {
        self.code.row().1
    }

    /// Takes out the record or reason beside the problem.
    pub fn take_current(&mut self) -> Option<Value> {
        self.current.take()
    }

    /// The broken fields.
    pub fn faults(&self) -> &[Fault] {
        &self.errors
    }

    /// What it looks like on the wire, for the document.
    pub fn example(&self) -> Value {
        let mut body = serde_json::to_value(self.body()).unwrap_or_default();
        if let Some(body) = body.as_object_mut() {
            body.insert("instance".to_owned(), "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57".into());
        }
        body
    }

    /// The answer's body, also used for one item of a batch.
    pub fn body(&self) -> ProblemBody {
        let (_, status, title) = self.code.row();
        ProblemBody {
            kind: self.code.address(),
            title,
            status,
            detail: self.detail.clone(),
            instance: telemetry::request_id(),
            errors: self.errors.clone(),
            current: self.current.clone(),
        }
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.detail)
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.code.row().1).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        let mut answer = HttpResponse::build(self.status_code());
        if self.code == Code::Unavailable {
            answer.insert_header((RETRY_AFTER, "2"));
        }
        for (name, value) in &self.headers {
            answer.insert_header((name.clone(), value.clone()));
        }
        match self.code {
            Code::Unauthenticated | Code::AppRevoked => {
                answer.insert_header((WWW_AUTHENTICATE, "Bearer"));
            }
            // Of a body that was given up, nobody reads the rest.
            Code::Slow | Code::TooLarge => {
                answer.force_close();
            }
            _ => {}
        }
        answer.insert_header(("cache-control", "no-store"));
        answer.content_type("application/problem+json").body(serde_json::to_vec(&self.body()).unwrap_or_default())
    }
}

impl From<Vec<Fault>> for Problem {
    fn from(errors: Vec<Fault>) -> Self {
        Self::invalid(errors)
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NotFound(what) => Self::not_found(what),
            StoreError::Conflict(what) => Self::new(Code::Conflict, what),
            StoreError::Invalid(faults) => Self::invalid(faults),
            StoreError::Corrupt(what) => {
                tracing::error!(request.id = telemetry::request_id(), what, "stored record does not parse");
                Self::new(Code::Internal, "A stored record cannot be read. Tell the operator the instance id.")
            }
            StoreError::Unrecorded => {
                tracing::error!(request.id = telemetry::request_id(), "a write was not recorded as a change");
                Self::new(Code::Internal, "Nothing was stored. Tell the operator the instance id.")
            }
            StoreError::Busy => {
                let detail = "Too many requests wait at this moment; nothing was stored. Try again.";
                Self::new(Code::Unavailable, detail).with_header(RETRY_AFTER, "5")
            }
            StoreError::PartTaken => {
                tracing::error!(
                    request.id = telemetry::request_id(),
                    "the whole club was asked for after a part of it"
                );
                Self::new(Code::Internal, "Nothing was stored. Tell the operator the instance id.")
            }
            StoreError::SecondConnection => {
                Self::new(Code::Internal, "Nothing was stored. Tell the operator the instance id.")
            }
            StoreError::Database(error) => Self::of_database(&error),
        }
    }
}

impl From<sqlx::Error> for Problem {
    fn from(error: sqlx::Error) -> Self {
        StoreError::from(error).into()
    }
}

impl From<actix_web::error::BlockingError> for Problem {
    fn from(_: actix_web::error::BlockingError) -> Self {
        Self::new(Code::Unavailable, "Too much is being computed at the moment. Try again.")
    }
}
