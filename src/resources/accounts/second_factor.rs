//! The second factor over HTTP: codes of an authenticator, and recovery codes for when it is lost.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::web::Data;
use aws_lc_rs::rand;
use chrono::Utc;
use secrecy::SecretString;

use super::http::own_account;
use super::model::Standing;
use super::second_factor_shapes::{CodeOnly, FactorBegun, FactorView, PasswordAndCode, RecoveryCodes};
use super::second_factor_store::{self as store, Factor};
use super::sign_in::uncached;
use super::store::{self as accounts_store, Account};
use crate::platform::access::Caller;
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::{AccountTx, Db, StoreError};
use crate::platform::fault::{Fault, normal_email};
use crate::platform::ids::AccountId;
use crate::platform::mail::{self, Event, Letter};
use crate::platform::network::Network;
use crate::platform::own_password::{self, OwnPassword};
use crate::platform::problem::{Code, Problem};
use crate::platform::proof;
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::sha256;
use crate::platform::totp;

/// Recovery codes of an account, each of 80 random bits.
const CODES: usize = 10;
const CODE_BYTES: usize = 10;
/// Letters of a recovery code in base32.
const CODE_LETTERS: usize = 16;

fn broken() -> Problem {
    Problem::new(Code::Internal, "The random source failed.")
}

/// The key is another one than the secret was sealed with: an operator has to bring the file back.
fn sealed_away() -> Problem {
    tracing::error!("a second factor was sealed with another key than that of LANEWRIGHT_SEAL_KEY_FILE");
    Problem::new(Code::Unavailable, "Codes cannot be checked at the moment; a recovery code can. Tell the operator.")
}

fn wrong_code() -> Fault {
    Fault::at("/code", "password", "is not a code of this moment, or was used before")
}

/// A recovery code as it was written down, in its one form; none when it cannot be one.
fn recovery(code: &str) -> Option<String> {
    let letters: String = code.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect();
    (letters.len() == CODE_LETTERS).then_some(letters)
}

fn hash_of(account: AccountId, code: &str) -> Vec<u8> {
    sha256(format!("{account} {code}").as_bytes())
}

/// New recovery codes: what their owner writes down, and what is kept.
fn new_codes(account: AccountId) -> Result<(Vec<String>, Vec<Vec<u8>>), Problem> {
    let mut shown = Vec::with_capacity(CODES);
    let mut hashes = Vec::with_capacity(CODES);
    for _ in 0..CODES {
        let mut bytes = [0_u8; CODE_BYTES];
        rand::fill(&mut bytes).map_err(|_| broken())?;
        let letters = totp::base32(&bytes);
        hashes.push(hash_of(account, &letters));
        let groups: Vec<String> =
            letters.as_bytes().chunks(4).map(|group| String::from_utf8_lossy(group).into_owned()).collect();
        shown.push(groups.join("-"));
    }
    Ok((shown, hashes))
}

/// Uses a code of an account; whether it was one.
async fn spend(
    tx: &mut AccountTx,
    config: &Config,
    account: AccountId,
    factor: &Factor,
    code: &str,
) -> Result<bool, Problem> {
    if let Some(letters) = recovery(code).filter(|_| factor.confirmed) {
        return Ok(store::use_code(tx, account, &hash_of(account, &letters)).await?);
    }
    let secret = config.seal.open(account.0.as_bytes(), &factor.sealed).ok_or_else(sealed_away)?;
    let code: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    match totp::step_of(&secret, &code, Utc::now().timestamp()) {
        Some(step) => Ok(store::use_step(tx, account, step).await?),
        None => Ok(false),
    }
}

/// What whoever signs in with the right password shows as well; whether the account has a second factor.
///
/// # Errors
/// 403 when it has one and the code is missing, wrong or was used before; 429.
pub async fn show(
    db: &Db,
    config: &Config,
    account: AccountId,
    (standing, from): (Standing, &Network),
    code: Option<&str>,
) -> Result<bool, Problem> {
    let mut tx = db.account_tx().await?;
    let factor = store::find(&mut tx, account).await?.filter(|factor| factor.confirmed);
    drop(tx);
    let Some(factor) = factor else { return Ok(false) };
    let Some(code) = code else {
        return Err(Problem::new(
            Code::SecondFactor,
            "The password is right. This account has a second factor: send a code of its authenticator, or a recovery code, as `code`.",
        ));
    };
    // As with passwords: strangers who know the password cannot hold up a device that the account knows.
    let pair = match standing {
        Standing::Device(device) => format!("{account} {device}"),
        Standing::Network | Standing::Stranger => format!("{account} {}", from.as_str()),
    };
    throttle::take(db, throttle::CODE_PAIR, &pair).await?;
    if standing == Standing::Stranger {
        throttle::take(db, throttle::CODE_ACCOUNT, &account.to_string()).await?;
    }
    let mut tx = db.account_tx().await?;
    if !spend(&mut tx, config, account, &factor, code).await? {
        return Err(Problem::new(
            Code::SecondFactor,
            "The code is wrong, of another moment, or was used before. Send the next one, or a recovery code.",
        ));
    }
    throttle::clear(&mut tx, throttle::CODE_PAIR, &pair).await?;
    tx.commit().await?;
    Ok(true)
}

