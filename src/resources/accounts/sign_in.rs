//! Sign-in, refresh, sign-out and devices over HTTP.

use actix_web::http::StatusCode;
use actix_web::http::header::RETRY_AFTER;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};

use super::devices_store::{self, Exchange, Family, SignedIn};
use super::model::Standing;
use super::shapes::{DeviceList, DeviceName, DeviceView, Refresh, SignIn, Tokens};
use super::store::{self, Account};
use super::{second_factor, second_factor_store};
use crate::platform::access::{Caller, OWN_SCOPE};
use crate::platform::audit;
use crate::platform::body::Body;
use crate::platform::client::ClientId;
use crate::platform::config::Config;
use crate::platform::db::{AccountTx, Db};
use crate::platform::fault::{Fault, Faults, normal_email};
use crate::platform::ids::{AccountId, DeviceId};
use crate::platform::mail::{self, Letter};
use crate::platform::network::Network;
use crate::platform::params::path_id;
use crate::platform::password;
use crate::platform::problem::{Code, Problem};
use crate::platform::proof;
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::{ACCESS_SECONDS, Keys, Opaque};

/// Stores a refresh token, in exchange for `parent` if any, and signs an access token.
///
/// # Errors
/// When the database is away or the random source fails.
pub async fn issue(
    tx: &mut AccountTx,
    keys: &Keys,
    signed_in: SignedIn,
    parent: Option<&Opaque>,
) -> Result<Tokens, Problem> {
    issue_for(tx, keys, signed_in, parent, (None, OWN_SCOPE)).await
}

/// The same of a sign-in that may be that of an app.
///
/// # Errors
/// Those of [`issue`].
pub async fn issue_for(
    tx: &mut AccountTx,
    keys: &Keys,
    signed_in: SignedIn,
    parent: Option<&Opaque>,
    (client, scope): (Option<ClientId>, &str),
) -> Result<Tokens, Problem> {
    let now = Utc::now();
    let (refresh_token, opaque) = Opaque::new(signed_in.account.0)?;
    devices_store::insert_refresh(tx, signed_in, &opaque, parent, now).await?;
    Ok(Tokens {
        access_token: keys.sign_for(client, (signed_in.account, signed_in.device), scope, now)?,
        token_type: "Bearer",
        expires_in: ACCESS_SECONDS,
        refresh_token,
        refresh_expires_in: signed_in.refresh_seconds(now),
    })
}

/// An answer that nobody may keep.
pub fn uncached(status: StatusCode, body: &impl serde::Serialize) -> HttpResponse {
    HttpResponse::build(status).insert_header(("cache-control", "no-store")).json(body)
}

/// Parses the name of a device.
///
/// # Errors
/// The fault at `pointer`.
pub fn device_name(pointer: &str, name: &str) -> Result<String, Vec<Fault>> {
    let mut faults = Faults::new();
    let name = faults.text(pointer, name, 100);
    faults.finish(name)
}

/// The counters that a try to sign in takes from; see [`throttle`].
struct Try {
    standing: Standing,
    email: String,
    network: String,
}

impl Try {
    fn pair(&self) -> String {
        format!("{} {}", self.email, self.network)
    }

    async fn take(&self, db: &Db) -> Result<(), Problem> {
        if let Standing::Device(device) = self.standing {
            return throttle::take(db, throttle::SIGN_IN_DEVICE, &device.to_string()).await;
        }
        throttle::take(db, throttle::SIGN_IN_NETWORK, &self.network).await?;
        throttle::take(db, throttle::SIGN_IN_PAIR, &self.pair()).await?;
        if self.standing == Standing::Stranger {
            throttle::take(db, throttle::SIGN_IN_ACCOUNT, &self.email).await?;
        }
        Ok(())
    }

