//! What each problem means, when it comes and what to do about it, at its own address: HTML or JSON, by `Accept`.

use std::fmt::Write as _;

use actix_web::http::header::{ACCEPT, VARY};
use actix_web::web::{self, Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::openapi::{OpenApi, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::plain_page::{self, escaped};
use super::problem::{Code, Problem};
use super::words;

/// What can be wrong with a request only while it is read.
const READING: [&str; 5] = ["body", "cursor", "json", "parameter", "unknown_parameter"];
/// What else can be wrong with a request that cannot be read: its types, and parameters that break a rule.
const UNREADABLE: [&str; 18] = [
    "after_to",
    "characters",
    "date",
    "length",
    "missing",
    "no_schedule",
    "one_of",
    "out_of_range",
    "repeated",
    "together",
    "too_long",
    "type",
    "unknown_course",
    "unknown_event",
    "unknown_field",
    "unknown_group",
    "value",
    "word",
];
/// What is never wrong with a recorded fact, which alone is held: rules of accounts, rosters, settings, races and edits.
const NEVER_HELD: [&str; 42] = [
    "address",
    "after_to",
    "apart",
    "append_only",
    "archive",
    "breached",
    "common",
    "conflict",
    "contradiction",
    "csv",
    "derived_id",
    "digits",
    "duplicate",
    "duplicate_column",
    "duplicate_row",
    "email",
    "encoding",
    "erased",
    "full",
    "groups",
    "guessable",
    "heats",
    "last",
    "missing_column",
    "no_schedule",
    "not_ready",
    "other_id",
    "password",
    "personal",
    "quotes",
    "read_only",
    "repeated",
    "reserved_id",
    "time_zone",
    "unknown_column",
    "unknown_course",
    "unknown_event",
    "unknown_group",
    "unknown_spec",
    "unproven",
    "unsafe",
    "xlsx",
];

impl Code {
    /// What it means, and when it comes.
    pub const fn means(self) -> &'static str {
        match self {
            Self::Malformed => {
                "The path, the query or the body cannot be read: it is no JSON, a field is missing, unknown or of the wrong \
type, or a parameter is unknown."
            }
            Self::Unauthenticated => {
                "There is no access token, or it has expired, was signed by somebody else, or its sign-in was ended."
            }
            Self::AppRevoked => {
                "The access of the app that sent the token was withdrawn: by an admin for the whole club, or by the person it acted for."
            }
            Self::Forbidden => {
                "You are signed in, but your role in the club or the scope of the token does not allow this."
            }
            Self::SecondFactor => {
                "The account has a second factor and its code is missing or wrong, or the club asks its admins for one and this \
sign-in was made without."
            }
            Self::NotFound => {
                "There is no such record, or it is not yours to see; the two are answered alike. Or there is nothing at this path."
            }
            Self::MethodNotAllowed => "The path exists, but not with this method; `Allow` lists those there are.",
            Self::NotAcceptable => "None of the representations that there are is among those that `Accept` allows.",
            Self::Slow => "The body came more slowly than 2 KiB a second, or stopped.",
            Self::Conflict => {
                "What is stored stands against it: the id or the name is taken, or other records rest on this one."
            }
            Self::Dependency => "Something else in the same batch, which this needs, failed or comes later.",
            Self::Held => {
                "What was recorded is kept in the holding area: what it belongs to is missing or not yours, or somebody else \
                 corrected the same before. `held.reason` of a push says which."
            }
            Self::Gone => "The record with this id was deleted, or the invitation is void.",
            Self::SyncTokenInvalid => "The token of the change feed was not given to this member of this club.",
            Self::SyncTokenExpired => "The token of the change feed is older than what is still logged.",
            Self::HistoryDiverged => {
                "The token of the change feed comes from a history that a restored database does not have."
            }
            Self::Stale => "The record changed since you read the version that you named; nothing was stored.",
            Self::TooLarge => "The body is larger than its operation allows, as sent or unpacked.",
            Self::MediaType => "The body is of a media type, a charset or a coding that the operation does not take.",
            Self::Invalid => "The request can be read, but fields break a rule; `errors` names each of them.",
            Self::Infeasible => {
                "No lane plan satisfies every limit; `current` names the limit and the smallest relaxation."
            }
            Self::PreconditionRequired => "A shared record is changed without saying which version was read.",
            Self::TooMany => "There were too many attempts; `Retry-After` says how long to wait.",
            Self::Internal => "Something broke on our side; nothing was stored.",
            Self::Unavailable => "The service or its database is busy or away; nothing was stored.",
        }
    }

    /// Whether a field that it names can be broken in this way.
    pub fn names(self, fault: &str) -> bool {
        match self {
            Self::Malformed => READING.contains(&fault) || UNREADABLE.contains(&fault),
            Self::Invalid => !READING.contains(&fault),
            Self::Held => !READING.contains(&fault) && !NEVER_HELD.contains(&fault),
            Self::Gone => fault == "erased",
            _ => false,
        }
    }

    /// What a client does about it.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::Malformed => "Correct what `errors` points to and send it again.",
            Self::Unauthenticated => "Refresh the tokens, or sign in again.",
            Self::AppRevoked => {
                "Forget the tokens and everything that the app keeps of the club. Ask to be connected again only when the person wants it."
            }
            Self::Forbidden => "Ask an admin of the club, or ask for a token with the scope that `detail` names.",
            Self::SecondFactor => {
                "Ask for a code and send it: with the sign-in as `code`, or with POST /v1/me/second-factor/check. An app connects the \
                 person again, who shows the code on the page."
            }
            Self::NotFound => "Read the list again, and forget what is not in it any more.",
            Self::MethodNotAllowed => "Use one of the methods in `Allow`.",
            Self::NotAcceptable => "Ask for one of those that `detail` names.",
            Self::Slow => "Send it again over a better network, in smaller parts.",
            Self::Conflict => "Read what is stored, and send another id, another name or what still differs.",
            Self::Dependency => "Leave it in the outbox and send it again after what it needs.",
            Self::Held => {
                "Nothing: an admin of the club decides, of a second correction also the recorder of either. Show that it waits."
            }
            Self::Gone => "Create a new record with a new id.",
            Self::SyncTokenInvalid | Self::SyncTokenExpired | Self::HistoryDiverged => {
                "Forget the token and read a full copy."
            }
            Self::Stale => {
                "Bring your change to the version in `current`, or to what you read again where that is absent, and send it with its `ETag`."
            }
            Self::TooLarge => "Send it in parts.",
            Self::MediaType => {
                "Send UTF-8 in one of the media types that `detail` names, plain or packed once with gzip or zstd."
            }
            Self::Invalid => "Correct each field as its `detail` says and send it again.",
            Self::Infeasible => "Loosen the limit that `current` names, or ask for fewer athletes.",
            Self::PreconditionRequired => "Read the record and send its `ETag` as `If-Match`.",
            Self::TooMany => "Wait as long as `Retry-After` says, then send it again.",
            Self::Internal => "Tell the operator the `instance`.",
            Self::Unavailable => "Send the same again after `Retry-After`.",
        }
    }
}

