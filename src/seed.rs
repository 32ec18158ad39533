//! The invented clubs of the demo, sent through the front door: the same routes, checks and transactions as a client's.

use std::collections::HashMap;
use std::net::SocketAddr;

use actix_web::body::MessageBody;
use actix_web::dev::{Service, ServiceResponse};
use actix_web::http::Method;
use actix_web::test;
use chrono::{Duration, NaiveDate, Utc};
use serde::Deserialize;
use serde_json::{Value, json};
use thiserror::Error;
use tracing::instrument::WithSubscriber;
use tracing::subscriber::NoSubscriber;
use uuid::Uuid;

use crate::app::{self, Shared};
use crate::platform::db::{Db, StoreError};
use crate::resources::accounts;

const ACCOUNTS: &str = include_str!("../seed-data/accounts.json");
const REQUESTS: &str = include_str!("../seed-data/requests.jsonl");

/// Why the demo could not be loaded.
#[derive(Debug, Error)]
pub enum SeedError {
    /// A seed file does not parse.
    #[error("seed-data cannot be read: {0}; run seed-data/generate.py again")]
    File(#[from] serde_json::Error),
    /// People or clubs were here before the demo.
    #[error(
        "the database is in use: the demo, whose passwords everybody knows, goes only into an empty one or its own; unset DATABASE_URL, or choose another LANEWRIGHT_DATA_DIR"
    )]
    InUse,
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The API refused a request.
    #[error("the demo could not be loaded: {method} {path} was answered {status}: {answer}")]
    Refused {
        /// The method.
        method: String,
        /// The path.
        path: String,
        /// The status.
        status: u16,
        /// The body, cut.
        answer: String,
    },
}

#[derive(Debug, Deserialize)]
struct Accounts {
    password: String,
    accounts: Vec<Account>,
}

#[derive(Debug, Deserialize)]
struct Account {
    email: String,
    display_name: String,
    club: Option<NewClub>,
    member_of: Option<String>,
    role: Option<String>,
    group_ids: Option<Vec<String>>,
}

#[derive(Debug, Deserialize)]
struct NewClub {
    key: String,
    name: String,
    time_zone: String,
    ruleset: String,
}

#[derive(Debug, Deserialize)]
struct Request {
    r#as: String,
    method: String,
    path: String,
    body: Value,
}

/// The loaded demo: what a newcomer needs to try it.
#[derive(Debug)]
pub struct Demo {
    club: String,
    accounts: Vec<(String, String)>,
    password: String,
    athlete: String,
    group: String,
    session: String,
    plan: String,
    /// Where that session's sheets are for helpers; none when the session has as many links as it may have.
    sheets: Option<String>,
}

/// One person's token, and the clubs founded so far.
struct Player<'a, S> {
    service: &'a S,
    accounts: &'a Accounts,
    tokens: HashMap<String, String>,
    clubs: HashMap<String, String>,
    today: NaiveDate,
}

/// Loads the invented clubs; what is there already stays as it is.
///
/// # Errors
/// [`SeedError`].
pub async fn seed(shared: &Shared, db: Db) -> Result<Demo, SeedError> {
    // A line for each of its hundreds of requests would hide what is printed next; a refused one is the error.
    let demo = load(shared, db).with_subscriber(NoSubscriber::default()).await?;
    tracing::info!(accounts = demo.accounts.len(), "the invented clubs are loaded");
    Ok(demo)
}

/// The requests, read one by one: all of them at once weigh ten times their text.
fn requests() -> impl DoubleEndedIterator<Item = Result<Request, serde_json::Error>> {
    REQUESTS.lines().map(serde_json::from_str)
}

/// The last request to a path that ends so.
fn last(suffix: &str) -> Option<Request> {
    requests().rev().flatten().find(|request| request.path.ends_with(suffix))
}

