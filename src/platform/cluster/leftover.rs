//! What a killed owner leaves behind: half-made data, an orphan server, a stale pid file.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, Instant};

use super::ClusterError;
use super::account::Account;
use super::programs::Programs;
use super::server;
use super::state::State;

/// Start of the name of a data folder in the making.
pub(super) const HALF_MADE: &str = "data.new.";

/// How long processes of a dead server get to notice its death: they look at once, but may be in a long write.
const PATIENCE: Duration = Duration::from_mins(1);

/// Removes data folders whose making was cut short. An `initdb` that outlived its owner may still write into
/// one, so a folder that cannot be removed now is left to the next start.
pub(super) fn remove_half_made(state: &State) {
    for entry in fs::read_dir(&state.folder).into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with(HALF_MADE)
            && let Err(error) = fs::remove_dir_all(entry.path())
        {
            tracing::warn!(folder = %entry.path().display(), %error, "a half-made data folder stays for now");
        }
    }
}

/// Stops whatever still runs on the data folder and removes a pid file that belongs to nobody.
///
/// The caller holds the lock, so a server found here has lost its owner. A process is stopped only when it is a
/// `postgres` **and** works in this very folder: the pid file alone may name a stranger.
pub(super) fn clear(state: &State, account: &Account, programs: &Programs) -> Result<(), ClusterError> {
    let data = state.data();
    let pid_file = data.join("postmaster.pid");
    let named = fs::read_to_string(&pid_file).ok().and_then(|text| first_number(&text));
    if let Some(pid) = named
        && works_in(pid, &data, account)
    {
        tracing::warn!(pid, "stopping a server whose owner was killed");
        server::pg_ctl_stop(programs, account, &data);
    }
    let start = Instant::now();
    while let Some(pid) = servers_in(&data, account).first().copied() {
        if start.elapsed() > PATIENCE {
            return Err(ClusterError::Leftover(pid));
        }
        sleep(Duration::from_millis(20));
    }
    // Without a process file system the server's own check of its pid file has to do.
    if has_proc() && pid_file.exists() {
        fs::remove_file(&pid_file).map_err(ClusterError::io("remove", &pid_file))?;
    }
    Ok(())
}

fn first_number(text: &str) -> Option<u32> {
    text.lines().next()?.trim().parse().ok()
}

fn has_proc() -> bool {
    Path::new("/proc/self/exe").exists()
}

/// Every living process of a server on `data`, its children too.
fn servers_in(data: &Path, account: &Account) -> Vec<u32> {
    let entries = fs::read_dir("/proc").into_iter().flatten().flatten();
    let pids = entries.filter_map(|entry| entry.file_name().to_str()?.parse().ok());
    pids.filter(|pid| has_proc() && works_in(*pid, data, account)).collect()
}

/// Whether the process is a `postgres` whose working folder is `data`.
fn works_in(pid: u32, data: &Path, account: &Account) -> bool {
    if !has_proc() {
        return is_postgres_without_proc(pid, account);
    }
    let process = PathBuf::from(format!("/proc/{pid}"));
    let owner = fs::metadata(&process).map(|meta| meta.uid()).ok();
    let name = fs::read_to_string(process.join("comm")).unwrap_or_default();
    // Both are open to everyone and spare the look at the rest.
    if owner != Some(account.uid) || name.trim() != "postgres" {
        return false;
    }
    let program = link(&process.join("exe"), account);
    let is_postgres =
        program.is_some_and(|path| path.to_string_lossy().trim_end_matches(" (deleted)").ends_with("/postgres"));
    is_postgres && link(&process.join("cwd"), account).is_some_and(|folder| same(&folder, data))
}

fn same(left: &Path, right: &Path) -> bool {
    left == right || fs::canonicalize(right).is_ok_and(|right| left == right)
}

/// Follows a link below /proc. Root without the right to trace others (usual in containers) asks as the account.
fn link(path: &Path, account: &Account) -> Option<PathBuf> {
    fs::read_link(path).ok().or_else(|| {
        let output = account.command(Path::new("readlink")).arg(path).output().ok()?;
        let text = String::from_utf8_lossy(&output.stdout).trim_end().to_owned();
        (!text.is_empty()).then(|| PathBuf::from(text))
    })
}

fn is_postgres_without_proc(pid: u32, account: &Account) -> bool {
    let mut ps = account.command(Path::new("ps"));
    let output = ps.args(["-o", "comm=", "-p", &pid.to_string()]).output();
    output.is_ok_and(|output| String::from_utf8_lossy(&output.stdout).trim().ends_with("postgres"))
}