/// The closed list of problems, for the document.
#[derive(Debug)]
pub struct ProblemType;

impl PartialSchema for ProblemType {
    fn schema() -> RefOr<Schema> {
        let all = Code::ALL.map(|code| (code.address(), format!("{}. {}", code.row().1, code.means())));
        let all = all.each_ref().map(|(address, means)| (address.as_str(), means.as_str()));
        words::schema("Which kind of problem it is. The page at this path says what to do.", &all)
    }
}

impl ToSchema for ProblemType {}

/// The page of a problem as JSON.
#[derive(Debug, Serialize)]
struct Page {
    #[serde(rename = "type")]
    kind: String,
    title: &'static str,
    status: u16,
    means: &'static str,
    remedy: &'static str,
    /// Codes of broken fields with their meanings, where the problem can name some.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    fault_codes: Vec<Value>,
}

impl Page {
    fn of(code: Code, known: &FaultCodes) -> Self {
        let (_, status, title) = code.row();
        let named = |one: &&Value| one["code"].as_str().is_some_and(|fault| code.names(fault));
        let fault_codes = known.0.iter().filter(named).cloned().collect();
        Self { kind: code.address(), title, status, means: code.means(), remedy: code.remedy(), fault_codes }
    }
}

/// Each code of a broken field with its meaning, as the document spells them.
#[derive(Clone, Debug, Default)]
pub struct FaultCodes(Vec<Value>);

