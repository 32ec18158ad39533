//! What a request costs: the routes of a club's ordinary day over HTTP, beside what the database alone reaches with the
//! same statements (pgbench) and beside the two ordinary stacks with the same checks, statements and answers.
//!
//! Everything runs by turns on the cores of one machine, beside a private PostgreSQL that writes durably, clients
//! included: ratios inside a run hold, figures of a busy machine do not.

#![allow(clippy::expect_used, clippy::panic, clippy::print_stdout)] // prints figures, inputs are its own

pub mod load;
pub mod meter;
mod peers;
pub mod routes;

use std::fs;

use load::Counted;
use meter::Whose;
use peers::Peer;
use routes::{Ground, Route};

use crate::sync_figures::reference::{Recorder, Script};
use crate::sync_figures::service::Service;
use crate::sync_figures::wire::Wire;
use crate::sync_figures::{Bench, quantile};

/// Each by turns so often, so many seconds after so many that are not counted.
const ROUNDS: u32 = 2;
const TIME: (u32, u32) = (2, 4);
/// The part of the full rate at which times are looked at, and how often p99 may be p50 there.
const PACE: f64 = 0.7;
const SPREAD: f64 = 5.0;
/// What one athlete must reach: requests a second by the clock as often as Node's, and a second of processor time as
/// often as each stack's.
const BY_CLOCK: [(&str, f64); 1] = [("node", 2.5)];
const BY_CPU: [(&str, f64); 2] = [("node", 4.0), ("python", 8.0)];
/// The first of the clubs that are asked about.
const FIRST: u32 = 1;
/// Most resident memory before anybody asked, MB.
const IDLE: f64 = 60.0;

/// Who answers a route.
struct Answering<'a> {
    address: &'a str,
    whose: [Whose; 2],
}

/// What was found out about a route.
struct Found {
    first: f64,
    ours: Counted,
    ceiling: f64,
    spread: f64,
    theirs: Vec<(&'static str, Counted)>,
}

fn verdict(good: bool) -> &'static str {
    if good { "pass" } else { "MISS" }
}

/// Prints the tables of the routes whose keys are given; all without one.
pub fn run(names: &[String]) {
    let bench = Bench::open();
    let recorder = Recorder::start(&bench);
    let ground = Ground::fill(&bench, &recorder.service.address, FIRST);
    let wanted = |route: &Route| names.is_empty() || names.iter().any(|name| name == route.key);
    let routes: Vec<Route> = ground.routes(&bench).into_iter().filter(wanted).collect();
    let scripts: Vec<(&Route, Script)> = routes.iter().map(|route| (route, script(&recorder, route))).collect();
    recorder.stop();
    bench.settle();
    let peers = peers::start(&bench, &scripts);
    let service = Service::start(&bench.cluster.url());
    std::thread::sleep(std::time::Duration::from_secs(1));
    let (idle, _) = service.memory();
    let mut all = Vec::new();
    for (route, script) in &scripts {
        // Tokens last a quarter of an hour.
        let fresh = || ground.routes(&bench).into_iter().find(|one| one.key == route.key).expect("the same routes");
        all.push((*route, measure(&bench, &service, &peers, script, fresh)));
    }
    print(&mut all);
    let (after, peak) = service.memory();
    println!(
        "http: resident memory of the service: {idle:.1} MB before anybody asked (bar {IDLE}: {}), {after:.1} MB after all \
         this, {peak:.1} MB at its peak",
        verdict(idle <= IDLE)
    );
    drop(service);
    drop(peers);
    bench.close();
}

/// The statements of a route.
fn script(recorder: &Recorder<'_>, route: &Route) -> Script {
    let mut wire = Wire::open(&recorder.service.address);
    recorder.script(route.source(), |marked| {
        let call = if marked { route.marked() } else { (route.call)(0, load::once()) };
        load::send(&mut wire, route, &call);
    })
}

pub fn postmaster(bench: &Bench) -> u32 {
    let text = fs::read_to_string(bench.folder.join("cluster/data/postmaster.pid")).expect("the server runs");
    text.lines().next().and_then(|line| line.trim().parse().ok()).expect("its process")
}

