//! Passwords that were stolen somewhere: a list that an operator keeps on the machine, so that no password leaves it.
//!
//! The file has one line for each, the SHA-1 in capital hexadecimal digits, in order; what follows a colon (how often it was
//! seen) is left aside. It may be as large as the disk: it is looked up, not read.

use std::fs::File;
use std::io::{BufRead, BufReader, Seek, SeekFrom};
use std::path::Path;

use aws_lc_rs::digest::{SHA1_FOR_LEGACY_USE_ONLY, digest};

use super::audit::hex;

/// Digits of a hash.
const DIGITS: usize = 40;

/// The hash of a line; none when it is none.
fn hash_of(line: &[u8]) -> Option<&[u8]> {
    let hash = line.get(..DIGITS)?;
    let digits = hash.iter().all(|c| c.is_ascii_digit() || (b'A'..=b'F').contains(c));
    (digits && line.get(DIGITS).is_none_or(|c| matches!(c, b':' | b'\r' | b'\n'))).then_some(hash)
}

/// The first whole line at or after a place; none at the end.
fn line_from(file: &mut BufReader<File>, place: u64) -> std::io::Result<Option<Vec<u8>>> {
    // From the byte before, so that a line that begins at the place is found.
    file.seek(SeekFrom::Start(place.saturating_sub(1)))?;
    let mut line = Vec::new();
    if place > 0 {
        file.read_until(b'\n', &mut line)?;
        line.clear();
    }
    Ok((file.read_until(b'\n', &mut line)? > 0).then_some(line))
}

/// Whether a list can be used, as far as its head tells.
///
/// # Errors
/// When it cannot be read or is another kind of file.
pub fn check(path: &Path) -> std::io::Result<()> {
    let head = line_from(&mut BufReader::new(File::open(path)?), 0)?;
    match head.as_deref().and_then(hash_of) {
        Some(_) => Ok(()),
        None => Err(std::io::Error::other("has no lines of 40 capital hexadecimal digits")),
    }
}

/// Whether a password, in its normal form, is in a list.
///
/// # Errors
/// When the list cannot be read.
pub fn lists(path: &Path, password: &str) -> std::io::Result<bool> {
    let wanted = hex(digest(&SHA1_FOR_LEGACY_USE_ONLY, password.as_bytes()).as_ref()).to_uppercase();
    let file = File::open(path)?;
    // The first line that is not before the wanted one begins in [low, high].
    let (mut low, mut high) = (0, file.metadata()?.len());
    let mut file = BufReader::with_capacity(256, file);
    while low < high {
        let middle = low + (high - low) / 2;
        let line = line_from(&mut file, middle)?;
        if line.as_deref().is_some_and(|line| hash_of(line).is_some_and(|hash| hash < wanted.as_bytes())) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    let found = line_from(&mut file, low)?;
    Ok(found.as_deref().and_then(hash_of) == Some(wanted.as_bytes()))
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::*;

    fn hash(password: &str) -> String {
        let hash = digest(&SHA1_FOR_LEGACY_USE_ONLY, password.as_bytes());
        hash.as_ref().iter().fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02X}");
            text
        })
    }

    #[test]
    fn every_listed_password_is_found_and_no_other() {
        let path = std::env::temp_dir().join(format!("lanewright-list-{}", uuid::Uuid::now_v7()));
        for count in [1, 2, 3, 10, 1_000] {
            for end in ["\n", "\r\n"] {
                let mut lines: Vec<String> =
                    (0..count).map(|n| format!("{}:{}", hash(&format!("p{n}")), n * 7)).collect();
                lines.sort_unstable();
                std::fs::write(&path, lines.join(end)).unwrap();
                check(&path).unwrap();
                assert!((0..count).all(|n| lists(&path, &format!("p{n}")).unwrap()), "{count}");
                assert!((0..count).all(|n| !lists(&path, &format!("q{n}")).unwrap()), "{count}");
            }
        }
        std::fs::write(&path, "password\n").unwrap();
        assert!(check(&path).is_err());
        std::fs::write(&path, "").unwrap();
        assert!(check(&path).is_err() && !lists(&path, "p1").unwrap());
        std::fs::remove_file(path).unwrap();
    }

    /// FIPS 180-4: the SHA-1 of "abc".
    #[test]
    fn the_hash_is_that_of_the_standard() {
        assert_eq!(hash("abc"), "A9993E364706816ABA3E25717850C26C9CD0D89D");
    }
}
