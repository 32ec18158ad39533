//! A server for one test, and people who call it.

use std::net::TcpListener;
use std::sync::Arc;

use actix_web::web::Data;
use lanewright::app;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::lanes::Lanes;
use lanewright::platform::token::Keys;
use reqwest::{Method, Response};
use serde_json::{Value, json};
use sqlx::PgPool;
use sqlx::postgres::PgConnectOptions;
use uuid::Uuid;

use crate::contract::{self, Exchange};

/// The password of everybody in the tests.
pub const PASSWORD: &str = "five wickets in a row";

/// Stops the server with the last of its users. Without that its connections would keep the test's database from being
/// dropped, which costs five seconds.
struct StopOnDrop(actix_web::dev::ServerHandle);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        // The request to stop is sent at once; nobody needs to wait for the answer.
        drop(self.0.stop(false));
    }
}

/// A server of its own on a free port.
#[derive(Clone)]
pub struct TestApp {
    _stop: Arc<StopOnDrop>,
    pub base: String,
    pub client: reqwest::Client,
    pub pool: PgPool,
    pub lanes: Lanes,
    pub keys: Data<Keys>,
    /// Whether every exchange has to be as the document says; not where a test breaks the database under it.
    pub promised: bool,
}

/// What the server answered.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub headers: reqwest::header::HeaderMap,
    pub bytes: Vec<u8>,
    /// The body as JSON; null when it is not.
    pub body: Value,
}

impl Answer {
    async fn of(response: Response) -> Self {
        let status = response.status().as_u16();
        let headers = response.headers().clone();
        let bytes = response.bytes().await.unwrap().to_vec();
        let body = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
        Self { status, headers, bytes, body }
    }

    /// A header, empty when absent.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// What people read in it: the words of a PDF file, whose bytes are packed, or the body as it is.
    pub fn readable(&self) -> String {
        if !self.bytes.starts_with(b"%PDF") {
            return String::from_utf8_lossy(&self.bytes).into_owned();
        }
        let file = lopdf::Document::load_mem(&self.bytes).unwrap();
        let pages: Vec<u32> = file.get_pages().into_keys().collect();
        file.extract_text(&pages).unwrap()
    }

    /// The `id` of the body.
    pub fn id(&self) -> String {
        self.body["id"].as_str().unwrap_or_else(|| panic!("no id in {self:?}")).to_owned()
    }

    /// Fails unless the status is this one; hands the answer on.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", String::from_utf8_lossy(&self.bytes));
        self
    }

    /// The pointers (or parameters) of the faults, in order.
    pub fn faults(&self) -> Vec<&str> {
        let errors = self.body["errors"].as_array();
        errors
            .into_iter()
            .flatten()
            .map(|fault| fault["pointer"].as_str().or(fault["parameter"].as_str()).unwrap_or_default())
            .collect()
    }

    /// Fails unless this is a problem of that status whose only fault is at `pointer`.
    #[track_caller]
    pub fn expect_fault(self, status: u16, pointer: &str) -> Self {
        let answer = self.expect(status);
        assert_eq!(answer.header("content-type"), "application/problem+json");
        assert_eq!(answer.faults(), [pointer], "{}", answer.body);
        answer
    }
}

impl TestApp {
    /// Starts a server on the test's database.
    pub async fn spawn(pool: PgPool) -> Self {
        let options = (*pool.connect_options()).clone();
        Self::spawn_with(pool, options, Config { workers: 1, ..Config::default() }).await
    }

    /// Starts a server that reaches the test's database with these options, over at most so many connections. It asks nothing of
    /// the database by itself: who read what is stored never.
    pub async fn spawn_on(pool: PgPool, options: PgConnectOptions, connections: u32) -> Self {
        let config = Config { workers: 1, connections, audit_pause: std::time::Duration::MAX, ..Config::default() };
        Self::spawn_with(pool, options, config).await
    }

    /// Starts a server that takes the client's address from `X-Forwarded-For`.
    pub async fn spawn_behind_proxy(pool: PgPool) -> Self {
        let options = (*pool.connect_options()).clone();
        let config = Config { workers: 1, behind_proxy: true, ..Config::default() };
        Self::spawn_with(pool, options, config).await
    }

    /// Starts a server with settings of its own. On a slow machine whoever waits for a connection is not refused for it.
    pub async fn spawn_with(pool: PgPool, options: PgConnectOptions, config: Config) -> Self {
        let config = Config { wait: std::time::Duration::from_mins(1), ..config };
        let keys = Keys::load(&Db::lazy(options.clone(), 1)).await.unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let shared = app::Shared::new(config, keys);
        let lanes = shared.lanes().clone();
        let keys = Data::clone(shared.keys());
        let server = app::run(listener, shared, options).unwrap();
        let stop = Arc::new(StopOnDrop(server.handle()));
        tokio::spawn(server);
        Self { _stop: stop, base, client: reqwest::Client::new(), pool, lanes, keys, promised: true }
    }

