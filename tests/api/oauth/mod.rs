//! Apps of third parties: registered by an admin, allowed by a person in a browser, given tokens.

mod access;
mod attacks;
mod library;
mod life;
mod pages;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use reqwest::Method;
use reqwest::redirect::Policy;
use serde_json::{Value, json};

use crate::support::{Answer, Caller, PASSWORD, TestApp};

/// Where the app wants browsers back.
pub const BACK: &str = "https://cards.example/connected";
/// The verifier of RFC 7636, appendix B (IETF, 2015), and its challenge.
const VERIFIER: &str = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk";
const CHALLENGE: &str = "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM";

/// A form as browsers and clients of OAuth write it.
fn form(fields: &[(&str, &str)]) -> Vec<u8> {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish().into_bytes()
}

/// What a browser was shown.
struct Page {
    status: u16,
    headers: reqwest::header::HeaderMap,
    html: String,
}

impl Page {
    fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    #[track_caller]
    fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.html);
        self
    }

    /// The secret that a page of consent carries.
    fn ticket(&self) -> String {
        let at = self.html.split("name=\"ticket\" value=\"").nth(1).unwrap_or_else(|| panic!("{}", self.html));
        at.split('"').next().unwrap().to_owned()
    }

    /// Where the browser is sent on to, with the query taken apart.
    fn sent_to(&self) -> (String, Vec<(String, String)>) {
        assert_eq!(self.status, 303, "{}", self.html);
        let (to, query) = self.header("location").split_once('?').unwrap();
        (to.to_owned(), form_urlencoded::parse(query.as_bytes()).into_owned().collect())
    }

    /// One parameter of the address that the browser is sent to.
    fn brings(&self, name: &str) -> Option<String> {
        let found: Vec<String> =
            self.sent_to().1.into_iter().filter(|(known, _)| known == name).map(|one| one.1).collect();
        assert!(found.len() < 2, "{name} twice");
        found.into_iter().next()
    }
}

/// A browser before the service: it follows nothing by itself.
#[derive(Clone)]
struct Browser {
    app: TestApp,
    client: reqwest::Client,
}

impl Browser {
    fn new(app: &TestApp) -> Self {
        Self { app: app.clone(), client: reqwest::Client::builder().redirect(Policy::none()).build().unwrap() }
    }

    async fn ask(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Option<Vec<u8>>) -> Page {
        let mut request = self.client.request(method, format!("{}{path}", self.app.base));
        if !headers.iter().any(|(name, _)| *name == "accept") {
            request = request.header("accept", "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8");
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(body) = body {
            request = request.header("content-type", "application/x-www-form-urlencoded").body(body);
        }
        let answer = request.send().await.unwrap();
        let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
        Page { status, headers, html: answer.text().await.unwrap() }
    }

    async fn get(&self, path: &str) -> Page {
        self.ask(Method::GET, path, &[], None).await
    }

    /// Sends a form of our own page, as a browser marks it.
    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        self.ask(Method::POST, path, &[("sec-fetch-site", "same-origin")], Some(form(fields))).await
    }

    async fn sign_in(&self, path: &str, email: &str) -> Page {
        self.post(path, &[("email", email), ("password", PASSWORD)]).await
    }

    async fn decide(&self, ticket: &str, decision: &str) -> Page {
        self.post("/oauth/consent", &[("ticket", ticket), ("decision", decision)]).await
    }
}

/// An app that a club registered.
#[derive(Clone)]
struct Registered {
    app: TestApp,
    id: String,
    client_id: String,
}

impl Registered {
    /// Registers one with these scopes.
    async fn by(admin: &Caller, scopes: &[&str]) -> Self {
        let body =
            json!({"name": "Trackside Cards", "redirect_uris": [BACK, "http://127.0.0.1/connected"], "scopes": scopes});
        let answer = admin.post("/apps", body).await.expect(201);
        let client_id = answer.body["client_id"].as_str().unwrap().to_owned();
        Self { app: admin.app.clone(), id: answer.id(), client_id }
    }

