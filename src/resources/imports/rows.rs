//! Rows of an archive: their columns are those of an export of this service or of an earlier one, and their ids can be given new ones,
//! the same each time.

use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::tables::LATER;
use crate::platform::ids::ClubId;

/// Columns that name a record of the club, in whatever table.
const RECORDS: [&str; 11] = [
    "id",
    "athlete_id",
    "session_id",
    "venue_id",
    "supersedes",
    "clears",
    "lane_plan_id",
    "race_test_id",
    "root_id",
    "scope_id",
    "people",
];
/// Columns whose JSON names records.
const WITHIN: [&str; 7] = ["request", "plan", "advice", "draw", "readiness", "blocks", "policy"];
/// The column that comes anew with the import: the number of the row's last change.
pub const NUMBER: &str = "rev";

/// Which ids an import gives.
#[derive(Clone, Copy, Debug)]
pub enum Ids {
    /// Those of the archive.
    Kept,
    /// New ones, made of the club and the old ones: the same archive gives the same ids again.
    New(ClubId),
}

/// A new id for an old one. It is of the same moment, so that records stay in order (UUID version 7, RFC 9562).
fn renewed(club: ClubId, old: Uuid) -> Uuid {
    let fresh = Uuid::new_v5(&club.0, old.as_bytes());
    if old.get_version_num() != 7 || old.is_nil() {
        return fresh;
    }
    let (mut bytes, old) = (*fresh.as_bytes(), old.as_bytes());
    bytes[..6].copy_from_slice(&old[..6]);
    bytes[6] = 0x70 | (bytes[6] & 0x0f);
    Uuid::from_bytes(bytes)
}

impl Ids {
    /// The id that stands for one of the archive.
    pub fn of(self, old: Uuid) -> Uuid {
        match self {
            Self::Kept => old,
            Self::New(club) => renewed(club, old),
        }
    }

    /// Every text that is an id, however deep.
    fn within(self, value: &mut Value) {
        match value {
            Value::String(text) if text.len() == 36 => {
                if let Ok(old) = Uuid::try_parse(text) {
                    *text = self.of(old).to_string();
                }
            }
            Value::Array(list) => list.iter_mut().for_each(|one| self.within(one)),
            Value::Object(fields) => fields.values_mut().for_each(|one| self.within(one)),
            _ => {}
        }
    }

    /// A row with its ids. The id of an attendance follows from its session and athlete.
    pub fn give(self, table: &str, row: &mut Map<String, Value>) {
        if matches!(self, Self::Kept) {
            return;
        }
        for (column, value) in row.iter_mut() {
            if RECORDS.contains(&column.as_str()) || WITHIN.contains(&column.as_str()) {
                self.within(value);
            }
        }
        if table == "attendance" {
            let id = |name: &str| row.get(name).and_then(crate::platform::ids::read).unwrap_or_default();
            let derived = Uuid::new_v5(&id("session_id"), id("athlete_id").as_bytes());
            row.insert("id".to_owned(), Value::String(derived.to_string()));
        }
    }
}

/// A row of a table whose columns are exactly these; those that came later may be missing and are empty then.
///
/// # Errors
/// A sentence about the row.
pub fn parse(line: &[u8], table: &str, columns: &str) -> Result<Map<String, Value>, String> {
    let mut row: Map<String, Value> = serde_json::from_slice(line).map_err(|_| "is no JSON object".to_owned())?;
    let known = |column: &str| columns.split_whitespace().any(|known| known == column);
    let later = LATER.iter().filter_map(|one| one.strip_prefix(table)?.strip_prefix('.'));
    for column in later.filter(|column| known(column)) {
        row.entry(column).or_insert(Value::Null);
    }
    let missing = columns.split_whitespace().find(|column| !row.contains_key(*column));
    let strange = row.keys().find(|column| !known(column));
    match (missing, strange) {
        (Some(column), _) => Err(format!("lacks {column}")),
        (None, Some(_)) => Err("has a column that no export has".to_owned()),
        (None, None) => Ok(row),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn new_ids_are_the_same_each_time_and_in_the_order_of_the_old_ones() {
        let (club, other) = (ClubId::new(), ClubId::new());
        let old: Vec<Uuid> = (0..50_u64)
            .map(|at| Uuid::new_v7(uuid::Timestamp::from_unix(uuid::NoContext, 1_700_000_000 + at, 0)))
            .collect();
        let new: Vec<Uuid> = old.iter().map(|id| renewed(club, *id)).collect();
        assert!(new.is_sorted());
        assert!(new.iter().all(|id| id.get_version_num() == 7 && !old.contains(id)));
        assert_eq!(new, old.iter().map(|id| renewed(club, *id)).collect::<Vec<_>>());
        assert!(old.iter().zip(&new).all(|(old, new)| renewed(other, *old) != *new));
    }

    #[test]
    fn records_get_new_ids_wherever_they_are_named_and_people_keep_theirs() {
        let [run, athlete, coach] = [(); 3].map(|()| Uuid::now_v7());
        let mut row: Map<String, Value> =
            serde_json::from_value(json!({"id": run, "athlete_id": athlete, "recorded_by": coach,
            "plan": {"lanes": [{"athletes": [{"athlete_id": athlete}]}], "text": "no id"}, "people": [athlete]}))
            .unwrap();
        let ids = Ids::New(ClubId::new());
        ids.give("runs", &mut row);
        let (run, athlete) = (ids.of(run), ids.of(athlete));
        assert_eq!(
            Value::Object(row),
            json!({"id": run, "athlete_id": athlete, "recorded_by": coach,
            "plan": {"lanes": [{"athletes": [{"athlete_id": athlete}]}], "text": "no id"}, "people": [athlete]})
        );
    }
}
