//! Imports of many pages: what each costs, what stands in them out of order, and what becomes of one whose connection ends.

use std::collections::BTreeMap;

use lanewright::platform::db::tables::named;
use serde_json::{Map, Value, json};
use sqlx::PgPool;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;
use uuid::Uuid;

use crate::archives::{File, athlete, sealed, table};
use crate::exports::{exported, rows};
use crate::imports::import;
use crate::support::{Caller, TestApp, eventually, spread};

const AT: &str = "2026-08-31T17:00:00+00:00";
/// Records of each kind that comes by the thousand, and of each that others refer to.
const EACH: usize = 3_000;
const FEW: usize = 300;
/// Rows that may be read for each that is written or refers to one, and of each table besides.
const READ: i64 = 2;
const BESIDES: i64 = 500;

/// An id that tells the kind and counts up.
fn id(kind: u128, number: usize) -> Uuid {
    Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0000 + (kind << 32) + number as u128)
}

/// A row of a table: these values, and nothing in its other columns.
fn row(table: &str, values: Value) -> Value {
    let columns = named(table).unwrap().columns.split_whitespace();
    let mut row: Map<String, Value> = columns.map(|column| (column.to_owned(), Value::Null)).collect();
    row.extend(values.as_object().unwrap().clone());
    Value::Object(row)
}

fn run(number: usize, supersedes: Option<usize>) -> Value {
    let values = json!({"id": id(7, number), "session_id": id(4, number % FEW), "athlete_id": id(2, number % FEW), "run_at": AT,
        "barrier_kind": "wicket", "height_mm": 300, "spacing_mm": 6000, "barriers": 5, "held": 4, "over_reached": 0, "crowded": 0,
        "broken": 0, "hits": 0, "fell": false, "while_restricted": false, "void": false, "recorded_by": id(1, 9), "created_at": AT,
        "supersedes": supersedes.map(|number| id(7, number))});
    row("runs", values)
}

/// What runs are of: a group of athletes with its sessions.
fn squad() -> Vec<File> {
    let all = |of: &str, one: &dyn Fn(usize) -> Value| table(of, &(0..FEW).map(one).collect::<Vec<_>>());
    let group = json!({"id": id(1, 1), "name": "Under 14", "archived": false, "created_at": AT, "updated_at": AT});
    let member = |kind: &str, root: Uuid| json!({"kind": kind, "root_id": root, "scope_id": id(1, 1)});
    let places = (0..FEW).flat_map(|n| [member("athlete", id(2, n)), member("session", id(4, n))]);
    let session = |n| json!({"id": id(4, n), "held_on": "2026-08-31", "state": "held", "blocks": [], "created_at": AT, "updated_at": AT});
    let named_athlete = |n| {
        let mut one = athlete(&format!("Athlete {n}"));
        one["id"] = json!(id(2, n));
        one
    };
    vec![
        table("groups", &[row("groups", group)]),
        table("root_scope", &places.collect::<Vec<_>>()),
        all("athletes", &named_athlete),
        all("sessions", &|n| row("sessions", session(n))),
    ]
}

/// A club that has more of everything than fits into a page of an import.
fn large() -> Vec<u8> {
    let all = |of: &str, count: usize, values: &dyn Fn(usize) -> Value| {
        table(of, &(0..count).map(|n| row(of, values(n))).collect::<Vec<_>>())
    };
    let (of, by) = (|n: usize| id(2, n % FEW), id(1, 9));
    let venue = |n| {
        json!({"id": id(3, n), "name": format!("Track {n}"), "environment": "outdoor", "straight_mm": 80_000, "lanes": 4,
            "created_at": AT, "updated_at": AT})
    };
    let measured = |n| {
        json!({"id": id(5, n), "athlete_id": of(n), "kind": "stature_m", "value_milli": 1_500, "measured_on": "2026-08-31",
            "confirmed": false, "implausible": false, "recorded_by": by, "created_at": AT})
    };
    let reported = |n| {
        json!({"id": id(6, n), "athlete_id": of(n), "kind": "pain", "reported_on": "2026-08-31", "reported_by": "coach", "void": false,
            "recorded_by": by, "created_at": AT})
    };
    let rated = |n| {
        json!({"id": id(8, n), "athlete_id": of(n), "session_id": id(4, n % FEW), "assessed_at": AT, "arms": 2, "void": false,
            "recorded_by": by, "created_at": AT})
    };
    let runs: Vec<Value> = (0..EACH).map(|n| run(n, None)).collect();
    let more = vec![
        all("venues", FEW, &venue),
        all("measurements", EACH, &measured),
        all("wellbeing_records", EACH, &reported),
        all("assessments", EACH, &rated),
        table("runs", &runs),
    ];
    sealed(&club(), &[squad(), more].concat())
}

fn club() -> Value {
    json!({"of": "club", "club_id": Uuid::now_v7(), "athlete_id": null})
}

/// Rows that were written into each table since the database was made, and that were read from it.
async fn counted(pool: &PgPool) -> BTreeMap<String, (i64, i64)> {
    let sql = "select t.relname::text, t.n_tup_ins, t.seq_tup_read
          + coalesce((select sum(i.idx_tup_read) from pg_stat_user_indexes i where i.relid = t.relid), 0)::bigint
        from pg_stat_user_tables t where t.schemaname = 'public'";
    let found: Vec<(String, i64, i64)> = sqlx::query_as(sql).fetch_all(pool).await.unwrap();
    found.into_iter().map(|(table, written, read)| (table, (written, read))).collect()
}

/// The tables that refer to another, each with that.
async fn references(pool: &PgPool) -> Vec<(String, String)> {
    let sql = "select distinct conrelid::regclass::text, confrelid::regclass::text from pg_constraint
        where contype = 'f' and conrelid <> confrelid";
    sqlx::query_as(sql).fetch_all(pool).await.unwrap()
}

