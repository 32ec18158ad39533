//! What stands in an archive beside the tables: a schema of their rows, and a manifest of the files.

use chrono::{DateTime, Utc};
use serde_json::{Map, Value, json};

use super::archive::Listed;
use super::rows_store::Column;
use super::words::{COLUMNS_LEFT_OUT, about};
use crate::platform::db::tables::{TABLES, Table};
use crate::platform::ids::{AthleteId, ClubId};

/// The version of the format: raised when a reader of the one before would go wrong.
pub const VERSION: u32 = 1;

/// A type of the database in JSON Schema (2020-12).
fn kind(kind: &str) -> Value {
    if let Some(of) = kind.strip_suffix("[]") {
        return json!({"type": "array", "items": of_array(of)});
    }
    match kind {
        "uuid" => json!({"type": "string", "format": "uuid"}),
        "date" => json!({"type": "string", "format": "date"}),
        "timestamp with time zone" => json!({"type": "string", "format": "date-time"}),
        "smallint" | "integer" | "bigint" => json!({"type": "integer"}),
        "boolean" => json!({"type": "boolean"}),
        "jsonb" => json!({}),
        _ => json!({"type": "string"}),
    }
}

/// The same for what stands in an array, which may have holes.
fn of_array(of: &str) -> Value {
    let mut one = kind(of);
    one["type"] = json!([one["type"], "null"]);
    one
}

fn property(table: &Table, column: &Column) -> Value {
    let mut one = kind(&column.kind);
    if column.optional && !one["type"].is_null() {
        one["type"] = json!([one["type"], "null"]);
    }
    one["description"] = json!(about(table.name, column.name));
    one
}

/// The schema of a table's rows.
pub fn of(table: &Table, columns: &[Column]) -> Value {
    let properties: Map<String, Value> =
        columns.iter().map(|column| (column.name.to_owned(), property(table, column))).collect();
    let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
    json!({"type": "object", "description": table.about.unwrap_or_default(), "properties": properties, "required": names})
}

/// The schema of all tables, by their names.
pub fn whole(tables: Map<String, Value>) -> Value {
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rows of a Lanewright export",
        "description": "A line of `json/NAME.ndjson` is an object of `$defs/NAME`. `csv/NAME.csv` has the same rows and columns: what is \
            absent is empty, lists and objects are JSON, and a text that a spreadsheet would take for a formula has an apostrophe before it.",
        "$defs": tables,
    })
}

/// The manifest.
pub fn manifest((club, athlete): (ClubId, Option<AthleteId>), at: DateTime<Utc>, files: &[Listed]) -> Value {
    let why = |table: &Table| {
        let no_athlete = athlete.is_some() && table.of_athlete.is_none();
        table.about.err().or(no_athlete.then_some("not about the athlete"))
    };
    let left_out: Vec<Value> =
        TABLES.iter().filter_map(|one| why(one).map(|why| json!({"table": one.name, "why": why}))).collect();
    let columns: Vec<Value> = COLUMNS_LEFT_OUT
        .iter()
        .map(|(table, column, why)| json!({"table": table, "column": column, "why": why}))
        .collect();
    json!({
        "format": "lanewright-export",
        "version": VERSION,
        "of": if athlete.is_some() { "athlete" } else { "club" },
        "club_id": club,
        "athlete_id": athlete,
        "as_of": at,
        "records": files.iter().filter(|file| file.path.starts_with("json/")).filter_map(|file| file.records).sum::<u64>(),
        "files": files,
        "left_out": left_out,
        "columns_left_out": columns,
    })
}
