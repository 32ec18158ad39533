//! Exports: everything that a club holds is in its archive, of one athlete theirs and nobody else's, and nothing outlives an erasure.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read};

use aws_lc_rs::digest::{SHA256, digest};
use base64::Engine;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::{Duration, Utc};
use lanewright::chores;
use lanewright::platform::audit::hex;
use lanewright::platform::db::Db;
use lanewright::platform::db::tables::{self, LATER, TABLES, Table, named};
use lanewright::resources::exports::words::COLUMNS_LEFT_OUT;
use lanewright::resources::exports::{Made, make};
use serde_json::{Map, Value, json};
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;
use zip::ZipArchive;

use crate::audit::noted;
use crate::oauth;
use crate::operations::stage::Stage;
use crate::support::{Answer, Caller, TestApp, eventually};
use crate::sync_pull::{Squad, athlete, run, squad};
use crate::sync_push::{create, item, push, statuses};

/// The files of an archive by their paths.
pub type Files = BTreeMap<String, Vec<u8>>;

fn sum(bytes: &[u8]) -> String {
    hex(digest(&SHA256, bytes).as_ref())
}

/// An instance beside the one that answers.
fn instance(app: &TestApp) -> Db {
    Db::lazy((*app.pool.connect_options()).clone(), 2)
}

/// Makes what is due, also what waits for its turn.
pub async fn make_next(app: &TestApp) -> Option<Made> {
    make(&instance(app), Utc::now() + Duration::hours(1)).await.unwrap()
}

async fn ask(admin: &Caller, body: Value) -> String {
    let asked = admin.post("/exports", body).await.expect(201);
    assert_eq!(asked.body["state"], "waiting");
    asked.id()
}

/// The archive of an export that is ready, with what is said of it.
async fn archive(admin: &Caller, id: &str) -> (Value, Answer) {
    let told = admin.get(&format!("/exports/{id}")).await.expect(200).body;
    assert_eq!(told["state"], "ready", "{told}");
    let answer = admin.get(&format!("/exports/{id}/archive")).await.expect(200);
    assert_eq!(answer.header("content-type"), "application/zip");
    assert_eq!(answer.header("content-encoding"), "", "it is packed already");
    assert_eq!(answer.header("content-length"), told["bytes"].to_string());
    assert_eq!(answer.bytes.len().to_string(), told["bytes"].to_string());
    assert_eq!(sum(&answer.bytes), told["sha256"]);
    (told, answer)
}

fn unpacked(bytes: &[u8]) -> Files {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut files = Files::new();
    for at in 0..zip.len() {
        let mut file = zip.by_index(at).unwrap();
        let (mut content, name) = (Vec::new(), file.name().unwrap().into_owned());
        file.read_to_end(&mut content).unwrap();
        assert!(files.insert(name, content).is_none());
    }
    files
}

/// Asks for an export, makes it and unpacks it.
pub async fn exported(admin: &Caller, body: Value) -> Files {
    let id = ask(admin, body).await;
    // What others asked for comes first.
    while make_next(&admin.app).await.is_some() {}
    unpacked(&archive(admin, &id).await.1.bytes)
}

