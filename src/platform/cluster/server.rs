//! The server process: making its data folder, starting, waiting, stopping.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use super::account::Account;
use super::error::one_line;
use super::leftover::HALF_MADE;
use super::programs::Programs;
use super::state::{State, private_folder};
use super::{ClusterError, Durability};

/// Longest wait for readiness (s): after a crash the server replays its log first, which takes seconds to minutes.
const READY_WITHIN: u64 = 600;

/// Settings of every private server. 128 MB of buffers and 100 connections are the server's own defaults, kept
/// explicit; `jit` only delays small queries (design choice).
const SETTINGS: &[&str] = &[
    "listen_addresses=",
    "unix_socket_permissions=0700",
    "shared_buffers=128MB",
    "max_connections=100",
    "jit=off",
    "timezone=UTC",
    "log_timezone=UTC",
    "log_destination=stderr",
    "logging_collector=off",
    "log_line_prefix=%m [%p] ",
    // The details of an error are values of rows, and so names of people.
    "log_error_verbosity=terse",
];

/// Settings for data that nobody will miss: a power cut may ruin it, but nothing waits for the disk.
const WITHOUT_DURABILITY: &[&str] =
    &["fsync=off", "synchronous_commit=off", "full_page_writes=off", "autovacuum=off", "max_wal_size=1GB"];

/// Makes the data folder beside its final place and renames it, so that a half-made one never looks whole.
pub(super) fn make_data(
    state: &State,
    account: &Account,
    programs: &Programs,
    durability: Durability,
) -> Result<(), ClusterError> {
    let data = state.data();
    let making = state.folder.join(format!("{HALF_MADE}{}", std::process::id()));
    private_folder(&making, account)?;
    let mut initdb = account.command(&programs.bin.join("initdb"));
    initdb.current_dir("/").arg("-D").arg(&making).args(["--username=postgres", "--encoding=UTF8"]);
    initdb.args(["--auth-local=trust", "--auth-host=reject"]);
    // Every system has these; sorting for people is the query's business, by an explicit collation.
    initdb.args(if cfg!(target_os = "macos") {
        ["--locale=C", "--lc-ctype=UTF-8"].as_slice()
    } else {
        &["--locale=C.UTF-8"]
    });
    if durability == Durability::Off {
        initdb.arg("--no-sync");
    }
    let output = initdb.stdin(Stdio::null()).output().map_err(|source| failed(&initdb, source))?;
    if !output.status.success() {
        let text = one_line(&String::from_utf8_lossy(&output.stderr));
        drop(fs::remove_dir_all(&making));
        return Err(ClusterError::Initdb(text));
    }
    if data.exists() {
        // Only an empty folder gets this far, such as a freshly mounted volume.
        fs::remove_dir(&data).map_err(ClusterError::io("replace", &data))?;
    }
    fs::rename(&making, &data).map_err(ClusterError::io("rename", &making))?;
    let synced = fs::File::open(&state.folder).and_then(|folder| folder.sync_all());
    synced.map_err(ClusterError::io("write", &state.folder))
}

/// A running server.
#[derive(Debug)]
pub(super) struct Server {
    child: Child,
    account: Account,
    programs: Programs,
    data: PathBuf,
    log: PathBuf,
}

impl Server {
    /// Starts the server and waits until it takes connections.
    pub(super) fn start(
        state: &State,
        account: Account,
        programs: Programs,
        sockets: &Path,
        durability: Durability,
    ) -> Result<Self, ClusterError> {
        let data = state.data();
        let log = state.open_log()?;
        let copy = log.try_clone().map_err(ClusterError::io("open", &state.log_path()))?;
        let mut postgres = account.command(&programs.bin.join("postgres"));
        postgres.current_dir(&data).arg("-D").arg(&data).arg("-k").arg(sockets).args(["-p", "5432"]);
        let extra = if durability == Durability::Off { WITHOUT_DURABILITY } else { &[] };
        for setting in SETTINGS.iter().chain(extra) {
            postgres.args(["-c", setting]);
        }
        let spawned = postgres.stdin(Stdio::null()).stdout(copy).stderr(log).spawn();
        let child = spawned.map_err(|source| failed(&postgres, source))?;
        let mut server = Self { child, account, programs, data, log: state.log_path() };
        server.wait_until_ready()?;
        Ok(server)
    }

