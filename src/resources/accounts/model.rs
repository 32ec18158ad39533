//! What an account and a new club must look like.

use chrono_tz::Tz;
use secrecy::{ExposeSecret, SecretString};

use crate::platform::fault::{Fault, Faults};

/// Fewest characters of a password.
pub const PASSWORD_MIN: usize = 10;
/// Most characters of a password; longer ones only cost hashing time.
pub const PASSWORD_MAX: usize = 128;

/// A new account.
#[derive(Debug)]
pub struct NewAccount {
    /// Normalised: trimmed, lower case.
    pub email: String,
    /// The password.
    pub password: SecretString,
    /// How the person is called in the club.
    pub display_name: String,
}

/// A new club.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewClub {
    /// The name.
    pub name: String,
    /// Decides what "today" is.
    pub time_zone: Tz,
    /// The rule set its athletes race under.
    pub ruleset: String,
}

impl NewAccount {
    /// Parses a sign-up.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(email: &str, password: SecretString, display_name: &str) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let email = faults.email("/email", email);
        check_password(&mut faults, "/password", &password);
        let display_name = faults.text("/display_name", display_name, 100);
        let parts = email.zip(display_name);
        faults.finish(parts.map(|(email, display_name)| Self { email, password, display_name }))
    }
}

/// Notes a password that is too short or too long.
pub fn check_password(faults: &mut Faults, pointer: &str, password: &SecretString) {
    let count = password.expose_secret().chars().count();
    if !(PASSWORD_MIN..=PASSWORD_MAX).contains(&count) {
        let detail = format!("must have {PASSWORD_MIN} to {PASSWORD_MAX} characters");
        faults.add(pointer, "length", detail);
    }
}

impl NewClub {
    /// Parses a new club.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(name: &str, time_zone: &str, ruleset: &str) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 100);
        let zone = time_zone.parse::<Tz>().map_err(|_| "must be an IANA time zone such as Europe/Vienna");
        let time_zone = faults.take("/time_zone", "time_zone", zone);
        let ruleset = faults.text("/ruleset", ruleset, 40);
        let parts = name.zip(time_zone).zip(ruleset);
        faults.finish(parts.map(|((name, time_zone), ruleset)| Self { name, time_zone, ruleset }))
    }
}
