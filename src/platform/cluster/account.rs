//! Which account runs the server. PostgreSQL refuses root, so root lends it another one.

use std::env;
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Command;

use super::ClusterError;

/// The account of the server.
#[derive(Clone, Debug)]
pub(super) struct Account {
    /// User number.
    pub(super) uid: u32,
    /// Group number.
    pub(super) gid: u32,
    /// True when we are root and the server's programs must change to this account.
    pub(super) lent: bool,
}

impl Account {
    /// Oneself; as root: the owner of an existing data folder, else PG_OS_USER, else `postgres`, else `nobody`.
    pub(super) fn choose(data: &Path) -> Result<Self, ClusterError> {
        let (uid, gid) = (own_number("-u")?, own_number("-g")?);
        let owner = fs::metadata(data).ok().map(|meta| (meta.uid(), meta.gid()));
        if uid != 0 {
            return match owner {
                Some((other, _)) if other != uid => Err(foreign(data, other)),
                _ => Ok(Self { uid, gid, lent: false }),
            };
        }
        match owner {
            Some((uid, gid)) if uid != 0 => {
                return Ok(Self { uid, gid, lent: true });
            }
            Some(_) if fs::read_dir(data).is_ok_and(|mut entries| entries.next().is_some()) => {
                return Err(ClusterError::NotACluster(data.to_owned()));
            }
            _ => {}
        }
        if let Ok(name) = env::var("PG_OS_USER") {
            return find(&name).ok_or(ClusterError::WrongAccount(name));
        }
        find("postgres").or_else(|| find("nobody")).ok_or(ClusterError::NoAccount)
    }

    /// A command that runs as this account, knows nothing of our environment and survives Ctrl-C in the terminal.
    pub(super) fn command(&self, program: &Path) -> Command {
        let mut command = Command::new(program);
        command.env_clear().env("PATH", "/usr/bin:/bin:/usr/sbin:/sbin").process_group(0);
        command.env("LC_ALL", if cfg!(target_os = "macos") { "en_US.UTF-8" } else { "C.UTF-8" });
        if self.lent {
            command.uid(self.uid).gid(self.gid);
        }
        command
    }

    /// Checks that the account may pass every folder down to `path`.
    ///
    /// Looks at owner, group and other bits only: extra groups are dropped when root lends an account.
    pub(super) fn check_way_to(&self, path: &Path) -> Result<(), ClusterError> {
        if !self.lent {
            return Ok(());
        }
        let mut folders: Vec<&Path> = path.ancestors().collect();
        folders.reverse();
        for folder in folders {
            let meta = fs::metadata(folder).map_err(ClusterError::io("look at", folder))?;
            let shift = match () {
                () if meta.uid() == self.uid => 6,
                () if meta.gid() == self.gid => 3,
                () => 0,
            };
            if (meta.mode() >> shift) & 1 == 0 {
                return Err(ClusterError::CannotEnter { account: name_of(self.uid), folder: folder.to_owned() });
            }
        }
        Ok(())
    }
}

/// True when this process runs as root.
pub(super) fn is_root() -> Result<bool, ClusterError> {
    Ok(own_number("-u")? == 0)
}

/// The error for a file of another account.
pub(super) fn foreign(path: &Path, owner: u32) -> ClusterError {
    ClusterError::ForeignOwner { path: path.to_owned(), owner: name_of(owner) }
}

/// Asks `id`, since the standard library does not tell one's own numbers.
fn own_number(flag: &str) -> Result<u32, ClusterError> {
    let io = |source| ClusterError::Command { command: format!("id {flag}"), source };
    let output = Command::new("id").arg(flag).output().map_err(io)?;
    let text = String::from_utf8_lossy(&output.stdout);
    text.trim().parse().map_err(|_| io(std::io::Error::other("no number in its answer")))
}

/// The lines of the passwd file as name, user number, group number.
fn entries() -> Vec<(String, u32, u32)> {
    let passwd = fs::read_to_string("/etc/passwd").unwrap_or_default();
    let parse = |line: &str| {
        let mut fields = line.split(':');
        let name = fields.next()?.to_owned();
        let uid = fields.nth(1)?.parse().ok()?;
        let gid = fields.next()?.parse().ok()?;
        Some((name, uid, gid))
    };
    passwd.lines().filter_map(parse).collect()
}

fn find(name: &str) -> Option<Account> {
    let (_, uid, gid) = entries().into_iter().find(|entry| entry.0 == name && entry.1 != 0)?;
    Some(Account { uid, gid, lent: true })
}

fn name_of(uid: u32) -> String {
    entries().into_iter().find(|entry| entry.1 == uid).map_or_else(|| uid.to_string(), |entry| entry.0)
}
