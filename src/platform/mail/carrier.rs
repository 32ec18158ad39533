//! Who carries mail: a mail server, or a folder of files when there is none.

use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use lettre::transport::smtp::{AsyncSmtpTransport, Error as SmtpError};
use lettre::{AsyncTransport, Message, Tokio1Executor};
use secrecy::ExposeSecret;

use super::{Mail, Settings};
use crate::platform::config::ConfigError;

/// How long a server has for each answer.
const PATIENCE: Duration = Duration::from_secs(20);
/// Most files that are kept; the oldest go first.
const FILES: usize = 1_000;

/// Why mail was not taken.
#[derive(Debug, PartialEq, Eq)]
pub enum Fate {
    /// It may be later.
    Later(String),
    /// It never will.
    Never(String),
}

enum Way {
    Server(AsyncSmtpTransport<Tokio1Executor>),
    Folder(PathBuf),
}

/// Carries mail.
pub struct Carrier {
    settings: Settings,
    way: Way,
}

impl std::fmt::Debug for Carrier {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Carrier").field("settings", &self.settings).finish_non_exhaustive()
    }
}

impl Carrier {
    /// Prepares for carrying; nobody is called yet.
    ///
    /// # Errors
    /// When the server's address cannot be used.
    pub fn new(settings: Settings) -> Result<Self, ConfigError> {
        let way = match &settings.server {
            Some(server) => {
                let builder = AsyncSmtpTransport::<Tokio1Executor>::from_url(server.expose_secret());
                let builder = builder.map_err(|error| ConfigError::of("LANEWRIGHT_SMTP", "a server", &error))?;
                Way::Server(builder.timeout(Some(PATIENCE)).build())
            }
            None => Way::Folder(settings.folder.clone()),
        };
        Ok(Self { settings, way })
    }

    /// Sends a mail.
    ///
    /// # Errors
    /// Why it was not taken, and whether that can change.
    pub async fn send(&self, mail: &Mail) -> Result<(), Fate> {
        let message = mail.message(&self.settings).map_err(Fate::Never)?;
        match &self.way {
            Way::Server(server) => server.send(message).await.map(drop).map_err(|error| fate(&error)),
            Way::Folder(folder) => {
                let folder = folder.clone();
                let written = tokio::task::spawn_blocking(move || write(&folder, &message)).await;
                let written = written.map_err(std::io::Error::other).and_then(|written| written);
                written.map_err(|error| Fate::Later(error.to_string()))
            }
        }
    }
}

/// Whether a server's word is its last. A refused sign-in (RFC 4954) is about the operator's settings, not about this mail.
fn fate(error: &SmtpError) -> Fate {
    let reason = error.to_string();
    let code = error.status().map(u16::from);
    let sign_in = code.is_some_and(|code| matches!(code, 530 | 534 | 535 | 538));
    if error.is_permanent() && !sign_in { Fate::Never(reason) } else { Fate::Later(reason) }
}

/// Writes a message for its owner's eyes: whole, or not at all under its name.
fn write(folder: &Path, message: &Message) -> std::io::Result<()> {
    std::fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let name = uuid::Uuid::now_v7();
    let part = folder.join(format!("{name}.part"));
    let mut file = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&part)?;
    file.write_all(&message.formatted())?;
    std::fs::rename(part, folder.join(format!("{name}.eml")))?;
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|end| end == "eml"))
        .collect();
    // Named by time.
    files.sort_unstable();
    for old in files.iter().take(files.len().saturating_sub(FILES)) {
        std::fs::remove_file(old)?;
    }
    Ok(())
}
