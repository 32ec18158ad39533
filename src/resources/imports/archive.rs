//! Reads an archive that somebody sends: nothing in it is believed. Only files that the manifest names and that an export has are looked
//! at, none is written anywhere, each has to have the size and SHA-256 that the manifest says, and no more is unpacked than that.

use std::collections::{BTreeSet, HashMap};
use std::io::{self, BufRead, BufReader, Cursor, Read};

use aws_lc_rs::digest::{Context, SHA256};
use serde::Deserialize;
use uuid::Uuid;
use zip::ZipArchive;
use zip::read::ZipFile;

use crate::platform::audit::hex;
use crate::platform::db::tables::exported;
use crate::platform::fault::Fault;

/// Most files of an archive.
const FILES: usize = 200;
/// Largest manifest, and largest line of a table, bytes.
const MANIFEST: u64 = 1 << 20;
const LINE: u64 = 4 << 20;
/// Most that all tables together unpack to, bytes.
pub const UNPACKED: u64 = 512 << 20;
/// Most records of an import: each is a change that phones learn of.
pub const RECORDS: u64 = 100_000;
/// The version of the format that is read.
const VERSION: u32 = 1;
/// Where the number of files stands in the end of an archive, and how long that end is (APPNOTE 6.3, section 4.3.16).
const END: (&[u8], usize, usize) = (b"PK\x05\x06", 10, 22);

/// A fault of the archive as a whole.
pub fn fault(detail: impl Into<String>) -> Vec<Fault> {
    vec![Fault::at("/archive", "archive", detail)]
}

fn unreadable() -> Vec<Fault> {
    fault("cannot be read as the ZIP of an export: send it as it was downloaded")
}

/// A file as the manifest lists it.
#[derive(Debug, Deserialize)]
struct Listed {
    path: String,
    records: Option<u64>,
    bytes: u64,
    sha256: String,
}

/// What the manifest says.
#[derive(Debug, Deserialize)]
pub struct Manifest {
    format: String,
    version: u32,
    /// `club` or `athlete`.
    pub of: String,
    /// The athlete, of an archive of one.
    pub athlete_id: Option<Uuid>,
    files: Vec<Listed>,
}

/// An archive whose manifest can be believed as far as it goes.
pub struct Archive<'a> {
    zip: ZipArchive<Cursor<&'a [u8]>>,
    listed: HashMap<String, Listed>,
    /// Its manifest.
    pub manifest: Manifest,
}

/// How many files the end of an archive tells: a reader that keeps one of two with the same name would not see the other.
fn told(bytes: &[u8]) -> Option<usize> {
    let (mark, at, length) = END;
    let last = bytes.len().checked_sub(length)?;
    let least = last.saturating_sub(usize::from(u16::MAX));
    let start = (least..=last).rev().find(|start| bytes.get(*start..).is_some_and(|end| end.starts_with(mark)))?;
    let count: [u8; 2] = bytes.get(start + at..start + at + 2)?.try_into().ok()?;
    Some(usize::from(u16::from_le_bytes(count)))
}

