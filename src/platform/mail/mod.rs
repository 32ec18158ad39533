//! Mail: what waits to be sent, the words of each letter in each language, and who carries it.
//!
//! A request never talks to a mail server. It leaves a [`Letter`] in the outbox, in its own transaction and without any
//! secret: so what it does is the same whether an address is known or not. Whoever carries mail on an instance claims what is
//! due, decides then what the letter says, makes the secret of its link, keeps the hash and sends it.

mod carrier;
mod compose;
mod outbox;
mod settings;
mod texts;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::ids::{AccountId, ClubId, InvitationId};

pub use carrier::{Carrier, Fate};
pub use compose::Mail;
pub use outbox::{
    Claimed, DeadLetter, claim, dead_letters, done, failed, language, prune, put, put_for_club, room, send_again,
};
pub use settings::Settings;
pub use texts::{Event, Said, Text, Texts};

/// A language of mail.
///
/// - `en`: English.
/// - `de`: German.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Language {
    /// English.
    #[default]
    En,
    /// German.
    De,
}

impl Language {
    /// Every language.
    pub const ALL: [Self; 2] = [Self::En, Self::De];

    /// Its tag (BCP 47), also in the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::En => "en",
            Self::De => "de",
        }
    }

    /// The language of a tag; English for one that is none of ours.
    pub fn from_tag(tag: &str) -> Self {
        Self::ALL.into_iter().find(|language| language.as_str() == tag).unwrap_or_default()
    }
}

/// What a mail is about, as it waits. Whom it concerns is looked up when it is sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Letter {
    /// Somebody says that this is their address.
    Confirm {
        /// Their account.
        account: AccountId,
    },
    /// Somebody forgot the password of the account at this address, if there is one.
    Reset,
    /// A place in a club.
    Invitation {
        /// The club.
        club: ClubId,
        /// The invitation.
        invitation: InvitationId,
    },
    /// A device that the account did not know signed in.
    SignIn {
        /// The account.
        account: AccountId,
        /// What the device calls itself.
        device: String,
        /// When.
        at: DateTime<Utc>,
    },
    /// An app of a third party signed in for somebody who let it.
    AppSignIn {
        /// The account.
        account: AccountId,
        /// What the app is called.
        app: String,
        /// When.
        at: DateTime<Utc>,
    },
    /// The account is to have this address: is it theirs?
    MoveTo {
        /// The account.
        account: AccountId,
    },
    /// The account is to have another address than this one: do they want that?
    MoveFrom {
        /// The account.
        account: AccountId,
    },
    /// What protects the account changed.
    Security {
        /// The account.
        account: AccountId,
        /// What changed.
        event: Event,
        /// When.
        at: DateTime<Utc>,
    },
    /// An admin asked for the deletion of a club.
    ClubEnding {
        /// The club.
        club: ClubId,
        /// An admin of it.
        account: AccountId,
        /// When it goes.
        due_at: DateTime<Utc>,
    },
    /// An admin took that back.
    ClubStays {
        /// The club.
        club: ClubId,
        /// An admin of it.
        account: AccountId,
    },
    /// A club was deleted: of it nothing is left to look up.
    ClubEnded {
        /// What it was called.
        name: String,
        /// Somebody who was an admin of it.
        account: AccountId,
        /// When.
        at: DateTime<Utc>,
    },
    /// The account that had the address was deleted.
    AccountEnded {
        /// When.
        at: DateTime<Utc>,
    },
}

impl Letter {
    /// Whether it goes to somebody of whom nothing else is kept, so that it goes as well when it cannot be sent.
    pub const fn is_farewell(&self) -> bool {
        matches!(self, Self::AccountEnded { .. })
    }
}
