//! What an archive costs: a club is exported over HTTP as its admin would and imported into an empty one, by the service as its own
//! process beside a private PostgreSQL that writes durably. Then the club that came deletes what it no longer keeps.
//!
//! Beside it, in the same run, `COPY` moves the same rows between the same tables, with their indexes and references: what the database
//! alone takes. A service for each half, so that each has a peak of memory of its own. What came has to be what went, by a hash of every
//! table. Service, database and client share the cores of the machine: ratios hold, figures of a busy machine do not.

#![allow(clippy::expect_used, clippy::panic, clippy::print_stdout)] // prints figures, inputs are its own
#![allow(clippy::cast_precision_loss)] // records and bytes

mod retention;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Cursor};
use std::time::{Duration, Instant};

use aws_lc_rs::digest::{Context, SHA256};
use chrono::Utc;
use futures_util::StreamExt;
use lanewright::platform::access::OWN_SCOPE;
use lanewright::platform::db::tables::{imported, named};
use lanewright::platform::ids::{AccountId, DeviceId};
use serde_json::{Map, Value, json};
use sqlx::AssertSqlSafe;
use uuid::Uuid;
use zip::ZipArchive;

use crate::flood_figures::squad::{call, text};
use crate::sync_figures::Bench;
use crate::sync_figures::service::Service;
use crate::sync_figures::wire::{self, Wire};

/// Records unless another number is given.
const RECORDS: u32 = 300_000;
/// Most memory beyond what the service has at rest, however large the club, MB.
const MEMORY: f64 = 96.0;
/// The tables that are filled, in the order of their references.
const FILLED: [&str; 8] =
    ["groups", "athletes", "measurements", "sessions", "root_scope", "attendance", "runs", "assessments"];

/// A club and its admin.
struct Club {
    id: String,
    account: AccountId,
    device: DeviceId,
}

