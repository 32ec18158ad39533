//! Accounts over HTTP.

use actix_web::http::StatusCode;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::Utc;

use super::addresses::may_mail;
use super::devices_store;
use super::model::{NewAccount, NewClub};
use super::shapes::{AccountView, ClubCreated, ClubFields, Me, MembershipView, NewPassword, SignUp, SignedUp};
use super::sign_in::{self, device_name, uncached};
use super::store::{self, Account};
use crate::platform::access::{Caller, ClubAdmin};
use crate::platform::asking::Scoped;
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::fault::{Fault, Faults};
use crate::platform::mail::{self, Event, Letter};
use crate::platform::network::Network;
use crate::platform::password;
use crate::platform::password_rules::{self, Owner};
use crate::platform::problem::Problem;
use crate::platform::proof;
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::Keys;

/// Creates an account and, when asked, a club with the account as its first admin.
///
/// The answer is the same whether another account has the address: the mail that goes there says so. Whoever confirms an address
/// by that mail has it from then on, whoever named it before; until then sign-in with the address leads to the first who named it.
#[utoipa::path(
    post, path = "/v1/auth/sign-up", impl_for = sign_up, tag = "accounts",
    responses((status = 201, description = "Created and signed in", body = SignedUp),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn sign_up(
    from: Network,
    db: Data<Db>,
    keys: Data<Keys>,
    config: Data<Config>,
    body: Body<SignUp>,
) -> Result<HttpResponse, Problem> {
    throttle::take(&db, throttle::SIGN_UP, from.as_str()).await?;
    let SignUp { email, password, display_name, device_name: device, language, club } = body.read()?;
    let mut faults = Faults::new();
    let new =
        NewAccount::parse(&email, password, &display_name, language).map_err(|list| faults.add_all("", list)).ok();
    let club = club.and_then(|club| {
        NewClub::parse(&club.name, &club.time_zone, &club.ruleset).map_err(|list| faults.add_all("/club", list)).ok()
    });
    if config.proof && club.is_some() {
        faults.add("/club", "unproven", "can be founded once the e-mail address is confirmed: sign up without it");
    }
    let device = device_name("/device_name", &device).map_err(|list| faults.add_all("", list)).ok();
    if let Some(new) = &new {
        password_rules::check_breached(&mut faults, "/password", &new.password, config.breached.as_deref()).await?;
    }
    let (new, device) = faults.finish(new.zip(device))?;
    let hash = password::hash(new.password.clone()).await?;
    let mailed = may_mail(&db, &new.email, &from).await?;
    let mut tx = db.account_tx().await?;
    let account = store::insert(&mut tx, new, hash).await?;
    let signed_in = devices_store::insert(&mut tx, account.id, &device, &from).await?;
    let tokens = sign_in::issue(&mut tx, &keys, signed_in, None).await?;
    if mailed {
        mail::put(&mut tx, &Letter::Confirm { account: account.id }, &account.email, None).await?;
    }
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
    Ok(uncached(StatusCode::CREATED, &body))
}

/// Changes the password and ends every other sign-in.
#[utoipa::path(
    post, path = "/v1/me/password", impl_for = change_password, tag = "accounts",
    responses((status = 204, description = "Changed"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn change_password(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<NewPassword>,
) -> Result<HttpResponse, Problem> {
    let NewPassword { current, new } = body.read()?;
    throttle::take(&db, throttle::PASSWORD, &format!("{} {}", caller.account, caller.device)).await?;
    let account = own_account(&db, &caller).await?;
    let mut faults = Faults::new();
    password_rules::check(&mut faults, "/new", &new, Owner { email: &account.email, name: &account.display_name });
    password_rules::check_breached(&mut faults, "/new", &new, config.breached.as_deref()).await?;
    faults.finish(Some(()))?;
    let wrong = || Problem::invalid(vec![Fault::at("/current", "password", "is not the current password")]);
    let (fits, _) = password::verify(current, Some(account.password_hash.clone())).await?;
    if !fits {
        return Err(wrong());
    }
    let hash = password::hash(new).await?;
    let mut tx = db.account_tx().await?;
    if !store::save_password(&mut tx, caller.account, &account.password_hash, &hash).await? {
        // Changed by another device at the same moment.
        return Err(wrong());
    }
    proof::end_sign_ins(&mut tx, caller.account, Some(caller.device)).await?;
    if account.proven {
        let letter = Letter::Security { account: account.id, event: Event::Password, at: Utc::now() };
        mail::put(&mut tx, &letter, &account.email, None).await?;
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The account of the caller.
///
/// # Errors
/// When the database is away.
pub async fn own_account(db: &Db, caller: &Caller) -> Result<Account, Problem> {
    let mut tx = db.account_tx().await?;
    store::find(&mut tx, caller.account).await?.ok_or_else(|| Problem::not_found("account"))
}

/// Your account and your clubs.
#[utoipa::path(
    get, path = "/v1/me", impl_for = get_me, tag = "accounts",
    responses((status = 200, description = "You", body = Me))
)]
async fn get_me(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let account = own_account(&db, &caller).await?;
    let clubs = store::memberships(&db, caller.account).await?;
    let clubs = clubs.into_iter().map(MembershipView::from).collect();
    Ok(uncached(StatusCode::OK, &Me { account: AccountView::from(&account), clubs }))
}

/// Founds a club with you as its first admin. An account belongs to at most 50 clubs. Some services ask for a confirmed e-mail
/// address first.
#[utoipa::path(
    post, path = "/v1/clubs", impl_for = create_club, tag = "clubs",
    responses((status = 201, description = "Founded", body = ClubCreated),
        (status = 409, description = "The account is in as many clubs as it may be"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn create_club(
    req: HttpRequest,
    founder: Scoped<ClubAdmin>,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<ClubFields>,
) -> Result<HttpResponse, Problem> {
    let caller = founder.0;
    throttle::take(&db, throttle::FOUND_CLUB, &caller.account.to_string()).await?;
    let ClubFields { name, time_zone, ruleset } = body.read()?;
    let club = NewClub::parse(&name, &time_zone, &ruleset)?;
    let account = own_account(&db, &caller).await?;
    let mut tx = db.account_tx().await?;
    proof::demand(&config, &mut tx, account.id).await?;
    let (id, rev) = store::found_club(tx, &account, &club).await?;
    Ok(crate::platform::stored::created(&req, true, id, rev, &ClubCreated::new(id, rev, &club)))
}

routes!(sign_up, change_password, get_me, create_club);
