//! The real service on a real database, called in process, and a second one as a process of its own: what travels between is up
//! to the caller.

use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::io::{BufRead, BufReader, Write};
use std::pin::Pin;
use std::process::{Child, Command, Stdio};
use std::rc::Rc;
use std::time::{Duration, Instant};

use actix_web::http::{Method, header};
use actix_web::test;
use lanewright::app;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::token::Keys;
use serde_json::{Value, json};
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{ConnectOptions, PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::phone::{Reply, Request};

/// The password of everybody in the simulation.
const PASSWORD: &str = "five wickets in a row";

/// How old an access token grows before it is refreshed: well before the service's fifteen minutes are over, also on a busy machine.
const REFRESH_AFTER: Duration = Duration::from_mins(8);

type Answering = Pin<Box<dyn Future<Output = Answer>>>;

type Calling = Box<dyn Fn(Ask) -> Answering>;

/// An HTTP request, whichever way it goes.
struct Ask {
    method: Method,
    path: String,
    headers: Vec<(header::HeaderName, String)>,
    body: Vec<u8>,
}

impl Ask {
    fn new(method: Method, path: &str) -> Self {
        Self { method, path: path.to_owned(), headers: Vec::new(), body: Vec::new() }
    }

    fn with(mut self, header: header::HeaderName, value: &str) -> Self {
        self.headers.push((header, value.to_owned()));
        self
    }
}

/// The built service as a process of its own; dropping it kills it.
struct Other {
    child: Child,
    /// `http://host:port`.
    base: String,
    client: reqwest::Client,
}

impl Other {
    fn start(options: &PgConnectOptions) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_lanewright"))
            .arg("serve")
            .env("DATABASE_URL", options.to_url_lossy().as_str())
            .env("LANEWRIGHT_LISTEN", "127.0.0.1:0")
            .env("LANEWRIGHT_WORKERS", "1")
            .env("LANEWRIGHT_CONNECTIONS", "4")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let base = line.split(' ').find(|word| word.starts_with("http")).unwrap_or_else(|| panic!("{line:?}"));
        // Before the service closes an idle connection.
        let client = reqwest::Client::builder().pool_idle_timeout(Duration::from_secs(1)).build().unwrap();
        Self { base: base.to_owned(), child, client }
    }

    async fn answer(&self, ask: Ask) -> Answer {
        let method = reqwest::Method::from_bytes(ask.method.as_str().as_bytes()).unwrap();
        let mut request = self.client.request(method, format!("{}{}", self.base, ask.path)).body(ask.body);
        for (name, value) in ask.headers {
            request = request.header(name.as_str(), value);
        }
        let answer = request.send().await.unwrap();
        let text = |name: &str| answer.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
        let (etag, retry_after) = (text("etag").to_owned(), text("retry-after").parse().ok());
        let status = answer.status().as_u16();
        Answer { status, etag, retry_after, bytes: answer.bytes().await.unwrap().to_vec() }
    }
}

impl Drop for Other {
    fn drop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

/// The service: instances that share a database and nothing else.
pub struct Service {
    here: Calling,
    /// Another instance, to which every second request goes.
    there: Option<Rc<Other>>,
    turn: Cell<bool>,
    pub db: Db,
    /// Connections of the proof itself, which looks at what the service stored.
    pub pool: PgPool,
    /// What keeps each sign-in alive, by its first access token: a long run outlasts a token.
    alive: RefCell<HashMap<String, Alive>>,
    /// Simulated seconds since 1970, as the service's `Date` header says.
    pub date: Cell<i64>,
}

/// A sign-in that is kept alive.
struct Alive {
    access: String,
    refresh: String,
    since: Instant,
}

/// What the service answered.
#[derive(Clone, Debug)]
pub struct Answer {
    pub status: u16,
    pub etag: String,
    pub retry_after: Option<u64>,
    pub bytes: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or(Value::Null)
    }

    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", String::from_utf8_lossy(&self.bytes));
        self
    }
}

/// A sign-in of a person.
#[derive(Clone, Debug)]
pub struct SignedIn {
    pub account: Uuid,
    pub email: String,
    pub token: String,
}

