//! One request, its answer, and what every answer is judged by.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use reqwest::Method;
use serde_json::Value;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

use crate::people::Person;
use crate::report::{Flaw, Report};
use crate::text;
use crate::world::World;

/// How many requests are on the way at once.
const TOGETHER: usize = 8;
/// How often a request is sent again after it was put off.
const TRIES: u32 = 40;

/// Who is put off for longer, seconds, is refused.
const LONGEST_WAIT: u32 = 15;

static ADDRESS: AtomicU32 = AtomicU32::new(1);

/// A request.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The operation and what is odd about this call.
    pub name: String,
    pub method: String,
    pub path: String,
    pub headers: Vec<(String, String)>,
    pub body: Option<Vec<u8>>,
    pub who: Option<Person>,
}

/// An answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// 0 when the connection ended without one.
    pub status: u16,
    pub headers: reqwest::header::HeaderMap,
    pub bytes: Vec<u8>,
}

impl Answer {
    pub fn good(&self) -> bool {
        (200..300).contains(&self.status)
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or(Value::Null)
    }

    pub fn text(&self) -> String {
        format!("{} {}", self.status, text::short(&String::from_utf8_lossy(&self.bytes), 700))
    }

    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text());
        self
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// Status and words, without ids and what names this very request.
    pub fn likeness(&self) -> String {
        let body = match self.json() {
            Value::Object(mut problem) => {
                problem.remove("instance");
                Value::Object(problem).to_string()
            }
            Value::Null => String::from_utf8_lossy(&self.bytes).into_owned(),
            other => other.to_string(),
        };
        let tagged = if self.headers.contains_key("etag") { "tagged" } else { "" };
        format!("{} {tagged} {}", self.status, text::without_ids(body.as_bytes()))
    }
}

impl Ask {
    pub fn new(method: &str, path: &str) -> Self {
        let name = format!("{method} {path}");
        Self { name, method: method.to_owned(), path: path.to_owned(), headers: Vec::new(), body: None, who: None }
    }

    pub fn named(mut self, name: &str) -> Self {
        name.clone_into(&mut self.name);
        self
    }

    /// Says what is odd about the call.
    pub fn noted(mut self, what: &str) -> Self {
        self.name = format!("{} {what}", self.name);
        self
    }

    /// With a person's token.
    pub fn by(mut self, who: &Person) -> Self {
        self.who = Some(who.clone());
        self.token(&who.token.clone())
    }

    pub fn token(mut self, token: &str) -> Self {
        self.headers.retain(|(name, _)| name != "authorization");
        self.header("authorization", &format!("Bearer {token}"))
    }

    /// Without any token.
    pub fn anonymous(mut self) -> Self {
        self.headers.retain(|(name, _)| name != "authorization");
        self.who = None;
        self
    }

    pub fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    /// In place of another value of that header.
    pub fn instead(mut self, name: &str, value: &str) -> Self {
        self.headers.retain(|(known, _)| known != name);
        self.header(name, value)
    }

    pub fn query(mut self, name: &str, value: &str) -> Self {
        let separator = if self.path.contains('?') { '&' } else { '?' };
        let value: String = form_urlencoded::byte_serialize(value.as_bytes()).collect();
        self.path = format!("{}{separator}{name}={value}", self.path);
        self
    }

    pub fn bytes(mut self, body: Vec<u8>) -> Self {
        self.body = Some(body);
        self
    }

    pub fn json(self, body: &Value) -> Self {
        let typed = self.headers.iter().any(|(name, _)| name == "content-type");
        let ask = if typed { self } else { self.header("content-type", "application/json") };
        ask.bytes(body.to_string().into_bytes())
    }

    /// Sends it; a request that is put off is sent again after a while.
    pub async fn send(&self, world: &World) -> Answer {
        let mut answer = self.once(world).await;
        for _ in 0..TRIES {
            let soon = answer.header("retry-after").parse().is_ok_and(|seconds: u32| seconds <= LONGEST_WAIT);
            if !(matches!(answer.status, 429 | 503) && soon) {
                break;
            }
            tokio::time::sleep(Duration::from_millis(250)).await;
            answer = self.once(world).await;
        }
        answer
    }