/// Checks the caller's password, as for a change of it.
pub async fn require_password(db: &Db, caller: &Caller, password: SecretString) -> Result<Account, Problem> {
    own_password::demand(db, caller.account, caller.device, password).await?;
    own_account(db, caller).await
}

/// The caller's factor and a transaction in which a code of it was used.
async fn spent(db: &Db, config: &Config, caller: &Caller, code: &str) -> Result<(AccountTx, Factor), Problem> {
    throttle::take(db, throttle::CODE_PAIR, &format!("{} {}", caller.account, caller.device)).await?;
    let mut tx = db.account_tx().await?;
    let none = || Problem::not_found("second factor of yours");
    let factor = store::find(&mut tx, caller.account).await?.ok_or_else(none)?;
    if spend(&mut tx, config, caller.account, &factor, code).await? {
        return Ok((tx, factor));
    }
    Err(Problem::invalid(vec![wrong_code()]))
}

/// Takes the second factor from the account of an address and ends every sign-in of it, for somebody who lost it with every
/// recovery code; false when there is none. Only an operator can, who has made sure whose account it is.
///
/// # Errors
/// Database errors.
pub async fn lift(db: &Db, email: &str) -> Result<bool, StoreError> {
    let mut tx = db.account_tx().await?;
    let Some(account) = accounts_store::find_by_email(&mut tx, &normal_email(email).unwrap_or_default()).await? else {
        return Ok(false);
    };
    if store::find(&mut tx, account.id).await?.is_none() {
        return Ok(false);
    }
    store::remove(&mut tx, account.id).await?;
    proof::end_sign_ins(&mut tx, account.id, None).await?;
    tell(&mut tx, &account, Event::SecondFactorOff).await?;
    tx.commit().await?;
    Ok(true)
}

async fn tell(tx: &mut AccountTx, account: &Account, event: Event) -> Result<(), StoreError> {
    if account.proven {
        let letter = Letter::Security { account: account.id, event, at: Utc::now() };
        mail::put(tx, &letter, &account.email, None).await?;
    }
    Ok(())
}

/// Whether your account has a second factor.
#[utoipa::path(
    get, path = "/v1/me/second-factor", impl_for = get_second_factor, tag = "accounts",
    responses((status = 200, description = "What there is", body = FactorView))
)]
async fn get_second_factor(caller: Caller, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = db.account_tx().await?;
    let factor = store::find(&mut tx, caller.account).await?.filter(|factor| factor.confirmed);
    let view = FactorView {
        enabled: factor.is_some(),
        recovery_codes_left: factor.map_or(0, |factor| u32::try_from(factor.codes).unwrap_or(u32::MAX)),
    };
    Ok(uncached(StatusCode::OK, &view))
}

