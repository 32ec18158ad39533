//! What an account and a new club must look like.

use chrono::Duration;
use chrono_tz::Tz;
use secrecy::SecretString;

use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::DeviceId;
use crate::platform::mail::Language;
use crate::platform::password_rules::{self, Owner};

/// How long after its use a refresh token is good once more: the answer may have been lost on its way to a phone at a
/// track, which then sends the same again. Long enough for a few tries, too short for a thief who finds an old token.
pub const GRACE: Duration = Duration::seconds(60);

/// How an account knows whoever signs in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// By a refresh token that this sign-in once had.
    Device(DeviceId),
    /// By the network of a sign-in.
    Network,
    /// Not at all.
    Stranger,
}

/// What the secret in a mail is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// The address is the account's.
    Confirm,
    /// A new password.
    Reset,
    /// The account's new address agrees.
    MoveTo,
    /// The account's address so far agrees.
    MoveFrom,
}

/// What became of a change of the address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Agreed {
    /// The other address has to agree as well.
    Waits,
    /// The account has its new address.
    Moved {
        /// The one before.
        old: String,
    },
}

impl Purpose {
    const ALL: [Self; 4] = [Self::Confirm, Self::Reset, Self::MoveTo, Self::MoveFrom];

    /// The word in the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Confirm => "confirm",
            Self::Reset => "reset",
            Self::MoveTo => "move_to",
            Self::MoveFrom => "move_from",
        }
    }

    /// The purpose of a word, if it is one.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|purpose| purpose.as_str() == word)
    }

    /// How long the secret holds: what opens an account no longer than somebody sits before it.
    pub const fn life(self) -> Duration {
        match self {
            Self::Confirm => Duration::days(3),
            Self::Reset => Duration::hours(1),
            Self::MoveTo | Self::MoveFrom => Duration::days(1),
        }
    }
}

/// A new account.
#[derive(Debug)]
pub struct NewAccount {
    /// In its normal form.
    pub email: String,
    /// The password.
    pub password: SecretString,
    /// How the person is called in the club.
    pub display_name: String,
    /// The language of their mail.
    pub language: Language,
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
    pub fn parse(
        email: &str,
        password: SecretString,
        display_name: &str,
        language: Language,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let email = faults.email("/email", email);
        let owner = Owner { email: email.as_deref().unwrap_or_default(), name: display_name };
        password_rules::check(&mut faults, "/password", &password, owner);
        let display_name = faults.text("/display_name", display_name, 100);
        let parts = email.zip(display_name);
        faults.finish(parts.map(|(email, display_name)| Self { email, password, display_name, language }))
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
