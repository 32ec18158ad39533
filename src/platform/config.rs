//! Settings, read once from the environment and refused at start when wrong.

use std::net::SocketAddr;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use secrecy::SecretString;

use super::cluster::default_folder;
use super::seal::{self, Seal};
use super::{audit, breached, mail};

/// Settings of the HTTP service.
#[derive(Clone, Debug)]
pub struct Config {
    /// Origins that may call from a browser (CORS); none by default.
    pub origins: Vec<String>,
    /// Worker threads.
    pub workers: usize,
    /// Database connections of each worker.
    pub connections: u32,
    /// The longest that a request waits for one of them.
    pub wait: Duration,
    /// Whether the client address is the last `X-Forwarded-For` entry (only behind a proxy that sets it).
    pub behind_proxy: bool,
    /// How long a body may come as slowly as it likes.
    pub patience: Duration,
    /// Connections at once.
    pub sockets: usize,
    /// Connections of one address at once; 0 means no limit but the total.
    pub sockets_each: usize,
    /// Where erasures are noted outside the database.
    pub erasures: Option<PathBuf>,
    /// Whether an account needs a proven address before it founds or joins a club.
    pub proof: bool,
    /// What the secrets of second factors are sealed with.
    pub seal: Seal,
    /// The list of stolen passwords that nobody may choose; see [`breached`].
    pub breached: Option<PathBuf>,
    /// The address that people and apps reach the service at, without a path; the one it listens on unless set.
    pub public_url: Option<String>,
    /// How long who read what waits in memory until it is stored.
    pub audit_pause: Duration,
    /// How long rows of audits are kept, days.
    pub audit_days: u16,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            origins: Vec::new(),
            workers: std::thread::available_parallelism().map_or(2, std::num::NonZero::get),
            connections: 4,
            wait: Self::WAIT,
            behind_proxy: false,
            patience: Self::PATIENCE,
            sockets: 4096,
            sockets_each: 256,
            erasures: None,
            proof: false,
            seal: Seal::default(),
            breached: None,
            public_url: None,
            audit_pause: Self::AUDIT_PAUSE,
            audit_days: Self::AUDIT_DAYS,
        }
    }
}

/// A setting that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("{name} is {value:?}: {remedy}")]
pub struct ConfigError {
    name: &'static str,
    value: String,
    remedy: String,
}

impl ConfigError {
    /// For a setting whose value is only found to be wrong when it is used, and is not to be shown.
    pub fn of(name: &'static str, shown: &str, error: &dyn std::fmt::Display) -> Self {
        Self { name, value: shown.to_owned(), remedy: error.to_string() }
    }
}

impl Config {
    /// The wait for a connection when none is set: with it, whatever is let in is answered within a second.
    pub const WAIT: Duration = Duration::from_millis(500);

    /// The patience when none is set.
    pub const PATIENCE: Duration = Duration::from_secs(10);

    /// The longest that rows of the audit wait: what an instance that is killed loses.
    pub const AUDIT_PAUSE: Duration = Duration::from_secs(1);

    /// The period of audits when none is set.
    pub const AUDIT_DAYS: u16 = audit::KEPT_DAYS;

    /// Reads the settings.
    ///
    /// # Errors
    /// When one cannot be used; the message names it and what would be right.
    pub fn from_env() -> Result<Self, ConfigError> {
        let origins = read("LANEWRIGHT_ORIGINS", "separate origins such as https://app.example by commas", |text| {
            let origins: Vec<String> = text.split(',').map(|one| one.trim().to_owned()).collect();
            origins.iter().all(|one| one.starts_with("http://") || one.starts_with("https://")).then_some(origins)
        })?;
        let default = Self::default();
        let behind_proxy = read("LANEWRIGHT_BEHIND_PROXY", "give true or false", |text| text.parse().ok())?;
        let behind_proxy = behind_proxy.unwrap_or(default.behind_proxy);
        // All connections come from the proxy, whoever calls.
        let each = if behind_proxy { 0 } else { default.sockets_each };
        Ok(Self {
            origins: origins.unwrap_or(default.origins),
            workers: whole("LANEWRIGHT_WORKERS", "give a whole number from 1 to 64", 1..=64)?
                .unwrap_or(default.workers),
            connections: whole("LANEWRIGHT_CONNECTIONS", "give a whole number from 1 to 32", 1..=32)?
                .unwrap_or(default.connections),
            wait: whole("LANEWRIGHT_WAIT_MS", "give whole milliseconds from 50 to 60000", 50..=60_000)?
                .map_or(default.wait, Duration::from_millis),
            behind_proxy,
            patience: whole("LANEWRIGHT_PATIENCE", "give whole seconds from 1 to 120", 1..=120)?
                .map_or(default.patience, Duration::from_secs),
            sockets: whole("LANEWRIGHT_SOCKETS", "give a whole number from 16 to 100000", 16..=100_000)?
                .unwrap_or(default.sockets),
            sockets_each: whole("LANEWRIGHT_SOCKETS_EACH", "give a whole number, 0 for no limit", 0..=100_000)?
                .unwrap_or(each),
            erasures: erasures_file()?,
            proof: read("LANEWRIGHT_PROVEN_ADDRESSES", "give true or false", |text| text.parse().ok())?
                .unwrap_or(mail::Settings::from_env()?.server.is_some()),
            seal: seal()?,
            breached: breached_file()?,
            public_url: public_url()?,
            audit_pause: default.audit_pause,
            audit_days: audit_days()?,
        })
    }