/// Begins a second factor: a secret for an authenticator (RFC 6238). It counts once you show a code of it.
#[utoipa::path(
    post, path = "/v1/me/second-factor", impl_for = begin_second_factor, tag = "accounts",
    responses((status = 201, description = "The secret, shown only this once", body = FactorBegun),
        (status = 409, description = "The account has a second factor"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn begin_second_factor(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<OwnPassword>,
) -> Result<HttpResponse, Problem> {
    let OwnPassword { password } = body.read()?;
    let account = require_password(&db, &caller, password).await?;
    let mut secret = [0_u8; totp::SECRET];
    rand::fill(&mut secret).map_err(|_| broken())?;
    let sealed = config.seal.seal(account.id.0.as_bytes(), &secret).ok_or_else(sealed_away)?;
    let mut tx = db.account_tx().await?;
    store::begin(&mut tx, account.id, &sealed).await?;
    tx.commit().await?;
    let begun = FactorBegun { secret: totp::base32(&secret), uri: totp::uri(&secret, &account.email) };
    Ok(uncached(StatusCode::CREATED, &begun))
}

/// Shows the first code, from which on the second factor counts, and gets the recovery codes. This sign-in counts as made with
/// it; other devices stay signed in and show a code when a club asks for one.
#[utoipa::path(
    post, path = "/v1/me/second-factor/confirm", impl_for = confirm_second_factor, tag = "accounts",
    responses((status = 200, description = "The recovery codes, shown only this once", body = RecoveryCodes),
        (status = 404, description = "None was begun"),
        (status = 409, description = "It was confirmed before"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn confirm_second_factor(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<CodeOnly>,
) -> Result<HttpResponse, Problem> {
    let CodeOnly { code } = body.read()?;
    let account = own_account(&db, &caller).await?;
    let (mut tx, factor) = spent(&db, &config, &caller, &code).await?;
    if factor.confirmed {
        return Err(Problem::new(Code::Conflict, "The second factor was confirmed before."));
    }
    let (recovery_codes, hashes) = new_codes(account.id)?;
    store::save_codes(&mut tx, account.id, &hashes).await?;
    store::mark(&mut tx, account.id, caller.device).await?;
    tell(&mut tx, &account, Event::SecondFactorOn).await?;
    tx.commit().await?;
    Ok(uncached(StatusCode::OK, &RecoveryCodes { recovery_codes }))
}

/// Shows a code for this sign-in, which was made without: clubs that ask their admins for a second factor then let it act.
#[utoipa::path(
    post, path = "/v1/me/second-factor/check", impl_for = check_second_factor, tag = "accounts",
    responses((status = 204, description = "The sign-in counts as made with it"),
        (status = 404, description = "The account has no second factor"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn check_second_factor(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<CodeOnly>,
) -> Result<HttpResponse, Problem> {
    let CodeOnly { code } = body.read()?;
    let (mut tx, factor) = spent(&db, &config, &caller, &code).await?;
    if !factor.confirmed {
        return Err(Problem::not_found("second factor of yours"));
    }
    store::mark(&mut tx, caller.account, caller.device).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Makes new recovery codes; the earlier ones are good for nothing any more.
#[utoipa::path(
    post, path = "/v1/me/second-factor/recovery-codes", impl_for = renew_recovery_codes, tag = "accounts",
    responses((status = 200, description = "The recovery codes, shown only this once", body = RecoveryCodes),
        (status = 404, description = "The account has no second factor"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn renew_recovery_codes(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<CodeOnly>,
) -> Result<HttpResponse, Problem> {
    let CodeOnly { code } = body.read()?;
    let (mut tx, factor) = spent(&db, &config, &caller, &code).await?;
    if !factor.confirmed {
        return Err(Problem::not_found("second factor of yours"));
    }
    let (recovery_codes, hashes) = new_codes(caller.account)?;
    store::save_codes(&mut tx, caller.account, &hashes).await?;
    tx.commit().await?;
    Ok(uncached(StatusCode::OK, &RecoveryCodes { recovery_codes }))
}

/// Removes the second factor with its recovery codes. In clubs that ask their admins for one you then act as admin no more.
#[utoipa::path(
    post, path = "/v1/me/second-factor/remove", impl_for = remove_second_factor, tag = "accounts",
    responses((status = 204, description = "Removed"),
        (status = 404, description = "The account has no second factor"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn remove_second_factor(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<PasswordAndCode>,
) -> Result<HttpResponse, Problem> {
    let PasswordAndCode { password, code } = body.read()?;
    let account = require_password(&db, &caller, password).await?;
    let (mut tx, _) = spent(&db, &config, &caller, &code).await?;
    store::remove(&mut tx, account.id).await?;
    tell(&mut tx, &account, Event::SecondFactorOff).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(
    get_second_factor,
    begin_second_factor,
    confirm_second_factor,
    check_second_factor,
    renew_recovery_codes,
    remove_second_factor
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn recovery_codes_are_told_from_codes_of_an_authenticator_however_they_are_written() {
        let account = AccountId::new();
        let (shown, hashes) = new_codes(account).unwrap();
        assert_eq!((shown.len(), hashes.len()), (CODES, CODES));
        for (code, hash) in shown.iter().zip(&hashes) {
            let sloppy = code.to_lowercase().replace('-', " ");
            assert_eq!(recovery(&sloppy).map(|letters| hash_of(account, &letters)).as_ref(), Some(hash), "{code}");
        }
        assert_eq!(shown.iter().collect::<std::collections::HashSet<_>>().len(), CODES);
        for code in ["123456", "123 456", "", "AAAA-BBBB-CCCC"] {
            assert_eq!(recovery(code), None, "{code}");
        }
    }
}