    /// The password was right: what was taken is given back, and earlier mistakes from here are forgotten.
    async fn forgive(&self, tx: &mut AccountTx) -> Result<(), Problem> {
        if let Standing::Device(device) = self.standing {
            return Ok(throttle::clear(tx, throttle::SIGN_IN_DEVICE, &device.to_string()).await?);
        }
        throttle::give_back(tx, throttle::SIGN_IN_NETWORK, &self.network).await?;
        throttle::clear(tx, throttle::SIGN_IN_PAIR, &self.pair()).await?;
        if self.standing == Standing::Stranger {
            throttle::give_back(tx, throttle::SIGN_IN_ACCOUNT, &self.email).await?;
        }
        Ok(())
    }
}

/// Somebody who may sign in.
#[derive(Debug)]
pub struct Authentic {
    /// The account, with the hash that the password fits.
    pub account: Account,
    /// How it knows whoever signs in.
    pub standing: Standing,
    /// Whether they showed a second factor.
    pub second_factor: bool,
}

/// Whoever the credentials are of: the one place where somebody shows who they are, asked by the route and by the page that
/// apps send people to.
///
/// # Errors
/// 401, alike for an unknown address and a wrong password; 403 when a second factor is missing or wrong; 429 after too many
/// tries; 503 when too many are waiting.
pub async fn authenticate(db: &Db, config: &Config, from: &Network, body: SignIn) -> Result<Authentic, Problem> {
    let email = normal_email(&body.email).unwrap_or_default();
    let earlier = body.earlier_refresh_token.as_deref().and_then(Opaque::parse);
    let mut tx = db.account_tx().await?;
    let account = store::find_by_email(&mut tx, &email).await?;
    let id = account.as_ref().map_or(AccountId(uuid::Uuid::nil()), |account| account.id);
    if account.is_some() {
        audit::signs_in(id, None);
    }
    let standing = devices_store::standing(&mut tx, id, earlier.as_ref(), from).await?;
    drop(tx);
    let attempt = Try { standing, email, network: from.as_str().to_owned() };
    attempt.take(db).await?;
    let stored = account.as_ref().map(|account| account.password_hash.clone());
    let (fits, renew) = password::verify(body.password.clone(), stored).await?;
    let mut account = account.filter(|_| fits).ok_or_else(wrong)?;
    let mut tx = db.account_tx().await?;
    attempt.forgive(&mut tx).await?;
    tx.commit().await?;
    // Codes are counted by themselves.
    let second_factor = second_factor::show(db, config, account.id, (standing, from), body.code.as_deref()).await?;
    throttle::take(db, throttle::SIGN_INS, &account.id.to_string()).await?;
    let renewed = if renew { Some(password::hash(body.password).await?) } else { None };
    if let Some(hash) = renewed {
        let mut tx = db.account_tx().await?;
        if store::save_password(&mut tx, account.id, &account.password_hash, &hash).await? {
            account.password_hash = hash;
        }
        tx.commit().await?;
    }
    Ok(Authentic { account, standing, second_factor })
}

/// The refusal of credentials.
pub fn wrong() -> Problem {
    Problem::new(Code::Unauthenticated, "The e-mail address or the password is wrong.")
}