/// The rows of a table in an archive.
pub fn rows(files: &Files, table: &str) -> Vec<Map<String, Value>> {
    let text = std::str::from_utf8(&files[&format!("json/{table}.ndjson")]).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// Everything in the JSON of an archive as one text.
fn all_text(files: &Files) -> String {
    files.values().map(|bytes| String::from_utf8_lossy(bytes)).collect()
}

/// The only value of a statement of whoever owns the tables, in one club.
async fn owned<T>(app: &TestApp, club: &str, sql: &str) -> T
where
    T: for<'r> sqlx::Decode<'r, sqlx::Postgres> + sqlx::Type<sqlx::Postgres> + Send + Unpin,
{
    let mut tx = app.pool.begin().await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{club}'"))).execute(&mut *tx).await.unwrap();
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_one(&mut *tx).await.unwrap()
}

async fn tenant_tables(pool: &PgPool) -> Vec<String> {
    let sql = "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
        where n.nspname = 'public' and obj_description(c.oid, 'pg_class') like 'scope:tenant%' order by 1";
    sqlx::query_scalar(sql).fetch_all(pool).await.unwrap()
}

/// Exports, imports and the end of a club follow one list, so what stands in it nobody forgets.
#[sqlx::test]
async fn every_table_of_a_club_is_described_once_and_after_what_its_rows_refer_to(pool: PgPool) {
    let tables = tenant_tables(&pool).await;
    assert!(tables.len() > 30, "{tables:?}");
    let listed: Vec<&Table> = TABLES.iter().filter(|one| one.from == one.name).collect();
    let mut names: Vec<&str> = listed.iter().map(|one| one.name).collect();
    names.sort_unstable();
    assert_eq!(names, tables);
    let place = |table: &str| listed.iter().position(|one| one.name == table);
    let references: Vec<(String, String, Vec<String>)> = sqlx::query_as(
        "select c.conrelid::regclass::text, c.confrelid::regclass::text, array(select a.attname::text from pg_attribute a
           where a.attrelid = c.conrelid and a.attnum = any (c.conkey) and a.attname <> 'club_id') from pg_constraint c where c.contype = 'f'",
    )
    .fetch_all(&pool)
    .await
    .unwrap();
    let mut own: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (from, to, columns) in &references {
        let (Some(at), Some(before)) = (place(from), place(to)) else { continue };
        assert!(before <= at, "{from} refers to {to}");
        if from == to {
            own.entry(from.as_str()).or_default().extend(columns.iter().map(String::as_str));
        }
    }
    assert!(own.len() > 3, "{own:?}");
    for table in listed {
        let known: BTreeSet<&str> = table.own.iter().copied().collect();
        assert_eq!(known, own.remove(table.name).unwrap_or_default(), "{}", table.name);
    }
}

