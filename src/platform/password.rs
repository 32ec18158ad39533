//! Argon2id in a lane of its own, with equal effort for unknown e-mails.

use std::sync::LazyLock;

use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use secrecy::{ExposeSecret, SecretString};

use super::lanes::PASSWORDS;
use super::password_rules::{is_excessive, normal};
use super::problem::{Code, Problem};
use super::telemetry;

/// Memory in KiB, passes and lanes: OWASP Password Storage Cheat Sheet (2024), first recommended Argon2id setting.
const COST: (u32, u32, u32) = (19_456, 2, 1);
/// What a password is checked against when the e-mail is unknown, so that both answers take as long.
static DUMMY: LazyLock<Option<String>> = LazyLock::new(|| hash_now("no account has this password").ok());

fn argon2() -> Result<Argon2<'static>, Problem> {
    let params = Params::new(COST.0, COST.1, COST.2, None).map_err(|_| broken())?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn broken() -> Problem {
    Problem::new(Code::Internal, "The password could not be processed.")
}

/// Hashes the normal form; the text itself where it has none (older passwords).
fn hash_now(password: &str) -> Result<String, Problem> {
    let normal = normal(password);
    let password = normal.as_deref().unwrap_or(password);
    let hash = argon2()?.hash_password(password.as_bytes()).map_err(|_| broken())?;
    Ok(hash.to_string())
}

/// Whether the password fits, and whether the hash was made with other parameters than today's or of another form.
///
/// Hashes from before passwords were normalised fit the text as it was entered then, so that is tried as well.
fn verify_now(password: &str, stored: &str) -> Result<(bool, bool), Problem> {
    let hash = PasswordHash::new(stored).map_err(|_| broken())?;
    // Too long to be anybody's: refused, for the price of any other.
    let password = if is_excessive(password) { "" } else { password };
    let fits = |text: &str| Ok::<_, Problem>(argon2()?.verify_password(text.as_bytes(), &hash).is_ok());
    let today = format!("$argon2id$v=19$m={},t={},p={}$", COST.0, COST.1, COST.2);
    let weak = !stored.starts_with(&today);
    match normal(password).filter(|normal| normal != password) {
        Some(normal) if fits(&normal)? => Ok((true, weak)),
        Some(_) => Ok((fits(password)?, true)),
        None => Ok((fits(password)?, weak)),
    }
}

async fn aside<T: Send + 'static>(work: impl FnOnce() -> Result<T, Problem> + Send + 'static) -> Result<T, Problem> {
    // Nobody is signed in yet, so the turns go round the addresses.
    PASSWORDS.turn(telemetry::stranger()).await?.run(work).await?
}

/// Hashes a password in its normal form.
///
/// # Errors
/// 503 when too many are waiting.
pub async fn hash(password: SecretString) -> Result<String, Problem> {
    aside(move || hash_now(password.expose_secret())).await
}

/// Checks a password against a stored hash, or against a dummy when there is none.
///
/// Returns whether it fits and whether the hash should be renewed.
///
/// # Errors
/// 503 when too many are waiting.
pub async fn verify(password: SecretString, stored: Option<String>) -> Result<(bool, bool), Problem> {
    aside(move || {
        let known = stored.is_some();
        let Some(hash) = stored.or_else(|| DUMMY.clone()) else {
            return Err(broken());
        };
        let (fits, renew) = verify_now(password.expose_secret(), &hash)?;
        Ok((known && fits, renew))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_fits_its_password_only_and_carries_the_parameters() {
        let hash = hash_now("correct horse").unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert_eq!(verify_now("correct horse", &hash).unwrap(), (true, false));
        assert_eq!(verify_now("correct house", &hash).unwrap(), (false, false));
    }

    #[test]
    fn a_hash_of_weaker_parameters_is_to_be_renewed() {
        let weak = Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::new(8_192, 1, 1, None).unwrap());
        let hash = weak.hash_password(b"correct horse").unwrap().to_string();
        assert_eq!(verify_now("correct horse", &hash).unwrap(), (true, true));
    }

    #[test]
    fn a_password_fits_however_it_is_composed_and_an_older_hash_is_to_be_renewed() {
        let (composed, apart) = ("\u{c9}cole du nord", "E\u{301}cole\u{a0}du nord");
        let hash = hash_now(apart).unwrap();
        assert_eq!(verify_now(composed, &hash).unwrap(), (true, false));
        assert_eq!(verify_now(apart, &hash).unwrap(), (true, false));
        let old = argon2().unwrap().hash_password(apart.as_bytes()).unwrap().to_string();
        assert_eq!(verify_now(apart, &old).unwrap(), (true, true));
        assert!(!verify_now(composed, &old).unwrap().0);
    }

    #[test]
    fn a_password_without_a_normal_form_still_fits_its_older_hash() {
        let old = argon2().unwrap().hash_password(b"with\ta tab in it").unwrap().to_string();
        assert_eq!(verify_now("with\ta tab in it", &old).unwrap(), (true, false));
        assert!(!verify_now(&"x".repeat(100_000), &old).unwrap().0);
    }
}