impl Service {
    /// The service on a migrated database.
    pub async fn start(options: PgConnectOptions) -> Self {
        let here = Self::instance(&options).await;
        let db = Db::lazy(options.clone(), 1);
        let pool = PgPoolOptions::new().max_connections(2).connect_lazy_with(options);
        let date = Cell::new(chrono::Utc::now().timestamp());
        Self { here, there: None, turn: Cell::default(), db, pool, alive: RefCell::default(), date }
    }

    /// The same beside another instance of it, to which every second request goes over a socket.
    pub async fn beside_another(options: PgConnectOptions) -> Self {
        let there = Some(Rc::new(Other::start(&options)));
        Self { there, ..Self::start(options).await }
    }

    async fn instance(options: &PgConnectOptions) -> Calling {
        let keys = Keys::load(&Db::lazy(options.clone(), 1)).await.unwrap();
        let config = Config { workers: 1, connections: 4, ..Config::default() };
        let db = Db::lazy(options.clone(), 4);
        let service = Rc::new(test::init_service(app::build(&app::Shared::new(config, keys), db)).await);
        Box::new(move |ask: Ask| -> Answering {
            let service = Rc::clone(&service);
            let mut request = test::TestRequest::default().method(ask.method).uri(&ask.path);
            for (name, value) in ask.headers {
                request = request.insert_header((name, value));
            }
            if !ask.body.is_empty() {
                request = request.set_payload(ask.body);
            }
            Box::pin(async move {
                let answer = match test::try_call_service(&*service, request.to_request()).await {
                    Ok(answer) => answer,
                    Err(error) => {
                        let status = error.as_response_error().status_code().as_u16();
                        return Answer { status, etag: String::new(), retry_after: None, bytes: Vec::new() };
                    }
                };
                let text = |name| answer.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
                let (etag, retry_after) = (text(header::ETAG).to_owned(), text(header::RETRY_AFTER).parse().ok());
                let status = answer.status().as_u16();
                let bytes = test::try_read_body(answer).await.unwrap_or_default().to_vec();
                Answer { status, etag, retry_after, bytes }
            })
        })
    }

    /// The answer of the instance whose turn it is.
    fn answer(&self, ask: Ask) -> Answering {
        self.turn.update(|there| !there);
        match self.there.clone().filter(|_| self.turn.get()) {
            Some(there) => Box::pin(async move { there.answer(ask).await }),
            None => (self.here)(ask),
        }
    }

    /// Keeps a sign-in alive.
    fn keep_alive(&self, tokens: &Value) -> String {
        let text = |name: &str| tokens[name].as_str().unwrap().to_owned();
        let (access, refresh) = (text("access_token"), text("refresh_token"));
        let alive = Alive { access: access.clone(), refresh, since: Instant::now() };
        self.alive.borrow_mut().insert(access.clone(), alive);
        access
    }

    /// The access token that a sign-in has now; itself when it is not kept alive.
    async fn current(&self, first: &str) -> String {
        let (old, since) = {
            let mut alive = self.alive.borrow_mut();
            let Some(one) = alive.get_mut(first) else { return first.to_owned() };
            if one.since.elapsed() < REFRESH_AFTER {
                return one.access.clone();
            }
            // Whoever asks meanwhile goes on with the old one.
            let since = std::mem::replace(&mut one.since, Instant::now());
            (one.refresh.clone(), since)
        };
        let body = json!({"refresh_token": old}).to_string();
        let ask = Ask::new(Method::POST, "/v1/auth/refresh").with(header::CONTENT_TYPE, "application/json");
        let answer = self.answer(Ask { body: body.into_bytes(), ..ask }).await;
        let tokens = answer.json();
        let mut alive = self.alive.borrow_mut();
        let Some(one) = alive.get_mut(first) else { return first.to_owned() };
        if let (Some(access), Some(refresh)) = (tokens["access_token"].as_str(), tokens["refresh_token"].as_str()) {
            (one.access, one.refresh) = (access.to_owned(), refresh.to_owned());
        } else if answer.status != 401 {
            // The service was busy: whoever asks next tries again, before the old one has expired.
            one.since = since;
        }
        one.access.clone()
    }