#[sqlx::test]
async fn every_column_of_a_club_is_exported_or_argued(pool: PgPool) {
    let (mut wrong, mut used) = (Vec::new(), BTreeSet::new());
    for table in tenant_tables(&pool).await {
        let Some(one) = named(&table).filter(|one| one.about.is_ok()) else { continue };
        let columns: Vec<String> = sqlx::query_scalar(
            "select attname::text from pg_attribute where attrelid = $1::text::regclass and attnum > 0 and not attisdropped",
        )
        .bind(&table)
        .fetch_all(&pool)
        .await
        .unwrap();
        let there: BTreeSet<&str> = one.columns.split_whitespace().collect();
        for column in &columns {
            let argued = COLUMNS_LEFT_OUT.iter().position(|(of, one, _)| (*of == "*" || *of == table) && one == column);
            used.extend(argued);
            if there.contains(column.as_str()) == argued.is_some() {
                wrong.push(format!("{table}.{column}: neither exported nor argued, or both"));
            }
        }
        let known = |one: &&&str| columns.iter().any(|known| known == **one);
        wrong.extend(there.iter().filter(|one| !known(one)).map(|one| format!("{table} has no {one}")));
    }
    assert_eq!(used.len(), COLUMNS_LEFT_OUT.len(), "a column is argued that there is not");
    for later in LATER {
        let (table, column) = later.split_once('.').unwrap();
        assert!(named(table).is_some_and(|table| table.has(column)), "no export has {later}");
        let sql = "select not attnotnull from pg_attribute where attrelid = $1::text::regclass and attname = $2";
        let may_be_empty: bool = sqlx::query_scalar(sql).bind(table).bind(column).fetch_one(&pool).await.unwrap();
        assert!(may_be_empty, "{later} cannot be empty, so an archive without it would not come");
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[sqlx::test]
async fn an_export_of_a_club_holds_every_row_and_proves_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let stage = Stage::new(&app).await;
    let admin = &stage.admin;
    // Of what the stage does not have.
    admin
        .post(
            &format!("/athletes/{}/consents", stage.ids["athlete_id"]),
            json!({"purpose": "sharing_with_apps", "act": "given",
        "on": stage.day, "by": "guardian"}),
        )
        .await
        .expect(201);
    admin
        .put(
            &format!("/race-tests/{}/entries", stage.ids["race_test_id"]),
            "*",
            json!({"athlete_ids": [stage.ids["athlete_id"]], "coach_accepts": [stage.ids["athlete_id"]]}),
        )
        .await
        .expect(200);
    admin
        .post(
            &format!("/race-tests/{}/results", stage.ids["race_test_id"]),
            json!({"results": [stage.result(&Uuid::now_v7().to_string())]}),
        )
        .await
        .expect(200);
    admin
        .put(
            &format!("/sessions/{}/attendance", stage.ids["session_id"]),
            "*",
            json!({"present": [stage.ids["athlete_id"]]}),
        )
        .await
        .expect(200);
    let stale = item(
        "PATCH",
        "athlete",
        &stage.ids["athlete_id"],
        json!({"base_rev": 0, "data": {"display_name": "=Lost(1)"}}),
    );
    assert_eq!(statuses(&push(admin, &[stale]).await), [409]);
    admin.patch("/retention", "*", json!({"runs_days": 1_000})).await.expect(200);
    let secrets = secrets(&app, &admin.club).await;

    let id = ask(admin, json!({})).await;
    admin.get(&format!("/exports/{id}/archive")).await.expect(409);
    while make_next(&app).await.is_some() {}
    let (told, answer) = archive(admin, &id).await;
    let files = unpacked(&answer.bytes);
    let manifest: Value = serde_json::from_slice(&files["manifest.json"]).unwrap();
    assert_eq!((&manifest["format"], &manifest["version"]), (&json!("lanewright-export"), &json!(1)));
    assert_eq!((&manifest["of"], &manifest["club_id"]), (&json!("club"), &json!(admin.club)));
    assert_eq!(manifest["records"], told["records"]);
    let listed = manifest["files"].as_array().unwrap();
    let paths: BTreeSet<&str> = listed.iter().map(|file| file["path"].as_str().unwrap()).collect();
    assert_eq!(paths.len() + 1, files.len(), "the manifest lists everything but itself, once");
    for file in listed {
        let content = &files[file["path"].as_str().unwrap()];
        assert_eq!(
            (file["bytes"].as_u64(), &file["sha256"]),
            (Some(content.len() as u64), &json!(sum(content))),
            "{file}"
        );
    }

    let schema: Value = serde_json::from_slice(&files["schema.json"]).unwrap();
    let mut empty = Vec::new();
    for table in tables::exported().filter(|table| !table.columns.is_empty()) {
        let name = table.name;
        let rows = rows(&files, name);
        let count: i64 = owned(
            &app,
            &admin.club,
            &format!("select count(*) from {} where {} = '{}'", table.from, table.club, admin.club),
        )
        .await;
        // Reading it is noted as well.
        assert!(i64::try_from(rows.len()).unwrap() == count || name == "audit", "{name}: {} of {count}", rows.len());
        if rows.is_empty() {
            empty.push(name);
        }
        let mut one = schema["$defs"][name].clone();
        one["additionalProperties"] = json!(false);
        let valid = jsonschema::draft202012::options().should_validate_formats(true).build(&one).unwrap();
        let mut csv = csv::Reader::from_reader(files[&format!("csv/{name}.csv")].as_slice());
        let header: Vec<String> = csv.headers().unwrap().iter().map(str::to_owned).collect();
        assert_eq!(header, table.columns.split_whitespace().collect::<Vec<_>>());
        let cells: Vec<csv::StringRecord> = csv.records().map(Result::unwrap).collect();
        assert_eq!(cells.len(), rows.len(), "{name}");
        for (row, cells) in rows.iter().zip(&cells) {
            assert!(valid.is_valid(&Value::Object(row.clone())), "{name}: {row:?}");
            for (column, cell) in header.iter().zip(cells) {
                let said = match &row[column] {
                    Value::Null => String::new(),
                    Value::String(text) => text.clone(),
                    other => other.to_string(),
                };
                assert_eq!(cell.strip_prefix('\'').unwrap_or(cell), said, "{name}.{column}");
            }
        }
    }
    assert_eq!(empty, ["club_security", "app_grants", "audit_start"], "what the stage has nothing of proves nothing");
    let text = all_text(&files);
    assert!(String::from_utf8_lossy(&files["csv/refused_edit.csv"]).contains("=Lost(1)"));
    for (what, secret) in secrets {
        assert!(!text.contains(&secret), "{what}");
    }
}

/// Every hash and secret of the database, as it could be written.
async fn secrets(app: &TestApp, club: &str) -> Vec<(String, String)> {
    let columns: Vec<(String, String)> = sqlx::query_as(
        "select c.relname::text, a.attname::text from pg_attribute a join pg_class c on c.oid = a.attrelid
         join pg_namespace n on n.oid = c.relnamespace
         where n.nspname = 'public' and c.relkind = 'r' and a.attnum > 0 and not a.attisdropped
           and (a.atttypid = 'bytea'::regtype or a.attname like '%hash%' or a.attname like '%secret%') and c.relname not like 'audit%'",
    )
    .fetch_all(&app.pool)
    .await
    .unwrap();
    let (mut found, mut of) = (Vec::new(), BTreeSet::new());
    for (table, column) in columns {
        let mut tx = app.pool.begin().await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{club}'"))).execute(&mut *tx).await.unwrap();
        let sql = format!("select {column}::text from {table} where {column} is not null");
        let all: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(&mut *tx).await.unwrap();
        for text in all {
            of.insert(table.clone());
            let what = format!("{table}.{column}");
            if let Some(plain) = text.strip_prefix("\\x") {
                let bytes: Vec<u8> = (0..plain.len() / 2)
                    .map(|at| u8::from_str_radix(&plain[2 * at..2 * at + 2], 16).unwrap())
                    .collect();
                found.push((what.clone(), STANDARD.encode(&bytes)));
                found.push((what.clone(), URL_SAFE_NO_PAD.encode(&bytes)));
                found.push((what, plain.to_owned()));
            } else {
                found.push((what, text));
            }
        }
    }
    for table in ["accounts", "invitations", "secret_links", "refresh_tokens", "signing_keys"] {
        assert!(of.contains(table), "nothing secret in {table}: {of:?}");
    }
    found
}

#[sqlx::test]
async fn an_export_of_an_athlete_holds_theirs_and_names_nobody_else(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let other = athlete(admin, "Otherwise Named", &[&squad.mine]).await;
    for (id, note) in [(&squad.athlete, "Theirs alone"), (&other, "Nobody else's")] {
        let mut ran = run(&squad.session, id, squad.day);
        ran["note"] = json!(note);
        let rated = json!({"athlete_id": id, "assessed_at": format!("{}T18:00:00Z", squad.day), "ratings": {"arms": 2}, "note": note});
        let measured = json!({"athlete_id": id, "kind": "sprint_30m_s", "value": 5.1, "measured_on": squad.day});
        let report = json!({"athlete_id": id, "kind": "illness", "reported_on": squad.day, "reported_by": "guardian"});
        let decided = json!({"athlete_id": id, "outcome": "accepted"});
        let sent = [
            create("run", ran),
            create("assessment", rated),
            create("measurement", measured),
            create("decision", decided),
            create("wellbeing_record", report),
        ];
        assert_eq!(statuses(&push(&squad.coach, &sent).await), [201; 5]);
    }
    let plan = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [squad.athlete, other]});
    admin.post(&format!("/sessions/{}/lane-plans", squad.session), plan).await.expect(201);
    admin
        .patch(&format!("/sessions/{}", squad.session), "*", json!({"note": "Otherwise Named was late"}))
        .await
        .expect(200);
    admin.get(&format!("/athletes/{}", squad.athlete)).await.expect(200);
    noted(admin, "read", "GET /v1/clubs/{club_id}/athletes/{athlete_id}").await;

    let files = exported(admin, json!({"athlete_id": squad.athlete})).await;
    for (table, least) in [
        ("athletes", 1),
        ("runs", 1),
        ("assessments", 1),
        ("measurements", 1),
        ("recommendations", 1),
        ("wellbeing_records", 1),
        ("sessions", 1),
        ("groups", 1),
        ("root_scope", 1),
        ("audit", 2),
    ] {
        assert!(rows(&files, table).len() >= least, "{table}");
    }
    let places = rows(&files, "lane_places");
    assert_eq!(places.len(), 1);
    let told = places[0]["places"].as_array().unwrap();
    assert!(told.iter().all(|place| place["athlete"]["athlete_id"] == json!(squad.athlete)), "{told:?}");
    let text = all_text(&files);
    assert!(text.contains("Theirs alone"));
    for foreign in ["Otherwise Named", "Nobody else's", &other, "127.0.0.1"] {
        assert!(!text.contains(foreign), "{foreign}");
    }
    assert!(!files.contains_key("json/members.ndjson") && !files.contains_key("json/lane_plans.ndjson"));
    // Who asked for it and took it stands in the audit under the name of the athlete.
    for (act, operation) in [
        ("changed", "POST /v1/clubs/{club_id}/exports"),
        ("exported", "GET /v1/clubs/{club_id}/exports/{export_id}/archive"),
    ] {
        let row = noted(admin, act, operation).await.remove(0);
        assert_eq!((&row["athlete_ids"], &row["reach"]), (&json!([squad.athlete]), &json!("named")), "{row}");
    }
    admin.post("/exports", json!({"athlete_id": Uuid::now_v7()})).await.expect_fault(422, "/athlete_id");
}

