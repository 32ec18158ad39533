//! The tables of the phone.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, params};
use serde_json::Value;
use uuid::Uuid;

use super::Flaw;

const TABLES: &str = "
    create table if not exists meta (name text primary key, value text not null) without rowid;
    -- Records as they came, by type and id, as are their parents; `stale` while a full copy is under way and has not named
    -- them yet.
    create table if not exists record (
      type text not null, id text not null, parent_type text, parent text, rev integer not null, data text not null,
      stale integer not null default 0, primary key (type, id)
    ) without rowid;
    create index if not exists record_parent on record (parent_type, parent) where parent is not null;
    -- Items in the order they happened; the number stays with an item that goes to the journal and comes back.
    create table if not exists outbox (
      n integer primary key autoincrement, op_id text unique, type text, id text, item text not null
    );
    create index if not exists outbox_record on outbox (type, id);
    create table if not exists journal (
      op_id text primary key, n integer not null, type text not null, id text not null, item text not null, rev integer,
      at integer not null
    ) without rowid;
    create index if not exists journal_record on journal (type, id);
    create index if not exists journal_at on journal (at);
    create table if not exists parked (
      op_id text primary key, n integer not null, item text not null, status integer not null, answer text not null
    ) without rowid;
    create table if not exists note (op_id text primary key, problem text not null) without rowid;
    -- Not part of a client: the highest number seen of each record since the last full copy, which must never fall.
    create table if not exists highest (type text, id text, rev integer not null, primary key (type, id)) without rowid;
";

/// Where a phone keeps its data: it outlives the program.
pub struct Store {
    path: String,
    /// A database in memory is there as long as somebody has it open.
    _keeper: Connection,
}

impl Store {
    /// In memory, under a name of its own.
    pub fn memory(name: &str) -> Self {
        Self::at(format!("file:{name}?mode=memory&cache=shared"))
    }

    /// In a file.
    pub fn file(path: &std::path::Path) -> Self {
        Self::at(format!("file:{}", path.display()))
    }

    fn at(path: String) -> Self {
        let keeper = Connection::open(&path).unwrap();
        keeper.execute_batch(TABLES).unwrap();
        Self { path, _keeper: keeper }
    }

    pub(super) fn connect(&self) -> Connection {
        let db = Connection::open(&self.path).unwrap();
        db.set_prepared_statement_cache_capacity(64);
        let device: Option<String> = meta(&db, "device");
        if device.is_none() {
            set_meta(&db, "device", Some(&Uuid::now_v7().to_string()));
        }
        db
    }
}

pub fn meta(db: &Connection, name: &str) -> Option<String> {
    let mut found = db.prepare_cached("select value from meta where name = ?1").unwrap();
    found.query_row([name], |row| row.get(0)).optional().unwrap()
}

pub fn set_meta(db: &Connection, name: &str, value: Option<&str>) {
    match value {
        Some(value) => db.execute("insert or replace into meta (name, value) values (?1, ?2)", [name, value]),
        None => db.execute("delete from meta where name = ?1", [name]),
    }
    .unwrap();
}

pub fn records(db: &Connection) -> BTreeMap<(String, Uuid), Value> {
    let mut all = db.prepare_cached("select type, id, data from record").unwrap();
    let rows = all
        .query_map([], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, String>(2)?)))
        .unwrap();
    rows.map(|row| {
        let (kind, id, data) = row.unwrap();
        ((kind, id.parse().unwrap()), serde_json::from_str(&data).unwrap())
    })
    .collect()
}

pub fn ids(db: &Connection, kind: &str) -> Vec<Uuid> {
    let mut all = db.prepare_cached("select id from record where type = ?1 order by id").unwrap();
    let rows = all.query_map([kind], |row| row.get::<_, String>(0)).unwrap();
    rows.map(|id| id.unwrap().parse().unwrap()).collect()
}

/// The number and data of a record.
pub fn record(db: &Connection, kind: &str, id: Uuid) -> Option<(i64, Value)> {
    let mut one = db.prepare_cached("select rev, data from record where type = ?1 and id = ?2").unwrap();
    let found =
        one.query_row([kind, &id.to_string()], |row| Ok((row.get(0)?, row.get::<_, String>(1)?))).optional().unwrap();
    found.map(|(rev, data)| (rev, serde_json::from_str(&data).unwrap()))
}

