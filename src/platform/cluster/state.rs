//! The state folder: lock, data, socket and log of one private server.

use std::env;
use std::fs::{self, DirBuilder, File, TryLockError};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{Read, Seek, Write};
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt, chown};
use std::path::{Path, PathBuf};

use super::ClusterError;
use super::account::{self, Account};

/// Longest path of a socket (bytes): 108 with its closing zero on Linux, 104 on macOS.
const LONGEST_SOCKET: usize = if cfg!(target_os = "macos") { 103 } else { 107 };

/// Size from which the log is put aside at the next start (bytes): a design choice.
const LOG_LIMIT: u64 = 10 * 1024 * 1024;

/// A locked state folder.
#[derive(Debug)]
pub(super) struct State {
    pub(super) folder: PathBuf,
    lock: File,
}

impl State {
    /// Makes the folder when it is missing and locks it for this process.
    pub(super) fn lock(folder: &Path) -> Result<Self, ClusterError> {
        let folder = std::path::absolute(folder).map_err(ClusterError::io("find", folder))?;
        if !folder.is_dir() {
            // Others may pass, so that the server's account reaches its data, but neither list nor write.
            let made = DirBuilder::new().recursive(true).mode(0o711).create(&folder);
            made.map_err(ClusterError::io("create", &folder))?;
        }
        close_to_writers(&folder)?;
        let path = folder.join("lock");
        let mut lock = open_own(&path)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let pid = read_pid(&path).unwrap_or_else(|| "unknown".to_owned());
                return Err(ClusterError::InUse { folder, pid });
            }
            Err(TryLockError::Error(error)) => return Err(ClusterError::io("lock", &path)(error)),
        }
        let written = lock.set_len(0).and_then(|()| lock.rewind());
        written.and_then(|()| write!(lock, "{}", std::process::id())).map_err(ClusterError::io("write", &path))?;
        Ok(Self { folder, lock })
    }

    /// Where the server keeps its tables.
    pub(super) fn data(&self) -> PathBuf {
        self.folder.join("data")
    }

    /// Where the server writes what it has to say.
    pub(super) fn log_path(&self) -> PathBuf {
        self.folder.join("postgres.log")
    }

    /// The major version that made the data folder; none when there is no data yet.
    pub(super) fn made_by(&self) -> Result<Option<String>, ClusterError> {
        let data = self.data();
        match fs::read_to_string(data.join("PG_VERSION")) {
            Ok(version) => Ok(Some(version.trim().to_owned())),
            Err(_) if fs::read_dir(&data).is_ok_and(|mut entries| entries.next().is_none()) => Ok(None),
            Err(_) if data.exists() => Err(ClusterError::NotACluster(data)),
            Err(_) => Ok(None),
        }
    }

    /// Opens the log for the server, putting a long one aside first.
    pub(super) fn open_log(&self) -> Result<File, ClusterError> {
        let path = self.log_path();
        if fs::metadata(&path).is_ok_and(|meta| meta.len() > LOG_LIMIT) {
            let aside = self.folder.join("postgres.log.old");
            fs::rename(&path, &aside).map_err(ClusterError::io("rename", &path))?;
        }
        let mut log = open_own(&path)?;
        log.seek(std::io::SeekFrom::End(0)).map_err(ClusterError::io("write", &path))?;
        Ok(log)
    }

    /// A private folder for the socket: `run` beside the data, or a short name below /tmp when that path is too long.
    pub(super) fn socket_folder(&self, account: &Account) -> Result<PathBuf, ClusterError> {
        let near = self.folder.join("run");
        let short = near.join(".s.PGSQL.5432").as_os_str().as_bytes().len() <= LONGEST_SOCKET;
        let folder = if short { near } else { self.far_socket_folder() };
        private_folder(&folder, account)?;
        Ok(folder)
    }

    fn far_socket_folder(&self) -> PathBuf {
        let mut hasher = DefaultHasher::new();
        self.folder.hash(&mut hasher);
        Path::new("/tmp").join(format!("lanewright-socket-{:016x}", hasher.finish()))
    }

    /// Removes a socket folder that is not inside the state folder.
    pub(super) fn remove_far_socket_folder(&self) {
        // The server is gone; a folder that stays behind is empty and is used again.
        drop(fs::remove_dir_all(self.far_socket_folder()));
    }

    /// Lets go of the folder early, before the value is dropped.
    pub(super) fn unlock(&self) {
        // Closing the file unlocks as well.
        drop(self.lock.unlock());
    }
}

