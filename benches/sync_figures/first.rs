//! The first sync of a large club, with the service killed on the way.

use std::time::Instant;

use super::service::Service;
use super::wire::{self, Wire};
use super::{Bench, clubs};

/// Changes from which the club has a few more than 100,000 records.
const CHANGES: u32 = 106_000;
/// After so many records the service is killed.
const KILLED_AFTER: usize = 50_000;

/// Prints how long it takes, what it transfers and by how much the service grows.
pub fn run(bench: &Bench) {
    const CLUB: u32 = 10;
    bench.sql(async |conn| {
        clubs::found(conn, CLUB, CLUB, 1).await;
        clubs::fill(conn, CLUB, clubs::ATHLETES, CHANGES).await;
    });
    bench.settle();
    let access = clubs::access(&bench.keys, CLUB, 1);
    let path = format!("/v1/clubs/{}/changes?limit=500", clubs::club_id(CLUB));
    let (mut records, mut bytes, mut growth) = (0, 0, 0.0_f64);
    let mut token = String::new();
    let mut service = Service::start(&bench.cluster.url());
    let mut wire = Wire::open(&service.address);
    let (mut before, _) = service.memory();
    let begun = Instant::now();
    let mut killed = false;
    loop {
        let (status, _) = wire.call(&wire::get(&format!("{path}{token}"), &access));
        assert_eq!(status, 200);
        bytes += wire.body.len();
        let page = wire.json();
        records += page.get("changes").and_then(|list| list.as_array()).expect("a list").len();
        token = format!("&sync_token={}", page.get("sync_token").and_then(|one| one.as_str()).expect("a token"));
        if page.get("more").and_then(serde_json::Value::as_bool) != Some(true) {
            break;
        }
        if records >= KILLED_AFTER && !killed {
            growth = service.memory().1 - before;
            drop(service);
            service = Service::start(&bench.cluster.url());
            wire = Wire::open(&service.address);
            before = service.memory().0;
            killed = true;
        }
    }
    let seconds = begun.elapsed().as_secs_f64();
    growth = growth.max(service.memory().1 - before);
    assert!(records >= 100_000, "{records} records came");
    println!(
        "sync first copy: {records} records, {} MB, {seconds:.1} s with the service killed on the way; its resident \
         memory grew by {growth:.1} MB at most (bar 64)",
        bytes / 1_000_000
    );
}
