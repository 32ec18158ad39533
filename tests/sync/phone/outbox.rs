//! What was done on the phone: the outbox, the journal, parked items.

use rusqlite::{Connection, OptionalExtension, params};
use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::{Flaw, Phone, store};

/// How long the journal is kept, seconds by the service's clock.
const JOURNAL: i64 = 30 * 86_400;

/// The field groups of athletes.
const GROUPS: [(&str, &[&str]); 6] = [
    ("name", &["display_name"]),
    ("birth", &["sex", "birth_date", "birth_year"]),
    ("contact", &["consent_on"]),
    ("technique", &["preferred_lead_leg", "approach_strides", "experience"]),
    ("status", &["status"]),
    ("groups", &["group_ids"]),
];

/// An item that a person must look at.
#[derive(Clone, Debug)]
pub struct Parked {
    pub op_id: Uuid,
    pub item: Value,
    pub status: u16,
    /// The result: `current`, `conflicts`, `problem`.
    pub answer: Value,
}

fn text<'a>(item: &'a Value, name: &str) -> &'a str {
    item[name].as_str().unwrap_or_default()
}

/// Where the version stands that an item names; nowhere in one that creates.
pub fn version_field(item: &Value) -> Option<&'static str> {
    match (text(item, "method"), text(item, "type")) {
        ("PATCH", "athlete") => Some("base_rev"),
        ("PUT", _) if item["if_none_match"].is_string() => None,
        _ => Some("if_match"),
    }
}

fn only(data: &Value, fields: &[&str]) -> Map<String, Value> {
    let all = data.as_object().into_iter().flatten();
    all.filter(|(name, _)| fields.contains(&name.as_str())).map(|(name, value)| (name.clone(), value.clone())).collect()
}

fn groups_of(item: &Value) -> Vec<&'static str> {
    let data = item["data"].as_object();
    let touched = |fields: &[&str]| data.is_some_and(|data| fields.iter().any(|field| data.contains_key(*field)));
    GROUPS.iter().filter(|(_, fields)| touched(fields)).map(|(group, _)| *group).collect()
}

/// Whether the number that an item led to is one that `later` has seen: for athletes only if it is about the same field
/// groups, because others may have changed the rest meanwhile.
fn follows(done: &Value, later: &Value, flaw: Option<Flaw>) -> bool {
    if flaw == Some(Flaw::FollowsAll) || version_field(done).is_none() || text(done, "type") != "athlete" {
        return true;
    }
    let groups = groups_of(done);
    text(later, "method") == "PATCH" && groups_of(later).iter().all(|group| groups.contains(group))
}

impl Phone {
    /// Records or creates: nothing like it may be there.
    pub fn record(&mut self, kind: &str, id: Uuid, data: Value) -> Uuid {
        self.enqueue(json!({"method": "PUT", "type": kind, "id": id, "if_none_match": "*", "data": data}), (kind, id))
    }

    /// Replaces the record that the phone shows.
    pub fn replace(&mut self, kind: &str, id: Uuid, data: Value) -> Uuid {
        self.enqueue(json!({"method": "PUT", "type": kind, "id": id, "data": data}), (kind, id))
    }

    /// Changes some fields of the record that the phone shows; of an athlete each field group by itself.
    pub fn patch(&mut self, kind: &str, id: Uuid, data: Value) -> Vec<Uuid> {
        let parts: Vec<Map<String, Value>> = if kind == "athlete" && !self.is(Flaw::GroupsTogether) {
            GROUPS.iter().map(|(_, fields)| only(&data, fields)).filter(|part| !part.is_empty()).collect()
        } else {
            data.as_object().cloned().into_iter().collect()
        };
        let item = |part| json!({"method": "PATCH", "type": kind, "id": id, "data": Value::Object(part)});
        parts.into_iter().map(|part| self.enqueue(item(part), (kind, id))).collect()
    }

    /// Deletes the record that the phone shows.
    pub fn delete(&mut self, kind: &str, id: Uuid) -> Uuid {
        self.enqueue(json!({"method": "DELETE", "type": kind, "id": id}), (kind, id))
    }

    /// Takes an athlete out of a group.
    pub fn leave(&mut self, group: Uuid, athlete: Uuid) -> Uuid {
        let id = Uuid::new_v5(&group, athlete.as_bytes());
        let data = json!({"group_id": group, "athlete_id": athlete});
        self.enqueue(
            json!({"method": "DELETE", "type": "group_membership", "id": id, "data": data}),
            ("athlete", athlete),
        )
    }

