//! Reads an archive that somebody sends: nothing in it is believed. Only files that the manifest names and that an export has are looked
//! at, none is written anywhere, each has to have the size and SHA-256 that the manifest says, and no more is unpacked than that.

use std::collections::{BTreeSet, HashMap};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};

use aws_lc_rs::digest::{Context, SHA256};
use serde::Deserialize;
use uuid::Uuid;
use zip::ZipArchive;
use zip::read::ZipFile;

use crate::platform::audit::hex;
use crate::platform::db::tables::{exported, imported};
use crate::platform::fault::Fault;
use crate::platform::intake::Spooled;

/// Most files of an archive.
const FILES: usize = 200;
/// Largest directory of an archive, largest manifest, largest line of a table and what of a table is in memory at once, bytes.
const DIRECTORY: u64 = 1 << 20;
const MANIFEST: u64 = 1 << 20;
const LINE: u64 = 4 << 20;
const PAGE: usize = 4 << 20;
/// Most that all imported tables together unpack to, bytes: four times what a club of a gibibyte holds.
pub const UNPACKED: u64 = 4 << 30;
/// Most records of an import: each is a change that phones learn of.
pub const RECORDS: u64 = 5_000_000;
/// The version of the format that is read.
const VERSION: u32 = 1;
/// Where the end of an archive begins, counted from behind: without a remark it is so long (APPNOTE 6.3, section 4.3.16).
const END: u64 = 22;

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
#[derive(Debug)]
pub struct Archive {
    zip: ZipArchive<BufReader<Spooled>>,
    listed: HashMap<String, Listed>,
    /// Its manifest.
    pub manifest: Manifest,
    /// What the tables that are read unpack to, as it says, bytes.
    pub unpacked: u64,
}

/// How many files the end of an archive tells: a reader that keeps one of two with the same name would not see the other. Before
/// anything else is read: an end that is elsewhere, or a directory that is larger than ours or not right before it, is not looked at.
fn told(file: &mut Spooled) -> io::Result<Option<usize>> {
    let length = file.seek(SeekFrom::End(0))?;
    let Some(at) = length.checked_sub(END) else { return Ok(None) };
    file.seek(SeekFrom::Start(at))?;
    let mut mark = [0; 8];
    file.read_exact(&mut mark)?;
    let mut number = |bytes: usize| -> io::Result<u64> {
        let mut number = [0; 8];
        file.read_exact(number.get_mut(..bytes).unwrap_or_default())?;
        Ok(u64::from_le_bytes(number))
    };
    let (here, all, size, start, remark) = (number(2)?, number(2)?, number(4)?, number(4)?, number(2)?);
    let whole = &mark == b"PK\x05\x06\0\0\0\0" && here == all && size <= DIRECTORY && start + size == at && remark == 0;
    Ok(usize::try_from(all).ok().filter(|_| whole))
}

impl Archive {
    /// Opens an archive and judges its manifest.
    ///
    /// # Errors
    /// What is wrong with it as a whole.
    pub fn open(mut file: Spooled) -> Result<Self, Vec<Fault>> {
        let told = told(&mut file).map_err(|_| unreadable())?.ok_or_else(unreadable)?;
        if told > FILES {
            return Err(fault("has too many files"));
        }
        let mut zip = ZipArchive::new(BufReader::new(file)).map_err(|_| unreadable())?;
        if zip.len() != told {
            return Err(fault("has two files of one name"));
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
        let names = || imported().map(|table| table.name).chain(["clubs", "root_scope"]);
        let read = || names().filter_map(|name| listed.get(&format!("json/{name}.ndjson")));
        let sum = |of: fn(&Listed) -> u64| read().fold(0_u64, |sum, one| sum.saturating_add(of(one)));
        let unpacked = sum(|one| one.bytes);
        if unpacked > UNPACKED || sum(|one| one.records.unwrap_or_default()) > RECORDS {
            let detail = format!(
                "holds more than {RECORDS} records or {UNPACKED} bytes, which is the most that is imported at once"
            );
            return Err(fault(detail));
        }
        Ok(Self { zip, listed, manifest, unpacked })
    }

    /// The rows of a table; none when the archive does not have it.
    ///
    /// # Errors
    /// When it cannot be unpacked.
    pub fn table(&mut self, name: &str) -> Result<Option<Lines<'_>>, Vec<Fault>> {
        let path = format!("json/{name}.ndjson");
        let Some(listed) = self.listed.get(&path) else { return Ok(None) };
        let file = self.zip.by_name(&path).map_err(|_| unreadable())?;
        let watched = Watched { file, left: listed.bytes, sum: Context::new(&SHA256) };
        let told = (listed.sha256.to_lowercase(), listed.records.unwrap_or_default());
        Ok(Some(Lines { from: BufReader::new(watched), path, told, count: 0 }))
    }
}

/// A file of which no more is unpacked than it may have.
struct Watched<'z> {
    file: ZipFile<'z, BufReader<Spooled>>,
    left: u64,
    sum: Context,
}

impl Read for Watched<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(buffer)?;
        self.left = self.left.checked_sub(count as u64).ok_or(io::ErrorKind::InvalidData)?;
        self.sum.update(buffer.get(..count).unwrap_or_default());
        Ok(count)
    }
}

/// The lines of a table.
pub struct Lines<'z> {
    from: BufReader<Watched<'z>>,
    path: String,
    told: (String, u64),
    /// Lines that were read.
    pub count: u64,
}

impl Lines<'_> {
    /// A fault at the line that was read last.
    pub fn fault(&self, detail: impl std::fmt::Display) -> Vec<Fault> {
        fault(format!("{}, line {}: {detail}", self.path, self.count))
    }

    /// The next lines, at most so many and about [`PAGE`]; none behind the last, where size, SHA-256 and count have to be those of the manifest.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn next(&mut self, most: usize) -> Result<Vec<Vec<u8>>, Vec<Fault>> {
        let (mut lines, mut bytes) = (Vec::new(), 0);
        while lines.len() < most && bytes < PAGE {
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
            bytes += line.len();
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