fn measure(bench: &Bench, service: &Service, peers: &[Peer], script: &Script, fresh: impl Fn() -> Route) -> Found {
    let database = Whose::Family(postmaster(bench));
    let route = fresh();
    let asked: Vec<(&Peer, Route)> = peers
        .iter()
        .filter(|_| route.peers)
        .map(|peer| (peer, peer.route(&service.address, fresh(), script)))
        .collect();
    let service = Answering { address: &service.address, whose: [Whose::Process(service.id()), database] };
    let first =
        load::send(&mut Wire::open(service.address), &route, &(route.call)(0, load::once())).as_secs_f64() * 1_000.0;
    for (peer, theirs) in &asked {
        peer.check(service.address, &route, theirs);
    }
    let mut found = Found { first, ours: Counted::default(), ceiling: 0.0, spread: 0.0, theirs: Vec::new() };
    found.theirs.extend(asked.iter().map(|(peer, _)| (peer.name, Counted::default())));
    for round in 0..ROUNDS {
        let turn =
            |of: &Answering<'_>, route: &Route, who: u32| load::run(of.address, route, of.whose, TIME, round * 8 + who);
        found.ours.add(turn(&service, &route, 1));
        found.ceiling += script.run(bench, route.clients, TIME) / f64::from(ROUNDS);
        for ((peer, theirs), who) in asked.iter().zip(2..) {
            let at = Answering { address: &peer.address, whose: [peer.whose(), database] };
            let counted = turn(&at, theirs, who);
            let place = found.theirs.iter_mut().find(|(name, _)| *name == peer.name).expect("as asked");
            place.1.add(counted);
        }
    }
    let mut paced = load::paced(service.address, &route, found.ours.rate() * PACE, TIME.1);
    found.spread = quantile(&mut paced, 0.99) / quantile(&mut paced, 0.5);
    found
}

fn print(all: &mut [(&Route, Found)]) {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!(
        "http: {}, {cores} cores shared by service, database and clients; {ROUNDS} rounds of {} s; CPU is process time a request",
        chrono::Utc::now().format("%Y-%m-%d"),
        TIME.1
    );
    println!(
        "  {:<32} {:>8} {:>8} {:>8} {:>9} {:>9} {:>9} {:>9}  {:<18} p99 / p50 at 70 % (bar {SPREAD})",
        "route", "a second", "p50 ms", "p99 ms", "first ms", "CPU ms", "of db ms", "pgbench", "ratio"
    );
    for (route, found) in all.iter_mut() {
        let ours = &mut found.ours;
        let (rate, [cpu, database], ratio) = (ours.rate(), ours.cpu(), ours.rate() / found.ceiling);
        let bar = route.ceiling.map_or_else(String::new, |bar| format!("(bar {bar}) {}", verdict(ratio >= bar)));
        println!(
            "  {:<32} {rate:>8.0} {:>8.2} {:>8.2} {:>9.1} {cpu:>9.2} {database:>9.2} {:>9.0}  {ratio:<4.2} {bar:<13} {:.1} {}",
            route.name,
            ours.quantile(0.5),
            ours.quantile(0.99),
            found.first,
            found.ceiling,
            found.spread,
            verdict(found.spread <= SPREAD)
        );
        if let Some(bar) = route.cpu {
            println!("  {:<32} CPU of the service a request: {cpu:.2} ms (bar {bar}) {}", "", verdict(cpu <= bar));
        }
    }
    for (route, found) in all.iter_mut() {
        let (rate, [cpu, _]) = (found.ours.rate(), found.ours.cpu());
        for (name, theirs) in &mut found.theirs {
            let (clock, [used, database]) = (rate / theirs.rate(), theirs.cpu());
            let bar = |bars: &[(&str, f64)], ratio: f64| {
                let bar = bars.iter().find(|(stack, _)| route.key == "one" && stack == name);
                bar.map_or_else(String::new, |(_, bar)| format!(" (bar {bar}) {}", verdict(ratio >= *bar)))
            };
            println!(
                "  {:<32} {name:<7} {:>8.0} a second, p50 {:.2} ms, p99 {:.2} ms, CPU {used:.2} ms, of db {database:.2} ms; \
                 the service is {clock:.2} x by the clock{}, {:.1} x by CPU{}",
                route.name,
                theirs.rate(),
                theirs.quantile(0.5),
                theirs.quantile(0.99),
                bar(&BY_CLOCK, clock),
                used / cpu,
                bar(&BY_CPU, used / cpu)
            );
        }
    }
}