/// Takes from others the right to write into a folder: who may write there can put other data in the place of ours.
fn close_to_writers(folder: &Path) -> Result<(), ClusterError> {
    let meta = fs::metadata(folder).map_err(ClusterError::io("look at", folder))?;
    let mode = meta.mode() & 0o7777;
    if mode & 0o022 == 0 {
        return Ok(());
    }
    // One with the sticky bit is shared on purpose, as /tmp is.
    let shared = mode & 0o1000 != 0;
    let closed = !shared && fs::set_permissions(folder, fs::Permissions::from_mode(mode & !0o022)).is_ok();
    if closed { Ok(()) } else { Err(ClusterError::OpenToOthers(folder.to_owned())) }
}

/// Makes a folder that only the server's account can enter, or checks that an existing one is so.
pub(super) fn private_folder(folder: &Path, account: &Account) -> Result<(), ClusterError> {
    match DirBuilder::new().mode(0o700).create(folder) {
        Ok(()) if account.lent => {
            chown(folder, Some(account.uid), Some(account.gid)).map_err(ClusterError::io("hand over", folder))
        }
        Ok(()) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            let meta = fs::symlink_metadata(folder).map_err(ClusterError::io("look at", folder))?;
            if !meta.is_dir() || meta.uid() != account.uid {
                return Err(account::foreign(folder, meta.uid()));
            }
            let private = fs::Permissions::from_mode(0o700);
            fs::set_permissions(folder, private).map_err(ClusterError::io("close", folder))
        }
        Err(error) => Err(ClusterError::io("create", folder)(error)),
    }
}

/// The process id that a lock file names; none while it is still empty.
pub(super) fn read_pid(lock: &Path) -> Option<String> {
    let mut text = String::new();
    File::open(lock).ok()?.take(32).read_to_string(&mut text).ok()?;
    let pid = text.trim();
    pid.parse::<u32>().is_ok().then(|| pid.to_owned())
}

/// Opens or makes a file of ours; refuses a link, which another account may have laid where root writes.
fn open_own(path: &Path) -> Result<File, ClusterError> {
    if fs::symlink_metadata(path).is_ok_and(|meta| !meta.is_file()) {
        return Err(ClusterError::NotACluster(path.to_owned()));
    }
    let mut options = File::options();
    options.create(true).read(true).write(true).truncate(false).mode(0o600);
    options.open(path).map_err(ClusterError::io("open", path))
}

/// Where the private server's data lives when nothing else is asked for: LANEWRIGHT_DATA_DIR, else
/// `/var/lib/lanewright` for root, else `lanewright` in the user's XDG state folder.
///
/// # Errors
/// [`ClusterError::NoHome`] when an ordinary user has neither XDG_STATE_HOME nor HOME.
pub fn default_folder() -> Result<PathBuf, ClusterError> {
    let set = |name: &str| env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    if let Some(folder) = set("LANEWRIGHT_DATA_DIR") {
        return Ok(folder);
    }
    if account::is_root()? {
        return Ok(PathBuf::from("/var/lib/lanewright"));
    }
    let states = set("XDG_STATE_HOME").or_else(|| Some(set("HOME")?.join(".local/state")));
    Ok(states.ok_or(ClusterError::NoHome)?.join("lanewright"))
}