    /// The address of the service, without a slash at its end: the issuer of its tokens (RFC 8414).
    pub fn issuer(&self) -> &str {
        self.public_url.as_deref().unwrap_or("http://127.0.0.1:8080")
    }
}

/// The key of the file that `LANEWRIGHT_SEAL_KEY_FILE` names; by default one in the data folder, made when it is missing.
fn seal() -> Result<Seal, ConfigError> {
    let name = "LANEWRIGHT_SEAL_KEY_FILE";
    let given = read(name, "give the path of the file", |text| Some(PathBuf::from(text)))?;
    let path = given.clone().or_else(|| default_folder().ok().map(|folder| folder.join("seal.key")));
    let Some(path) = path else { return Ok(Seal::none()) };
    match Seal::of_file(&path) {
        Err(error) if given.is_none() && !path.exists() => {
            tracing::warn!(%error, "no key for second factors can be kept: set LANEWRIGHT_SEAL_KEY_FILE to have them");
            Ok(Seal::none())
        }
        sealed => {
            sealed.map_err(|error| ConfigError { name, value: path.display().to_string(), remedy: error.to_string() })
        }
    }
}

/// The list of stolen passwords: `LANEWRIGHT_BREACHED_PASSWORDS`; none by default.
fn breached_file() -> Result<Option<PathBuf>, ConfigError> {
    let remedy =
        "give a file with the SHA-1 of a stolen password in 40 capital hexadecimal digits on each line, in order";
    let usable = |text: &str| Some(PathBuf::from(text)).filter(|path| breached::check(path).is_ok());
    read("LANEWRIGHT_BREACHED_PASSWORDS", remedy, usable)
}

/// The password of the role in `DATABASE_URL`: the one line of the file that `DATABASE_PASSWORD_FILE` names, so that it stands in no
/// environment and no list of processes; none by default.
///
/// # Errors
/// When the file cannot be read, is empty, or others than its owner may read it.
pub fn database_password() -> Result<Option<SecretString>, ConfigError> {
    let remedy = "give the path of a file with the password on one line, readable by its owner only (chmod 600)";
    read("DATABASE_PASSWORD_FILE", remedy, |path| secret_line(Path::new(path)))
}

/// The one line of a file that only its owner may read.
pub(super) fn secret_line(path: &Path) -> Option<SecretString> {
    if seal::is_open(path).ok()? {
        return None;
    }
    let text = std::fs::read_to_string(path).ok()?;
    let line = text.trim_end_matches(['\r', '\n']);
    (!line.is_empty() && !line.contains('\n')).then(|| SecretString::from(line))
}

fn whole<T: FromStr + PartialOrd>(
    name: &'static str,
    remedy: &'static str,
    range: RangeInclusive<T>,
) -> Result<Option<T>, ConfigError> {
    read(name, remedy, |text| text.parse().ok().filter(|n| range.contains(n)))
}

/// The list of erasures outside the database: `LANEWRIGHT_ERASURES`; none by default.
///
/// # Errors
/// When the path is not absolute.
pub fn erasures_file() -> Result<Option<PathBuf>, ConfigError> {
    let remedy = "give the absolute path of a file that is not part of copies of the database";
    read("LANEWRIGHT_ERASURES", remedy, |text| Some(PathBuf::from(text)).filter(|path| path.is_absolute()))
}

/// How long rows of audits are kept, days: `LANEWRIGHT_AUDIT_DAYS`. Not shorter than whole addresses are, nor than anybody needs to find
/// out what happened; not for ever, because it says when people were where.
///
/// # Errors
/// When it is no number of days within the bounds.
pub fn audit_days() -> Result<u16, ConfigError> {
    let days = whole("LANEWRIGHT_AUDIT_DAYS", "give whole days from 90 to 3650", 90..=3_650)?;
    Ok(days.unwrap_or(Config::AUDIT_DAYS))
}