/// Nothing of an import may rest on what the server has counted: neither before it counted anything, when it guesses that a club has
/// little, nor when it knows the clubs that there were and that this one is none of them.
#[sqlx::test]
async fn a_page_reads_what_it_wrote_and_not_what_came_before(pool: PgPool) {
    if spread(&pool).await {
        // Other servers count their parts.
        return;
    }
    let app = TestApp::spawn(pool).await;
    let (archive, references) = (large(), references(&app.pool).await);
    for name in ["North", "South"] {
        let admin = app.admin_of(name).await;
        let before = counted(&app.pool).await;
        import(&admin, "", archive.clone()).await.expect(201);
        let since = async || {
            let now = counted(&app.pool).await.into_iter();
            now.map(|(table, (written, read))| {
                let (written_before, read_before) = before[&table];
                (table, (written - written_before, read - read_before))
            })
            .collect::<BTreeMap<_, _>>()
        };
        // The server tells what it counted once the connection rests.
        let runs = i64::try_from(EACH).unwrap();
        eventually("the rows are counted", async || since().await["runs"].0 == runs).await;
        let since = since().await;
        let mut found = Vec::new();
        for (table, (written, read)) in &since {
            let refer = references.iter().filter(|(_, to)| to == table).filter_map(|(from, _)| since.get(from));
            let may = READ * (written + refer.map(|(written, _)| written).sum::<i64>()) + BESIDES;
            if *read > may {
                found.push(format!("{table}: {read} rows read, {written} written, {may} expected at the most"));
            }
        }
        assert!(found.is_empty(), "{name}: {found:#?}");
        // From now on the server knows this club, and thinks that it is all there is.
        sqlx::raw_sql("analyze").execute(&app.pool).await.unwrap();
    }
}

#[sqlx::test]
async fn corrections_may_stand_before_what_they_correct(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    // More than a page lies between them; the second corrects the first, which corrects the last, and one of their page the second.
    let corrected = |n| [Some(1_199), Some(0), Some(1), None].get(n).copied().flatten();
    let runs: Vec<Value> = (0..1_200).map(|n| run(n, corrected(n))).collect();
    let with = |runs: &[Value]| sealed(&club(), &[squad(), vec![table("runs", runs)]].concat());
    import(&admin, "", with(&runs)).await.expect(201);
    let files = exported(&admin, json!({})).await;
    let told: Vec<(Value, Value)> =
        rows(&files, "runs").into_iter().map(|row| (row["id"].clone(), row["supersedes"].clone())).collect();
    let sent: Vec<(Value, Value)> = runs.iter().map(|row| (row["id"].clone(), row["supersedes"].clone())).collect();
    assert_eq!(told, sent);
    let standing = admin.get(&format!("/runs?session_id={}&limit=200", id(4, 2))).await.expect(200).body;
    assert!(standing["items"].as_array().unwrap().iter().any(|run| run["id"] == json!(id(7, 2))));
    // What is corrected has to come.
    let lost: Vec<Value> = runs.into_iter().take(600).collect();
    let other = app.admin_of("South").await;
    import(&other, "", with(&lost)).await.expect_fault(422, "/archive");
    assert_eq!(other.get("/athletes").await.expect(200).body["items"], json!([]));
}

/// The head of an import whose body is so long.
fn head(admin: &Caller, length: usize) -> String {
    let Caller { club, token, .. } = admin;
    format!(
        "POST /v1/clubs/{club}/imports HTTP/1.1\r\nhost: localhost\r\nauthorization: Bearer {token}\r\n\
         content-type: application/zip\r\ncontent-length: {length}\r\n\r\n"
    )
}

async fn connect(app: &TestApp) -> TcpStream {
    TcpStream::connect(app.base.trim_start_matches("http://")).await.unwrap()
}

#[sqlx::test]
async fn an_archive_that_was_sent_comes_also_when_its_connection_ends(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    // Others have every turn, so that it waits.
    let turns: Vec<_> = std::iter::from_fn(|| app.lanes.reads.free(Uuid::now_v7())).collect();
    assert!(!turns.is_empty());
    let archive = sealed(&club(), &squad());
    let mut socket = connect(&app).await;
    socket.write_all(&[head(&admin, archive.len()).as_bytes(), &archive].concat()).await.unwrap();
    eventually("it waits", async || app.lanes.reads.waiting() == 1).await;
    // A reset, which the service notices at once.
    socket.set_zero_linger().unwrap();
    drop(socket);
    for _ in 0..3 {
        app.get("/healthz").await.expect(200);
    }
    drop(turns);
    eventually("the archive came", async || admin.get("/athletes").await.expect(200).body["items"] != json!([])).await;
}

/// What is answered to the head of an import, before anything of a large archive was sent.
async fn answered(app: &TestApp, admin: &Caller) -> String {
    let mut socket = connect(app).await;
    socket.write_all(head(admin, 1 << 29).as_bytes()).await.unwrap();
    let mut line = String::new();
    BufReader::new(socket).read_line(&mut line).await.unwrap();
    line
}

#[sqlx::test]
async fn who_asks_again_is_told_before_the_archive_is_sent(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let turn = app.lanes.clubs.free(Uuid::parse_str(&admin.club).unwrap()).unwrap();
    assert!(answered(&app, &admin).await.contains(" 503 "), "one is at work");
    let busy = import(&admin, "", sealed(&club(), &squad())).await.expect(503);
    assert_eq!(busy.header("retry-after"), "60");
    drop(turn);
    import(&admin, "", sealed(&club(), &squad())).await.expect(201);
    assert!(answered(&app, &admin).await.contains(" 409 "), "it came");
}
