//! Makes archives: what an instance does with exports that are due.

use std::time::Duration;

use chrono::{DateTime, Utc};
use serde_json::{Map, Value};
use thiserror::Error;

use super::archive::Archive;
use super::model::LARGEST;
use super::queue_store::{self as queue, Asked, Claimed, Total};
use super::rows_store::{self as rows, Column};
use super::schema;
use crate::platform::db::tables::{Table, exported};
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::render::table::defused;

/// How often an instance looks for exports.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// What became of the export that was due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Made {
    /// Its archive is there.
    Ready,
    /// Nobody wants it any more, or another instance makes it.
    Needless,
    /// To be tried again later.
    Later,
    /// Given up.
    GivenUp,
}

/// Why an archive is not made.
#[derive(Debug, Error)]
enum Stopped {
    /// The export was taken back, or another instance has it.
    #[error("nobody wants it any more")]
    Needless,
    /// It would grow beyond what is kept.
    #[error("it is larger than {LARGEST} bytes")]
    TooLarge,
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Zip(#[from] zip::result::ZipError),
    #[error(transparent)]
    Io(#[from] std::io::Error),
    #[error(transparent)]
    Json(#[from] serde_json::Error),
    #[error(transparent)]
    Csv(#[from] csv::Error),
}

/// An archive on its way into the database.
struct Writing<'a> {
    db: &'a Db,
    one: &'a Claimed,
    archive: Archive,
    place: i32,
}

impl Writing<'_> {
    /// Stores what was packed, once there is enough for a piece.
    async fn store(&mut self) -> Result<(), Stopped> {
        while let Some(piece) = self.archive.piece() {
            if self.archive.bytes() > LARGEST {
                return Err(Stopped::TooLarge);
            }
            self.keep(&piece).await?;
        }
        Ok(())
    }

    async fn keep(&mut self, piece: &[u8]) -> Result<(), Stopped> {
        if !queue::keep(self.db, self.one, self.place, piece).await? {
            return Err(Stopped::Needless);
        }
        self.place += 1;
        Ok(())
    }

    /// A file that is no table.
    fn document(&mut self, path: &str, value: &Value) -> Result<(), Stopped> {
        self.archive.begin(path)?;
        self.archive.write(&serde_json::to_vec_pretty(value)?, 0)?;
        self.archive.end(false);
        Ok(())
    }

    /// The rows of a table, written by `page`.
    async fn table(
        &mut self,
        tx: &mut ClubTx,
        (table, asked): (&Table, &Asked),
        path: &str,
        (first, page): (Vec<u8>, impl Fn(&[String]) -> Result<Vec<u8>, Stopped>),
    ) -> Result<(), Stopped> {
        if !rows::open(tx, table, asked.athlete).await? {
            return Ok(());
        }
        self.archive.begin(path)?;
        self.archive.write(&first, 0)?;
        loop {
            let lines = rows::next(tx).await?;
            if lines.is_empty() {
                break;
            }
            self.archive.write(&page(&lines)?, lines.len())?;
            self.store().await?;
        }
        self.archive.end(true);
        rows::close(tx).await?;
        Ok(())
    }
}

/// Rows as lines of JSON.
fn lines(rows: &[String]) -> Vec<u8> {
    rows.iter().flat_map(|row| [row.as_bytes(), b"\n"]).flatten().copied().collect()
}

/// A value in a cell.
fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => defused(text),
        other => other.to_string(),
    }
}

/// Rows as CSV.
fn cells(columns: &[Column], rows: &[String]) -> Result<Vec<u8>, Stopped> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for row in rows {
        let row: Map<String, Value> = serde_json::from_str(row)?;
        out.write_record(columns.iter().map(|column| row.get(column.name).map(cell).unwrap_or_default()))?;
    }
    Ok(out.into_inner().map_err(|error| csv::Error::from(error.into_error()))?)
}

fn header(columns: &[Column]) -> Result<Vec<u8>, Stopped> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(columns.iter().map(|column| column.name))?;
    Ok(out.into_inner().map_err(|error| csv::Error::from(error.into_error()))?)
}

/// Writes an archive: all of it from one snapshot, which lasts as long as that takes.
async fn write(db: &Db, one: &Claimed, asked: &Asked) -> Result<(), Stopped> {
    let mut tx = db.read(one.club, &Actor { account: asked.by, groups: None }).await?;
    rows::settle(&mut tx).await?;
    let at = Utc::now();
    let mut writing = Writing { db, one, archive: Archive::new(), place: 0 };
    let mut schemas = Map::new();
    for table in exported() {
        let Some(columns) = rows::columns(&mut tx, table, asked.athlete).await? else { continue };
        schemas.insert(table.name.to_owned(), schema::of(table, &columns));
        let path = format!("json/{}.ndjson", table.name);
        writing.table(&mut tx, (table, asked), &path, (Vec::new(), |rows: &[String]| Ok(lines(rows)))).await?;
        let path = format!("csv/{}.csv", table.name);
        let first = header(&columns)?;
        writing.table(&mut tx, (table, asked), &path, (first, |rows: &[String]| cells(&columns, rows))).await?;
    }
    drop(tx);
    writing.document("schema.json", &schema::whole(schemas))?;
    let manifest = schema::manifest((one.club, asked.athlete), at, writing.archive.listed());
    let records = manifest["records"].as_i64().unwrap_or_default();
    writing.document("manifest.json", &manifest)?;
    writing.store().await?;
    let Writing { archive, place, .. } = writing;
    let (last, bytes, sha256) = archive.finish()?;
    let bytes = i64::try_from(bytes).unwrap_or(i64::MAX);
    let kept = queue::keep(db, one, place, &last).await?;
    if !kept || !queue::ready(db, one, &Total { records, bytes, sha256 }).await? {
        return Err(Stopped::Needless);
    }
    Ok(())
}

/// Makes the archive of the export that is due first at `now`; none when none is.
///
/// # Errors
/// Database errors; what was claimed is claimed again when the claim runs out.
pub async fn make(db: &Db, now: DateTime<Utc>) -> Result<Option<Made>, StoreError> {
    let Some(one) = queue::claim(db, now).await? else { return Ok(None) };
    let Some(asked) = queue::begin(db, &one).await? else {
        queue::done(db, &one).await?;
        return Ok(Some(Made::Needless));
    };
    let stopped = match write(db, &one, &asked).await {
        Ok(()) => return Ok(Some(Made::Ready)),
        Err(Stopped::Needless) => {
            queue::leave(db, &one).await?;
            return Ok(Some(Made::Needless));
        }
        Err(stopped) => stopped,
    };
    let never = matches!(stopped, Stopped::TooLarge);
    let given_up = queue::failed(db, &one, never).await?;
    tracing::error!(error = %stopped, id = %one.id, given_up, "an export could not be made");
    Ok(Some(if given_up { Made::GivenUp } else { Made::Later }))
}

/// Makes archives for as long as the service runs, one after the other.
pub async fn make_often(db: Db) {
    loop {
        match make(&db, Utc::now()).await {
            Ok(Some(Made::Ready | Made::Needless)) => continue,
            Ok(_) => {}
            Err(error) => tracing::warn!(%error, "cannot look for exports"),
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
}