#[sqlx::test]
async fn an_export_is_asked_for_once_and_goes_when_nobody_needs_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let own = Uuid::now_v7().to_string();
    assert_eq!(ask(&admin, json!({"id": own})).await, own);
    let again = admin.post("/exports", json!({"id": own})).await.expect(200);
    assert_eq!(again.header("location"), admin.path(&format!("/exports/{own}")));
    let group = admin.group("Mine").await;
    let somebody = athlete(&admin, "Mira Osei", &[&group]).await;
    admin.post("/exports", json!({"id": own, "athlete_id": somebody})).await.expect(409);
    // Two instances look at the same moment: one makes it.
    let db = [instance(&app), instance(&app)];
    let (one, two) = tokio::join!(make(&db[0], Utc::now()), make(&db[1], Utc::now()));
    let mut made = [one.unwrap(), two.unwrap()];
    made.sort_by_key(Option::is_none);
    assert_eq!(made, [Some(Made::Ready), None]);
    archive(&admin, &own).await;
    // Taken back before it is made.
    let needless = ask(&admin, json!({})).await;
    admin.delete(&format!("/exports/{needless}"), "").await.expect(204);
    assert_eq!(make_next(&app).await, Some(Made::Needless));
    admin.get(&format!("/exports/{needless}")).await.expect(404);
    // As many as there may be.
    let most = app.get("/v1/limits").await.expect(200).body["archives"]["exports"].as_u64().unwrap();
    for _ in 1..most {
        ask(&admin, json!({})).await;
    }
    assert!(admin.post("/exports", json!({})).await.expect(409).body["detail"].as_str().unwrap().contains("20"));
    assert_eq!(admin.get("/exports").await.expect(200).body["items"].as_array().unwrap().len(), 20);
    // Over: nobody finds it, and the next chore drops it with its pieces.
    let late = format!("update exports set expires_at = now() where id = '{own}' returning 1");
    let mut tx = app.pool.begin().await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{}'; {late}", admin.club)))
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    admin.get(&format!("/exports/{own}")).await.expect(404);
    admin.get(&format!("/exports/{own}/archive")).await.expect(404);
    let pieces = "select count(*) from export_pieces";
    assert_eq!(owned::<i64>(&app, &admin.club, pieces).await, 1);
    let dropped = chores::compact(&instance(&app), Duration::zero()).await.unwrap().unwrap();
    assert_eq!(dropped.exports, 1);
    assert_eq!(owned::<i64>(&app, &admin.club, pieces).await, 0);
}

