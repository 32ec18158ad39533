//! Writes an archive (ZIP, APPNOTE 6.3; Deflate, RFC 1951) as a stream of pieces: what was written is counted and hashed and leaves
//! memory.

use std::io::{self, Write};
use std::mem;
use std::sync::{Arc, Mutex, PoisonError};

use aws_lc_rs::digest::{Context, SHA256};
use serde::Serialize;
use zip::ZipWriter;
use zip::result::ZipResult;
use zip::write::{SimpleFileOptions, StreamWriter};

use crate::platform::audit::hex;

/// Bytes of a piece, about.
const PIECE: usize = 1 << 20;

/// What was packed and not yet taken.
#[derive(Clone, Debug, Default)]
struct Sink(Arc<Mutex<Vec<u8>>>);

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A file of an archive, as the manifest names it.
#[derive(Clone, Debug, Serialize)]
pub struct Listed {
    /// Its path in the archive.
    pub path: String,
    /// Records in it; none of what is no table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub records: Option<u64>,
    /// Its size unpacked.
    pub bytes: u64,
    /// SHA-256 of it unpacked, hexadecimal.
    pub sha256: String,
}

/// A file that is being written.
struct Open {
    path: String,
    records: u64,
    bytes: u64,
    sum: Context,
}

/// An archive that is being written.
pub struct Archive {
    zip: ZipWriter<StreamWriter<Sink>>,
    sink: Sink,
    open: Option<Open>,
    listed: Vec<Listed>,
    bytes: u64,
    sum: Context,
}

impl Archive {
    /// An empty one.
    pub fn new() -> Self {
        let sink = Sink::default();
        Self {
            zip: ZipWriter::new_stream(sink.clone()),
            sink,
            open: None,
            listed: Vec::new(),
            bytes: 0,
            sum: Context::new(&SHA256),
        }
    }

    /// The files that are whole.
    pub fn listed(&self) -> &[Listed] {
        &self.listed
    }

    /// Bytes that were taken.
    pub const fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Begins a file; the one before ends.
    pub fn begin(&mut self, path: &str) -> ZipResult<()> {
        self.end(false);
        // A table may hold more than four gibibytes.
        self.zip.start_file(path, SimpleFileOptions::default().large_file(true))?;
        self.open = Some(Open { path: path.to_owned(), records: 0, bytes: 0, sum: Context::new(&SHA256) });
        Ok(())
    }

    /// Writes on, with so many records.
    pub fn write(&mut self, bytes: &[u8], records: usize) -> io::Result<()> {
        self.zip.write_all(bytes)?;
        if let Some(open) = &mut self.open {
            open.sum.update(bytes);
            open.bytes += bytes.len() as u64;
            open.records += records as u64;
        }
        Ok(())
    }

    /// Ends the file that is being written; records are told of a table.
    pub fn end(&mut self, is_table: bool) {
        if let Some(open) = self.open.take() {
            self.listed.push(Listed {
                path: open.path,
                records: is_table.then_some(open.records),
                bytes: open.bytes,
                sha256: hex(open.sum.finish().as_ref()),
            });
        }
    }

    /// A piece, once there is enough for one.
    pub fn piece(&mut self) -> Option<Vec<u8>> {
        let mut waiting = self.sink.0.lock().unwrap_or_else(PoisonError::into_inner);
        if waiting.len() < PIECE {
            return None;
        }
        let piece = mem::take(&mut *waiting);
        self.bytes += piece.len() as u64;
        self.sum.update(&piece);
        Some(piece)
    }

    /// Ends the archive: the last piece, its size and its SHA-256.
    pub fn finish(mut self) -> ZipResult<(Vec<u8>, u64, Vec<u8>)> {
        self.end(false);
        let Self { zip, sink, bytes, mut sum, .. } = self;
        zip.finish()?;
        let last = mem::take(&mut *sink.0.lock().unwrap_or_else(PoisonError::into_inner));
        sum.update(&last);
        let bytes = bytes + last.len() as u64;
        Ok((last, bytes, sum.finish().as_ref().to_vec()))
    }
}