/// Where people and apps reach the service: `LANEWRIGHT_PUBLIC_URL`.
///
/// # Errors
/// When it is no https address without a path, or http one of this machine.
pub(super) fn public_url() -> Result<Option<String>, ConfigError> {
    let remedy = "give the https address that people use, without a path, such as https://hurdles.example";
    read("LANEWRIGHT_PUBLIC_URL", remedy, |text| is_public(text).then(|| text.to_owned()))
}

fn is_public(url: &str) -> bool {
    let known = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b".:-[]".contains(&byte);
    let host = |text: &str| !text.is_empty() && text.bytes().all(known);
    let end = |rest: &str| rest.is_empty() || rest.starts_with(':');
    let own =
        |text: &str| ["127.0.0.1", "[::1]", "localhost"].iter().any(|name| text.strip_prefix(name).is_some_and(end));
    match url.split_once("://") {
        Some(("https", text)) => host(text),
        Some(("http", text)) => host(text) && own(text),
        _ => false,
    }
}

/// Where to listen: `LANEWRIGHT_LISTEN`, by default the loopback address and port 8080.
///
/// # Errors
/// When the text is not an address and port.
pub fn listen_address() -> Result<SocketAddr, ConfigError> {
    Ok(read("LANEWRIGHT_LISTEN", "give an address and a port, such as 127.0.0.1:8080", |text| text.parse().ok())?
        .unwrap_or(SocketAddr::from(([127, 0, 0, 1], 8080))))
}

/// Where only `/healthz` and `/readyz` are answered, beside the main address: `LANEWRIGHT_HEALTH_LISTEN`; nowhere by
/// default.
///
/// # Errors
/// When the text is not an address and port.
pub fn health_address() -> Result<Option<SocketAddr>, ConfigError> {
    read("LANEWRIGHT_HEALTH_LISTEN", "give an address and a port, such as 127.0.0.1:8081", |text| text.parse().ok())
}

/// Whether log lines are for people: `LANEWRIGHT_LOG_FORMAT`; nothing when it is not set.
///
/// # Errors
/// When the word is another.
pub fn log_as_text() -> Result<Option<bool>, ConfigError> {
    read("LANEWRIGHT_LOG_FORMAT", "give text or json", |text| match text {
        "text" => Some(true),
        "json" => Some(false),
        _ => None,
    })
}

/// A setting; none when it is not set.
///
/// # Errors
/// When it cannot be used.
pub(super) fn read<T>(
    name: &'static str,
    remedy: &'static str,
    parse: impl Fn(&str) -> Option<T>,
) -> Result<Option<T>, ConfigError> {
    match std::env::var(name) {
        Err(_) => Ok(None),
        Ok(text) if text.trim().is_empty() => Ok(None),
        Ok(text) => {
            parse(text.trim()).map(Some).ok_or_else(|| ConfigError { name, value: text, remedy: remedy.to_owned() })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_one_line_of_a_file_for_its_owner_alone() {
        use secrecy::ExposeSecret;
        use std::os::unix::fs::PermissionsExt;
        let file = std::env::temp_dir().join(format!("secret-{}", uuid::Uuid::now_v7()));
        assert!(secret_line(&file).is_none(), "there is no such file");
        let read = |text: &str, mode: u32| {
            // What was written for reading alone is written by root only.
            let _ = std::fs::remove_file(&file);
            std::fs::write(&file, text).unwrap();
            std::fs::set_permissions(&file, std::fs::Permissions::from_mode(mode)).unwrap();
            secret_line(&file).map(|secret| secret.expose_secret().to_owned())
        };
        assert_eq!(read(" with spaces \n", 0o600).as_deref(), Some(" with spaces "));
        assert_eq!(read("as it is", 0o400).as_deref(), Some("as it is"));
        for (text, mode) in [("", 0o600), ("\n", 0o600), ("two\nlines", 0o600), ("open", 0o640), ("open", 0o604)] {
            assert_eq!(read(text, mode), None, "{text:?} {mode:o}");
        }
        std::fs::remove_file(&file).unwrap();
    }

    #[test]
    fn the_public_address_is_https_or_this_machine_and_has_no_path() {
        for good in ["https://hurdles.example", "https://h.example:8443", "http://127.0.0.1:8080", "http://[::1]:80"] {
            assert!(is_public(good), "{good}");
        }
        for wrong in [
            "hurdles.example",
            "http://hurdles.example",
            "http://localhost.evil.example",
            "https://",
            "https://hurdles.example/",
            "https://hurdles.example/api",
            "https://Hurdles.example",
            "https://a@hurdles.example",
        ] {
            assert!(!is_public(wrong), "{wrong}");
        }
    }
}