    /// The address to which the app sends browsers; these parameters take the place of the usual ones, empty ones leave them out.
    fn asks(&self, instead: &[(&str, &str)]) -> String {
        let usual = [
            ("response_type", "code"),
            ("client_id", self.client_id.as_str()),
            ("redirect_uri", BACK),
            ("scope", "squad.read sync"),
            ("state", "s-1"),
            ("code_challenge", CHALLENGE),
            ("code_challenge_method", "S256"),
        ];
        let kept = usual.into_iter().filter(|(name, _)| !instead.iter().any(|(other, _)| other == name));
        let all: Vec<(&str, &str)> =
            kept.chain(instead.iter().copied().filter(|(_, value)| !value.is_empty())).collect();
        format!("/oauth/authorize?{}", String::from_utf8(form(&all)).unwrap())
    }

    /// A person signs in and allows what is asked; the code that the browser brings back.
    async fn code_of(&self, who: &Caller, instead: &[(&str, &str)]) -> String {
        let browser = Browser::new(&self.app);
        let consent = browser.sign_in(&self.asks(instead), &who.email).await.expect(200);
        browser.decide(&consent.ticket(), "allow").await.brings("code").unwrap()
    }

    async fn token(&self, fields: &[(&str, &str)]) -> Answer {
        let headers = [("content-type", "application/x-www-form-urlencoded")];
        self.app.send(Method::POST, "/oauth/token", &headers, Some(form(fields))).await
    }

    /// Exchanges a code.
    async fn exchange(&self, code: &str) -> Answer {
        self.exchange_as(code, &[]).await
    }

    /// The same with other values.
    async fn exchange_as(&self, code: &str, instead: &[(&str, &str)]) -> Answer {
        let usual = [
            ("grant_type", "authorization_code"),
            ("client_id", self.client_id.as_str()),
            ("code", code),
            ("redirect_uri", BACK),
            ("code_verifier", VERIFIER),
        ];
        let kept = usual.into_iter().filter(|(name, _)| !instead.iter().any(|(other, _)| other == name));
        self.token(&kept.chain(instead.iter().copied()).collect::<Vec<_>>()).await
    }

    async fn refresh(&self, token: &Value) -> Answer {
        let fields = [
            ("grant_type", "refresh_token"),
            ("client_id", self.client_id.as_str()),
            ("refresh_token", token.as_str().unwrap()),
        ];
        self.token(&fields).await
    }

    /// What the app has once a person has allowed it: them with its access token, and the whole answer.
    async fn connect(&self, who: &Caller, scope: &str) -> (Caller, Value) {
        let code = self.code_of(who, &[("scope", scope)]).await;
        let tokens = self.exchange(&code).await.expect(200).body;
        (Registered::acting(who, &tokens), tokens)
    }

    /// A person with these tokens of the app.
    fn acting(who: &Caller, tokens: &Value) -> Caller {
        let text = |name: &str| tokens[name].as_str().unwrap().to_owned();
        let club = text("club_id");
        Caller { token: text("access_token"), refresh: text("refresh_token"), club, ..who.clone() }
    }
}

/// An admin of a club for whom an app of theirs acts, with these scopes.
pub async fn acting(admin: &Caller, scopes: &[&str]) -> Caller {
    Registered::by(admin, scopes).await.connect(admin, &scopes.join(" ")).await.0
}

/// What an app sends for its first token, after somebody has allowed all that it may have.
pub async fn first_token(who: &Caller, client_id: &str, redirect_uri: &str) -> Vec<(&'static str, String)> {
    let app = Registered { app: who.app.clone(), id: String::new(), client_id: client_id.to_owned() };
    let code = app.code_of(who, &[("redirect_uri", redirect_uri), ("scope", "")]).await;
    let fields = [
        ("grant_type", "authorization_code"),
        ("client_id", client_id),
        ("code", &code),
        ("redirect_uri", redirect_uri),
        ("code_verifier", VERIFIER),
    ];
    fields.map(|(name, value)| (name, value.to_owned())).to_vec()
}

/// What an access token says.
fn claims(token: &str) -> Value {
    let middle = token.split('.').nth(1).unwrap();
    serde_json::from_slice(&URL_SAFE_NO_PAD.decode(middle).unwrap()).unwrap()
}

/// A club with an admin, a coach and a viewer of one group.
struct Club {
    app: TestApp,
    admin: Caller,
    coach: Caller,
    viewer: Caller,
    group: String,
}

impl Club {
    async fn new(app: &TestApp) -> Self {
        let admin = app.admin_of("North").await;
        let group = admin.group("Mine").await;
        let coach = admin.member("Cora Coach", "coach", &[&group]).await;
        let viewer = admin.member("Vic Viewer", "viewer", &[&group]).await;
        Self { app: app.clone(), admin, coach, viewer, group }
    }
}