impl FaultCodes {
    /// Reads the document.
    pub fn of(api: &OpenApi) -> Self {
        let schema = api.components.as_ref().and_then(|components| components.schemas.get("FaultCode"));
        let Some(RefOr::T(Schema::Object(codes))) = schema else { return Self::default() };
        let pair = |line: &str| {
            let (code, means) = line.strip_prefix("- `")?.split_once("`: ")?;
            Some(json!({"code": code, "means": means}))
        };
        Self(codes.description.iter().flat_map(|says| says.lines()).filter_map(pair).collect())
    }
}

/// Whether somebody reads the answer in a browser.
pub fn wants_html(req: &HttpRequest) -> bool {
    let accept = req.headers().get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let at = |media: &str| accept.find(media);
    at("text/html").is_some_and(|html| at("json").is_none_or(|json| html < json))
}

fn html(title: &str, body: &str) -> HttpResponse {
    let body = format!("<h1>{}</h1>{body}<p><a href=\"/problems\">All problems</a></p>", escaped(title));
    HttpResponse::Ok()
        .insert_header((VARY, "accept"))
        .content_type("text/html; charset=utf-8")
        .body(plain_page::html("en", title, &body))
}

/// The page of one problem.
async fn one(req: HttpRequest, known: Data<FaultCodes>) -> HttpResponse {
    let word = req.match_info().get("code").unwrap_or_default();
    let Some(code) = Code::ALL.into_iter().find(|code| code.row().0 == word) else {
        return Problem::new(Code::NotFound, "There is no such problem; /problems lists what there is.")
            .error_response();
    };
    let page = Page::of(code, &known);
    if !wants_html(&req) {
        return HttpResponse::Ok().insert_header((VARY, "accept")).json(page);
    }
    let mut body = format!(
        "<p>Status {}, type <code>{}</code>.</p><h2>When it comes</h2><p>{}</p><h2>What to do</h2><p>{}</p>",
        page.status,
        page.kind,
        escaped(page.means),
        escaped(page.remedy)
    );
    if !page.fault_codes.is_empty() {
        body.push_str("<h2>Codes of the fields</h2><dl>");
        for one in &page.fault_codes {
            let text = |name: &str| escaped(one[name].as_str().unwrap_or_default());
            // Writing to a string cannot fail.
            let _ = write!(body, "<dt><code>{}</code></dt><dd>{}</dd>", text("code"), text("means"));
        }
        body.push_str("</dl>");
    }
    html(page.title, &body)
}

/// The list of all problems.
async fn list(req: HttpRequest, known: Data<FaultCodes>) -> HttpResponse {
    let pages: Vec<Page> = Code::ALL.into_iter().map(|code| Page::of(code, &known)).collect();
    if !wants_html(&req) {
        let brief = |page: &Page| json!({"type": page.kind, "title": page.title, "status": page.status});
        let items: Vec<Value> = pages.iter().map(brief).collect();
        return HttpResponse::Ok().insert_header((VARY, "accept")).json(json!({"items": items}));
    }
    let mut body = String::from("<ul>");
    for page in &pages {
        let _ = write!(body, "<li>{} <a href=\"{}\">{}</a></li>", page.status, page.kind, escaped(page.title));
    }
    html("Problems", &(body + "</ul>"))
}

/// The pages of problems; they belong to the documentation, not to the API.
pub fn routes(config: &mut ServiceConfig) {
    config.route("/problems", web::get().to(list)).route("/problems/{code}", web::get().to(one));
}
