//! Where apps send people: they sign in, say whether the app may, and are sent back (RFC 6749, section 4.1).

use actix_web::web::{self, Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse};
use chrono::Utc;
use secrecy::SecretString;
use serde::Deserialize;

use super::codes_store::{self, Step};
use super::model::{Authorization, CODE_LIFE, CONSENT_LIFE, both};
use super::request::{self, Asked, Wrong};
use super::{apps_store, pages, same_site};
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::form::Form;
use crate::platform::network::Network;
use crate::platform::problem::{Code, Problem};
use crate::platform::telemetry;
use crate::platform::throttle;
use crate::platform::token::Opaque;
use crate::resources::accounts::shapes::SignIn;
use crate::resources::accounts::sign_in::{Authentic, authenticate, wrong};
use crate::resources::accounts::store::{self, Account};

/// What the sign-in page sends. Its fields are those of a [`SignIn`]; what a sign-in asks for beside, the page asks for too.
#[derive(Deserialize)]
struct Credentials {
    email: String,
    password: SecretString,
    #[serde(default)]
    code: String,
}

impl From<Credentials> for SignIn {
    fn from(sent: Credentials) -> Self {
        let code = Some(sent.code).filter(|code| !code.trim().is_empty());
        Self {
            email: sent.email,
            password: sent.password,
            device_name: String::new(),
            earlier_refresh_token: None,
            code,
        }
    }
}

/// What the consent page sends.
#[derive(Deserialize)]
struct Decision {
    ticket: String,
    decision: String,
}

/// What a request asks for, or the answer to one that leads nowhere.
async fn asked(req: &HttpRequest, db: &Db, issuer: &str) -> Result<Asked, HttpResponse> {
    request::read(db, req.query_string()).await.map_err(|wrong| match wrong {
        Wrong::Here(problem) => pages::dead_end(req, &problem),
        Wrong::There(no) => {
            let said = [("error", no.error), ("error_description", no.says.as_str())];
            pages::send_on(&request::answer(&no.redirect_uri, no.state.as_deref(), issuer, &said))
        }
    })
}

/// The page to sign in on.
async fn begin(req: HttpRequest, db: Data<Db>, config: Data<Config>) -> HttpResponse {
    match asked(&req, &db, config.issuer()).await {
        Ok(asked) => pages::sign_in(&req, &asked, config.issuer(), None),
        Err(answer) => answer,
    }
}

/// Signs in; the answer asks for consent.
async fn sign_in(
    req: HttpRequest,
    from: Network,
    db: Data<Db>,
    config: Data<Config>,
    form: Form<Credentials>,
) -> Result<HttpResponse, Problem> {
    let asked = match asked(&req, &db, config.issuer()).await {
        Ok(asked) => asked,
        Err(answer) => return Ok(answer),
    };
    let sent = match same_site(&req, config.issuer()).and_then(|()| form.read()) {
        Ok(sent) => sent,
        Err(problem) => return Ok(pages::dead_end(&req, &problem)),
    };
    let email = sent.email.clone();
    let done = async {
        let Authentic { account, second_factor, .. } = authenticate(&db, &config, &from, sent.into()).await?;
        telemetry::acts(&req, account.id);
        let usable = apps_store::usable(&db, asked.of.client, account.id).await?.ok_or_else(|| {
            let detail = "This account does not belong to the club. Sign in with the one that does, or ask an admin of the club.";
            Problem::new(Code::Forbidden, detail)
        })?;
        let scopes = both(&asked.of.scopes, &usable);
        if scopes.is_empty() {
            let detail = "Your role in the club allows nothing of what this app asks for. Ask an admin of the club.";
            return Err(Problem::new(Code::Forbidden, detail));
        }
        let of = Authorization { scopes, second_factor, ..asked.of.clone() };
        let ticket = ticket(&db, &account, &of).await?;
        let person = (account.display_name.as_str(), account.email.as_str());
        Ok(pages::consent(&pages::Consent { asked: &asked, person, scopes: &of.scopes, ticket: &ticket }))
    };
    match done.await {
        // Carried out again.
        Err(problem) if problem.was_undone() => Err(problem),
        Err(problem) => Ok(pages::sign_in(&req, &asked, config.issuer(), Some((&problem, &email)))),
        Ok(page) => Ok(page),
    }
}

