//! Settings, read once from the environment and refused at start when wrong.

use std::net::SocketAddr;

/// Settings of the HTTP service.
#[derive(Clone, Debug)]
pub struct Config {
    /// Origins that may call from a browser (CORS); none by default.
    pub origins: Vec<String>,
    /// Worker threads.
    pub workers: usize,
    /// Database connections of each worker.
    pub connections: u32,
    /// Whether the client address is the last `X-Forwarded-For` entry (only behind a proxy that sets it).
    pub behind_proxy: bool,
}

/// A setting that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("{name} is {value:?}: {remedy}")]
pub struct ConfigError {
    name: &'static str,
    value: String,
    remedy: &'static str,
}

impl Config {
    /// Reads the settings.
    ///
    /// # Errors
    /// When one cannot be used; the message names it and what would be right.
    pub fn from_env() -> Result<Self, ConfigError> {
        let origins = read("LANEWRIGHT_ORIGINS", "separate origins such as https://app.example by commas", |text| {
            let origins: Vec<String> = text.split(',').map(|one| one.trim().to_owned()).collect();
            origins.iter().all(|one| one.starts_with("http://") || one.starts_with("https://")).then_some(origins)
        })?;
        Ok(Self {
            origins: origins.unwrap_or_default(),
            workers: read("LANEWRIGHT_WORKERS", "give a whole number from 1 to 64", |text| {
                text.parse().ok().filter(|n| (1..=64).contains(n))
            })?
            .unwrap_or_else(|| std::thread::available_parallelism().map_or(2, std::num::NonZero::get)),
            connections: read("LANEWRIGHT_CONNECTIONS", "give a whole number from 1 to 32", |text| {
                text.parse().ok().filter(|n| (1..=32).contains(n))
            })?
            .unwrap_or(4),
            behind_proxy: read("LANEWRIGHT_BEHIND_PROXY", "give true or false", |text| text.parse().ok())?
                .unwrap_or(false),
        })
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

fn read<T>(
    name: &'static str,
    remedy: &'static str,
    parse: impl Fn(&str) -> Option<T>,
) -> Result<Option<T>, ConfigError> {
    match std::env::var(name) {
        Err(_) => Ok(None),
        Ok(text) if text.trim().is_empty() => Ok(None),
        Ok(text) => parse(text.trim()).map(Some).ok_or(ConfigError { name, value: text, remedy }),
    }
}
