//! Accounts over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use chrono::Utc;
use secrecy::SecretString;

use super::model::{self, NewAccount, NewClub};
use super::shapes::{
    AccountView, ClubCreated, ClubFields, DeviceList, DeviceView, Me, MembershipView, NewPassword, Refresh, SignIn,
    SignUp, SignedUp, Tokens,
};
use super::store::{self, Account, Refreshed};
use crate::platform::access::{ALL_SCOPES, Caller};
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::{AccountTx, Db};
use crate::platform::fault::{Fault, Faults, normal_email};
use crate::platform::ids::{AccountId, DeviceId};
use crate::platform::params::path_id;
use crate::platform::problem::{Code, Problem};
use crate::platform::throttle::{self, Limit};
use crate::platform::token::{ACCESS_SECONDS, Keys, Opaque, REFRESH_SECONDS};
use crate::platform::{password, telemetry};

/// Attempts at one account, and from one address. A club's phones share an address, so that one is wide.
const PER_EMAIL: Limit = Limit { burst: 10.0, per_second: 0.1 };
const PER_ADDRESS: Limit = Limit { burst: 120.0, per_second: 2.0 };

fn address(req: &HttpRequest, config: &Config) -> String {
    telemetry::address(req, config.behind_proxy)
}

/// Stores a refresh token and signs an access token.
async fn issue(tx: &mut AccountTx, keys: &Keys, account: AccountId, device: DeviceId) -> Result<Tokens, Problem> {
    let now = Utc::now();
    let (refresh_token, opaque) = Opaque::new(account.0)?;
    store::insert_refresh(tx, account, device, &opaque, now).await?;
    Ok(Tokens {
        access_token: keys.sign(account, device, ALL_SCOPES, now)?,
        token_type: "Bearer",
        expires_in: ACCESS_SECONDS,
        refresh_token,
        refresh_expires_in: REFRESH_SECONDS,
    })
}

fn uncached(status: actix_web::http::StatusCode, body: &impl serde::Serialize) -> HttpResponse {
    HttpResponse::build(status).insert_header(("cache-control", "no-store")).json(body)
}

fn device_name(pointer: &str, name: &str) -> Result<String, Vec<Fault>> {
    let mut faults = Faults::new();
    let name = faults.text(pointer, name, 100);
    faults.finish(name)
}

/// Creates an account and, when asked, a club with the account as its first admin.
#[utoipa::path(
    tag = "accounts",
    request_body = SignUp,
    security(()),
    responses((status = 201, description = "Created and signed in", body = SignedUp))
)]
#[post("/v1/auth/sign-up")]
async fn sign_up(
    req: HttpRequest,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    body: Body<SignUp>,
) -> Result<HttpResponse, Problem> {
    throttle::take(&db, &format!("sign-up {}", address(&req, &config)), PER_ADDRESS).await?;
    let SignUp { email, password, display_name, device_name: device, club } = body.read()?;
    let mut faults = Faults::new();
    let new = NewAccount::parse(&email, password, &display_name).map_err(|list| faults.add_all("", list)).ok();
    let club = club.and_then(|club| {
        NewClub::parse(&club.name, &club.time_zone, &club.ruleset).map_err(|list| faults.add_all("/club", list)).ok()
    });
    let device = device_name("/device_name", &device).map_err(|list| faults.add_all("", list)).ok();
    let (new, device) = faults.finish(new.zip(device))?;
    let hash = password::hash(new.password.clone()).await?;
    let mut tx = db.account_tx().await?;
    let id = store::insert(&mut tx, &new, &hash).await?;
    let device = store::insert_device(&mut tx, id, &device).await?;
    let tokens = issue(&mut tx, &keys, id, device).await?;
    let account = Account { id, email: new.email, display_name: new.display_name, password_hash: hash };
    let club = match club {
        Some(club) => {
            let (id, rev) = store::found_club(tx, &account, &club).await?;
            Some(ClubCreated::new(id, rev, &club))
        }
        None => {
            tx.commit().await?;
            None
        }
    };
    let body = SignedUp { account: AccountView::from(&account), club, tokens };
    Ok(uncached(actix_web::http::StatusCode::CREATED, &body))
}