/// Marks every record stale and forgets the token, so that the next pull begins from the start.
pub fn forget_token(db: &Connection) {
    db.execute("update record set stale = 1", []).unwrap();
    db.execute("delete from highest", []).unwrap();
    set_meta(db, "token", None);
}

/// Drops the copy of somebody who is no longer a member.
pub fn drop_copy(db: &Connection) {
    db.execute("delete from record", []).unwrap();
    forget_token(db);
}

/// Forgets all that is kept of the club.
pub fn forget_all(db: &mut Connection) {
    let tx = db.transaction().unwrap();
    for table in ["record", "outbox", "journal", "parked", "note", "highest"] {
        tx.execute(&format!("delete from {table}"), []).unwrap();
    }
    set_meta(&tx, "token", None);
    tx.commit().unwrap();
}

/// Asks for these from now on, types or groups; for fewer the copy begins afresh.
pub fn carry(db: &mut Connection, what: &str, wanted: Option<&[&str]>) {
    let tx = db.transaction().unwrap();
    let before = meta(&tx, what);
    let kept = |one: &str| wanted.is_none_or(|wanted| wanted.contains(&one));
    let fewer = match &before {
        Some(before) => before.split(',').any(|one| !kept(one)),
        None => wanted.is_some(),
    };
    if fewer {
        forget_token(&tx);
    }
    set_meta(&tx, what, wanted.map(|wanted| wanted.join(",")).as_deref());
    tx.commit().unwrap();
}

/// Type and id of a record.
pub type Name<'a> = (&'a str, &'a str);

/// Stores a record as it came.
pub fn put(db: &Connection, (kind, id): Name, parent: Option<Name>, rev: i64, data: &str) {
    let (parent_type, parent) = parent.unzip();
    db.prepare_cached(
        "insert into record (type, id, parent_type, parent, rev, data, stale) values (?1, ?2, ?3, ?4, ?5, ?6, 0)
         on conflict (type, id) do update set parent_type = ?3, parent = ?4, rev = ?5, data = ?6, stale = 0",
    )
    .unwrap()
    .execute(params![kind, id, parent_type, parent, rev, data])
    .unwrap();
}

/// Whether there is a record.
pub fn has(db: &Connection, (kind, id): Name) -> bool {
    let mut one = db.prepare_cached("select 1 from record where type = ?1 and id = ?2").unwrap();
    one.exists([kind, id]).unwrap()
}

/// Drops a record and everything whose parent it is; with a flaw less, or more.
pub fn remove(db: &Connection, (kind, id): Name, flaw: Option<Flaw>) {
    db.prepare_cached("delete from record where type = ?1 and id = ?2").unwrap().execute([kind, id]).unwrap();
    if flaw != Some(Flaw::ChildrenStay) {
        let below = "delete from record where parent_type = ?1 and parent = ?2";
        db.prepare_cached(below).unwrap().execute([kind, id]).unwrap();
    }
    match flaw {
        Some(Flaw::RemovesById) => db.execute("delete from record where id = ?1", [id]).unwrap(),
        Some(Flaw::OutboxTouched) => db.execute("delete from outbox where item like '%' || ?1 || '%'", [id]).unwrap(),
        _ => 0,
    };
}

/// Notes the number of a record; panics when it fell.
pub fn rose(db: &Connection, (kind, id): Name, rev: i64) {
    let mut known = db.prepare_cached("select rev from highest where type = ?1 and id = ?2").unwrap();
    let before: Option<i64> = known.query_row([kind, id], |row| row.get(0)).optional().unwrap();
    assert!(before.is_none_or(|before| rev >= before), "the number of {kind} {id} fell from {before:?} to {rev}");
    db.prepare_cached("insert or replace into highest (type, id, rev) values (?1, ?2, ?3)")
        .unwrap()
        .execute(params![kind, id, rev])
        .unwrap();
}
