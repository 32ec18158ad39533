//! Request ids, trace context and one log line per request.

use std::collections::BTreeSet;
use std::io::IsTerminal;
use std::net::IpAddr;
use std::time::Instant;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage, HttpRequest};
use uuid::Uuid;

use super::config::{ConfigError, log_as_text};
use super::ids::AccountId;
use super::lanes::Who;
use super::network::{self, Network};
use super::problem::Problem;

tokio::task_local! {
    static REQUEST_ID: String;
    static CLIENT: String;
}

/// The address of the caller at work, empty outside a request.
pub fn client() -> String {
    CLIENT.try_with(Clone::clone).unwrap_or_default()
}

/// The caller at work, for whom nothing but the address stands.
pub fn stranger() -> Who {
    let address = Uuid::new_v5(&Uuid::NAMESPACE_OID, client().as_bytes());
    Who { club: address, account: address }
}

/// The id of the request at work, empty outside one.
pub fn request_id() -> String {
    REQUEST_ID.try_with(Clone::clone).unwrap_or_default()
}

/// Work that goes on beside its request, with its id and the address of its caller.
pub fn going_on<F: Future>(work: F) -> impl Future<Output = F::Output> {
    CLIENT.scope(client(), REQUEST_ID.scope(request_id(), work))
}

/// Gives each request an id (`x-request-id`), passes `traceparent` on and logs one line when it is answered.
///
/// # Errors
/// Those of the inner service.
pub async fn trace<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    let started = Instant::now();
    let id = Uuid::now_v7().to_string();
    let trace_parent = trace_parent(&req);
    let client = Network::of(req.request()).as_str().to_owned();
    let mut answer = CLIENT.scope(client, REQUEST_ID.scope(id.clone(), next.call(req))).await?;
    let status = answer.status().as_u16();
    let route = answer.request().match_pattern().unwrap_or_else(|| "unmatched".to_owned());
    let method = answer.request().method().as_str().to_owned();
    let club = answer.request().match_info().get("club_id").unwrap_or_default().to_owned();
    // Ids and a class, never a name, an e-mail, an address or a query, which may hold names.
    let account = answer.request().extensions().get::<AccountId>().map(AccountId::to_string).unwrap_or_default();
    let from = class_of(answer.request());
    let refused =
        answer.response().error().and_then(|error| error.as_error::<Problem>()).map(words).unwrap_or_default();
    tracing::info!(
        request.id = id,
        trace_parent,
        method,
        route,
        status,
        refused,
        club.id = club,
        account.id = account,
        address = from,
        duration_ms = u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX),
        "request"
    );
    let headers = answer.headers_mut();
    if let Ok(value) = HeaderValue::from_str(&id) {
        headers.insert(HeaderName::from_static("x-request-id"), value);
    }
    if let Ok(value) = HeaderValue::from_str(&trace_parent) {
        headers.insert(HeaderName::from_static("traceparent"), value);
    }
    Ok(answer)
}

/// Why a request was refused, in closed words of ours: the problem, then the codes of its faults, each once. What was sent and where it
/// stood is not told, because a caller chose the words of both.
fn words(problem: &Problem) -> String {
    let faults: BTreeSet<&str> = problem.faults().iter().map(|fault| fault.code.as_str()).collect();
    [problem.code().row().0].into_iter().chain(faults).collect::<Vec<_>>().join(" ")
}

/// Notes for the log whose request it is.
pub fn acts(req: &HttpRequest, account: AccountId) {
    req.extensions_mut().insert(account);
}

/// The class of the address that a request comes from.
fn class_of(req: &HttpRequest) -> &'static str {
    let private = |address: IpAddr| match address {
        IpAddr::V4(v4) => v4.is_private() || v4.is_link_local(),
        IpAddr::V6(v6) => v6.is_unique_local() || v6.is_unicast_link_local(),
    };
    match network::address(req).map(|address| address.to_canonical()) {
        None => "unknown",
        Some(address) if address.is_loopback() => "loopback",
        Some(address) if private(address) => "private",
        Some(_) => "public",
    }
}

/// The caller's W3C trace context when it is well formed, else a new one.
fn trace_parent(req: &ServiceRequest) -> String {
    let given = req.headers().get("traceparent").and_then(|value| value.to_str().ok()).unwrap_or_default();
    let parts: Vec<&str> = given.split('-').collect();
    let hex = |part: &str, length: usize| part.len() == length && part.bytes().all(|b| b.is_ascii_hexdigit());
    match parts.as_slice() {
        ["00", trace, parent, flags] if hex(trace, 32) && hex(parent, 16) && hex(flags, 2) => given.to_owned(),
        _ => {
            let trace = Uuid::now_v7().simple().to_string();
            let span = Uuid::new_v4().simple().to_string();
            format!("00-{trace}-{}-00", span.get(..16).unwrap_or("0000000000000001"))
        }
    }
}

/// Log lines to standard error, filtered by `LANEWRIGHT_LOG` (default `info`), one an event; as JSON, or for people when
/// somebody watches the terminal.
///
/// # Errors
/// When `LANEWRIGHT_LOG_FORMAT` names no form of a line.
pub fn init() -> Result<(), ConfigError> {
    let filter = tracing_subscriber::EnvFilter::try_from_env("LANEWRIGHT_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    // A second initialisation (tests in one process) changes nothing.
    let _ = if log_as_text()?.unwrap_or_else(|| std::io::stderr().is_terminal()) {
        lines.compact().with_target(false).with_ansi(std::io::stderr().is_terminal()).try_init()
    } else {
        lines.json().try_init()
    };
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::io::{self, Write};
    use std::sync::{Arc, Mutex};

    use actix_web::middleware::from_fn;
    use actix_web::{App, HttpResponse, test, web};

    use super::*;
    use crate::platform::fault::Fault;

    /// A log that is read again.
    #[derive(Clone, Default)]
    struct Log(Arc<Mutex<Vec<u8>>>);

    impl Write for Log {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[actix_web::test]
    async fn a_refused_value_is_logged_with_what_was_wrong_and_nothing_that_was_sent() {
        let log = Log::default();
        let made = log.clone();
        let lines = tracing_subscriber::fmt().json().with_writer(move || made.clone()).finish();
        let _guard = tracing::subscriber::set_default(lines);
        let refuse = || async {
            let faults = ["/secret-of-a-caller", "/other"].map(|at| Fault::at(at, "length", "Mira Osei is too long"));
            Err::<HttpResponse, Problem>(Problem::invalid(
                [faults.to_vec(), vec![Fault::at("/x", "word", "no")]].concat(),
            ))
        };
        let app = App::new().wrap(from_fn(trace)).route("/a", web::post().to(refuse));
        let app = app.route("/b", web::post().to(HttpResponse::NoContent));
        let app = test::init_service(app).await;
        for path in ["/a", "/b"] {
            test::call_service(&app, test::TestRequest::post().uri(path).to_request()).await;
        }
        let text = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
        let lines: Vec<serde_json::Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        let told: Vec<_> = lines.iter().map(|line| (&line["fields"]["status"], &line["fields"]["refused"])).collect();
        let said = Problem::invalid(Vec::new());
        assert_eq!(told[0].1, &serde_json::json!(format!("{} length word", said.code().row().0)));
        assert_eq!((told[1].0, told[1].1), (&serde_json::json!(204), &serde_json::json!("")));
        assert!(!text.contains("secret-of-a-caller") && !text.contains("Mira"), "{text}");
    }
}
