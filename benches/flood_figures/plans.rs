//! Twenty lane plans of 280 athletes at once by one coach, beside another club at work.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::json;

use super::squad::Squad;
use super::{beside, start};
use crate::sync_figures::wire::{self, Wire};
use crate::sync_figures::{Bench, quantile};

/// Plans asked for at once, and their athletes.
const FLOOD: usize = 20;
const ATHLETES: usize = 280;
/// Days since each session.
const TRAINED: [i64; 4] = [12, 9, 5, 2];
/// How long each part is measured, seconds.
const SECONDS: u64 = 25;
/// Most times that a p99 may grow.
const BAR: f64 = 1.5;

/// How long the calls of the other club took, by what they are.
type Times = BTreeMap<&'static str, Vec<Duration>>;

/// The other club at work: two people, one call after another, until told to stop.
fn work(address: &str, squad: &Squad, stop: &AtomicBool) -> Times {
    let mut times = Times::new();
    let mut parts = std::thread::scope(|scope| {
        let people: Vec<_> = (0..2).map(|_| scope.spawn(|| person(address, squad, stop))).collect();
        people.into_iter().map(|person| person.join().expect("it works")).collect::<Vec<_>>()
    });
    for (name, part) in parts.iter_mut().flat_map(|part| part.iter_mut()) {
        times.entry(name).or_default().append(part);
    }
    times
}

fn person(address: &str, squad: &Squad, stop: &AtomicBool) -> Times {
    let mut wire = Wire::open(address);
    let mut times = Times::new();
    let Squad { access, club, .. } = squad;
    for athlete in squad.athletes.iter().cycle() {
        let push = squad.push(athlete).to_string();
        let calls = [
            ("read", wire::get(&format!("{club}/athletes?limit=50"), access)),
            ("read", wire::get(&format!("{club}/sessions"), access)),
            ("read", wire::get(&format!("{club}/athletes/{athlete}"), access)),
            ("recommendation", wire::get(&format!("{club}/athletes/{athlete}/recommendation"), access)),
            ("push", wire::post(&format!("{club}/changes"), access, push.as_bytes())),
        ];
        for (name, call) in calls {
            let (status, time) = wire.call(&call);
            assert_eq!(status, 200, "{name}: {}", String::from_utf8_lossy(&wire.body));
            times.entry(name).or_default().push(time);
            std::thread::sleep(Duration::from_millis(5));
        }
        if stop.load(Ordering::Relaxed) {
            break;
        }
    }
    times
}

/// Asks for plans all the time; how often each status came.
fn flood(address: &str, squad: &Squad, stop: &AtomicBool) -> BTreeMap<u16, usize> {
    let body = json!({"lanes": 8, "capacity": 40, "barriers": {"min": 4, "max": 8}, "athlete_ids": squad.athletes, "objective": "fair"});
    let call = wire::post(
        &format!("{}/sessions/{}/lane-plans", squad.club, squad.session),
        &squad.access,
        body.to_string().as_bytes(),
    );
    let ask = || {
        let mut wire = Wire::open(address);
        let mut statuses: BTreeMap<u16, usize> = BTreeMap::new();
        while !stop.load(Ordering::Relaxed) {
            let (status, _) = wire.call(&call);
            *statuses.entry(status).or_default() += 1;
            if status == 503 {
                // A hundredth of what Retry-After asks for: a client that does not listen.
                std::thread::sleep(Duration::from_millis(50));
            }
        }
        statuses
    };
    let mut all: BTreeMap<u16, usize> = BTreeMap::new();
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..FLOOD).map(|_| scope.spawn(ask)).collect();
        for (status, count) in threads.into_iter().flat_map(|thread| thread.join().expect("it asks")) {
            *all.entry(status).or_default() += count;
        }
    });
    all
}

/// Prints p50 and p99 of the other club before and during the flood.
pub fn run(bench: &Bench) {
    let service = start(bench, &[]);
    let mut wire = Wire::open(&service.address);
    let large = Squad::found(&mut wire, "flooders", ATHLETES, &TRAINED);
    let other = Squad::found(&mut wire, "others", 24, &TRAINED);
    bench.settle();
    let address = service.address.as_str();
    let (mut before, ()) = beside(SECONDS, |stop| work(address, &other, stop), |_| ());
    let (mut during, statuses) =
        beside(SECONDS, |stop| work(address, &other, stop), |stop| flood(address, &large, stop));
    println!(
        "flood plans: {FLOOD} lane plans of {ATHLETES} athletes at once for {SECONDS} s, answers by status {statuses:?}"
    );
    println!("  another club      calls   before p50    p99   during calls    p50    p99   p99 ratio (bar {BAR})");
    let names: Vec<_> = before.keys().copied().collect();
    for name in names {
        let (mut calm, mut flooded) =
            (before.remove(name).unwrap_or_default(), during.remove(name).unwrap_or_default());
        let (calls, others) = (calm.len(), flooded.len());
        let [a, b] = [quantile(&mut calm, 0.5), quantile(&mut calm, 0.99)];
        let [c, d] = [quantile(&mut flooded, 0.5), quantile(&mut flooded, 0.99)];
        println!("  {name:<15} {calls:>7} {a:>9.2} ms {b:>6.2} {others:>14} {c:>6.2} {d:>6.2} {:>8.2}", d / b);
    }
}