/// Signs in; each sign-in is a device of its own.
#[utoipa::path(
    tag = "accounts",
    request_body = SignIn,
    security(()),
    responses(
        (status = 200, description = "Signed in", body = Tokens),
        (status = 401, description = "Wrong e-mail or password", body = crate::platform::problem::ProblemBody, content_type = "application/problem+json")
    )
)]
#[post("/v1/auth/sign-in")]
async fn sign_in(
    req: HttpRequest,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    body: Body<SignIn>,
) -> Result<HttpResponse, Problem> {
    let SignIn { email, password, device_name: device } = body.read()?;
    let device = device_name("/device_name", &device)?;
    let email = normal_email(&email).unwrap_or_default();
    throttle::take(&db, &format!("sign-in {}", address(&req, &config)), PER_ADDRESS).await?;
    throttle::take(&db, &format!("sign-in {email}"), PER_EMAIL).await?;
    let mut tx = db.account_tx().await?;
    let account = store::find_by_email(&mut tx, &email).await?;
    drop(tx);
    let stored = account.as_ref().map(|account| account.password_hash.clone());
    let (fits, renew) = password::verify(password.clone(), stored).await?;
    let account = account
        .filter(|_| fits)
        .ok_or_else(|| Problem::new(Code::Unauthenticated, "The e-mail address or the password is wrong."))?;
    let renewed = if renew { Some(password::hash(password).await?) } else { None };
    let mut tx = db.account_tx().await?;
    if let Some(hash) = renewed {
        store::save_password(&mut tx, account.id, &hash).await?;
    }
    let device = store::insert_device(&mut tx, account.id, &device).await?;
    let tokens = issue(&mut tx, &keys, account.id, device).await?;
    tx.commit().await?;
    Ok(uncached(actix_web::http::StatusCode::OK, &tokens))
}

/// Exchanges a refresh token for new tokens. Each works once; using one twice ends that sign-in.
#[utoipa::path(
    tag = "accounts",
    request_body = Refresh,
    security(()),
    responses(
        (status = 200, description = "New tokens", body = Tokens),
        (status = 401, description = "Not valid any more", body = crate::platform::problem::ProblemBody, content_type = "application/problem+json")
    )
)]
#[post("/v1/auth/refresh")]
async fn refresh(db: Data<Db>, keys: Data<Keys>, body: Body<Refresh>) -> Result<HttpResponse, Problem> {
    let refused = || Problem::new(Code::Unauthenticated, "The refresh token is not valid any more. Sign in again.");
    let token = Opaque::parse(&body.read()?.refresh_token).ok_or_else(refused)?;
    let mut tx = db.account_tx().await?;
    match store::use_refresh(&mut tx, &token, Utc::now()).await? {
        Refreshed::Rotated(account, device) => {
            let tokens = issue(&mut tx, &keys, account, device).await?;
            tx.commit().await?;
            Ok(uncached(actix_web::http::StatusCode::OK, &tokens))
        }
        Refreshed::Reused => {
            tx.commit().await?;
            Err(Problem::new(
                Code::Unauthenticated,
                "This refresh token was used before, so a copy exists: the sign-in was ended. Sign in again.",
            ))
        }
        Refreshed::Refused => Err(refused()),
    }
}

/// Ends the sign-in that a refresh token belongs to, at once. Repeating it changes nothing.
#[utoipa::path(
    tag = "accounts",
    request_body = Refresh,
    security(()),
    responses((status = 204, description = "Signed out"))
)]
#[post("/v1/auth/sign-out")]
async fn sign_out(db: Data<Db>, body: Body<Refresh>) -> Result<HttpResponse, Problem> {
    if let Some(token) = Opaque::parse(&body.read()?.refresh_token) {
        let mut tx = db.account_tx().await?;
        if let Some(device) = store::device_of(&mut tx, &token).await? {
            store::end_device(&mut tx, AccountId(token.owner), device).await?;
        }
        tx.commit().await?;
    }
    Ok(HttpResponse::NoContent().finish())
}

