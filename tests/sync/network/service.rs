//! The real service on a real database, called in process: what travels between is up to the caller.

use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::io::Write;
use std::pin::Pin;
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
use sqlx::{PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::phone::{Reply, Request};

/// The password of everybody in the simulation.
const PASSWORD: &str = "five wickets in a row";

/// How old an access token grows before it is refreshed: well before the service's fifteen minutes are over, also on a busy machine.
const REFRESH_AFTER: Duration = Duration::from_mins(8);

type Answering = Pin<Box<dyn Future<Output = Answer>>>;

type Calling = Box<dyn Fn(test::TestRequest) -> Answering>;

/// The service: instances that share a database and nothing else.
pub struct Service {
    instances: Vec<Calling>,
    turn: Cell<usize>,
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
        Self::several(options, 1).await
    }

    /// So many instances of it, to which requests go in turn.
    pub async fn several(options: PgConnectOptions, count: usize) -> Self {
        let mut instances = Vec::new();
        for _ in 0..count {
            instances.push(Self::instance(&options).await);
        }
        let db = Db::lazy(options.clone(), 1);
        let pool = PgPoolOptions::new().max_connections(2).connect_lazy_with(options);
        let date = Cell::new(chrono::Utc::now().timestamp());
        Self { instances, turn: Cell::new(0), db, pool, alive: RefCell::default(), date }
    }

    async fn instance(options: &PgConnectOptions) -> Calling {
        let keys = Keys::load(&Db::lazy(options.clone(), 1)).await.unwrap();
        let config = Config { workers: 1, connections: 4, ..Config::default() };
        let db = Db::lazy(options.clone(), 4);
        let service = Rc::new(test::init_service(app::build(&app::Shared::new(config, keys), db)).await);
        Box::new(move |request: test::TestRequest| -> Answering {
            let service = Rc::clone(&service);
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
    fn answer(&self, request: test::TestRequest) -> Answering {
        self.turn.update(|turn| (turn + 1) % self.instances.len());
        self.instances[self.turn.get()](request)
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
        let request =
            test::TestRequest::post().uri("/v1/auth/refresh").insert_header((header::CONTENT_TYPE, "application/json"));
        let answer = self.answer(request.set_payload(body)).await;
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
        let mut request = test::TestRequest::default().method(method).uri(path);
        if !token.is_empty() {
            request = request.insert_header((header::AUTHORIZATION, format!("Bearer {token}")));
        }
        if !etag.is_empty() {
            request = request.insert_header((header::IF_MATCH, etag));
        }
        if let Some(body) = body {
            request = request.insert_header((header::CONTENT_TYPE, kind)).set_payload(body.to_string());
        }
        self.answer(request).await
    }

    /// Carries a phone's request to the service; how many bytes went up.
    pub async fn carry(&self, token: &str, club: Uuid, request: &Request) -> (Reply, usize) {
        let path = format!("/v1/clubs/{club}/changes");
        let bearer = (header::AUTHORIZATION, format!("Bearer {}", self.current(token).await));
        let (request, sent) = match request {
            Request::Pull { query } => (test::TestRequest::get().uri(&format!("{path}?{query}")), query.len()),
            Request::Push { body, gzip } => {
                let body = if *gzip { pack(body) } else { body.clone() };
                let sent = body.len();
                let mut request = test::TestRequest::post().uri(&path);
                request = request.insert_header((header::CONTENT_TYPE, "application/json")).set_payload(body);
                if *gzip {
                    request = request.insert_header((header::CONTENT_ENCODING, "gzip"));
                }
                (request, sent)
            }
        };
        let answer = self.answer(request.insert_header(bearer)).await;
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