#[sqlx::test]
async fn an_app_cannot_take_what_a_club_holds(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let id = ask(&admin, json!({})).await;
    let by_app = oauth::acting(&admin, &["club.admin", "squad.read"]).await;
    by_app.get("/exports").await.expect(200);
    by_app.post("/exports", json!({})).await.expect(403);
    by_app.get(&format!("/exports/{id}/archive")).await.expect(403);
    by_app.delete(&format!("/exports/{id}"), "").await.expect(403);
}

/// Runs with remarks that cannot be packed, so that the archive has several pieces.
pub async fn fill(squad: &Squad, count: usize) {
    let sql = format!(
        "begin; set local app.club_id = '{0}';
         insert into runs (club_id, id, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm, barriers, held, over_reached,
           crowded, broken, hits, fell, note, recorded_by, created_at)
         select '{0}', gen_random_uuid(), '{1}', '{2}', now(), 'wicket', 300, 6000, 5, 4, 0, 0, 0, 0, false,
           (select string_agg(md5(random()::text || n || m), '') from generate_series(1, 12) m), '{3}', now()
         from generate_series(1, {count}) n; commit",
        squad.admin.club, squad.session, squad.athlete, squad.admin.account
    );
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&squad.app.pool).await.unwrap();
}

#[sqlx::test]
async fn a_large_archive_is_kept_and_handed_out_in_pieces(pool: PgPool) {
    let squad = squad(pool).await;
    fill(&squad, 12_000).await;
    let id = ask(&squad.admin, json!({})).await;
    assert_eq!(make_next(&squad.app).await, Some(Made::Ready));
    let (told, answer) = archive(&squad.admin, &id).await;
    let sizes: Vec<i32> = {
        let mut tx = squad.app.pool.begin().await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{}'", squad.admin.club)))
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query_scalar("select octet_length(bytes) from export_pieces order by place")
            .fetch_all(&mut *tx)
            .await
            .unwrap()
    };
    assert!(sizes.len() > 3, "{sizes:?}");
    assert!(sizes.iter().all(|size| *size < 2 << 20), "{sizes:?}");
    assert_eq!(sizes.iter().map(|size| i64::from(*size)).sum::<i64>(), told["bytes"].as_i64().unwrap());
    let files = unpacked(&answer.bytes);
    assert_eq!(rows(&files, "runs").len(), 12_000);
}

