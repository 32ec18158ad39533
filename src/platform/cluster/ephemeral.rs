//! Runs a command beside a server that exists only for it.

use std::env;
use std::ffi::OsString;
use std::fs::{self, DirBuilder, File};
use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{ExitCode, ExitStatus};
use std::time::Duration;

use rustix::fs::statvfs;
use tokio::process::{Child, Command};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::time::timeout;

use super::{Cluster, ClusterError, Options, state};

/// Start of the name of a folder for one command's server.
const PREFIX: &str = "lanewright-cluster-";

/// Where Linux keeps files in memory, and how many free bytes there count as enough: the tests of the API take 0.1 GB at their
/// peak, a long simulation more, the log of the server at most 1 GB.
const MEMORY: &str = "/dev/shm";
const ROOMY: u64 = 4 << 30;

/// How long a command gets after Ctrl-C, which the terminal sends it as well, and after the request to end.
const AFTER_INTERRUPT: Duration = Duration::from_secs(5);
const AFTER_TERMINATE: Duration = Duration::from_secs(10);

/// Starts a throw-away server, runs `command` with DATABASE_URL pointing at it, stops the server and removes its
/// folder; answers with the command's exit code (128 + signal when a signal ended it).
///
/// The role in DATABASE_URL may create databases and is not a superuser. PGHOST and its kin are set as well, so that
/// `psql` finds the server. SIGINT, SIGTERM and SIGHUP end the command first, then the server.
///
/// # Errors
/// [`ClusterError`] when the server cannot be started or ends under the command, or the command cannot be run.
pub async fn run_with_ephemeral_cluster(command: Vec<OsString>) -> Result<ExitCode, ClusterError> {
    // Before anything is made: a signal from here on waits for the clean-up.
    let mut signals = Signals::listen()?;
    for parent in [Path::new(MEMORY), &env::temp_dir()] {
        remove_abandoned(parent);
    }
    let folder = Folder::make(&parent())?;
    let mut cluster = Cluster::open(Options::throw_away(folder.0.clone())).await?;
    let outcome = run(command, &mut cluster, &mut signals).await;
    cluster.close().await?;
    drop(folder);
    outcome.map(exit_code)
}

async fn run(command: Vec<OsString>, cluster: &mut Cluster, signals: &mut Signals) -> Result<ExitStatus, ClusterError> {
    let mut words = command.into_iter();
    let program = words.next().unwrap_or_else(|| "true".into());
    let failed = |source| ClusterError::Command { command: program.to_string_lossy().into_owned(), source };
    let mut prepared = Command::new(&program);
    prepared.args(words).env("DATABASE_URL", cluster.url());
    for (name, _) in env::vars_os().filter(|(name, _)| is_client_setting(name)) {
        prepared.env_remove(name);
    }
    prepared.env("PGHOST", cluster.socket_folder()).env("PGPORT", "5432");
    prepared.env("PGUSER", "lanewright").env("PGDATABASE", "lanewright");
    let mut child = prepared.spawn().map_err(failed)?;
    let patience = tokio::select! {
        status = child.wait() => return status.map_err(failed),
        patience = signals.patience() => patience,
        error = cluster.watch() => {
            end(&mut child, Duration::ZERO).await.map_err(failed)?;
            return Err(error);
        }
    };
    end(&mut child, patience).await.map_err(failed)
}

/// PGSSLMODE, PGOPTIONS and the like are meant for another server; PG_BINDIR and PG_OS_USER are ours.
fn is_client_setting(name: &OsString) -> bool {
    name.to_str().is_some_and(|name| name.starts_with("PG") && !name.starts_with("PG_"))
}

/// Waits for the command for `patience`, then asks it to end, then makes it.
async fn end(child: &mut Child, patience: Duration) -> std::io::Result<ExitStatus> {
    if let Ok(status) = timeout(patience, child.wait()).await {
        return status;
    }
    if let Some(pid) = child.id() {
        // The shell's own `kill` is there on every system; the program of that name is not.
        Command::new("sh").args(["-c", "kill -TERM \"$0\"", &pid.to_string()]).status().await?;
    }
    if let Ok(status) = timeout(AFTER_TERMINATE, child.wait()).await {
        return status;
    }
    child.kill().await?;
    child.wait().await
}

fn exit_code(status: ExitStatus) -> ExitCode {
    let code = status.code().or_else(|| status.signal().map(|signal| 128 + signal));
    code.and_then(|code| u8::try_from(code).ok()).map_or(ExitCode::FAILURE, ExitCode::from)
}

struct Signals {
    interrupt: Signal,
    terminate: Signal,
    hang_up: Signal,
}

impl Signals {
    fn listen() -> Result<Self, ClusterError> {
        let listen = |kind| signal(kind).map_err(ClusterError::io("listen for signals at", Path::new("this process")));
        Ok(Self {
            interrupt: listen(SignalKind::interrupt())?,
            terminate: listen(SignalKind::terminate())?,
            hang_up: listen(SignalKind::hangup())?,
        })
    }

    /// Waits for a signal and tells how long the command may still run before it is asked to end.
    async fn patience(&mut self) -> Duration {
        tokio::select! {
            _ = self.interrupt.recv() => AFTER_INTERRUPT,
            _ = self.terminate.recv() => Duration::ZERO,
            _ = self.hang_up.recv() => Duration::ZERO,
        }
    }
}

/// Where throw-away data belongs: in memory, where making and dropping a database for each test is cheap, when the
/// system offers enough of it and nobody wishes another place by `TMPDIR`.
fn parent() -> PathBuf {
    let free = statvfs(MEMORY).map_or(0, |memory| memory.f_bavail * memory.f_frsize);
    if free >= ROOMY && env::var_os("TMPDIR").is_none() { MEMORY.into() } else { env::temp_dir() }
}

/// A folder that goes with the value.
struct Folder(PathBuf);

impl Folder {
    fn make(parent: &Path) -> Result<Self, ClusterError> {
        let folder = parent.join(format!("{PREFIX}{}", std::process::id()));
        DirBuilder::new().mode(0o711).create(&folder).map_err(ClusterError::io("create", &folder))?;
        // The umask may have taken the right of the server's account to pass.
        let open = fs::Permissions::from_mode(0o711);
        fs::set_permissions(&folder, open).map_err(ClusterError::io("open", &folder))?;
        Ok(Self(folder))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if let Err(error) = fs::remove_dir_all(&self.0) {
            tracing::warn!(folder = %self.0.display(), %error, "a test server's folder stays behind");
        }
    }
}

/// Stops servers and removes folders whose owner was killed: their lock is free, but names a process.
///
/// A lock file that is still empty belongs to a process that is just about to take it, so it is left alone.
fn remove_abandoned(parent: &Path) {
    for entry in fs::read_dir(parent).into_iter().flatten().flatten() {
        let folder = entry.path();
        let lock = folder.join("lock");
        let ours = entry.file_name().to_string_lossy().starts_with(PREFIX);
        if !ours || state::read_pid(&lock).is_none() || !File::open(&lock).is_ok_and(|lock| lock.try_lock().is_ok()) {
            continue;
        }
        match Cluster::reclaim(&folder) {
            Err(ClusterError::InUse { .. }) => {}
            Err(error) => {
                tracing::warn!(folder = %folder.display(), %error, "an abandoned test server stays behind");
            }
            Ok(()) => drop(fs::remove_dir_all(&folder)),
        }
    }
}
