//! A private PostgreSQL server for installations that name no database of their own.
//!
//! The server listens on a Unix socket in a folder that only its account can enter, so it needs no port and no
//! password, and lives exactly as long as the process that started it. The state folder holds `lock`, `data`, `run`
//! (the socket) and `postgres.log`.
//!
//! ```no_run
//! # async fn example() -> Result<(), lanewright::platform::cluster::ClusterError> {
//! use lanewright::platform::cluster::{Cluster, Options, default_folder};
//!
//! let cluster = Cluster::open(Options::durable(default_folder()?)).await?;
//! let _pool = sqlx::PgPool::connect_with(cluster.connect_options()).await?;
//! cluster.close().await?;
//! # Ok(())
//! # }
//! ```

mod account;
mod bootstrap;
mod ephemeral;
mod error;
mod leftover;
mod programs;
mod server;
mod state;

use std::path::{Path, PathBuf};
use std::time::Duration;

use sqlx::postgres::{PgConnectOptions, PgSslMode};

pub use bootstrap::bootstrap;
pub use ephemeral::run_with_ephemeral_cluster;
pub use error::ClusterError;
pub use state::default_folder;

use account::Account;
use programs::Programs;
use server::Server;
use state::State;

/// Whether data must survive a power cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Durability {
    /// Every commit reaches the disk.
    On,
    /// Nothing waits for the disk: for tests only.
    Off,
}

/// How to start a private server.
#[derive(Clone, Debug)]
pub struct Options {
    /// The state folder; made when missing, and locked by one process at a time.
    pub folder: PathBuf,
    /// Whether data must survive a power cut.
    pub durability: Durability,
}

impl Options {
    /// A server whose data stays.
    pub fn durable(folder: PathBuf) -> Self {
        Self { folder, durability: Durability::On }
    }

    /// A fast server for tests, whose data nobody will miss.
    pub fn throw_away(folder: PathBuf) -> Self {
        Self { folder, durability: Durability::Off }
    }
}

/// A running private server; dropping it stops the server.
#[derive(Debug)]
pub struct Cluster {
    // Order matters: the server stops before the folder is unlocked.
    server: Server,
    state: State,
    sockets: PathBuf,
}

impl Cluster {
    /// Starts the server, making its data first when there is none. Blocks until it takes connections, which
    /// takes longer after a crash, since the server then replays its log.
    ///
    /// # Errors
    /// Any [`ClusterError`] but `Bootstrap` and `Interrupted`; each says what to do.
    pub fn start(options: &Options) -> Result<Self, ClusterError> {
        let state = State::lock(&options.folder)?;
        let made_by = state.made_by()?;
        let account = Account::choose(&state.data())?;
        account.check_way_to(&state.folder)?;
        let programs = Programs::find(&state.data(), made_by.as_deref())?;
        leftover::remove_half_made(&state);
        if made_by.is_some() {
            leftover::clear(&state, &account, &programs)?;
            // The server refuses data that others can read; a copy or a restore may have opened it.
            state::private_folder(&state.data(), &account)?;
        } else {
            tracing::info!(folder = %state.folder.display(), version = programs.major, "making a private database");
            server::make_data(&state, &account, &programs, options.durability)?;
        }
        let sockets = state.socket_folder(&account)?;
        let server = Server::start(&state, account, programs, &sockets, options.durability)?;
        Ok(Self { server, state, sockets })
    }

    /// Stops a server whose owner was killed, and starts none.
    fn reclaim(folder: &Path) -> Result<(), ClusterError> {
        let state = State::lock(folder)?;
        let account = Account::choose(&state.data())?;
        let programs = Programs::find(&state.data(), state.made_by()?.as_deref())?;
        leftover::clear(&state, &account, &programs)
    }

    /// Starts the server off the async threads, then creates roles and database with [`bootstrap`].
    ///
    /// # Errors
    /// Any [`ClusterError`]; each says what to do.
    pub async fn open(options: Options) -> Result<Self, ClusterError> {
        let started = tokio::task::spawn_blocking(move || Self::start(&options)).await;
        let cluster = started.map_err(|_| ClusterError::Interrupted)??;
        bootstrap(&cluster).await?;
        Ok(cluster)
    }

    /// How to reach the database `lanewright` as the role `lanewright`.
    pub fn connect_options(&self) -> PgConnectOptions {
        PgConnectOptions::new_without_pgpass()
            .socket(&self.sockets)
            .port(5432)
            .ssl_mode(PgSslMode::Disable)
            .username("lanewright")
            .database("lanewright")
    }

    /// The same as a URL, for other programs.
    pub fn url(&self) -> String {
        let host = percent_encode(&self.sockets);
        format!("postgres://lanewright@localhost:5432/lanewright?host={host}&sslmode=disable")
    }

    /// The folder of the socket `.s.PGSQL.5432`.
    pub fn socket_folder(&self) -> &Path {
        &self.sockets
    }

    /// Process id of the server.
    pub fn server_pid(&self) -> u32 {
        self.server.pid()
    }

    /// Tells whether the server has ended by itself: `Ok` while it runs.
    ///
    /// # Errors
    /// [`ClusterError::Exited`] once it has ended.
    pub fn check(&mut self) -> Result<(), ClusterError> {
        match self.server.try_wait()? {
            Some(status) => Err(self.server.exited(status)),
            None => Ok(()),
        }
    }

    /// Waits until the server ends by itself and says why. May be dropped at any time, as in `select!`.
    pub async fn watch(&mut self) -> ClusterError {
        loop {
            if let Err(error) = self.check() {
                return error;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }

    /// Stops the server: ends its connections, writes everything to disk, and waits for its end.
    ///
    /// # Errors
    /// [`ClusterError::Io`] when the system does not let us stop it.
    pub fn stop(mut self) -> Result<(), ClusterError> {
        self.server.stop()?;
        if !self.sockets.starts_with(&self.state.folder) {
            self.state.remove_far_socket_folder();
        }
        self.state.unlock();
        Ok(())
    }

    /// Stops the server off the async threads.
    ///
    /// # Errors
    /// As [`Cluster::stop`].
    pub async fn close(self) -> Result<(), ClusterError> {
        let stopped = tokio::task::spawn_blocking(move || self.stop()).await;
        stopped.map_err(|_| ClusterError::Interrupted)?
    }
}

/// Escapes a path for the query part of a URL.
fn percent_encode(path: &Path) -> String {
    use std::os::unix::ffi::OsStrExt;

    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"/-_.~".contains(&byte);
    let encode = |byte: &u8| {
        if plain(*byte) { char::from(*byte).to_string() } else { format!("%{byte:02X}") }
    };
    path.as_os_str().as_bytes().iter().map(encode).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_socket_folder_with_odd_characters_survives_the_url() {
        assert_eq!(percent_encode(Path::new("/tmp/a b&c=ü")), "/tmp/a%20b%26c%3D%C3%BC");
    }
}
