//! Finds the PostgreSQL server programs of this machine.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::ClusterError;

/// Oldest supported major version (design choice: the oldest one the schema is tested on).
const OLDEST: u32 = 15;

/// Where distributions put the programs: parent folder, start of the per-version name, folder below it.
///
/// Debian and Ubuntu, Alpine, openSUSE, the RPM packages of the PostgreSQL project, Homebrew on both kinds of
/// Mac, MacPorts. Common practice, no source.
const PER_VERSION: &[(&str, &str, &str)] = &[
    ("/usr/lib/postgresql", "", "bin"),
    ("/usr/libexec", "postgresql", ""),
    ("/usr/lib", "postgresql", "bin"),
    ("/usr", "pgsql-", "bin"),
    ("/opt/homebrew/opt", "postgresql", "bin"),
    ("/usr/local/opt", "postgresql", "bin"),
    ("/opt/local/lib", "postgresql", "bin"),
];

/// The folder of one installed server and its major version.
#[derive(Clone, Debug)]
pub(super) struct Programs {
    pub(super) bin: PathBuf,
    pub(super) major: u32,
}

impl Programs {
    /// Picks the programs of version `made_by`, the content of a data folder's `PG_VERSION`, else the newest.
    pub(super) fn find(data: &Path, made_by: Option<&str>) -> Result<Self, ClusterError> {
        let mut found = match env::var_os("PG_BINDIR").map(PathBuf::from) {
            Some(bin) => vec![Self::at(&bin).ok_or(ClusterError::WrongBindir(bin))?],
            None => candidates().iter().filter_map(|bin| Self::at(bin)).collect(),
        };
        found.sort_by_key(|programs| std::cmp::Reverse(programs.major));
        let newest = found.first().ok_or(ClusterError::NoPrograms { install: install_line() })?;
        if newest.major < OLDEST {
            return Err(ClusterError::TooOld { found: newest.major, needed: OLDEST, install: install_line() });
        }
        let Some(needed) = made_by else {
            return Ok(newest.clone());
        };
        found.iter().find(|programs| programs.major.to_string() == needed).cloned().ok_or_else(|| {
            let versions: Vec<String> = found.iter().map(|programs| programs.major.to_string()).collect();
            ClusterError::OtherVersion { data: data.to_owned(), needed: needed.to_owned(), found: versions.join(", ") }
        })
    }

    fn at(bin: &Path) -> Option<Self> {
        if !["initdb", "postgres", "pg_ctl"].iter().all(|name| bin.join(name).is_file()) {
            return None;
        }
        let output = Command::new(bin.join("postgres")).arg("--version").output().ok()?;
        let major = parse_major(&String::from_utf8_lossy(&output.stdout))?;
        Some(Self { bin: bin.to_owned(), major })
    }
}

/// Reads 15 from "postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)" and 19 from a "19beta1".
fn parse_major(version: &str) -> Option<u32> {
    let number = version.split_whitespace().find(|word| word.starts_with(|c: char| c.is_ascii_digit()))?;
    let digits: String = number.chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok()
}

fn candidates() -> Vec<PathBuf> {
    let mut folders = Vec::new();
    for (parent, start, below) in PER_VERSION {
        let entries = fs::read_dir(parent).into_iter().flatten().flatten();
        for entry in entries.filter(|entry| entry.file_name().to_string_lossy().starts_with(start)) {
            folders.push(entry.path().join(below));
        }
    }
    folders.push(PathBuf::from("/usr/local/pgsql/bin"));
    folders.extend(env::split_paths(&env::var_os("PATH").unwrap_or_default()));
    folders
}

/// The command that installs the server programs on this platform.
pub(super) fn install_line() -> &'static str {
    if cfg!(target_os = "macos") {
        return "brew install postgresql@16";
    }
    let release = fs::read_to_string("/etc/os-release").unwrap_or_default();
    install_line_of(&release)
}

fn install_line_of(release: &str) -> &'static str {
    let names: Vec<&str> = release
        .lines()
        .filter_map(|line| line.strip_prefix("ID=").or_else(|| line.strip_prefix("ID_LIKE=")))
        .flat_map(|value| value.trim_matches('"').split_whitespace())
        .collect();
    let is = |name: &str| names.contains(&name);
    if is("fedora") || is("rhel") {
        "dnf install -y postgresql-server"
    } else if is("alpine") {
        "apk add postgresql16"
    } else if is("arch") {
        "pacman -S --noconfirm postgresql"
    } else {
        "apt-get update && apt-get install -y postgresql"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_major_version_is_read_from_the_programs_own_words() {
        assert_eq!(parse_major("postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)"), Some(15));
        assert_eq!(parse_major("postgres (PostgreSQL) 19beta1\n"), Some(19));
        assert_eq!(parse_major("postgres: error"), None);
    }

    #[test]
    fn the_install_line_fits_the_distribution() {
        assert!(install_line_of("ID=debian\n").starts_with("apt-get"));
        assert!(install_line_of("ID=linuxmint\nID_LIKE=\"ubuntu debian\"\n").starts_with("apt-get"));
        assert!(install_line_of("ID=\"rocky\"\nID_LIKE=\"rhel centos fedora\"\n").starts_with("dnf"));
        assert!(install_line_of("ID=alpine\n").starts_with("apk"));
    }
}