    /// Sends a request with these headers and body bytes; both it and its answer have to be as the document says.
    pub async fn send(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Option<Vec<u8>>) -> Answer {
        let mut request = self.client.request(method.clone(), format!("{}{path}", self.base));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(body) = &body {
            request = request.body(body.clone());
        }
        let answer = Answer::of(request.send().await.unwrap()).await;
        if self.promised {
            contract::check(&Exchange {
                method: &method,
                path,
                sent_headers: headers,
                sent: body.as_deref(),
                status: answer.status,
                headers: &answer.headers,
                body: &answer.bytes,
            });
        }
        answer
    }

    /// Posts JSON without signing in.
    pub async fn post(&self, path: &str, body: Value) -> Answer {
        let body = serde_json::to_vec(&body).unwrap();
        self.send(Method::POST, path, &[("content-type", "application/json")], Some(body)).await
    }

    /// Posts JSON without signing in, through a proxy that saw the call come from this address.
    pub async fn post_from(&self, address: &str, path: &str, body: Value) -> Answer {
        let headers = [("content-type", "application/json"), ("x-forwarded-for", address)];
        self.send(Method::POST, path, &headers, Some(serde_json::to_vec(&body).unwrap())).await
    }

    /// Gets without signing in.
    pub async fn get(&self, path: &str) -> Answer {
        self.send(Method::GET, path, &[], None).await
    }

    /// Signs a person up without a club.
    pub async fn person(&self, name: &str) -> Caller {
        let email = format!("{}@people.example", name.to_lowercase().replace(' ', "."));
        let body = json!({"email": email, "password": PASSWORD, "display_name": name});
        let answer = self.post("/v1/auth/sign-up", body).await.expect(201);
        Caller::new(self, &answer.body, email, String::new())
    }