    /// Puts an item of any content into the outbox, broken ones too.
    pub fn enqueue(&mut self, mut item: Value, seen: (&str, Uuid)) -> Uuid {
        let op_id = Uuid::now_v7();
        item["op_id"] = json!(op_id);
        let flaw = self.flaw;
        let tx = self.db.transaction().unwrap();
        if let Some(field) = version_field(&item)
            && let Some(rev) = known_rev(&tx, &item, seen, flaw)
        {
            item[field] = json!(rev);
        }
        append(&tx, &item);
        tx.commit().unwrap();
        op_id
    }

    /// How many items this phone ever recorded.
    pub fn recorded(&self) -> i64 {
        let seq = "select coalesce(max(seq), 0) from sqlite_sequence where name = 'outbox'";
        self.db.query_row(seq, [], |row| row.get(0)).unwrap()
    }

    /// How many items of those after the first so many edit or delete something, or take it back: all but what creates.
    pub fn edits_after(&self, recorded: i64) -> u64 {
        let count =
            "select count(*) from outbox where n > ?1 and (json_extract(item, '$.method') in ('PATCH', 'DELETE')
            or json_extract(item, '$.if_match') is not null)";
        let edits: i64 = self.db.query_row(count, [recorded], |row| row.get(0)).unwrap();
        edits.unsigned_abs()
    }

    /// Items that wait to be handed in.
    pub fn waiting(&self) -> usize {
        let count: i64 = self.db.query_row("select count(*) from outbox", [], |row| row.get(0)).unwrap();
        usize::try_from(count).unwrap()
    }

    /// Items that a person must look at, in the order they happened.
    pub fn parked(&self) -> Vec<Parked> {
        let mut all = self.db.prepare("select op_id, item, status, answer from parked order by n").unwrap();
        let rows = all.query_map([], |row| {
            let (op_id, item, answer): (String, String, String) = (row.get(0)?, row.get(1)?, row.get(3)?);
            Ok(Parked {
                op_id: op_id.parse().unwrap(),
                item: serde_json::from_str(&item).unwrap(),
                status: row.get(2)?,
                answer: serde_json::from_str(&answer).unwrap(),
            })
        });
        rows.unwrap().map(Result::unwrap).collect()
    }

    /// Items that the service confirmed in the last 30 days, in the order they happened.
    pub fn journal(&self) -> Vec<Value> {
        let mut all = self.db.prepare("select item from journal order by n").unwrap();
        let rows = all.query_map([], |row| row.get::<_, String>(0)).unwrap();
        rows.map(|item| serde_json::from_str(&item.unwrap()).unwrap()).collect()
    }

    /// Notes about items that an admin decides on: operation and problem.
    pub fn notes(&self) -> Vec<(Uuid, Value)> {
        let mut all = self.db.prepare("select op_id, problem from note order by op_id").unwrap();
        let rows = all.query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))).unwrap();
        let read =
            |(op_id, problem): (String, String)| (op_id.parse().unwrap(), serde_json::from_str(&problem).unwrap());
        rows.map(|row| read(row.unwrap())).collect()
    }

    /// The person gives a parked item up.
    pub fn give_up_item(&mut self, op_id: Uuid) {
        self.db.execute("delete from parked where op_id = ?1", [op_id.to_string()]).unwrap();
    }

    /// The person insists on a parked item, having seen what is stored: it goes again as a new operation, on the version
    /// that the answer named. `data` replaces what it said.
    pub fn insist(&mut self, parked: &Parked, data: Option<Map<String, Value>>) -> Uuid {
        let mut item = parked.item.clone();
        let op_id = if self.is(Flaw::InsistsAsBefore) { parked.op_id } else { Uuid::now_v7() };
        item["op_id"] = json!(op_id);
        if let Some(data) = data {
            item["data"] = Value::Object(data);
        }
        let seen = parked.answer["current"]["rev"].as_i64().or(parked.answer["rev"].as_i64());
        if let (Some(field), Some(rev), false) = (version_field(&item), seen, self.is(Flaw::InsistsOnOldRev)) {
            item[field] = json!(rev);
        }
        let tx = self.db.transaction().unwrap();
        tx.execute("delete from parked where op_id = ?1", [parked.op_id.to_string()]).unwrap();
        append(&tx, &item);
        tx.commit().unwrap();
        op_id
    }
}

fn append(db: &Connection, item: &Value) {
    db.prepare_cached("insert into outbox (op_id, type, id, item) values (?1, ?2, ?3, ?4)")
        .unwrap()
        .execute([text(item, "op_id"), text(item, "type"), text(item, "id"), &item.to_string()])
        .unwrap();
}