/// Changes the password and ends every other sign-in.
#[utoipa::path(
    tag = "accounts",
    request_body = NewPassword,
    security(("access_token" = [])),
    responses((status = 204, description = "Changed"))
)]
#[post("/v1/me/password")]
async fn change_password(caller: Caller, db: Data<Db>, body: Body<NewPassword>) -> Result<HttpResponse, Problem> {
    let NewPassword { current, new } = body.read()?;
    throttle::take(&db, &format!("password {}", caller.account), PER_EMAIL).await?;
    let mut faults = Faults::new();
    model::check_password(&mut faults, "/new", &new);
    faults.finish(Some(()))?;
    let account = own_account(&db, &caller).await?;
    let (fits, _) = password::verify(current, Some(account.password_hash)).await?;
    if !fits {
        return Err(Problem::invalid(vec![Fault::at("/current", "password", "is not the current password")]));
    }
    let hash = password::hash(SecretString::clone(&new)).await?;
    let mut tx = db.account_tx().await?;
    store::save_password(&mut tx, caller.account, &hash).await?;
    store::end_other_devices(&mut tx, caller.account, caller.device).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

async fn own_account(db: &Db, caller: &Caller) -> Result<Account, Problem> {
    let mut tx = db.account_tx().await?;
    store::find(&mut tx, caller.account).await?.ok_or_else(|| Problem::not_found("account"))
}

/// Your account and your clubs.
#[utoipa::path(
    tag = "accounts",
    security(("access_token" = [])),
    responses((status = 200, description = "You", body = Me))
)]
#[get("/v1/me")]
async fn get_me(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let account = own_account(&db, &caller).await?;
    let clubs = store::memberships(&db, caller.account).await?;
    let clubs = clubs.into_iter().map(MembershipView::from).collect();
    Ok(uncached(actix_web::http::StatusCode::OK, &Me { account: AccountView::from(&account), clubs }))
}

/// The sign-ins of your account that have not been ended.
#[utoipa::path(
    tag = "accounts",
    security(("access_token" = [])),
    responses((status = 200, description = "Devices, newest first", body = DeviceList))
)]
#[get("/v1/me/devices")]
async fn list_devices(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = db.account_tx().await?;
    let devices = store::devices(&mut tx, caller.account).await?;
    let items = devices.into_iter().map(|device| DeviceView::new(device, caller.device)).collect();
    Ok(uncached(actix_web::http::StatusCode::OK, &DeviceList { items }))
}

/// Ends one sign-in of your account, such as that of a lost phone.
#[utoipa::path(
    tag = "accounts",
    params(("device_id" = uuid::Uuid, Path, description = "The device")),
    security(("access_token" = [])),
    responses(
        (status = 204, description = "Ended"),
        (status = 404, description = "No such device", body = crate::platform::problem::ProblemBody, content_type = "application/problem+json")
    )
)]
#[delete("/v1/me/devices/{device_id}")]
async fn delete_device(req: HttpRequest, caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let device = DeviceId(path_id(&req, "device_id", "device")?);
    let mut tx = db.account_tx().await?;
    if !store::end_device(&mut tx, caller.account, device).await? {
        return Err(Problem::not_found("device"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Founds a club with you as its first admin.
#[utoipa::path(
    tag = "clubs",
    request_body = ClubFields,
    security(("access_token" = ["club.admin"])),
    responses((status = 201, description = "Founded", body = ClubCreated))
)]
#[post("/v1/clubs")]
async fn create_club(
    req: HttpRequest,
    caller: Caller,
    db: Data<Db>,
    body: Body<ClubFields>,
) -> Result<HttpResponse, Problem> {
    caller.require_scope("club.admin")?;
    let ClubFields { name, time_zone, ruleset } = body.read()?;
    let club = NewClub::parse(&name, &time_zone, &ruleset)?;
    let account = own_account(&db, &caller).await?;
    let tx = db.account_tx().await?;
    let (id, rev) = store::found_club(tx, &account, &club).await?;
    Ok(crate::platform::stored::created(&req, true, id, rev, &ClubCreated::new(id, rev, &club)))
}

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config
        .service(sign_up)
        .service(sign_in)
        .service(refresh)
        .service(sign_out)
        .service(change_password)
        .service(get_me)
        .service(list_devices)
        .service(delete_device)
        .service(create_club);
}