    /// The server says `ready` in line 8 of its pid file, which costs no connection attempt.
    fn wait_until_ready(&mut self) -> Result<(), ClusterError> {
        let start = Instant::now();
        let mut next_word = 3;
        loop {
            if let Some(status) = self.try_wait()? {
                return Err(self.exited(status));
            }
            let text = fs::read_to_string(self.data.join("postmaster.pid")).unwrap_or_default();
            let lines: Vec<&str> = text.lines().map(str::trim).collect();
            let ours = lines.first().is_some_and(|pid| *pid == self.child.id().to_string());
            if ours && lines.get(7) == Some(&"ready") {
                return Ok(());
            }
            let waited = start.elapsed().as_secs();
            if waited >= READY_WITHIN {
                return Err(ClusterError::NotReady { seconds: waited, log: self.log.clone() });
            }
            if waited >= next_word {
                tracing::info!(seconds = waited, last = %self.log_tail(1), "waiting for the private PostgreSQL server");
                next_word = waited + 3;
            }
            sleep(Duration::from_millis(10));
        }
    }

    /// Process id of the server.
    pub(super) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// The exit status once the server has ended by itself.
    pub(super) fn try_wait(&mut self) -> Result<Option<ExitStatus>, ClusterError> {
        self.child.try_wait().map_err(ClusterError::io("watch the server on", &self.data))
    }

    /// The error that tells of a server that ended by itself.
    pub(super) fn exited(&self, status: ExitStatus) -> ClusterError {
        ClusterError::Exited { status: status.to_string(), tail: self.log_tail(4), log: self.log.clone() }
    }

    fn log_tail(&self, lines: usize) -> String {
        let bytes = fs::read(&self.log).unwrap_or_default();
        let recent = bytes.get(bytes.len().saturating_sub(4096)..).unwrap_or_default();
        let text = String::from_utf8_lossy(recent);
        let kept: Vec<&str> = text.lines().rev().take(lines).collect();
        one_line(&kept.into_iter().rev().collect::<Vec<_>>().join("\n"))
    }

    /// Ends the server: politely, then at once, then by force.
    pub(super) fn stop(&mut self) -> Result<(), ClusterError> {
        if self.try_wait()?.is_none() && !pg_ctl_stop(&self.programs, &self.account, &self.data) {
            // Its children end themselves when they see it gone; the next start replays the log.
            self.child.kill().map_err(ClusterError::io("stop the server on", &self.data))?;
        }
        self.child.wait().map_err(ClusterError::io("watch the server on", &self.data))?;
        Ok(())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Err(error) = self.stop() {
            tracing::error!(%error, "the private server may still run");
        }
    }
}

/// Stops the server on `data` through `pg_ctl`: `fast` ends every connection and writes a checkpoint,
/// `immediate` only ends. True when one of them worked.
pub(super) fn pg_ctl_stop(programs: &Programs, account: &Account, data: &Path) -> bool {
    [("fast", "60"), ("immediate", "20")].iter().any(|(mode, seconds)| {
        let mut pg_ctl = account.command(&programs.bin.join("pg_ctl"));
        pg_ctl.current_dir("/").arg("-D").arg(data).args(["stop", "-s", "-w", "-m", mode, "-t", seconds]);
        pg_ctl.stdin(Stdio::null()).output().is_ok_and(|output| output.status.success())
    })
}

fn failed(command: &Command, source: std::io::Error) -> ClusterError {
    ClusterError::Command { command: command.get_program().to_string_lossy().into_owned(), source }
}