    /// Calls a path with JSON.
    pub async fn call(&self, token: &str, method: Method, path: &str, etag: &str, body: Option<Value>) -> Answer {
        let token = self.current(token).await;
        let kind = if method == Method::PATCH { "application/merge-patch+json" } else { "application/json" };
        let mut ask = Ask::new(method, path);
        if !token.is_empty() {
            ask = ask.with(header::AUTHORIZATION, &format!("Bearer {token}"));
        }
        if !etag.is_empty() {
            ask = ask.with(header::IF_MATCH, etag);
        }
        if let Some(body) = body {
            ask = Ask { body: body.to_string().into_bytes(), ..ask.with(header::CONTENT_TYPE, kind) };
        }
        self.answer(ask).await
    }

    /// Carries a phone's request to the service; how many bytes went up.
    pub async fn carry(&self, token: &str, club: Uuid, request: &Request) -> (Reply, usize) {
        let path = format!("/v1/clubs/{club}/changes");
        let (ask, sent) = match request {
            Request::Pull { query } => (Ask::new(Method::GET, &format!("{path}?{query}")), query.len()),
            Request::Push { body, gzip } => {
                let body = if *gzip { pack(body) } else { body.clone() };
                let sent = body.len();
                let mut ask = Ask::new(Method::POST, &path).with(header::CONTENT_TYPE, "application/json");
                if *gzip {
                    ask = ask.with(header::CONTENT_ENCODING, "gzip");
                }
                (Ask { body, ..ask }, sent)
            }
        };
        let bearer = format!("Bearer {}", self.current(token).await);
        let answer = self.answer(ask.with(header::AUTHORIZATION, &bearer)).await;
        let Answer { status, retry_after, bytes, .. } = answer;
        (Reply { status, body: bytes, date: self.date.get(), retry_after }, sent)
    }

    /// Forgets who asked how often: the people of a simulation all come from one place.
    async fn forget_attempts(&self) {
        sqlx::query("delete from throttles").execute(&self.pool).await.unwrap();
    }

    /// A new person.
    pub async fn person(&self, name: &str, key: &str) -> SignedIn {
        self.forget_attempts().await;
        let email = format!("{name}@{key}.example");
        let body = json!({"email": email, "password": PASSWORD, "display_name": name});
        let answer = self.call("", Method::POST, "/v1/auth/sign-up", "", Some(body)).await.expect(201).json();
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let account = text(&answer["account"]["id"]).parse().unwrap();
        SignedIn { account, email, token: self.keep_alive(&answer["tokens"]) }
    }

    /// A new club with this person as its admin.
    pub async fn found(&self, admin: &SignedIn, name: &str) -> Uuid {
        self.forget_attempts().await;
        let body = json!({"name": name, "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let answer = self.call(&admin.token, Method::POST, "/v1/clubs", "", Some(body)).await.expect(201).json();
        answer["id"].as_str().unwrap().parse().unwrap()
    }

    /// Another sign-in of a person.
    pub async fn sign_in(&self, person: &SignedIn) -> SignedIn {
        self.forget_attempts().await;
        let body = json!({"email": person.email, "password": PASSWORD});
        let answer = self.call("", Method::POST, "/v1/auth/sign-in", "", Some(body)).await.expect(200).json();
        SignedIn { token: self.keep_alive(&answer), ..person.clone() }
    }

    /// The admin invites a person, who accepts.
    pub async fn join(&self, club: Uuid, admin: &SignedIn, person: &SignedIn, role: &str, groups: &[Uuid]) {
        self.forget_attempts().await;
        let body = json!({"email": person.email, "role": role, "group_ids": groups});
        let path = format!("/v1/clubs/{club}/invitations");
        let invitation = self.call(&admin.token, Method::POST, &path, "", Some(body)).await.expect(201).json();
        let body = json!({"token": invitation["token"]});
        self.call(&person.token, Method::POST, "/v1/invitations/accept", "", Some(body)).await.expect(200);
    }

    /// A transaction of the proof, in one club.
    pub async fn look(&self, club: Uuid) -> Transaction<'static, Postgres> {
        let mut tx = self.pool.begin().await.unwrap();
        let enter = format!("set local app.club_id = '{club}'");
        sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        tx
    }
}

/// Packs bytes with gzip.
pub fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}