/// The version that the phone shows: that of the record, or of the phone's own confirmed edit whose echo is not here.
fn known_rev(db: &Connection, item: &Value, (kind, id): (&str, Uuid), flaw: Option<Flaw>) -> Option<i64> {
    let shown = store::record(db, kind, id).map(|(rev, _)| rev);
    if flaw == Some(Flaw::NoOwnRev) {
        return shown;
    }
    let mut own = db
        .prepare_cached("select item, rev from journal where type = ?1 and id = ?2 and rev is not null order by n")
        .unwrap();
    let rows = own
        .query_map([text(item, "type"), text(item, "id")], |row| Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?)))
        .unwrap();
    let mut known = shown;
    for row in rows {
        let (done, rev) = row.unwrap();
        let done = serde_json::from_str::<Value>(&done).unwrap();
        // The journal outlives the copy: without a record only a creation says that there is one.
        if follows(&done, item, flaw) && (shown.is_some() || version_field(&done).is_none() || known.is_some()) {
            known = known.max(Some(rev));
        }
    }
    known
}

/// The first items, up to one whose version is not known yet: what it edits is still being created.
pub fn first(db: &Connection, count: usize, flaw: Option<Flaw>) -> Vec<(i64, Value)> {
    let mut all = db.prepare_cached("select n, item from outbox order by n limit ?1").unwrap();
    let rows = all
        .query_map([i64::try_from(count).unwrap()], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)))
        .unwrap();
    let mut items: Vec<(i64, Value)> = Vec::new();
    for row in rows {
        let (n, item) = row.unwrap();
        let item: Value = serde_json::from_str(&item).unwrap();
        let unknown = version_field(&item).is_some_and(|field| item[field].is_null());
        let creates = |(_, other): &(i64, Value)| {
            other["type"] == item["type"] && other["id"] == item["id"] && version_field(other).is_none()
        };
        if unknown && items.iter().any(creates) && flaw != Some(Flaw::EditAtOnce) {
            break;
        }
        items.push((n, item));
    }
    items
}

/// Takes an item out of the outbox; its number, when it was there.
pub fn take(db: &Connection, op_id: &str) -> Option<(i64, Value)> {
    let mut gone = db.prepare_cached("delete from outbox where op_id = ?1 returning n, item").unwrap();
    let found = gone.query_row([op_id], |row| Ok((row.get(0)?, row.get::<_, String>(1)?))).optional().unwrap();
    found.map(|(n, item)| (n, serde_json::from_str(&item).unwrap()))
}

/// Files a confirmed item, and gives the later items of its record the new version.
pub fn confirm(db: &Connection, (n, item): (i64, &Value), rev: Option<i64>, date: i64, flaw: Option<Flaw>) {
    db.prepare_cached(
        "insert or replace into journal (op_id, n, type, id, item, rev, at) values (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )
    .unwrap()
    .execute(params![text(item, "op_id"), n, text(item, "type"), text(item, "id"), item.to_string(), rev, date])
    .unwrap();
    if let Some(rev) = rev.filter(|_| flaw != Some(Flaw::NoFollowing)) {
        rebase(db, item, rev, flaw);
    }
}

/// Gives later items of a record the version that an item led to.
pub fn rebase(db: &Connection, done: &Value, rev: i64, flaw: Option<Flaw>) {
    let mut later = db.prepare_cached("select n, item from outbox where type = ?1 and id = ?2 order by n").unwrap();
    let rows = later
        .query_map([text(done, "type"), text(done, "id")], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)))
        .unwrap();
    let rows: Vec<_> = rows.map(Result::unwrap).collect();
    for (n, item) in rows {
        let mut item: Value = serde_json::from_str(&item).unwrap();
        let Some(field) = version_field(&item).filter(|_| follows(done, &item, flaw)) else { continue };
        // An item that an earlier version of this program left here names it as text.
        let named = item[field].as_i64().or_else(|| item[field].as_str()?.parse().ok());
        if named.is_none_or(|named| named < rev) {
            item[field] = json!(rev);
            db.prepare_cached("update outbox set item = ?2 where n = ?1")
                .unwrap()
                .execute(params![n, item.to_string()])
                .unwrap();
        }
    }
}

/// The same after a merge that was applied in part: for later items about nothing but the applied field groups.
pub fn rebase_groups(db: &Connection, item: &Value, applied: &[Value], rev: i64, flaw: Option<Flaw>) {
    let fields =
        GROUPS.iter().filter(|(group, _)| applied.iter().any(|one| one == group)).flat_map(|(_, fields)| *fields);
    let fields: Vec<&str> = fields.copied().collect();
    let mut part = item.clone();
    part["data"] = Value::Object(only(&item["data"], &fields));
    rebase(db, &part, rev, flaw);
}

