//! Pages of changes from a short and from a long log of the same database.

use std::time::{Duration, Instant};

use super::service::Service;
use super::wire::{self, Wire};
use super::{Bench, clubs, quantile};

const SHORT: u32 = 10_000;
const LONG: u32 = 1_000_000;
/// Measured pages of each log.
const PAGES: usize = 600;

/// Where a club's log can be read from.
struct Log {
    club: u32,
    access: String,
    /// The tokens before each page of 500.
    tokens: Vec<String>,
}

fn path(club: u32, token: &str) -> String {
    let token = if token.is_empty() { String::new() } else { format!("&sync_token={token}") };
    format!("/v1/clubs/{}/changes?limit=500{token}", clubs::club_id(club))
}

impl Log {
    /// A phone that is up to date before the log fills.
    fn begin(bench: &Bench, wire: &mut Wire, club: u32) -> Self {
        let access = clubs::access(&bench.keys, club, 1);
        let mut log = Self { club, access, tokens: vec![String::new()] };
        let (more, changes) = log.page(wire);
        assert!(!more && changes == 4, "a new club is itself, a group, an athlete and a session");
        log.tokens.remove(0);
        log
    }

    /// Reads the page after the last token.
    fn page(&mut self, wire: &mut Wire) -> (bool, usize) {
        let last = self.tokens.last().expect("a token");
        let (status, _) = wire.call(&wire::get(&path(self.club, last), &self.access));
        let page = wire.json();
        assert_eq!(status, 200, "{page}");
        let token = page.get("sync_token").and_then(|token| token.as_str()).expect("a token").to_owned();
        let changes = page.get("changes").and_then(|list| list.as_array()).expect("a list").len();
        self.tokens.push(token);
        (page.get("more").and_then(serde_json::Value::as_bool) == Some(true), changes)
    }

    /// Reads the whole log; how many changes came.
    fn walk(&mut self, wire: &mut Wire) -> usize {
        let mut all = 0;
        loop {
            let (more, changes) = self.page(wire);
            all += changes;
            if !more {
                // The last page may be short, and nothing follows the last token.
                self.tokens.truncate(self.tokens.len() - 2);
                return all;
            }
        }
    }

    /// One page at a random place.
    fn measure(&self, wire: &mut Wire, random: u64) -> Duration {
        let places = u64::try_from(self.tokens.len()).expect("a count");
        let at = usize::try_from(random % places).expect("a place");
        let token = self.tokens.get(at).expect("a token");
        let (status, time) = wire.call(&wire::get(&path(self.club, token), &self.access));
        assert_eq!(status, 200);
        time
    }
}

/// Prints the times of pages at random places of both logs, by turns.
pub fn run(bench: &Bench) {
    bench.sql(async |conn| clubs::found(conn, 1, 2, 1).await);
    let service = Service::start(&bench.cluster.url());
    let mut wire = Wire::open(&service.address);
    let mut logs = [Log::begin(bench, &mut wire, 1), Log::begin(bench, &mut wire, 2)];
    bench.sql(async |conn| {
        clubs::fill(conn, 1, clubs::ATHLETES, SHORT).await;
        clubs::fill(conn, 2, clubs::ATHLETES, LONG).await;
    });
    bench.settle();
    // The service closes a connection that was silent for a minute.
    wire = Wire::open(&service.address);
    for log in &mut logs {
        let begun = Instant::now();
        let changes = log.walk(&mut wire);
        println!("sync pages: {changes} changes read in order in {:.1} s", begun.elapsed().as_secs_f64());
    }
    let mut times = [Vec::new(), Vec::new()];
    let mut random = 1_u64;
    for _ in 0..PAGES {
        for (log, times) in logs.iter().zip(&mut times) {
            random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            times.push(log.measure(&mut wire, random >> 33));
        }
    }
    let [mut short, mut long] = times;
    let ratio = quantile(&mut long, 0.5) / quantile(&mut short, 0.5);
    for (rows, times) in [(SHORT, &mut short), (LONG, &mut long)] {
        let (p50, p99) = (quantile(times, 0.5), quantile(times, 0.99));
        println!("sync pages: 500 changes at a random place of a log of {rows} rows: p50 {p50:.2} ms, p99 {p99:.2} ms");
    }
    println!("sync pages: p50 of the long log / p50 of the short one: {ratio:.2} (bar 1.3)");
}