/// Signs in; each sign-in is a device of its own. An account has 50 at a time: one more ends the one used least lately.
///
/// Wrong tries are counted for each network and account. A device that was signed in before sends
/// `earlier_refresh_token`, and wrong tries of others then never hold it up. Of a sign-in by any other device a confirmed
/// address is told by mail.
#[utoipa::path(
    post, path = "/v1/auth/sign-in", impl_for = sign_in, tag = "accounts",
    responses(
        (status = 200, description = "Signed in", body = Tokens),
        (status = 403, description = "The account has a second factor: send a code"),
        (status = 401, description = "Wrong e-mail or password"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn sign_in(
    from: Network,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    body: Body<SignIn>,
) -> Result<HttpResponse, Problem> {
    let body = body.read()?;
    let name = device_name("/device_name", &body.device_name)?;
    let Authentic { account, standing, second_factor } = authenticate(&db, &config, &from, body).await?;
    let new = account.proven && !matches!(standing, Standing::Device(_));
    let noticed = new && throttle::allows(&db, throttle::NOTICE, &account.id.to_string()).await?;
    let mut tx = db.account_tx().await?;
    if !store::has_password(&mut tx, account.id, &account.password_hash).await? {
        // Changed since it was checked: whoever changed it wants no sign-in with the old one.
        return Err(wrong());
    }
    let signed_in = devices_store::insert(&mut tx, account.id, &name, &from).await?;
    if second_factor {
        second_factor_store::mark(&mut tx, account.id, signed_in.device).await?;
    }
    let tokens = issue(&mut tx, &keys, signed_in, None).await?;
    if noticed {
        let letter = Letter::SignIn { account: account.id, device: name, at: Utc::now() };
        mail::put(&mut tx, &letter, &account.email, None).await?;
    }
    tx.commit().await?;
    audit::signs_in(account.id, Some(signed_in.device));
    Ok(uncached(StatusCode::OK, &tokens))
}

/// Exchanges a refresh token for new tokens.
///
/// When the answer is lost, send the same token again: within 60 seconds it is good once more, unless what it was
/// exchanged for is in use. Using a token twice in any other way tells that a copy exists, and ends that sign-in. Calls with one token at
/// the same moment get tokens that are all good until one of them is used; 409 asks a third to take those. A sign-in ends 400 days
/// after it began, however often it was refreshed: `refresh_expires_in` never leads beyond.
#[utoipa::path(
    post, path = "/v1/auth/refresh", impl_for = refresh, tag = "accounts",
    responses(
        (status = 200, description = "New tokens", body = Tokens),
        (status = 401, description = "Not valid any more"),
        (status = 409, description = "Other calls are exchanging this token: take their answer, or send it again when it is lost",
            headers(("Retry-After" = u32, description = "Seconds until it is worth trying again"))),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn refresh(from: Network, db: Data<Db>, keys: Data<Keys>, body: Body<Refresh>) -> Result<HttpResponse, Problem> {
    let arrived = Utc::now();
    let token = Opaque::parse(&body.read()?.refresh_token).ok_or_else(refused)?;
    family(&db, &from, &token, None).await?;
    let tokens = renew(&db, &keys, (&from, arrived), &token, (None, OWN_SCOPE)).await?;
    Ok(uncached(StatusCode::OK, &tokens))
}

fn refused() -> Problem {
    Problem::new(Code::Unauthenticated, "The refresh token is not valid any more. Sign in again.")
}

/// The sign-in of a refresh token that is for this client to exchange: a person's own is not for apps, nor the other way
/// round. The attempt is counted.
///
/// # Errors
/// 401 for a token that is none; 429 after too many attempts.
pub async fn family(db: &Db, from: &Network, token: &Opaque, client: Option<ClientId>) -> Result<Family, Problem> {
    let mut tx = db.account_tx().await?;
    let family = devices_store::of_token(&mut tx, token).await?.filter(|family| family.client == client);
    drop(tx);
    // Whoever has no token of a device cannot use up what it may do.
    let Some(family) = family else {
        throttle::take(db, throttle::REFRESH_UNKNOWN, from.as_str()).await?;
        return Err(refused());
    };
    throttle::take(db, throttle::REFRESH, &family.device.to_string()).await?;
    Ok(family)
}

/// New tokens for a refresh token of a [`family`]; `arrived` is when the request came.
///
/// # Errors
/// 401 when it is not valid any more or was used before, which ends the sign-in; 409 while others exchange it.
pub async fn renew(
    db: &Db,
    keys: &Keys,
    (from, arrived): (&Network, DateTime<Utc>),
    token: &Opaque,
    given: (Option<ClientId>, &str),
) -> Result<Tokens, Problem> {
    let mut tx = db.account_tx().await?;
    match devices_store::exchange(&mut tx, token, from, arrived).await? {
        Exchange::Good(signed_in) => {
            let tokens = issue_for(&mut tx, keys, signed_in, Some(token), given).await?;
            tx.commit().await?;
            Ok(tokens)
        }
        Exchange::Reused => {
            tx.commit().await?;
            Err(Problem::new(
                Code::Unauthenticated,
                "This refresh token was used before, so a copy exists: the sign-in was ended. Sign in again.",
            ))
        }
        Exchange::UnderWay => Err(Problem::new(
            Code::Conflict,
            "Other calls are exchanging this refresh token. Take their answer; when it is lost, send the token again.",
        )
        .with_header(RETRY_AFTER, "1")),
        Exchange::Refused => Err(refused()),
    }
}

/// Ends the sign-in that a refresh token belongs to, at once. Repeating it changes nothing.
#[utoipa::path(
    post, path = "/v1/auth/sign-out", impl_for = sign_out, tag = "accounts",
    responses((status = 204, description = "Signed out"))
)]
async fn sign_out(db: Data<Db>, body: Body<Refresh>) -> Result<HttpResponse, Problem> {
    if let Some(token) = Opaque::parse(&body.read()?.refresh_token) {
        let mut tx = db.account_tx().await?;
        if let Some(family) = devices_store::of_token(&mut tx, &token).await? {
            devices_store::end(&mut tx, AccountId(token.owner), family.device).await?;
        }
        tx.commit().await?;
    }
    Ok(HttpResponse::NoContent().finish())
}

/// The sign-ins of your account that have not been ended, newest first.
#[utoipa::path(
    get, path = "/v1/me/devices", impl_for = list_devices, tag = "accounts",
    responses((status = 200, description = "Devices, newest first", body = DeviceList))
)]
async fn list_devices(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = db.account_tx().await?;
    let devices = devices_store::list(&mut tx, caller.account).await?;
    let items = devices.into_iter().map(|device| DeviceView::new(device, caller.device)).collect();
    Ok(uncached(StatusCode::OK, &DeviceList { items }))
}