impl Club {
    /// Founds an empty one over HTTP.
    fn found(bench: &Bench, service: &Service, name: &str) -> Self {
        let club = json!({"name": name, "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let email = format!("admin@{}.example", name.to_lowercase());
        let up = json!({"email": email, "password": "five wickets in a row", "display_name": "Ada", "club": club});
        let up = call(&mut Wire::open(&service.address), "/v1/auth/sign-up", "", &up);
        let account = text(&up, "/account/id");
        let device: Uuid = bench.sql(async |conn| {
            let sql = "select id from devices where account_id = $1::uuid";
            sqlx::query_scalar(sql).bind(&account).fetch_one(conn).await.expect("the device of the sign-up")
        });
        let account = AccountId(Uuid::parse_str(&account).expect("a UUID"));
        Self { id: text(&up, "/club/id"), account, device: DeviceId(device) }
    }

    /// A path and an access token of this moment: those of a sign-up are over before a large club came.
    fn ask(&self, bench: &Bench, path: &str) -> (String, String) {
        let access = bench.keys.sign(self.account, self.device, OWN_SCOPE, Utc::now()).expect("a key");
        (format!("/v1/clubs/{}{path}", self.id), access)
    }
}

/// What one half took.
struct Half {
    seconds: f64,
    /// Resident memory before it and at its peak, MB.
    memory: (f64, f64),
}

/// Prints the figures. A word: how many records.
pub fn run(words: &[String]) {
    let records = words.iter().find_map(|word| word.parse().ok()).unwrap_or(RECORDS);
    let bench = Bench::open();
    let service = Service::start(&bench.cluster.url());
    let [from, into, beside] = ["From", "Into", "Beside"].map(|name| Club::found(&bench, &service, name));
    // Passwords take memory of their own.
    drop(service);
    fill(&bench, &from, records);
    bench.settle();
    let service = Service::start(&bench.cluster.url());
    let (archive, export) = export(&bench, &service, &from);
    drop(service);
    bench.settle();
    let service = Service::start(&bench.cluster.url());
    let import = import(&bench, &service, &into, &archive);
    let sent = content(&archive);
    let came = content(&self::export(&bench, &service, &into).0);
    drop(service);
    bench.settle();
    let copied = copy(&bench, &from, &beside);
    bench.settle();
    let service = Service::start(&bench.cluster.url());
    let mut swept = retention::run(&bench, &service, &into, &beside);
    drop(service);
    bench.close();
    let count: usize = sent.values().map(|(count, _)| count).sum();
    println!(
        "archive: {}, {count} records, {:.1} MB packed",
        Utc::now().format("%Y-%m-%d"),
        archive.len() as f64 / 1e6
    );
    println!(
        "  {:<8} {:>9} {:>11} {:>19} {:>9} {:>7}",
        "", "seconds", "records/s", "peak MB (at rest)", "COPY s", "ratio"
    );
    for (name, half, copied) in [("export", &export, copied.0), ("import", &import, copied.1)] {
        let Half { seconds, memory: (rest, peak) } = half;
        let verdict = if peak - rest <= MEMORY { "pass" } else { "MISS" };
        println!(
            "  {name:<8} {seconds:>9.1} {:>11.0} {peak:>10.0} ({rest:>4.0}) {copied:>11.1} {:>7.1}  (bar {MEMORY} MB more than at rest) {verdict}",
            count as f64 / seconds,
            seconds / copied
        );
    }
    for (table, sent) in &sent {
        assert_eq!(came.get(table), Some(sent), "{table}: what came is not what went");
    }
    println!(
        "  what came is what went: {} tables, by count and SHA-256 of their rows without change numbers",
        sent.len()
    );
    swept.print();
}

/// Fills a club with about so many records, as ten years leave them: of each session a score of those who came and as many assessments
/// as half of them; four measurements of each athlete; and runs.
#[allow(clippy::too_many_lines)] // one statement for each table
fn fill(bench: &Bench, club: &Club, records: u32) {
    let (athletes, sessions) = ((records / 1_000).max(20), (records / 200).max(1));
    let runs = records.saturating_sub(6 * athletes + 32 * sessions).max(1);
    let (account, club) = (&club.account.0, &club.id);
    let id = |kind: &str, number: &str| {
        format!("('0{kind}000000-0000-7000-8000-' || lpad(to_hex({number}), 12, '0'))::uuid")
    };
    let (group, athlete, session) = (id("1", "1"), |n: &str| id("2", n), |n: &str| id("3", n));
    let day = format!("'2016-01-01'::date + s * 3600 / {sessions}");
    let present = format!("(s * 7 + k) % {athletes} + 1");
    let (s, a) = (format!("n * {sessions}::bigint / ({runs} + 1) + 1"), format!("n % {athletes} + 1"));
    let sql = format!(
        "begin;
        insert into groups (club_id, id, name, created_at, updated_at) values ('{club}', {group}, 'Hurdles', now(), now());
        insert into athletes (club_id, id, display_name, sex, birth_year, experience, status, created_at, updated_at)
          select '{club}', {athlete_n}, 'Athlete ' || n, 'F', 2012, 'novice', 'active', now(), now()
          from generate_series(1, {athletes}) n;
        insert into sessions (club_id, id, held_on, state, created_at, updated_at)
          select '{club}', {session_s}, {day}, 'held', now(), now() from generate_series(1, {sessions}) s;
        insert into root_scope (club_id, kind, root_id, scope_id)
          select '{club}'::uuid, 'athlete', {athlete_n}, {group} from generate_series(1, {athletes}) n
          union all select '{club}'::uuid, 'session', {session_s}, {group} from generate_series(1, {sessions}) s;
        insert into measurements (club_id, id, athlete_id, kind, value_milli, measured_on, created_at, recorded_by)
          select '{club}', {measurement}, {athlete_n}, 'stature_m', 1400 + 20 * k, '2020-01-01'::date + 90 * k, now(), '{account}'
          from generate_series(1, {athletes}) n, generate_series(1, 4) k;
        insert into attendance (club_id, id, session_id, athlete_id, created_at, updated_at)
          select '{club}', {attendance}, {session_s}, {present_athlete}, now(), now()
          from generate_series(1, {sessions}) s, generate_series(1, 20) k;
        insert into runs (club_id, id, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm, barriers, held, over_reached,
            crowded, broken, hits, fell, note, recorded_by, created_at)
          select '{club}', {run}, {its_session}, {its_athlete}, '2016-01-01T17:00:00Z'::timestamptz + n * interval '1 minute',
            'wicket', 300, 6000, 5, 4, 0, 0, 0, n % 3, false, case n % 10 when 0 then 'Leant back over the third ' || n end, '{account}', now()
          from generate_series(1::bigint, {runs}) n;
        insert into assessments (club_id, id, athlete_id, session_id, assessed_at, lead_leg, trail_leg, rhythm, recorded_by, created_at)
          select '{club}', {assessment}, {present_athlete}, {session_s}, ({day}) + interval '18 hours', 2, 1, 2, '{account}', now()
          from generate_series(1, {sessions}) s, generate_series(1, 10) k;
        commit",
        athlete_n = athlete("n"),
        session_s = session("s"),
        measurement = id("4", "n * 4 + k"),
        attendance = id("5", "s * 20 + k"),
        present_athlete = athlete(&present),
        run = id("6", "n"),
        its_session = session(&s),
        its_athlete = athlete(&a),
        assessment = id("7", "s * 10 + k"),
    );
    bench.sql(async |conn| {
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.map(drop).expect("the schema takes it");
    });
}

/// Asks for an export of a club, waits until it is made and downloads it; from the question to the last byte.
fn export(bench: &Bench, service: &Service, club: &Club) -> (Vec<u8>, Half) {
    let mut wire = Wire::open(&service.address);
    let (rest, _) = service.memory();
    let begun = Instant::now();
    let (path, access) = club.ask(bench, "/exports");
    let id = text(&call(&mut wire, &path, &access, &json!({})), "/id");
    loop {
        let (path, access) = club.ask(bench, &format!("/exports/{id}"));
        assert_eq!(wire.call(&wire::get(&path, &access)).0, 200);
        match &*text(&wire.json(), "/state") {
            "ready" => break,
            "waiting" | "running" => std::thread::sleep(Duration::from_millis(100)),
            other => panic!("the export is {other}"),
        }
    }
    let (path, access) = club.ask(bench, &format!("/exports/{id}/archive"));
    assert_eq!(wire.call(&wire::get(&path, &access)).0, 200);
    let seconds = begun.elapsed().as_secs_f64();
    (wire.body, Half { seconds, memory: (rest, service.memory().1) })
}

/// Sends an archive; until it came.
fn import(bench: &Bench, service: &Service, club: &Club, archive: &[u8]) -> Half {
    let mut wire = Wire::open(&service.address);
    let (rest, _) = service.memory();
    let (path, access) = club.ask(bench, "/imports");
    let request = wire::send(&path, &access, "application/zip", archive);
    let (status, time) = wire.call(&request);
    assert_eq!(status, 201, "{}", String::from_utf8_lossy(&wire.body));
    Half { seconds: time.as_secs_f64(), memory: (rest, service.memory().1) }
}

/// Count and hash of the rows of each table that an import takes, without what counts changes.
fn content(archive: &[u8]) -> BTreeMap<&'static str, (usize, Vec<u8>)> {
    let mut zip = ZipArchive::new(Cursor::new(archive)).expect("an archive");
    let mut found = BTreeMap::new();
    for name in imported().map(|table| table.name).chain(["root_scope"]) {
        let Ok(file) = zip.by_name(&format!("json/{name}.ndjson")) else { continue };
        let (mut count, mut sum) = (0, Context::new(&SHA256));
        for line in BufReader::new(file).lines() {
            let mut row: Map<String, Value> = serde_json::from_str(&line.expect("text")).expect("a row");
            row.remove("rev");
            sum.update(Value::Object(row).to_string().as_bytes());
            count += 1;
        }
        found.insert(name, (count, sum.finish().as_ref().to_vec()));
    }
    found
}

/// Copies the rows of a club out of their tables, and into those of another; the seconds of both.
fn copy(bench: &Bench, from: &Club, into: &Club) -> (f64, f64) {
    bench.sql(async |conn| {
        let begun = Instant::now();
        let mut all = Vec::new();
        for name in FILLED {
            let columns = named(name).expect("a table").columns.split_whitespace().collect::<Vec<_>>().join(", ");
            let club = (&from.id, &into.id);
            let sql = format!(
                "copy (select '{}'::uuid, {columns} from {name} where club_id = '{}') to stdout",
                club.1, club.0
            );
            let mut rows = Vec::new();
            let mut parts = conn.copy_out_raw(&sql).await.expect("rows");
            while let Some(part) = parts.next().await {
                rows.extend_from_slice(&part.expect("rows"));
            }
            drop(parts);
            all.push((format!("copy {name} (club_id, {columns}) from stdin"), rows));
        }
        let out = begun.elapsed().as_secs_f64();
        let begun = Instant::now();
        sqlx::raw_sql("begin").execute(&mut *conn).await.expect("a transaction");
        for (sql, rows) in &all {
            let mut copy = conn.copy_in_raw(sql).await.expect("a copy");
            for part in rows.chunks(1 << 20) {
                copy.send(part).await.expect("rows");
            }
            copy.finish().await.expect("rows");
        }
        sqlx::raw_sql("commit").execute(&mut *conn).await.expect("a commit");
        (out, begun.elapsed().as_secs_f64())
    })
}
