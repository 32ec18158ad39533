//! Carrying mail: what an instance does with what is due in the outbox.

use std::time::Duration;

use chrono::{DateTime, Utc};

use crate::platform::config::ConfigError;
use crate::platform::db::{Db, StoreError};
use crate::platform::mail::{self, Carrier, Claimed, Fate, Letter, Mail, Settings};
use crate::resources::{accounts, clubs, members};

/// How often an instance looks for mail.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// What became of the mail of one round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Round {
    /// Taken by the server.
    pub sent: usize,
    /// Nobody needs it any more.
    pub needless: usize,
    /// To be tried again later.
    pub later: usize,
    /// Given up.
    pub given_up: usize,
}

impl Round {
    /// Whether there was nothing to do.
    pub fn is_empty(self) -> bool {
        self == Self::default()
    }
}

/// Whoever carries mail by the settings, and a line that says where it goes.
///
/// # Errors
/// When a setting cannot be used.
pub fn carrier() -> Result<(Carrier, String), ConfigError> {
    let settings = Settings::from_env()?;
    let way = match settings.server {
        Some(_) => "Mail goes to the server of LANEWRIGHT_SMTP".to_owned(),
        None => format!("Mail is written to {}: LANEWRIGHT_SMTP names no server", settings.folder.display()),
    };
    Ok((Carrier::new(settings)?, way))
}

/// The mail that could not be sent, with the reasons; or lets all of it be tried again, and says how much.
///
/// # Errors
/// Database errors.
pub async fn dead_letters(db: &Db, again: bool) -> Result<String, StoreError> {
    if again {
        return mail::send_again(db).await.map(|count| format!("{count} mails are tried again."));
    }
    let line = |one: &mail::DeadLetter| {
        format!("{} {} to {}: {}", one.failed_at.format("%Y-%m-%d %H:%M"), one.kind, one.address, one.reason)
    };
    let lines: Vec<String> = mail::dead_letters(db).await?.iter().map(line).collect();
    Ok(if lines.is_empty() { "No mail was given up.".to_owned() } else { lines.join("\n") })
}

/// Puts mail into words; none when nobody needs it any more.
async fn written(db: &Db, claimed: &Claimed) -> Result<Option<Mail>, StoreError> {
    match claimed.letter {
        Letter::Invitation { .. } => members::write(db, claimed).await,
        Letter::ClubEnding { .. } | Letter::ClubStays { .. } | Letter::ClubEnded { .. } => {
            clubs::write(db, claimed).await
        }
        _ => accounts::write(db, claimed).await,
    }
}

/// Sends what is due at `now`, as much as one claim takes.
///
/// # Errors
/// Database errors; what was claimed is claimed again when the claim runs out.
pub async fn carry(db: &Db, carrier: &Carrier, now: DateTime<Utc>) -> Result<Round, StoreError> {
    let mut round = Round::default();
    for claimed in mail::claim(db, now).await? {
        let Some(mail) = written(db, &claimed).await? else {
            mail::done(db, claimed.id).await?;
            round.needless += 1;
            continue;
        };
        let (reason, never) = match carrier.send(&mail).await {
            Ok(()) => {
                mail::done(db, claimed.id).await?;
                round.sent += 1;
                continue;
            }
            Err(Fate::Later(reason)) => (reason, false),
            Err(Fate::Never(reason)) => (reason, true),
        };
        if mail::failed(db, &claimed, &reason, never, now).await? {
            if claimed.letter.is_farewell() {
                mail::done(db, claimed.id).await?;
            }
            // The reason may name the person, so it stands in the table alone.
            tracing::error!(id = %claimed.id, "mail could not be sent and was given up: see `lanewright dead-letters`");
            round.given_up += 1;
        } else {
            tracing::warn!(id = %claimed.id, tries = claimed.tries, "mail could not be sent; it is tried again");
            round.later += 1;
        }
    }
    Ok(round)
}

/// Carries mail for as long as the service runs, and new addresses to the clubs of their accounts.
pub async fn carry_often(db: Db, carrier: Carrier) {
    loop {
        match carry(&db, &carrier, Utc::now()).await {
            Ok(round) if !round.is_empty() => continue,
            Ok(_) => {}
            Err(error) => tracing::warn!(%error, "cannot look for mail"),
        }
        if let Err(error) = accounts::tell_clubs(&db).await {
            tracing::warn!(%error, "cannot carry a new address to the clubs");
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
}
