//! The rehearsal over HTTP, on the loopback alone.

use std::io::Read;
use std::net::TcpListener;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use actix_web::body::BodyStream;
use actix_web::http::StatusCode;
use actix_web::http::header::{AUTHORIZATION, CONTENT_ENCODING, DATE, RETRY_AFTER};
use actix_web::web::{self, Bytes, Data, Json, Path, Query};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer};
use chrono::DateTime;
use futures_util::stream;
use serde_json::Value;
use tokio::sync::Notify;

use super::play::{Call, Play};
use super::report::Report;
use super::scenes::{self, Scene};
use super::stage::Answer;

/// Bytes of a push, packed or not.
const LARGEST: usize = 8 << 20;

struct Shared {
    play: Mutex<Play>,
    ended: Notify,
}

impl Shared {
    fn play(&self) -> MutexGuard<'_, Play> {
        let mut play = self.play.lock().unwrap_or_else(PoisonError::into_inner);
        play.heard = Instant::now();
        play
    }
}

/// A rehearsal that was started.
pub struct Rehearsal {
    shared: Arc<Shared>,
    server: actix_web::dev::ServerHandle,
}

impl std::fmt::Debug for Rehearsal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Rehearsal").finish_non_exhaustive()
    }
}

impl Rehearsal {
    /// Waits until the last scene has ended, or nobody has asked for so long; what was found.
    pub async fn ended(self, patience: Duration) -> Report {
        let all = async {
            loop {
                let quiet = self.shared.play.lock().unwrap_or_else(PoisonError::into_inner).heard.elapsed();
                let Some(left) = patience.checked_sub(quiet) else { return };
                tokio::time::sleep(left).await;
            }
        };
        tokio::select! {
            () = self.shared.ended.notified() => {}
            () = all => {}
        }
        let report = self.shared.play().give_up();
        // The driver is still being told that this was the end.
        self.server.stop(true).await;
        report
    }
}

/// Starts a rehearsal of these scenes, of all when there are none.
///
/// # Errors
/// The first name that no scene has, or that the server cannot start.
pub fn start(listener: TcpListener, wanted: &[String]) -> std::io::Result<Rehearsal> {
    let all = scenes::all();
    if let Some(unknown) = wanted.iter().find(|name| all.iter().all(|scene| scene.name != **name)) {
        let known: Vec<&str> = all.iter().map(|scene| scene.name).collect();
        let detail = format!("there is no scene {unknown}; there are {}", known.join(", "));
        return Err(std::io::Error::new(std::io::ErrorKind::InvalidInput, detail));
    }
    let chosen: Vec<Scene> =
        all.into_iter().filter(|scene| wanted.is_empty() || wanted.iter().any(|name| name == scene.name)).collect();
    let shared = Arc::new(Shared { play: Mutex::new(Play::new(chosen)), ended: Notify::new() });
    let data = Data::from(Arc::clone(&shared));
    let server = HttpServer::new(move || {
        App::new()
            .app_data(data.clone())
            .app_data(web::PayloadConfig::new(LARGEST))
            .app_data(web::JsonConfig::default().limit(LARGEST).content_type(|_| true).content_type_required(false))
            .route("/rehearsal/next", web::post().to(next))
            .route("/v1/clubs/{club_id}/changes", web::get().to(pull))
            .route("/v1/clubs/{club_id}/changes", web::post().to(push))
    })
    .workers(1)
    .disable_signals()
    .shutdown_timeout(1)
    .listen(listener)?
    .run();
    let handle = server.handle();
    tokio::spawn(server);
    Ok(Rehearsal { shared, server: handle })
}

async fn next(shared: Data<Shared>, answer: Json<Value>) -> HttpResponse {
    let mut play = shared.play();
    let step = play.next(&answer);
    if play.report.complete {
        shared.ended.notify_one();
    }
    HttpResponse::Ok().json(step)
}

async fn pull(
    req: HttpRequest,
    shared: Data<Shared>,
    club: Path<String>,
    query: Query<Vec<(String, String)>>,
) -> HttpResponse {
    let mut play = shared.play();
    let answer = play.hear(&club, bearer(&req), Call::Pull(&query));
    let date = play.stage.date;
    respond(answer, date)
}

async fn push(req: HttpRequest, shared: Data<Shared>, club: Path<String>, body: Bytes) -> HttpResponse {
    let Some(body) = unpacked(&req, &body) else { return HttpResponse::BadRequest().finish() };
    let mut play = shared.play();
    let answer = play.hear(&club, bearer(&req), Call::Push(&body));
    let date = play.stage.date;
    respond(answer, date)
}

fn bearer(req: &HttpRequest) -> &str {
    let value = req.headers().get(AUTHORIZATION).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split_once(' ').map_or("", |(_, token)| token)
}

/// The framework unpacks what it knows; a header that is left names what it does not.
fn unpacked(req: &HttpRequest, body: &Bytes) -> Option<Vec<u8>> {
    let coding = req.headers().get(CONTENT_ENCODING).and_then(|value| value.to_str().ok());
    let limit = u64::try_from(LARGEST).unwrap_or(u64::MAX);
    let mut plain = Vec::new();
    match coding {
        Some("gzip") if body.starts_with(&[0x1f, 0x8b]) => {
            flate2::read::GzDecoder::new(body.as_ref()).take(limit).read_to_end(&mut plain).ok()?;
        }
        Some("zstd") if body.starts_with(&[0x28, 0xb5, 0x2f, 0xfd]) => {
            zstd::Decoder::new(body.as_ref()).ok()?.take(limit).read_to_end(&mut plain).ok()?;
        }
        _ => plain.extend_from_slice(body),
    }
    Some(plain)
}

fn respond(answer: Answer, date: Option<i64>) -> HttpResponse {
    let (status, wait) = match &answer {
        Answer::Json(status, _, wait) => (*status, *wait),
        Answer::BrokenOff(_) => (200, None),
    };
    let mut response = HttpResponse::build(StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR));
    if let Some(wait) = wait {
        response.insert_header((RETRY_AFTER, wait.to_string()));
    }
    if let Some(date) = date.and_then(|seconds| DateTime::from_timestamp(seconds, 0)) {
        response.insert_header((DATE, date.format("%a, %d %b %Y %H:%M:%S GMT").to_string()));
    }
    match answer {
        Answer::Json(_, body, _) if status >= 400 => {
            response.content_type("application/problem+json").body(body.to_string())
        }
        Answer::Json(_, body, _) => response.json(body),
        Answer::BrokenOff(part) => {
            let broken = std::io::Error::other("the scene breaks the answer off here");
            let parts = stream::iter([Ok(Bytes::from(part)), Err(broken)]);
            response.content_type("application/json").body(BodyStream::new(parts))
        }
    }
}