/// The secret with which somebody who has just signed in answers the page of consent.
async fn ticket(db: &Db, account: &Account, of: &Authorization) -> Result<String, Problem> {
    let (text, secret) = Opaque::new(account.id.0)?;
    let mut tx = db.account_tx().await?;
    if !store::has_password(&mut tx, account.id, &account.password_hash).await? {
        // Changed since it was checked: whoever changed it wants no sign-in with the old one.
        return Err(wrong());
    }
    codes_store::insert(&mut tx, &secret, Step::Consent, of, Utc::now() + CONSENT_LIFE).await?;
    tx.commit().await?;
    Ok(text)
}

/// Takes the answer to the page of consent, and sends the browser back to the app.
async fn decide(
    req: HttpRequest,
    from: Network,
    db: Data<Db>,
    config: Data<Config>,
    form: Form<Decision>,
) -> Result<HttpResponse, Problem> {
    let done = async {
        same_site(&req, config.issuer())?;
        let sent = form.read()?;
        let allowed = match sent.decision.as_str() {
            "allow" => true,
            "deny" => false,
            _ => return Err(pages::over()),
        };
        decided(&db, &from, &sent.ticket, allowed, config.issuer()).await
    };
    match done.await {
        Ok(to) => Ok(pages::send_on(&to)),
        Err(problem) if problem.was_undone() => Err(problem),
        Err(problem) => Ok(pages::dead_end(&req, &problem)),
    }
}

async fn decided(db: &Db, from: &Network, ticket: &str, allowed: bool, issuer: &str) -> Result<String, Problem> {
    let ticket = Opaque::parse(ticket).ok_or_else(pages::over)?;
    let mut tx = db.account_tx().await?;
    let pending = codes_store::find(&mut tx, &ticket, Step::Consent).await?;
    drop(tx);
    let Some(pending) = pending else {
        throttle::take(db, throttle::CODE_UNKNOWN, from.as_str()).await?;
        return Err(pages::over());
    };
    let good = |used: bool| if used || pending.expires_at <= Utc::now() { Err(pages::over()) } else { Ok(()) };
    good(pending.used)?;
    let of = &pending.of;
    // The club first: what it notes opens nothing without a code, and may be noted again.
    if allowed && !apps_store::grant(db, of.client, pending.account, &of.scopes).await? {
        return Err(Problem::new(
            Code::Forbidden,
            "The club has withdrawn this app, or you have left the club. Nothing was shared.",
        ));
    }
    let mut tx = db.account_tx().await?;
    let used = codes_store::find(&mut tx, &ticket, Step::Consent).await?.is_none_or(|now| now.used);
    good(used)?;
    codes_store::take(&mut tx, &ticket, None).await?;
    let code = if allowed {
        let (code, secret) = Opaque::new(pending.account.0)?;
        codes_store::insert(&mut tx, &secret, Step::Code, of, Utc::now() + CODE_LIFE).await?;
        Some(code)
    } else {
        None
    };
    tx.commit().await?;
    let said = match &code {
        Some(code) => vec![("code", code.as_str())],
        None => vec![("error", "access_denied"), ("error_description", "the person did not allow it")],
    };
    Ok(request::answer(&of.redirect_uri, of.state.as_deref(), issuer, &said))
}

/// The pages.
pub fn routes(config: &mut ServiceConfig) {
    config
        .route("/oauth/authorize", web::get().to(begin))
        .route("/oauth/authorize", web::post().to(sign_in))
        .route("/oauth/consent", web::post().to(decide));
}
