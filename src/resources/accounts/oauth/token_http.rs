//! Tokens for apps: fetched, renewed, given back (RFC 6749, 7009), and what a general client needs to know of it (RFC 8414).

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::web::Data;
use chrono::Utc;

use super::apps_store;
use super::codes_store::{self, Step};
use super::model::{Pending, both, is_verifier};
use super::shapes::{AppTokens, RevocationRequest, ServerMetadata, TokenRefusal, TokenRequest};
use crate::platform::access::ALL_SCOPES;
use crate::platform::audit;
use crate::platform::client::ClientId;
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::form::Form;
use crate::platform::ids::AccountId;
use crate::platform::mail::{self, Letter};
use crate::platform::network::Network;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::{ACCESS_SECONDS, Keys, Opaque};
use crate::resources::accounts::shapes::Tokens;
use crate::resources::accounts::sign_in::{self, uncached};
use crate::resources::accounts::store::{self, Account};
use crate::resources::accounts::{devices_store, second_factor_store};

/// Why an app gets nothing.
enum No {
    /// In the words of OAuth, with the problem that says the same.
    Word(&'static str, Code, String),
    /// What has nothing to do with OAuth.
    Problem(Problem),
}

impl No {
    fn grant(detail: &str) -> Self {
        Self::Word("invalid_grant", Code::Unauthenticated, detail.to_owned())
    }

    fn request(detail: impl Into<String>) -> Self {
        Self::Word("invalid_request", Code::Malformed, detail.into())
    }

    fn revoked() -> Self {
        let detail = "the access of this app was withdrawn: it has to forget what it keeps of the club";
        Self::Word("invalid_grant", Code::AppRevoked, detail.to_owned())
    }