async fn load(shared: &Shared, db: Db) -> Result<Demo, SeedError> {
    let service = test::init_service(app::build(shared, db.clone())).await;
    let accounts: Accounts = serde_json::from_str(ACCOUNTS)?;
    let today = Utc::now().date_naive();
    let mut player =
        Player { service: &service, accounts: &accounts, tokens: HashMap::new(), clubs: HashMap::new(), today };
    if let Some(first) = accounts::first(&db).await?
        && !player.came_first(&db, first).await?
    {
        return Err(SeedError::InUse);
    }
    for account in accounts.accounts.iter().filter(|account| account.club.is_some()) {
        player.token(&account.email).await?;
    }
    // The last request is sent last: what it creates tells that all is there.
    let complete = match requests().next_back() {
        Some(last) => player.exists(&last?).await?,
        None => true,
    };
    for request in requests().filter(|_| !complete) {
        player.play(&request?).await?;
    }
    if !complete {
        db.analyse().await?;
    }
    for account in &accounts.accounts {
        player.token(&account.email).await?;
    }
    let sheets = player.sheets().await;
    Ok(Demo { sheets, ..player.demo() })
}

impl<S, B> Player<'_, S>
where
    S: Service<actix_http::Request, Response = ServiceResponse<B>, Error = actix_web::Error>,
    B: MessageBody,
{
    async fn call(&self, method: &str, path: &str, token: Option<&str>, body: Option<&Value>) -> (u16, Value) {
        let method = Method::from_bytes(method.as_bytes()).unwrap_or(Method::GET);
        let mut request = test::TestRequest::default().method(method).uri(path);
        if let Some(token) = token {
            request = request.insert_header(("authorization", format!("Bearer {token}")));
        }
        if let Some(body) = body {
            request = request.set_json(body);
        }
        match test::try_call_service(self.service, request.to_request()).await {
            Ok(answer) => {
                let status = answer.status().as_u16();
                let bytes = test::try_read_body(answer).await.unwrap_or_default();
                (status, serde_json::from_slice(&bytes).unwrap_or(Value::Null))
            }
            Err(error) => (error.as_response_error().status_code().as_u16(), Value::Null),
        }
    }

    /// Calls and fails on an answer that is neither success nor "there already".
    async fn expect(&self, method: &str, path: &str, token: Option<&str>, body: &Value) -> Result<Value, SeedError> {
        let (status, answer) = self.call(method, path, token, Some(body)).await;
        // 409, 410: a record of an earlier day of seeding, or one that was deleted since; 428: a list that was edited since.
        if (200..300).contains(&status) || matches!(status, 409 | 410 | 428) {
            return Ok(answer);
        }
        let answer: String = answer.to_string().chars().take(600).collect();
        Err(SeedError::Refused { method: method.to_owned(), path: path.to_owned(), status, answer })
    }

    /// Whether the first account and the first club of the database are the demo's, so that it is the demo's own. That a founder can
    /// sign in with its password says nothing alone: anybody may sign up with such an address later, where others are already. What came
    /// after the demo, as the club of the tour does, is in its database and not the other way round.
    async fn came_first(&self, db: &Db, first: Uuid) -> Result<bool, SeedError> {
        let (mut people, mut clubs) = (Vec::new(), Vec::new());
        let id = |value: &Value| value.as_str().and_then(|text| Uuid::try_parse(text).ok());
        for account in self.accounts.accounts.iter().filter(|account| account.club.is_some()) {
            let (_, tokens) = self.sign_in(&account.email).await;
            let Some(token) = tokens["access_token"].as_str() else { continue };
            let (_, me) = self.call("GET", "/v1/me", Some(token), None).await;
            people.extend(id(&me["account"]["id"]));
            clubs.extend(me["clubs"].as_array().into_iter().flatten().filter_map(|club| id(&club["club_id"])));
        }
        let first_club = db.clubs().await?.first().map(|club| club.0);
        Ok(people.contains(&first) && first_club.is_some_and(|club| clubs.contains(&club)))
    }

    async fn sign_in(&self, email: &str) -> (u16, Value) {
        let credentials = json!({"email": email, "password": self.accounts.password, "device_name": "Seeding"});
        self.call("POST", "/v1/auth/sign-in", None, Some(&credentials)).await
    }

    /// The token of a person, who signs in, or up and into their club.
    async fn token(&mut self, email: &str) -> Result<String, SeedError> {
        if let Some(token) = self.tokens.get(email) {
            return Ok(token.clone());
        }
        let accounts = self.accounts;
        let Some(account) = accounts.accounts.iter().find(|account| account.email == email) else {
            return Ok(String::new());
        };
        let (status, answer) = self.sign_in(email).await;
        let tokens = if status == 200 { answer } else { self.sign_up(account).await?["tokens"].clone() };
        let token = tokens["access_token"].as_str().unwrap_or_default().to_owned();
        self.tokens.insert(email.to_owned(), token.clone());
        let (_, me) = self.call("GET", "/v1/me", Some(&token), None).await;
        let first = me["clubs"][0]["club_id"].as_str().map(str::to_owned);
        match (&account.club, &account.member_of, first) {
            (Some(club), _, Some(id)) => {
                self.clubs.insert(club.key.clone(), id);
            }
            (_, Some(club), None) => Box::pin(self.join(account, club, &token)).await?,
            _ => {}
        }
        Ok(token)
    }

    async fn sign_up(&self, account: &Account) -> Result<Value, SeedError> {
        let mut body = json!({"email": account.email, "password": self.accounts.password,
            "display_name": account.display_name, "device_name": "Seeding"});
        if let Some(club) = &account.club {
            body["club"] = json!({"name": club.name, "time_zone": club.time_zone, "ruleset": club.ruleset});
        }
        self.expect("POST", "/v1/auth/sign-up", None, &body).await
    }

    async fn join(&mut self, account: &Account, club: &str, token: &str) -> Result<(), SeedError> {
        let founder = self.accounts.accounts.iter().find(|one| one.club.as_ref().is_some_and(|new| new.key == club));
        let founder = founder.map(|one| one.email.clone()).unwrap_or_default();
        let admin = self.token(&founder).await?;
        let path = self.filled(&format!("/v1/clubs/{{club:{club}}}/invitations"));
        let body = json!({"email": account.email, "role": account.role, "group_ids": account.group_ids});
        let invitation = self.expect("POST", &path, Some(&admin), &body).await?;
        let body = json!({"token": invitation["token"]});
        self.expect("POST", "/v1/invitations/accept", Some(token), &body).await?;
        Ok(())
    }

    /// The text with clubs and days put in.
    fn filled(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for (key, id) in &self.clubs {
            text = text.replace(&format!("{{club:{key}}}"), id);
        }
        let mut parts = text.split("{day:");
        let mut filled = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            let (offset, rest) = part.split_once('}').unwrap_or((part, ""));
            let day = self.today + Duration::days(offset.parse().unwrap_or(0));
            filled.push_str(&day.to_string());
            filled.push_str(rest);
        }
        filled
    }

    async fn play(&mut self, request: &Request) -> Result<(), SeedError> {
        let token = self.token(&request.r#as).await?;
        let path = self.filled(&request.path);
        let body: Value = serde_json::from_str(&self.filled(&request.body.to_string()))?;
        let answer = self.expect(&request.method, &path, Some(&token), &body).await?;
        let results = answer["results"].as_array();
        let refused = results
            .into_iter()
            .flatten()
            .find(|one| one["status"] == "rejected" && !matches!(one["problem"]["status"].as_u64(), Some(409 | 410)));
        match refused {
            None => Ok(()),
            Some(one) => Err(SeedError::Refused {
                method: request.method.clone(),
                path,
                status: 200,
                answer: one.to_string().chars().take(600).collect(),
            }),
        }
    }

    /// Whether what a request creates is there.
    async fn exists(&mut self, request: &Request) -> Result<bool, SeedError> {
        let token = self.tokens.values().next().cloned().unwrap_or_default();
        let id = request.body["id"].as_str().unwrap_or_default();
        let path = self.filled(&format!("{}/{id}", request.path));
        for admin in self.tokens.values().chain([&token]) {
            if self.call("GET", &path, Some(admin), None).await.0 == 200 {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// A link to the sheets of the session that was planned last, which ends with the day.
    async fn sheets(&mut self) -> Option<String> {
        let plan = last("/lane-plans")?;
        let path = self.filled(&format!("{}/links", plan.path.strip_suffix("/lane-plans")?));
        let token = self.tokens.get(&plan.r#as)?;
        let (_, link) = self.call("POST", &path, Some(token), Some(&json!({}))).await;
        link["sheets_href"].as_str().map(str::to_owned)
    }

    fn demo(&self) -> Demo {
        let first = |suffix: &str, pick: &dyn Fn(&Request) -> Value| {
            last(suffix).and_then(|request| pick(&request).as_str().map(str::to_owned)).unwrap_or_default()
        };
        let session = last("/lane-plans").and_then(|plan| plan.path.rsplit('/').nth(1).map(str::to_owned));
        let session = session.unwrap_or_default();
        let founder = self.accounts.accounts.iter().find_map(|one| one.club.as_ref()).map(|club| club.key.clone());
        Demo {
            club: founder.and_then(|key| self.clubs.get(&key).cloned()).unwrap_or_default(),
            accounts: self.accounts.accounts.iter().map(|one| (one.email.clone(), role(one))).collect(),
            password: self.accounts.password.clone(),
            athlete: first("/attendance", &|request| request.body["present"][0].clone()),
            group: first("/sessions", &|request| request.body["group_ids"][0].clone()),
            plan: first("/lane-plans", &|request| request.body["id"].clone()),
            session,
            sheets: None,
        }
    }
}

fn role(account: &Account) -> String {
    match (&account.club, &account.role) {
        (Some(club), _) => format!("admin of {}", club.name),
        (None, Some(role)) => format!("{role} of {}", account.member_of.as_deref().unwrap_or_default()),
        (None, None) => String::new(),
    }
}

impl Demo {
    /// The accounts, links to click and lines to try against the service at an address.
    pub fn what_to_try(&self, address: SocketAddr) -> String {
        let Self { club, password, athlete, group, session, plan, .. } = self;
        let people: Vec<String> = self.accounts.iter().map(|(email, role)| format!("  {email:<28} {role}")).collect();
        let admin = self.accounts.first().map(|(email, _)| email.as_str()).unwrap_or_default();
        let api = format!("http://{address}/v1/clubs/{club}");
        let sheets = self
            .sheets
            .as_ref()
            .map(|href| {
                let file = href.replace("sheets?", "sheets.pdf?");
                format!(
                    "  http://{address}{href}  today's lanes and cards, as helpers see them\n  http://{address}{file}  the same to print\n"
                )
            });
        format!(
            "\nAccounts (password of all: {password}):\n{}\n\nClick:\n{}  http://{address}/docs  every route, to try in the \
             browser\n\nOne club's day, step by step, in another terminal: ./dev tour\n\nOr with the clubs that are here:\n\
             T=$(curl -s http://{address}/v1/auth/sign-in -H 'content-type: application/json' -d '{{\"email\":\"{admin}\",\
             \"password\":\"{password}\"}}' | sed 's/.*\"access_token\":\"\\([^\"]*\\)\".*/\\1/')\n\
             curl -s -H \"authorization: Bearer $T\" '{api}/athletes?limit=3'\n\
             curl -s -H \"authorization: Bearer $T\" {api}/athletes/{athlete}/recommendation\n\
             curl -s -H \"authorization: Bearer $T\" {api}/groups/{group}/recommendations\n\
             curl -s -H \"authorization: Bearer $T\" \
             {api}/sessions/{session}/lane-plans/{plan}/set-out.html -o set-out.html\n",
            people.join("\n"),
            sheets.unwrap_or_default()
        )
    }
}