/// Drops what was confirmed long enough ago.
pub fn expire(db: &Connection, date: i64) {
    db.prepare_cached("delete from journal where at < ?1").unwrap().execute([date - JOURNAL]).unwrap();
}

/// Puts the journal back into the outbox, in the order it happened.
pub fn replay(db: &Connection) {
    db.execute(
        "insert or ignore into outbox (n, op_id, type, id, item) select n, op_id, type, id, item from journal",
        [],
    )
    .unwrap();
    db.execute("delete from journal", []).unwrap();
}

/// Drops what is about an athlete who was deleted, and takes them out of whatever else names them: nothing about them is
/// kept, neither to be sent nor to be shown.
pub fn erase(db: &Connection, athlete: &str) {
    for table in ["outbox", "journal", "parked"] {
        let answer = if table == "parked" { "answer" } else { "null" };
        let mut naming = db
            .prepare(&format!(
                "select op_id, item, {answer} from {table} where instr(lower(item || coalesce({answer}, '')), ?1)"
            ))
            .unwrap();
        let rows = naming.query_map([athlete.to_lowercase()], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, Option<String>>(2)?))
        });
        for (op_id, item, answer) in rows.unwrap().map(Result::unwrap).collect::<Vec<_>>() {
            let mut item: Value = serde_json::from_str(&item).unwrap();
            if is(&item["data"]["athlete_id"], athlete) || (item["type"] == "athlete" && is(&item["id"], athlete)) {
                db.execute(&format!("delete from {table} where op_id = ?1"), [&op_id]).unwrap();
                db.execute("delete from note where op_id = ?1", [&op_id]).unwrap();
                continue;
            }
            forget(&mut item, athlete);
            db.execute(&format!("update {table} set item = ?2 where op_id = ?1"), params![op_id, item.to_string()])
                .unwrap();
            if let Some(answer) = answer {
                let mut answer: Value = serde_json::from_str(&answer).unwrap();
                forget(&mut answer, athlete);
                db.execute("update parked set answer = ?2 where op_id = ?1", params![op_id, answer.to_string()])
                    .unwrap();
            }
        }
    }
}

fn is(value: &Value, id: &str) -> bool {
    value.as_str().is_some_and(|text| text.eq_ignore_ascii_case(id))
}

/// Takes out of every list what is about an athlete: the id, a pair with it, an object with it.
fn forget(value: &mut Value, athlete: &str) {
    match value {
        Value::Array(list) => {
            list.retain(|one| match one {
                Value::Object(fields) => !fields.get("athlete_id").is_some_and(|id| is(id, athlete)),
                Value::Array(pair) => !pair.iter().any(|id| is(id, athlete)),
                other => !is(other, athlete),
            });
            for one in list {
                forget(one, athlete);
            }
        }
        Value::Object(fields) => {
            for one in fields.values_mut() {
                forget(one, athlete);
            }
        }
        _ => {}
    }
}

/// The same, behind what is in the outbox: wrong.
pub fn replay_behind(db: &Connection) {
    db.execute(
        "insert or ignore into outbox (op_id, type, id, item) select op_id, type, id, item from journal order by n",
        [],
    )
    .unwrap();
    db.execute("delete from journal", []).unwrap();
}

/// Gives the first item another operation: wrong.
pub fn rename_first(db: &Connection) {
    edit_first(db, |item| item["op_id"] = json!(Uuid::now_v7()));
}

/// Changes what the first item says: wrong.
pub fn change_first(db: &Connection) {
    edit_first(db, |item| item["data"]["hits"] = json!(2));
}

fn edit_first(db: &Connection, edit: impl Fn(&mut Value)) {
    let Some((n, mut item)) = first(db, 1, None).pop() else { return };
    edit(&mut item);
    db.execute(
        "update outbox set item = ?2, op_id = ?3 where n = ?1",
        params![n, item.to_string(), text(&item, "op_id")],
    )
    .unwrap();
}

/// Sets an item aside for a person.
pub fn park(db: &Connection, n: i64, item: &Value, status: u16, answer: &Value) {
    db.prepare_cached("insert or replace into parked (op_id, n, item, status, answer) values (?1, ?2, ?3, ?4, ?5)")
        .unwrap()
        .execute(params![text(item, "op_id"), n, item.to_string(), status, answer.to_string()])
        .unwrap();
}

/// Notes what the service said about an item.
pub fn note(db: &Connection, op_id: &str, problem: &Value) {
    db.prepare_cached("insert or replace into note (op_id, problem) values (?1, ?2)")
        .unwrap()
        .execute([op_id, &problem.to_string()])
        .unwrap();
}
