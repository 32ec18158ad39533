//! What it takes to delete what a large club no longer keeps, and what somebody notices who goes on working in it.

use std::time::{Duration, Instant};

use lanewright::platform::db::Db;
use lanewright::resources::retention;
use serde_json::{Value, json};
use sqlx::AssertSqlSafe;
use tokio::runtime::Runtime;

use super::Club;
use crate::sync_figures::service::Service;
use crate::sync_figures::wire::{self, Wire};
use crate::sync_figures::{Bench, quantile};

/// How long this club keeps each kind, days.
const KEPT: i64 = 1_095;
/// Between two writes of whoever goes on working.
const PAUSE: Duration = Duration::from_millis(50);

/// What it took.
pub struct Swept {
    records: u64,
    seconds: f64,
    /// Plain statements that delete the same rows of a copy.
    plain: f64,
    /// Of the answer that says what would go, ms.
    preview: f64,
    /// Of each write of somebody else meanwhile.
    writes: Vec<Duration>,
    /// The same before it.
    before: Vec<Duration>,
}

impl Swept {
    /// A line of the table, and what others noticed.
    pub fn print(&mut self) {
        let Self { records, seconds, plain, preview, .. } = self;
        println!(
            "  retention: {records} records deleted in {seconds:.1} s, {:.0} a second; plain statements on a copy {plain:.1} s, \
             ratio {:.1}; the preview took {preview:.0} ms",
            *records as f64 / *seconds,
            *seconds / *plain
        );
        let row = |name: &str, times: &mut Vec<Duration>| {
            let [p50, p99, most] = [0.5, 0.99, 1.0].map(|share| quantile(times, share));
            println!(
                "    a write of the same club {name}: p50 {p50:.1} ms, p99 {p99:.1} ms, slowest {most:.1} ms ({})",
                times.len()
            );
        };
        row("before", &mut self.before);
        row("meanwhile", &mut self.writes);
    }
}

/// Deletes from a club what is older than three years, and from its copy by plain statements.
pub fn run(bench: &Bench, service: &Service, club: &Club, copy: &Club) -> Swept {
    switch_on(bench, club);
    let mut wire = Wire::open(&service.address);
    let (path, access) = club.ask(bench, "/retention/preview");
    let (status, preview) = wire.call(&wire::get(&path, &access));
    assert_eq!(status, 200, "{}", String::from_utf8_lossy(&wire.body));
    let shown = wire.json();
    let shown = shown.get("items").and_then(Value::as_array).expect("items").iter();
    let shown: u64 = shown.filter_map(|one| one.get("records")?.as_u64()).sum();
    let mut number = 0;
    let mut write = || {
        number += 1;
        let (path, access) = club.ask(bench, "/venues");
        let venue = json!({"name": format!("Track {number}"), "environment": "outdoor", "straight_m": 60, "lanes": 8});
        let (status, time) = wire.call(&wire::post(&path, &access, venue.to_string().as_bytes()));
        assert_eq!(status, 201, "{}", String::from_utf8_lossy(&wire.body));
        std::thread::sleep(PAUSE);
        time
    };
    let before = (0..100).map(|_| write()).collect();
    let options = bench.cluster.connect_options();
    let begun = Instant::now();
    let sweep = std::thread::spawn(move || {
        let runtime = Runtime::new().expect("threads");
        let swept = runtime.block_on(async { retention::sweep(&Db::lazy(options, 2)).await });
        (swept.expect("what is old goes"), begun.elapsed().as_secs_f64())
    });
    let mut writes = Vec::new();
    while !sweep.is_finished() {
        writes.push(write());
    }
    let (records, seconds) = sweep.join().expect("no fault");
    assert!(records >= shown, "{shown} records were to go, {records} went");
    Swept { records, seconds, plain: plainly(bench, copy), preview: preview.as_secs_f64() * 1e3, writes, before }
}

/// As an admin does, a week ago.
fn switch_on(bench: &Bench, club: &Club) {
    let kinds =
        ["former_athletes", "wellbeing_records", "measurements", "assessments", "decisions", "runs", "sessions"];
    let periods: Value = kinds.map(|kind| (kind.to_owned(), json!(KEPT))).into_iter().collect();
    bench.sql(async |conn| {
        let sql = "insert into retention (club_id, rev, enabled, periods, begins_at, updated_at)
            values ($1::uuid, 2, true, $2, now(), now())";
        sqlx::query(sql).bind(&club.id).bind(periods).execute(conn).await.expect("the schema takes it");
    });
}

/// Seconds of plain statements that delete the same rows of another club.
fn plainly(bench: &Bench, club: &Club) -> f64 {
    let old = format!("select id from sessions where club_id = '{}' and held_on < current_date - {KEPT}", club.id);
    let of = |table: &str| format!("delete from {table} where club_id = '{}' and session_id in ({old});", club.id);
    let sql = format!(
        "begin; {} {} {}
        delete from measurements m where m.club_id = '{club}' and m.measured_on < current_date - {KEPT} and exists (
          select from measurements n where n.club_id = m.club_id and n.athlete_id = m.athlete_id and n.measured_on > m.measured_on);
        update sessions set deleted_at = now() where club_id = '{club}' and held_on < current_date - {KEPT};
        commit",
        of("assessments"),
        of("runs"),
        of("attendance"),
        club = club.id
    );
    let begun = Instant::now();
    bench.sql(async |conn| {
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.expect("the schema takes it");
    });
    begun.elapsed().as_secs_f64()
}