/// Gives one of your devices another name.
#[utoipa::path(
    put, path = "/v1/me/devices/{device_id}/name", impl_for = rename_device, tag = "accounts",
    responses(
        (status = 204, description = "Renamed"),
        (status = 404, description = "No such device")
    )
)]
async fn rename_device(
    req: HttpRequest,
    caller: Caller,
    db: Data<Db>,
    body: Body<DeviceName>,
) -> Result<HttpResponse, Problem> {
    let device = DeviceId(path_id(&req, "device_id", "device")?);
    let name = device_name("/name", &body.read()?.name)?;
    let mut tx = db.account_tx().await?;
    if !devices_store::rename(&mut tx, caller.account, device, &name).await? {
        return Err(Problem::not_found("device"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Ends every sign-in of your account, also this one.
#[utoipa::path(
    delete, path = "/v1/me/devices", impl_for = sign_out_everywhere, tag = "accounts",
    responses((status = 204, description = "Signed out everywhere"))
)]
async fn sign_out_everywhere(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = db.account_tx().await?;
    proof::end_sign_ins(&mut tx, caller.account, None).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Ends one sign-in of your account, such as that of a lost phone.
#[utoipa::path(
    delete, path = "/v1/me/devices/{device_id}", impl_for = delete_device, tag = "accounts",
    responses(
        (status = 204, description = "Ended"),
        (status = 404, description = "No such device")
    )
)]
async fn delete_device(req: HttpRequest, caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let device = DeviceId(path_id(&req, "device_id", "device")?);
    let mut tx = db.account_tx().await?;
    if !devices_store::end(&mut tx, caller.account, device).await? {
        return Err(Problem::not_found("device"));
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(sign_in, refresh, sign_out, list_devices, rename_device, sign_out_everywhere, delete_device);