    fn answer(self, config: &Config) -> Result<HttpResponse, Problem> {
        match self {
            Self::Problem(problem) => Err(problem),
            Self::Word(error, code, error_description) => {
                let error_uri = format!("{}{}", config.issuer(), code.address());
                Ok(uncached(StatusCode::BAD_REQUEST, &TokenRefusal { error, error_description, error_uri }))
            }
        }
    }
}

impl From<Problem> for No {
    fn from(problem: Problem) -> Self {
        match problem.code() {
            Code::Unauthenticated => Self::Word("invalid_grant", Code::Unauthenticated, problem.to_string()),
            Code::Malformed => {
                let detail = problem.faults().first().map_or_else(|| problem.to_string(), |fault| fault.detail.clone());
                // What OAuth lets stand in a description (RFC 6749, section 5.2).
                let plain = |c: &char| (' '..='~').contains(c) && !['"', '\\'].contains(c);
                Self::request(detail.chars().filter(plain).collect::<String>())
            }
            // Others exchange the same token at this moment; what others undid is carried out again.
            Code::Conflict if !problem.was_undone() => {
                Self::Problem(Problem::new(Code::Unavailable, problem.to_string()))
            }
            _ => Self::Problem(problem),
        }
    }
}

impl From<crate::platform::db::StoreError> for No {
    fn from(error: crate::platform::db::StoreError) -> Self {
        Problem::from(error).into()
    }
}

fn needed(value: Option<String>, name: &str) -> Result<String, No> {
    value.ok_or_else(|| No::request(format!("{name} is missing")))
}

fn client_of(text: Option<String>) -> Result<ClientId, No> {
    let text = needed(text, "client_id")?;
    let unknown = || No::Word("invalid_client", Code::Malformed, "client_id is that of no app".to_owned());
    ClientId::parse(&text).ok_or_else(unknown)
}

/// Gives an app tokens: for the code with which a browser came back, or for a refresh token.
///
/// A code is good once, within 60 seconds, for the app, the address and the challenge that it was asked for with; sent a second
/// time it ends the sign-in that it gave. A refresh token is exchanged for the next one as by `POST /v1/auth/refresh`, with the
/// same remedy for an answer that was lost. `scope` of the answer is what the token opens now: what the person allowed, as far
/// as the club lets the app have it and the person's role allows; the same is asked again at each request.
#[utoipa::path(
    post, path = "/oauth/token", impl_for = fetch_app_token, tag = "apps",
    responses(
        (status = 200, description = "Tokens", body = AppTokens),
        (status = 400, description = "No tokens, and why (RFC 6749, section 5.2); a problem when the request reaches no route", content(
            (TokenRefusal = "application/json", example = json!({"error": "invalid_grant", "error_description": "the code is none, is over or was used before: begin again", "error_uri": "https://hurdles.example/problems/unauthenticated"})),
            (crate::platform::problem::ProblemBody = "application/problem+json"))),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn fetch_app_token(
    from: Network,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    form: Form<TokenRequest>,
) -> Result<HttpResponse, Problem> {
    let done = async {
        let sent = form.read()?;
        let client = client_of(sent.client_id.clone())?;
        match needed(sent.grant_type.clone(), "grant_type")?.as_str() {
            "authorization_code" => exchange(&db, &keys, &from, client, sent).await,
            "refresh_token" => renew(&db, &keys, &from, client, sent).await,
            _ => {
                let detail = "grant_type must be authorization_code or refresh_token".to_owned();
                Err(No::Word("unsupported_grant_type", Code::Malformed, detail))
            }
        }
    };
    match done.await {
        Ok(tokens) => Ok(uncached(StatusCode::OK, &tokens)),
        Err(no) => no.answer(&config),
    }
}

fn given(tokens: Tokens, client: ClientId, scopes: &[String]) -> AppTokens {
    AppTokens {
        access_token: tokens.access_token,
        token_type: "Bearer",
        expires_in: ACCESS_SECONDS,
        refresh_token: tokens.refresh_token,
        scope: scopes.join(" "),
        club_id: client.club,
    }
}

/// Those of these scopes that an app may have now for somebody.
async fn now(db: &Db, client: ClientId, account: AccountId, scopes: &[String]) -> Result<Vec<String>, No> {
    let left = apps_store::fetch(db, client, account, scopes).await?.ok_or_else(No::revoked)?;
    if left.is_empty() {
        let detail = "the club or the role of the person allows nothing of it any more".to_owned();
        return Err(No::Word("invalid_scope", Code::Forbidden, detail));
    }
    Ok(left)
}

/// Whoever is told by mail that an app signed in for them: somebody who proved their address, and was not told too often.
async fn told(db: &Db, account: AccountId) -> Result<Option<Account>, No> {
    let mut tx = db.account_tx().await?;
    let person = store::find(&mut tx, account).await?.filter(|person| person.proven);
    drop(tx);
    let noticed = person.is_some() && throttle::allows(db, throttle::NOTICE, &account.to_string()).await?;
    Ok(person.filter(|_| noticed))
}

async fn exchange(db: &Db, keys: &Keys, from: &Network, client: ClientId, sent: TokenRequest) -> Result<AppTokens, No> {
    let none = || No::grant("the code is none, is over or was used before: begin again");
    let code = Opaque::parse(&needed(sent.code, "code")?).ok_or_else(none)?;
    let redirect_uri = needed(sent.redirect_uri, "redirect_uri")?;
    let verifier = needed(sent.code_verifier, "code_verifier")?;
    if !is_verifier(&verifier) {
        return Err(No::request("code_verifier must be 43 to 128 letters, digits, - . _ ~"));
    }
    // Whoever cannot prove that they began learns nothing and ends nothing.
    let theirs = |one: &Pending| {
        one.of.client == client && one.of.redirect_uri == redirect_uri && one.of.is_proved_by(&verifier)
    };
    let mut tx = db.account_tx().await?;
    let pending = codes_store::find(&mut tx, &code, Step::Code).await?.filter(theirs);
    drop(tx);
    let Some(pending) = pending else {
        throttle::take(db, throttle::CODE_UNKNOWN, from.as_str()).await?;
        return Err(none());
    };
    let account = pending.account;
    let over = pending.used || pending.expires_at <= Utc::now();
    let scopes = if over { Vec::new() } else { now(db, client, account, &pending.of.scopes).await? };
    let name = apps_store::admitted(db, client).await?.map_or_else(|| "app".to_owned(), |(app, _)| app.name);
    let told = if over { None } else { told(db, account).await? };
    let mut tx = db.account_tx().await?;
    // Again, locked: of two at once the second is a replay.
    let pending = codes_store::find(&mut tx, &code, Step::Code).await?.ok_or_else(none)?;
    if pending.used {
        if let Some(device) = pending.device {
            devices_store::end(&mut tx, account, device).await?;
            tx.commit().await?;
        }
        return Err(none());
    }
    if pending.expires_at <= Utc::now() {
        return Err(none());
    }
    let signed_in = devices_store::insert(&mut tx, account, &name, from).await?;
    let device = signed_in.device;
    if pending.of.second_factor {
        second_factor_store::mark(&mut tx, account, device).await?;
    }
    codes_store::give_to_app(&mut tx, (account, device), client, &pending.of.scopes).await?;
    codes_store::take(&mut tx, &code, Some(device)).await?;
    let tokens = sign_in::issue_for(&mut tx, keys, signed_in, None, (Some(client), &scopes.join(" "))).await?;
    if let Some(person) = told {
        mail::put(&mut tx, &Letter::AppSignIn { account, app: name, at: Utc::now() }, &person.email, None).await?;
    }
    tx.commit().await?;
    audit::signs_in_app(account, device, client);
    Ok(given(tokens, client, &scopes))
}

async fn renew(db: &Db, keys: &Keys, from: &Network, client: ClientId, sent: TokenRequest) -> Result<AppTokens, No> {
    let arrived = Utc::now();
    let none = || No::grant("the refresh token is not valid any more: begin again");
    let token = Opaque::parse(&needed(sent.refresh_token, "refresh_token")?).ok_or_else(none)?;
    let family = sign_in::family(db, from, &token, Some(client)).await?;
    let wanted = match sent.scope.as_deref() {
        None => family.scopes.clone(),
        Some(list) => {
            let named: Vec<&str> = list.split(' ').collect();
            if named.iter().any(|one| !family.scopes.iter().any(|scope| scope == one)) {
                let detail = format!("the app was given {}", family.scopes.join(" "));
                return Err(No::Word("invalid_scope", Code::Forbidden, detail));
            }
            both(&family.scopes, &named)
        }
    };
    let scopes = now(db, client, AccountId(token.owner), &wanted).await?;
    let given_to = (Some(client), scopes.join(" "));
    let tokens = sign_in::renew(db, keys, (from, arrived), &token, (given_to.0, &given_to.1)).await?;
    Ok(given(tokens, client, &scopes))
}

/// Gives back what an app was given (RFC 7009): the sign-in that the token belongs to ends at once, with all its tokens. What
/// the person allowed stands, so the app may begin again; `DELETE /v1/me/apps/{app_id}` ends that. A token that is none, is
/// over or is another app's is answered alike, and nothing happens.
#[utoipa::path(
    post, path = "/oauth/revoke", impl_for = revoke_app_token, tag = "apps",
    responses(
        (status = 200, description = "It is good no more"),
        (status = 400, description = "A parameter is missing (RFC 6749, section 5.2); a problem when the request reaches no route", content(
            (TokenRefusal = "application/json", example = json!({"error": "invalid_request", "error_description": "token is missing", "error_uri": "https://hurdles.example/problems/malformed"})),
            (crate::platform::problem::ProblemBody = "application/problem+json"))),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn revoke_app_token(
    from: Network,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    form: Form<RevocationRequest>,
) -> Result<HttpResponse, Problem> {
    let done = async {
        let sent = form.read()?;
        let client = client_of(sent.client_id)?;
        let token = needed(sent.token, "token")?;
        let found = match Opaque::parse(&token) {
            Some(secret) => {
                let mut tx = db.account_tx().await?;
                let family = devices_store::of_token(&mut tx, &secret).await?;
                drop(tx);
                let family = family.filter(|family| family.client == Some(client));
                family.map(|family| (AccountId(secret.owner), family.device))
            }
            None => {
                let claims = keys.verify(&token).ok().filter(|claims| claims.client_id == Some(client));
                claims.map(|claims| (claims.sub, claims.device))
            }
        };
        let Some((account, device)) = found else {
            throttle::take(&db, throttle::CODE_UNKNOWN, from.as_str()).await?;
            return Ok(());
        };
        let mut tx = db.account_tx().await?;
        devices_store::end(&mut tx, account, device).await?;
        tx.commit().await?;
        Ok::<_, No>(())
    };
    match done.await {
        Ok(()) => Ok(HttpResponse::Ok().insert_header(("cache-control", "no-store")).finish()),
        Err(no) => no.answer(&config),
    }
}

/// What a general client of OAuth 2.0 needs to know of this service (RFC 8414).
#[utoipa::path(
    get, path = "/.well-known/oauth-authorization-server", impl_for = get_oauth_metadata, tag = "apps",
    responses((status = 200, description = "What there is", body = ServerMetadata))
)]
async fn get_oauth_metadata(config: Data<Config>) -> HttpResponse {
    let issuer = config.issuer();
    let at = |path: &str| format!("{issuer}{path}");
    let metadata = ServerMetadata {
        issuer: issuer.to_owned(),
        authorization_endpoint: at("/oauth/authorize"),
        token_endpoint: at("/oauth/token"),
        revocation_endpoint: at("/oauth/revoke"),
        jwks_uri: at("/.well-known/jwks.json"),
        service_documentation: at("/docs/apps"),
        scopes_supported: ALL_SCOPES.split(' ').collect(),
        response_types_supported: ["code"],
        response_modes_supported: ["query"],
        grant_types_supported: ["authorization_code", "refresh_token"],
        token_endpoint_auth_methods_supported: ["none"],
        revocation_endpoint_auth_methods_supported: ["none"],
        code_challenge_methods_supported: ["S256"],
        ui_locales_supported: ["en"],
        authorization_response_iss_parameter_supported: true,
    };
    HttpResponse::Ok().insert_header(("cache-control", "public, max-age=300")).json(metadata)
}

routes!(fetch_app_token, revoke_app_token, get_oauth_metadata);
