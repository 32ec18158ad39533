//! More than the service can answer: what those notice who are taken, those who are told to come again, and another club.
//!
//! Clients keep to a rate whether they are answered or not, as phones of many people do. Service, database and clients share
//! the cores of the machine: ratios inside a run hold, figures of a busy machine do not.

#![allow(clippy::expect_used, clippy::panic, clippy::print_stdout)] // prints figures, inputs are its own

mod load;

use std::time::Duration;

use load::{Answered, ask};
use serde_json::json;
use uuid::Uuid;

use crate::sync_figures::service::Service;
use crate::sync_figures::{Bench, clubs};

/// The club that floods, the other one, and one whose members are strangers to both.
const FLOOD: u32 = 9_000;
const OTHER: u32 = 9_001;
const STRANGERS: u32 = 9_002;
/// People of each club, each with a phone and an address of their own.
const PEOPLE: u32 = 16;
/// Changes of its log.
const CHANGES: u32 = 4_000;
/// Connections of a flood, of those who find out what saturates, and of the other club.
const FLOODING: u32 = 192;
const SATURATING: u32 = 32;
const CALM: u32 = 8;
/// Requests a second of the other club.
const CALM_RATE: f64 = 40.0;
/// How long each row is measured.
const TIME: Duration = Duration::from_secs(10);
/// Most p99 of those taken and of those told, ms, and of the other club beside what it is alone.
const TAKEN: f64 = 1_000.0;
const TOLD: f64 = 50.0;
const RATIO: f64 = 1.5;

fn verdict(good: bool) -> &'static str {
    if good { "pass" } else { "MISS" }
}

fn head(method: &str, path: &str, address: &str, more: &str) -> String {
    format!("{method} {path} HTTP/1.1\r\nhost: localhost\r\nx-forwarded-for: {address}\r\n{more}\r\n")
}

/// What somebody of a club asks for of `named` in a while: mostly reads, of every tenth a push.
fn requests(bench: &Bench, club: u32, person: u32, named: u32) -> Vec<Vec<u8>> {
    let token = format!("authorization: Bearer {}\r\n", clubs::access(&bench.keys, club, person));
    let address = format!("10.{}.{}.7", club % 250, person);
    let path = |rest: String| format!("/v1/clubs/{}{rest}", clubs::club_id(named));
    let get = |rest: String| head("GET", &path(rest), &address, &token).into_bytes();
    let one = |n: u32| get(format!("/athletes/{}", clubs::athlete_id(1 + (person * 7 + n) % clubs::ATHLETES)));
    (0..10)
        .map(|n| match n {
            3 | 6 => get("/athletes?limit=50".to_owned()),
            4 => get("/runs?limit=50".to_owned()),
            7 => get("/changes?limit=100".to_owned()),
            9 => {
                let body = push().to_string();
                let more = format!("{token}content-type: application/json\r\ncontent-length: {}\r\n", body.len());
                [head("POST", &path("/changes".to_owned()), &address, &more), body].concat().into_bytes()
            }
            n => one(n),
        })
        .collect()
}

/// A push of one run; sent again it is answered as before.
fn push() -> serde_json::Value {
    json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": chrono::Utc::now(), "items": [
        {"op_id": Uuid::now_v7(), "method": "PUT", "type": "run", "id": Uuid::now_v7(), "if_none_match": "*", "data":
            {"session_id": clubs::session_id(), "athlete_id": clubs::athlete_id(1), "run_at": "2026-01-05T17:00:00Z",
            "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.25, "barriers": 8,
            "intervals": {"held": 5, "over_reached": 2}}}]})
}

fn people(bench: &Bench, club: u32, clients: u32, named: u32) -> Vec<Vec<Vec<u8>>> {
    (0..clients).map(|client| requests(bench, club, 1 + client % PEOPLE, named)).collect()
}

/// Sign-ins of nobody, each client from an address of its own.
fn sign_ins() -> Vec<Vec<Vec<u8>>> {
    let one = |client: u32, n: u32| {
        let body = json!({"email": format!("p{n}@nobody{client}.example"), "password": "not the password of anybody"});
        let body = body.to_string();
        let more = format!("content-type: application/json\r\ncontent-length: {}\r\n", body.len());
        [head("POST", "/v1/auth/sign-in", &format!("10.251.{client}.{n}"), &more), body].concat().into_bytes()
    };
    (0..SATURATING).map(|client| (0..100).map(|n| one(client, n)).collect()).collect()
}

/// The other club at work beside a flood: what both were answered.
fn beside(address: &str, calm: &[Vec<Vec<u8>>], flood: impl FnOnce() -> Answered + Send) -> (Answered, Answered) {
    std::thread::scope(|scope| {
        let flooding = scope.spawn(flood);
        let calm = ask(address, calm, Some(CALM_RATE), TIME);
        (calm, flooding.join().expect("it floods"))
    })
}

