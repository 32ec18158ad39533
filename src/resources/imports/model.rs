//! Of whom an archive is, and what each of its rows means for phones.

use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::Change;
use crate::platform::db::tables::{Comes, Table};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, SessionId, read};
use crate::platform::words::words;

words! {
    /// Of whom an archive is.
    Of as ArchiveKind {
        /// All that a club held.
        Club = "club",
        /// All that a club held about one athlete.
        Athlete = "athlete",
    }
}

/// The id in a field of a row; the nil id when there is none.
fn id(row: &Map<String, Value>, field: &str) -> Uuid {
    row.get(field).and_then(read).unwrap_or_default()
}

/// What phones must learn of a row of a table; nothing of what is deleted or within another record.
pub fn change(table: &Table, row: &Map<String, Value>, groups: &[GroupId]) -> Option<Change> {
    if !row.get("deleted_at").is_none_or(Value::is_null) {
        return None;
    }
    let put = |kind| Change::put(kind, id(row, "id"));
    match table.comes {
        Comes::ByItself(kind) => Some(put(kind)),
        Comes::InGroups(kind) => Some(put(kind).scopes(Vec::new(), grants::ids_of(groups))),
        Comes::UnderAthlete(kind) => Some(put(kind).under(AthleteId(id(row, "athlete_id")))),
        Comes::UnderSession(kind) => Some(put(kind).under(SessionId(id(row, "session_id")))),
        Comes::Within | Comes::Not(_) => None,
    }
}