    /// The first admin of a new club.
    pub async fn admin_of(&self, club: &str) -> Caller {
        let lower = club.to_lowercase();
        let words = lower.split(|sign: char| !sign.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
        let email = format!("admin@{}.example", words.collect::<Vec<_>>().join("-"));
        let club = json!({"name": club, "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let body = json!({"email": email, "password": PASSWORD, "display_name": "Ada Admin", "club": club});
        let answer = self.post("/v1/auth/sign-up", body).await.expect(201);
        let club = answer.body["club"]["id"].as_str().unwrap().to_owned();
        Caller::new(self, &answer.body, email, club)
    }
}

/// A signed-in person, acting in one club.
#[derive(Clone)]
pub struct Caller {
    pub app: TestApp,
    pub account: String,
    pub email: String,
    pub token: String,
    pub refresh: String,
    /// The club's id, empty without one.
    pub club: String,
}

impl Caller {
    fn new(app: &TestApp, signed_up: &Value, email: String, club: String) -> Self {
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        Self {
            app: app.clone(),
            account: text(&signed_up["account"]["id"]),
            email,
            token: text(&signed_up["tokens"]["access_token"]),
            refresh: text(&signed_up["tokens"]["refresh_token"]),
            club,
        }
    }

    /// Invites a new person into the admin's club and lets them accept.
    pub async fn member(&self, name: &str, role: &str, groups: &[&str]) -> Caller {
        let mut person = self.app.person(name).await;
        let body = json!({"email": person.email, "role": role, "group_ids": groups});
        let invitation = self.post("/invitations", body).await.expect(201);
        person
            .call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": invitation.body["token"]})))
            .await
            .expect(200);
        person.club.clone_from(&self.club);
        person
    }

    /// A new group in the admin's club: its id.
    pub async fn group(&self, name: &str) -> String {
        self.post("/groups", json!({"name": name})).await.expect(201).id()
    }

    /// Calls any path of the service with this person's token.
    pub async fn call(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Option<Value>) -> Answer {
        let body = body.map(|body| serde_json::to_vec(&body).unwrap());
        let token = format!("Bearer {}", self.token);
        let mut all = vec![("authorization", token.as_str()), ("content-type", "application/json")];
        all.retain(|(name, _)| !headers.iter().any(|(given, _)| given == name));
        all.extend_from_slice(headers);
        self.app.send(method, path, &all, body).await
    }

    /// Sends bytes to a path of the club.
    pub async fn bytes(&self, method: Method, path: &str, content_type: &str, body: Vec<u8>) -> Answer {
        let token = format!("Bearer {}", self.token);
        let headers = [("authorization", token.as_str()), ("content-type", content_type)];
        self.app.send(method, &self.path(path), &headers, Some(body)).await
    }

    /// A path of the club.
    pub fn path(&self, path: &str) -> String {
        format!("/v1/clubs/{}{path}", self.club)
    }

    /// Gets a path of the club.
    pub async fn get(&self, path: &str) -> Answer {
        self.call(Method::GET, &self.path(path), &[], None).await
    }

    /// Posts JSON to a path of the club.
    pub async fn post(&self, path: &str, body: Value) -> Answer {
        self.call(Method::POST, &self.path(path), &[], Some(body)).await
    }

    /// Puts JSON at a path of the club; `if_match` may be empty.
    pub async fn put(&self, path: &str, if_match: &str, body: Value) -> Answer {
        self.call(Method::PUT, &self.path(path), &matching(if_match), Some(body)).await
    }

    /// Patches a path of the club; `if_match` may be empty.
    pub async fn patch(&self, path: &str, if_match: &str, body: Value) -> Answer {
        let mut headers = matching(if_match);
        headers.push(("content-type", "application/merge-patch+json"));
        self.call(Method::PATCH, &self.path(path), &headers, Some(body)).await
    }

    /// Deletes at a path of the club; `if_match` may be empty.
    pub async fn delete(&self, path: &str, if_match: &str) -> Answer {
        self.call(Method::DELETE, &self.path(path), &matching(if_match), None).await
    }

    /// The highest change number of the club.
    pub async fn seq(&self) -> i64 {
        let club = Uuid::parse_str(&self.club).unwrap();
        let mut tx = self.app.pool.begin().await.unwrap();
        sqlx::raw_sql(sqlx::AssertSqlSafe(format!("set local app.club_id = '{club}'")))
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query_scalar("select seq from club_clock where club_id = $1")
            .bind(club)
            .fetch_one(&mut *tx)
            .await
            .unwrap()
    }
}

fn matching(tag: &str) -> Vec<(&str, &str)> {
    if tag.is_empty() { Vec::new() } else { vec![("if-match", tag)] }
}

/// Carries out statements as the owner of a club's rows. They are sent one by one, without a semicolon inside of any: where tables
/// are spread over servers, nothing stands beside a setting.
pub async fn in_club(pool: &PgPool, club: &str, statements: &str) {
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", uuid::Uuid::parse_str(club).unwrap());
    for statement in std::iter::once(enter.as_str()).chain(statements.split(';')) {
        sqlx::raw_sql(sqlx::AssertSqlSafe(statement.to_owned())).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Whether tables are spread over several servers. The schema of such a database has no past: it is made whole, then spread.
pub async fn spread(pool: &PgPool) -> bool {
    let there = "select exists (select from pg_extension where extname = 'citus')";
    sqlx::query_scalar(there).fetch_one(pool).await.unwrap()
}

/// How long a test waits for something. The deadline only ends a test that would never end: a loaded machine takes its
/// time, and how long something takes is never what a test asserts.
pub struct Patience(std::time::Instant);

impl Patience {
    pub fn new() -> Self {
        Self(std::time::Instant::now())
    }

    /// Waits a moment.
    pub async fn wait(&self, what: &str) {
        assert!(self.0.elapsed() < std::time::Duration::from_mins(3), "never: {what}");
        tokio::time::sleep(std::time::Duration::from_millis(5)).await;
    }
}

/// Waits until something holds.
pub async fn eventually(what: &str, mut holds: impl AsyncFnMut() -> bool) {
    let patience = Patience::new();
    while !holds().await {
        patience.wait(what).await;
    }
}

/// The answer of a service that is not busy: on a slow machine a lock may not come in time, and then any client asks again.
pub async fn unless_busy(call: impl AsyncFn() -> Answer) -> Answer {
    let patience = Patience::new();
    loop {
        let answer = call().await;
        if answer.status != 503 {
            return answer;
        }
        patience.wait("the service has time").await;
    }
}

/// Walks a list page by page and collects the ids; `between` runs after each page.
pub async fn walk(caller: &Caller, path: &str, limit: usize, mut between: impl AsyncFnMut(usize)) -> Vec<String> {
    let mut ids = Vec::new();
    let separator = if path.contains('?') { '&' } else { '?' };
    let mut next = Some(caller.path(&format!("{path}{separator}limit={limit}")));
    let mut pages = 0;
    while let Some(path) = next {
        let answer = caller.call(Method::GET, &path, &[], None).await.expect(200);
        let items = answer.body["items"].as_array().unwrap();
        assert!(items.len() <= limit);
        ids.extend(items.iter().map(|item| item["id"].as_str().unwrap().to_owned()));
        next = answer.header("link").strip_prefix('<').and_then(|link| link.split('>').next()).map(str::to_owned);
        assert_eq!(next.is_some(), answer.body["next_cursor"].is_string());
        between(pages).await;
        pages += 1;
        assert!(pages < 1_000, "the list never ends");
    }
    ids
}