    /// Sends it once. Every request comes from an address of its own, as behind a proxy, so that no limit for an
    /// address stands in the way.
    pub async fn once(&self, world: &World) -> Answer {
        let method = Method::from_bytes(self.method.as_bytes()).unwrap();
        // The lowest byte comes first, so that neighbours are in networks of their own.
        let number = ADDRESS.fetch_add(1, Ordering::Relaxed).to_le_bytes();
        let address = format!("{}.{}.{}.1", 16 + number[0] % 160, number[1], number[2]);
        let mut request = world.client.request(method, format!("{}{}", world.service.base, self.path));
        request = request.header("x-forwarded-for", address).timeout(Duration::from_mins(1));
        for (name, value) in &self.headers {
            request = request.header(name.as_str(), value.as_bytes());
        }
        if let Some(body) = &self.body {
            request = request.body(body.clone());
        }
        let broken = |error: reqwest::Error| Answer {
            status: 0,
            headers: reqwest::header::HeaderMap::new(),
            bytes: format!("{error:?}").into_bytes(),
        };
        match request.send().await {
            Err(error) => broken(error),
            Ok(answer) => {
                let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
                match answer.bytes().await {
                    Ok(bytes) => Answer { status, headers, bytes: bytes.to_vec() },
                    Err(error) => broken(error),
                }
            }
        }
    }
}

/// What every answer carries, whatever its status.
const ALWAYS: [(&str, &str); 4] = [
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("content-security-policy", "default-src 'none'"),
];

/// Judges an answer by what holds for all of them.
pub fn judge(world: &World, report: &Report, ask: &Ask, answer: &Answer) {
    report.asked();
    let who = ask.who.as_ref().map_or("nobody", |who| who.name);
    if answer.status == 0 || answer.status >= 500 {
        report.found(Flaw::Broken, format!("{} by {who}: {}", ask.name, answer.text()));
        return;
    }
    let mut sent = text::traces(ask.path.as_bytes());
    sent.extend(text::traces(ask.body.as_deref().unwrap_or_default()));
    if ask.name.starts_with("list_session_links") {
        // A link tells the coaches of its session who made it; nowhere else are members named to each other.
        let makers = ["admin", "south admin"].map(|name| world.person(name));
        let home = |maker: &&Person| ask.who.as_ref().is_some_and(|who| who.club == maker.club);
        sent.extend(makers.into_iter().filter(home).flat_map(|maker| text::traces(maker.email.as_bytes())));
    }
    let mut whole = text::readable(&answer.bytes);
    for (name, value) in &answer.headers {
        whole.extend_from_slice(format!("\n{name}: ").as_bytes());
        whole.extend_from_slice(value.as_bytes());
    }
    let leaks = world.leaks(ask.who.as_ref(), &sent, &whole);
    if !leaks.is_empty() {
        let what = text::short(&leaks.join(", "), 200);
        report.found(Flaw::Leak, format!("{} by {who}: {} holds {what}", ask.name, answer.status));
    }
    // Clients of OAuth read words of their own (RFC 6749, section 5.2).
    let oauth = ask.path.starts_with("/oauth/")
        && answer.header("content-type") == "application/json"
        && answer.json()["error"].is_string();
    let worded = oauth || answer.header("content-type") == "application/problem+json";
    if answer.status >= 400 && ask.method != "HEAD" && !worded {
        report.found(Flaw::Shape, format!("{}: {} is {:?}", ask.name, answer.status, answer.header("content-type")));
    }
    if answer.header("cache-control").is_empty() {
        report.found(Flaw::Shape, format!("{} {} without cache-control", ask.method, answer.status));
    }
    for (name, value) in ALWAYS {
        if !answer.header(name).starts_with(value) {
            report.found(Flaw::Shape, format!("{} {} without {name}: {value}", ask.method, answer.status));
        }
    }
}

/// Sends all, several at once, and judges each; the answers stand in the order of the requests.
pub async fn all(world: &Arc<World>, report: &Arc<Report>, asks: Vec<Ask>) -> Vec<(Ask, Answer)> {
    let gate = Arc::new(Semaphore::new(TOGETHER));
    let mut running = JoinSet::new();
    for (at, ask) in asks.into_iter().enumerate() {
        let (world, report) = (Arc::clone(world), Arc::clone(report));
        let place = Arc::clone(&gate).acquire_owned().await.unwrap();
        running.spawn(async move {
            let answer = ask.send(&world).await;
            drop(place);
            judge(&world, &report, &ask, &answer);
            (at, ask, answer)
        });
    }
    let mut done = running.join_all().await;
    done.sort_by_key(|(at, _, _)| *at);
    done.into_iter().map(|(_, ask, answer)| (ask, answer)).collect()
}
