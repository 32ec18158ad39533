//! What can go wrong with the private server, each in one line that says what to do.

use std::io;
use std::path::{Path, PathBuf};

/// Why the private PostgreSQL server could not be started, used or stopped.
///
/// `Display` is one line for the person at the terminal: what happened and what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum ClusterError {
    /// No folder holds both `initdb` and `postgres`.
    #[error(
        "no PostgreSQL server programs found: run `{install}`, or set PG_BINDIR to the folder that holds initdb and postgres, or DATABASE_URL to a running server"
    )]
    NoPrograms {
        /// The command for this platform.
        install: &'static str,
    },
    /// `PG_BINDIR` points at a folder without the programs.
    #[error("PG_BINDIR is {} but initdb, postgres and pg_ctl are not all there", .0.display())]
    WrongBindir(PathBuf),
    /// Only programs older than the oldest supported version are installed.
    #[error("PostgreSQL {found} is too old: version {needed} or newer is needed, run `{install}`")]
    TooOld {
        /// Newest major version found.
        found: u32,
        /// Oldest supported major version.
        needed: u32,
        /// The command for this platform.
        install: &'static str,
    },
    /// The data folder was made by a major version that is not installed.
    #[error(
        "{} was made by PostgreSQL {needed} but only {found} is installed: install version {needed}, or dump and restore into a new folder", .data.display()
    )]
    OtherVersion {
        /// The data folder.
        data: PathBuf,
        /// Major version that made the folder.
        needed: String,
        /// Major versions found, newest first.
        found: String,
    },
    /// Another process runs a server on this folder.
    #[error(
        "{} is in use by process {pid}: stop that process first, or set LANEWRIGHT_DATA_DIR to another folder", .folder.display()
    )]
    InUse {
        /// The state folder.
        folder: PathBuf,
        /// Process id as written in the lock file, or "unknown".
        pid: String,
    },
    /// Started as root, and no account is there to run the server as.
    #[error(
        "PostgreSQL refuses to run as root and there is no account `postgres` or `nobody`: set PG_OS_USER to an ordinary account, or start as one"
    )]
    NoAccount,
    /// `PG_OS_USER` names an account that does not exist, or root.
    #[error("PG_OS_USER is `{0}`, which is not an ordinary account of this machine")]
    WrongAccount(String),
    /// The server's account may not pass one of the folders above its data.
    #[error(
        "account `{account}` may not enter {}: `chmod o+x` that folder, or put the data elsewhere with LANEWRIGHT_DATA_DIR (tests: TMPDIR)", .folder.display()
    )]
    CannotEnter {
        /// Account name or number.
        account: String,
        /// The first folder it cannot enter.
        folder: PathBuf,
    },
    /// A file or folder of ours belongs to somebody else.
    #[error(
        "{} belongs to account `{owner}`: start as that account, or set LANEWRIGHT_DATA_DIR to a folder of your own", .path.display()
    )]
    ForeignOwner {
        /// The file or folder.
        path: PathBuf,
        /// Account name or number.
        owner: String,
    },
    /// Others may write into the folder, and it is not ours to close.
    #[error(
        "others may write into {}: run `chmod go-w` on it as its owner, or set LANEWRIGHT_DATA_DIR to a folder of your own", .0.display()
    )]
    OpenToOthers(PathBuf),
    /// The data folder holds something that is not a PostgreSQL data folder.
    #[error(
        "{} exists but is not a PostgreSQL data folder: move it away, or set LANEWRIGHT_DATA_DIR to another folder", .0.display()
    )]
    NotACluster(PathBuf),
    /// Neither LANEWRIGHT_DATA_DIR nor a home folder says where data may live.
    #[error("no home folder to keep data in: set LANEWRIGHT_DATA_DIR to a folder of your own")]
    NoHome,
    /// `initdb` failed.
    #[error("initdb failed: {0}")]
    Initdb(String),
    /// The server ended by itself.
    #[error("the PostgreSQL server stopped by itself ({status}): {tail} (full log: {})", .log.display())]
    Exited {
        /// Exit status of the server.
        status: String,
        /// Last lines of the log, joined.
        tail: String,
        /// The log file.
        log: PathBuf,
    },
    /// The server did not become ready in ten minutes.
    #[error("the PostgreSQL server was not ready after {seconds} s, see {}", .log.display())]
    NotReady {
        /// How long it was given (s).
        seconds: u64,
        /// The log file.
        log: PathBuf,
    },
    /// Processes of an earlier server on this folder do not go away.
    #[error("an earlier PostgreSQL server still runs as process {0}: stop it with `kill {0}` and start again")]
    Leftover(u32),
    /// A file operation failed.
    #[error("cannot {action} {}: {source}", .path.display())]
    Io {
        /// What was tried, as in "create".
        action: &'static str,
        /// On which file or folder.
        path: PathBuf,
        /// The system's answer.
        source: io::Error,
    },
    /// The roles or the database could not be created.
    #[error("cannot prepare the private database: {0}")]
    Bootstrap(#[from] sqlx::Error),
    /// The command to run beside a test server could not be started.
    #[error("cannot run `{command}`: {source}")]
    Command {
        /// The command's first word.
        command: String,
        /// The system's answer.
        source: io::Error,
    },
    /// The thread that starts the server ended early.
    #[error("the start of the private server was interrupted")]
    Interrupted,
}

impl ClusterError {
    /// The exit code for a program that ends with this error: 3 when server programs must be installed
    /// first, 4 when the server ended by itself, 1 otherwise (design choice).
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::NoPrograms { .. } | Self::TooOld { .. } | Self::OtherVersion { .. } => 3,
            Self::Exited { .. } => 4,
            _ => 1,
        }
    }

    /// Names the operation and the path of a failed file operation.
    pub(super) fn io(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { action, path, source }
    }
}

/// Puts the last lines of a program's output on one line, at most about 400 characters.
pub(super) fn one_line(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let joined = lines.get(lines.len().saturating_sub(4)..).unwrap_or_default().join(" | ");
    let skip = joined.chars().count().saturating_sub(400);
    joined.chars().skip(skip).collect()
}