struct Table<'a> {
    service: &'a Service,
    /// p99 of the other club alone.
    alone: f64,
}

impl Table<'_> {
    fn row(&mut self, name: &str, calm: &mut Answered, flood: &mut Answered) {
        let [[taken, taken99], [told, told99]] = flood.times();
        let [[own, own99], _] = calm.times();
        if self.alone == 0.0 {
            self.alone = own99;
        }
        let ratio = own99 / self.alone;
        let (memory, peak) = self.service.memory();
        println!(
            "  {name:<34} {:>7.0} {:>7.0} {taken:>7.1} {taken99:>7.1} {:>7.0} {told:>7.1} {told99:>7.1} {own:>7.1} {own99:>7.1} \
             {ratio:>6.2} {:>5} {memory:>6.0} {peak:>6.0}",
            flood.offered(),
            flood.rate(&flood.taken),
            flood.rate(&flood.told),
            calm.told.len()
        );
        if !flood.told.is_empty() {
            println!(
                "  {:<34} taken below {TAKEN} ms {}, told below {TOLD} ms {}, the other club at most {RATIO} times {}",
                "",
                verdict(taken99 < TAKEN),
                verdict(told99 < TOLD),
                verdict(ratio <= RATIO)
            );
        }
    }
}

fn print_headings() {
    println!(
        "  {:<34} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>6} {:>5} {:>6} {:>6}",
        "beside another club",
        "asked/s",
        "taken/s",
        "p50 ms",
        "p99 ms",
        "told/s",
        "p50 ms",
        "p99 ms",
        "its p50",
        "its p99",
        "ratio",
        "told",
        "MB",
        "peak"
    );
}

/// Prints the table, and what memory does over so many minutes at twice saturation.
pub fn run(minutes: u32) {
    let bench = Bench::open();
    bench.sql(async |conn| {
        clubs::found(conn, FLOOD, STRANGERS, PEOPLE).await;
        for club in [FLOOD, OTHER] {
            clubs::fill(conn, club, clubs::ATHLETES, CHANGES).await;
        }
    });
    bench.settle();
    // Addresses are those that a proxy saw, so that all these people are not one.
    let service = Service::start_with(&bench.cluster.url(), &[("LANEWRIGHT_BEHIND_PROXY", "true")]);
    let address = service.address.as_str();
    let of = |club: u32, clients: u32, named: u32| people(&bench, club, clients, named);
    // Everybody is known, statements are prepared.
    ask(address, &of(OTHER, CALM, OTHER), None, Duration::from_secs(2));
    let mut full = ask(address, &of(FLOOD, SATURATING, FLOOD), None, TIME);
    let rate = full.rate(&full.taken);
    let [[p50, p99], _] = full.times();
    println!(
        "overload: {}, {} cores shared by service, database and clients; {} s a row; a club of {PEOPLE} people, another of as \
         many that asks {CALM_RATE} times a second",
        chrono::Utc::now().format("%Y-%m-%d"),
        std::thread::available_parallelism().map_or(1, usize::from),
        TIME.as_secs()
    );
    println!(
        "  saturated by {SATURATING} clients: {rate:.0} a second, p50 {p50:.1} ms, p99 {p99:.1} ms; {} told to come again",
        full.told.len()
    );
    print_headings();
    let mut table = Table { service: &service, alone: 0.0 };
    let mut show = |name: &str, flood: &(dyn Fn() -> Answered + Sync)| {
        let (mut calm, mut flood) = beside(address, &of(OTHER, CALM, OTHER), flood);
        table.row(name, &mut calm, &mut flood);
    };
    let flood = of(FLOOD, FLOODING, FLOOD);
    show("nobody", &Answered::default);
    show("a club at 0.7 of that", &|| ask(address, &flood, Some(0.7 * rate), TIME));
    show("a club at twice that", &|| ask(address, &flood, Some(2.0 * rate), TIME));
    let strangers = of(STRANGERS, FLOODING, OTHER);
    show("strangers who name it, twice that", &|| ask(address, &strangers, Some(2.0 * rate), TIME));
    let sign_ins = sign_ins();
    show("sign-ins as fast as they come", &|| ask(address, &sign_ins, None, TIME));
    for minute in 1..=minutes {
        // Tokens last a quarter of an hour.
        let flood = of(FLOOD, FLOODING, FLOOD);
        for _ in 0..60 / TIME.as_secs() {
            let (mut calm, mut flood) =
                beside(address, &of(OTHER, CALM, OTHER), || ask(address, &flood, Some(2.0 * rate), TIME));
            if minute == minutes {
                table.row(&format!("minute {minute} of a club at twice that"), &mut calm, &mut flood);
            }
        }
        let (memory, peak) = service.memory();
        println!("  after {minute} minutes at twice saturation: {memory:.0} MB, peak {peak:.0} MB");
    }
    drop(service);
    bench.close();
}
