//! Pushes of 50 runs beside pgbench with the statements of such a push.

use std::fmt::Write;
use std::time::{Duration, Instant};

use sqlx::PgConnection;

use super::reference::{MARK, Recorder, Source};
use super::service::Service;
use super::wire::{self, Wire};
use super::{Bench, clubs, quantile};

/// Clubs from this number on, one phone each.
pub const FIRST: u32 = 2_000;
/// Items of a push.
pub const ITEMS: u32 = 50;
const CLUBS: [u32; 3] = [1, 8, 64];
/// Service and pgbench by turns, each so long; before, so long uncounted: connections plan each statement anew for the
/// first five times.
const ROUNDS: u32 = 2;
const SECONDS: u32 = 6;
const WARMING: u32 = 6;

/// The body of a push of runs.
pub fn body() -> String {
    let mut items = String::new();
    for at in 0..ITEMS {
        let comma = if at == 0 { "" } else { "," };
        let (session, athlete) = (clubs::session_id(), clubs::athlete_id(1));
        write!(
            items,
            r#"{comma}{{"op_id":"{MARK}-7000-9000-{at:012x}","method":"PUT","type":"run","id":"{MARK}-7000-8000-{at:012x}",
            "if_none_match":"*","data":{{"session_id":"{session}","athlete_id":"{athlete}","run_at":"2026-01-05T17:{at:02}:00Z",
            "barrier_kind":"low_barrier","height_m":0.5,"spacing_m":6.25,"approach_m":11.0,"barriers":8,
            "intervals":{{"held":5,"over_reached":1,"crowded":1}},"hits":1,"lead_leg":"left","timing_method":"tap",
            "touchdown_times_s":[2.61,3.78,4.94,6.11,7.32,8.51,9.7,10.9]}}}}"#
        )
        .expect("text");
    }
    format!(
        r#"{{"device_id":"00000000-0000-7000-8000-000000000001","schema":1,"sent_at":"2026-01-05T20:00:00Z","items":[{items}]}}"#
    )
}

/// One phone that pushes to its club.
pub struct Pusher {
    wire: Wire,
    path: String,
    access: String,
    body: String,
    random: u64,
}

impl Pusher {
    pub fn new(bench: &Bench, service: &Service, club: u32, seed: u64) -> Self {
        Self {
            wire: Wire::open(&service.address),
            path: format!("/v1/clubs/{}/changes", clubs::club_id(club)),
            access: clubs::access(&bench.keys, club, 1),
            body: body(),
            random: seed,
        }
    }

    /// Pushes with other ids than ever before.
    pub fn push(&mut self) -> Duration {
        self.random = self.random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let mark = format!("{:08x}-{:04x}", self.random >> 32, self.random >> 16 & 0xffff);
        self.push_marked(&mark)
    }

    /// Pushes with ids of this mark.
    pub fn push_marked(&mut self, mark: &str) -> Duration {
        let request = wire::post(&self.path, &self.access, self.body.replace(MARK, mark).as_bytes());
        let (status, time) = self.wire.call(&request);
        let text = String::from_utf8_lossy(&self.wire.body);
        assert!(status == 200 && text.matches("\"status\":201").count() == ITEMS as usize, "{status} {text}");
        time
    }
}

/// Pushes to so many clubs at once; how long each push took.
fn measure(bench: &Bench, service: &Service, clubs: u32, round: u32) -> Vec<Duration> {
    let seed = |club: u32| u64::from(round) << 32 | u64::from(clubs) << 16 | u64::from(club);
    let pushers: Vec<Pusher> = (0..clubs).map(|club| Pusher::new(bench, service, FIRST + club, seed(club))).collect();
    std::thread::scope(|scope| {
        let push = |mut pusher: Pusher| {
            let from = Instant::now() + Duration::from_secs(WARMING.into());
            let to = from + Duration::from_secs(SECONDS.into());
            let mut times = Vec::new();
            while Instant::now() < to {
                let time = pusher.push();
                if Instant::now() > from {
                    times.push(time);
                }
            }
            times
        };
        let threads: Vec<_> = pushers.into_iter().map(|pusher| scope.spawn(move || push(pusher))).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("it pushes")).collect()
    })
}

/// Bytes that the server has ever written to its log.
pub async fn wal(conn: &mut PgConnection) -> i64 {
    let sql = "select pg_wal_lsn_diff(pg_current_wal_insert_lsn(), '0/0')::bigint";
    sqlx::query_scalar(sql).fetch_one(conn).await.expect("a position")
}

/// Prints the bytes of the write-ahead log a change, with and without the page images after a checkpoint.
fn print_wal(bench: &Bench, service: &Service) {
    const PUSHES: u32 = 200;
    let mut pusher = Pusher::new(bench, service, FIRST, 2);
    bench.settle();
    let mut each = || {
        let before = bench.sql(wal);
        for _ in 0..PUSHES {
            pusher.push();
        }
        (bench.sql(wal) - before) / i64::from(PUSHES * ITEMS)
    };
    let (first, later) = (each(), each());
    println!(
        "sync pushes: {first} bytes of WAL a change in the first 10000 after a checkpoint, {later} in the next 10000"
    );
}

/// Prints rates and times.
#[allow(clippy::cast_precision_loss)] // counts
pub fn run(bench: &Bench) {
    let most = CLUBS.into_iter().max().expect("some");
    bench.sql(async |conn| clubs::found(conn, FIRST, FIRST + most - 1, 1).await);
    let recorder = Recorder::start(bench);
    let mut pusher = Pusher::new(bench, &recorder.service, FIRST, 1);
    let source = Source { name: "push", club: Some(FIRST), changes: ITEMS as usize };
    let script = recorder.script(source, |marked| {
        if marked {
            pusher.push_marked(MARK)
        } else {
            pusher.push()
        };
    });
    recorder.stop();
    println!("sync pushes: 50 runs are {} statements in {} round trips", script.statements, script.trips);
    let service = Service::start(&bench.cluster.url());
    print_wal(bench, &service);
    for clubs in CLUBS {
        bench.settle();
        let (mut times, mut reference) = (Vec::new(), 0.0);
        for round in 0..ROUNDS {
            times.extend(measure(bench, &service, clubs, round));
            reference += script.run(bench, clubs, (WARMING, SECONDS)) / f64::from(ROUNDS);
        }
        let rate = times.len() as f64 / f64::from(ROUNDS * SECONDS);
        println!(
            "sync pushes: {clubs} clubs: {rate:.0} pushes ({:.0} changes) a second, p50 {:.1} ms, p99 {:.1} ms; \
             pgbench {reference:.0} a second; ratio {:.2} (bar 0.7)",
            rate * f64::from(ITEMS),
            quantile(&mut times, 0.5),
            quantile(&mut times, 0.99),
            rate / reference
        );
    }
}
