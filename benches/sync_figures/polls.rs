//! Polls of phones that are up to date.

use std::time::{Duration, Instant};

use super::service::Service;
use super::wire::{self, Wire};
use super::{Bench, clubs, quantile};

/// Clubs from this number on.
const FIRST: u32 = 1_000;
const CLUBS: u32 = 64;
/// Phones of each, every one with an account of its own.
const PHONES: u32 = 16;
/// Connections at once; each polls for one phone after the other.
const CONNECTIONS: u32 = 32;
const SECONDS: Duration = Duration::from_secs(10);

/// The request of a phone that has read everything, after it has.
fn up_to_date(bench: &Bench, wire: &mut Wire, club: u32, phone: u32) -> Vec<u8> {
    let access = clubs::access(&bench.keys, club, phone);
    let path = format!("/v1/clubs/{}/changes", clubs::club_id(club));
    let (status, _) = wire.call(&wire::get(&path, &access));
    let page = wire.json();
    assert_eq!(status, 200, "{page}");
    wire::get(
        &format!("{path}?sync_token={}", page.get("sync_token").and_then(|one| one.as_str()).expect("a token")),
        &access,
    )
}

/// Polls until the time is over; how long each poll took.
fn poll(address: &str, requests: &[Vec<u8>]) -> Vec<Duration> {
    let mut wire = Wire::open(address);
    let mut times = Vec::new();
    let begun = Instant::now();
    for request in requests.iter().cycle() {
        if begun.elapsed() > SECONDS {
            break;
        }
        let (status, time) = wire.call(request);
        assert_eq!(status, 200);
        assert!(wire.body.windows(12).any(|part| part == b"\"changes\":[]"), "nothing is new");
        times.push(time);
    }
    times
}

/// Prints how many polls a second are answered.
pub fn run(bench: &Bench) {
    bench.sql(async |conn| clubs::found(conn, FIRST, FIRST + CLUBS - 1, PHONES).await);
    bench.settle();
    let service = Service::start(&bench.cluster.url());
    let mut wire = Wire::open(&service.address);
    let phones = (0..PHONES).flat_map(|phone| (0..CLUBS).map(move |club| (FIRST + club, phone + 1)));
    let requests: Vec<Vec<u8>> = phones.map(|(club, phone)| up_to_date(bench, &mut wire, club, phone)).collect();
    let begun = Instant::now();
    let each = requests.len() / usize::try_from(CONNECTIONS).expect("a count");
    let mut times: Vec<Duration> = std::thread::scope(|scope| {
        let threads: Vec<_> = requests.chunks(each).map(|part| scope.spawn(|| poll(&service.address, part))).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("it polls")).collect()
    });
    #[allow(clippy::cast_precision_loss)] // a count of polls
    let rate = times.len() as f64 / begun.elapsed().as_secs_f64();
    let (p50, p99) = (quantile(&mut times, 0.5), quantile(&mut times, 0.99));
    println!(
        "sync empty polls: {} phones of {CLUBS} clubs over {CONNECTIONS} connections: {rate:.0} a second (bar 5000), \
         p50 {p50:.2} ms, p99 {p99:.2} ms",
        CLUBS * PHONES
    );
}