#[sqlx::test]
async fn an_erasure_takes_every_archive_back_also_one_that_is_being_written(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let stays = athlete(admin, "Stays Here", &[&squad.mine]).await;
    admin.patch(&format!("/athletes/{}", squad.athlete), "*", json!({"display_name": "Mira Osei"})).await.expect(200);
    let made = ask(admin, json!({})).await;
    let own = ask(admin, json!({"athlete_id": squad.athlete})).await;
    let others = ask(admin, json!({"athlete_id": stays})).await;
    for _ in 0..3 {
        assert_eq!(make_next(&squad.app).await, Some(Made::Ready));
    }
    let running = ask(admin, json!({})).await;
    // The archive that is being written waits where its last table is read; its snapshot is older than the erasure.
    let mut gate = squad.app.pool.begin().await.unwrap();
    sqlx::raw_sql("lock table audit_start in access exclusive mode").execute(&mut *gate).await.unwrap();
    let db = instance(&squad.app);
    let writing = tokio::spawn(async move { make(&db, Utc::now() + Duration::hours(1)).await.unwrap() });
    eventually("the archive waits at the gate", async || {
        let waits = "select exists (select from pg_locks where not granted and relation = 'audit_start'::regclass)";
        sqlx::query_scalar::<_, bool>(waits).fetch_one(&squad.app.pool).await.unwrap()
    })
    .await;
    admin.delete(&format!("/athletes/{}", squad.athlete), "*").await.expect(204);
    gate.rollback().await.unwrap();
    assert_eq!(writing.await.unwrap(), Some(Made::Needless));
    for id in [&made, &own, &running] {
        let told = admin.get(&format!("/exports/{id}")).await.expect(200).body;
        assert_eq!(
            (&told["state"], &told["bytes"], &told["sha256"]),
            (&json!("withdrawn"), &json!(0), &Value::Null),
            "{told}"
        );
        admin.get(&format!("/exports/{id}/archive")).await.expect(409);
    }
    archive(admin, &others).await;
    assert_eq!(owned::<i64>(&squad.app, &admin.club, "select count(distinct export_id) from export_pieces").await, 1);
    let files = exported(admin, json!({})).await;
    assert!(all_text(&files).contains("Stays Here"));
    assert!(!all_text(&files).contains("Mira Osei"));
    assert!(rows(&files, "athletes").iter().any(|row| row["id"] == json!(squad.athlete) && row["display_name"] == ""));
}

#[sqlx::test]
async fn a_consent_that_is_withdrawn_takes_archives_back_that_carry_it(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let stays = athlete(admin, "Stays Here", &[&squad.mine]).await;
    let said = async |act: &str| {
        let body = json!({"purpose": "sharing_with_apps", "act": act, "on": squad.day, "by": "guardian"});
        admin.post(&format!("/athletes/{}/consents", squad.athlete), body).await.expect(201);
    };
    let made = ask(admin, json!({})).await;
    let own = ask(admin, json!({"athlete_id": squad.athlete})).await;
    let others = ask(admin, json!({"athlete_id": stays})).await;
    for _ in 0..3 {
        assert_eq!(make_next(&squad.app).await, Some(Made::Ready));
    }
    let waiting = ask(admin, json!({})).await;
    said("given").await;
    archive(admin, &made).await;
    said("withdrawn").await;
    for id in [&made, &own] {
        assert_eq!(admin.get(&format!("/exports/{id}")).await.expect(200).body["state"], "withdrawn");
        admin.get(&format!("/exports/{id}/archive")).await.expect(409);
    }
    archive(admin, &others).await;
    // What was not begun holds the withdrawal.
    assert_eq!(make_next(&squad.app).await, Some(Made::Ready));
    let (_, answer) = archive(admin, &waiting).await;
    let consents = rows(&unpacked(&answer.bytes), "consents");
    assert!(consents.iter().any(|row| row["given"] == json!(false)), "{consents:?}");
}