impl<'a> Archive<'a> {
    /// Opens an archive and judges its manifest.
    ///
    /// # Errors
    /// What is wrong with it as a whole.
    pub fn open(bytes: &'a [u8]) -> Result<Self, Vec<Fault>> {
        let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|_| unreadable())?;
        if zip.len() > FILES || told(bytes) != Some(zip.len()) {
            return Err(fault("has too many files, or two of one name"));
        }
        let known: BTreeSet<String> = exported()
            .flat_map(|table| [format!("json/{}.ndjson", table.name), format!("csv/{}.csv", table.name)])
            .chain(["schema.json".to_owned(), "manifest.json".to_owned()])
            .collect();
        for name in zip.file_names() {
            let name = name.map_err(|_| unreadable())?;
            if !known.contains(&*name) {
                let name: String = name.chars().filter(|c| !c.is_control()).take(80).collect();
                return Err(fault(format!("has a file that no export has: {name}")));
            }
        }
        let mut text = Vec::new();
        let file = zip.by_name("manifest.json").map_err(|_| unreadable())?;
        file.take(MANIFEST + 1).read_to_end(&mut text).map_err(|_| unreadable())?;
        let mut manifest: Manifest = serde_json::from_slice(&text).map_err(|_| unreadable())?;
        if (manifest.format.as_str(), manifest.version) != ("lanewright-export", VERSION) {
            return Err(fault(format!("is of another format or version; this service reads version {VERSION}")));
        }
        let mut listed = HashMap::new();
        for one in std::mem::take(&mut manifest.files) {
            if listed.insert(one.path.clone(), one).is_some() {
                return Err(fault("its manifest lists a file twice"));
            }
        }
        let tables = || listed.values().filter(|one| one.path.starts_with("json/"));
        let sum = |of: fn(&Listed) -> u64| tables().fold(0_u64, |sum, one| sum.saturating_add(of(one)));
        if sum(|one| one.bytes) > UNPACKED || sum(|one| one.records.unwrap_or_default()) > RECORDS {
            let detail = format!(
                "holds more than {RECORDS} records or {UNPACKED} bytes, which is the most that is imported at once"
            );
            return Err(fault(detail));
        }
        Ok(Self { zip, listed, manifest })
    }

    /// The rows of a table; none when the archive does not have it.
    ///
    /// # Errors
    /// When it cannot be unpacked.
    pub fn table(&mut self, name: &str) -> Result<Option<Lines<'_, 'a>>, Vec<Fault>> {
        let path = format!("json/{name}.ndjson");
        let Some(listed) = self.listed.get(&path) else { return Ok(None) };
        let file = self.zip.by_name(&path).map_err(|_| unreadable())?;
        let watched = Watched { file, left: listed.bytes, sum: Context::new(&SHA256) };
        let told = (listed.sha256.to_lowercase(), listed.records.unwrap_or_default());
        Ok(Some(Lines { from: BufReader::new(watched), path, told, count: 0 }))
    }
}

/// A file of which no more is unpacked than it may have.
struct Watched<'z, 'a> {
    file: ZipFile<'z, Cursor<&'a [u8]>>,
    left: u64,
    sum: Context,
}

impl Read for Watched<'_, '_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(buffer)?;
        self.left = self.left.checked_sub(count as u64).ok_or(io::ErrorKind::InvalidData)?;
        self.sum.update(buffer.get(..count).unwrap_or_default());
        Ok(count)
    }
}

/// The lines of a table.
pub struct Lines<'z, 'a> {
    from: BufReader<Watched<'z, 'a>>,
    path: String,
    told: (String, u64),
    /// Lines that were read.
    pub count: u64,
}

impl Lines<'_, '_> {
    /// A fault at the line that was read last.
    pub fn fault(&self, detail: impl std::fmt::Display) -> Vec<Fault> {
        fault(format!("{}, line {}: {detail}", self.path, self.count))
    }

    /// The next lines, at most so many; none behind the last, where size, SHA-256 and count have to be those of the manifest.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn next(&mut self, most: usize) -> Result<Vec<Vec<u8>>, Vec<Fault>> {
        let mut lines = Vec::new();
        while lines.len() < most {
            let mut line = Vec::new();
            let broken = |_| fault(format!("{} is damaged, or not of the size that the manifest says", self.path));
            (&mut self.from).take(LINE + 1).read_until(b'\n', &mut line).map_err(broken)?;
            if line.len() as u64 > LINE {
                return Err(self.fault("is too long"));
            }
            if line.is_empty() {
                break;
            }
            self.count += 1;
            lines.push(line);
        }
        if lines.is_empty() {
            let watched = self.from.get_ref();
            let sum = hex(watched.sum.clone().finish().as_ref());
            if watched.left != 0 || (sum, self.count) != self.told {
                return Err(fault(format!("{} is not as the manifest says: size, count or SHA-256 differ", self.path)));
            }
        }
        Ok(lines)
    }
}
