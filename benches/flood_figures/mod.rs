//! What one caller can do to all others: `plans`, `bodies`, `sockets`; each with the figure before and during, in one run.
//!
//! The service is its own process beside a private PostgreSQL; flood, others and database share the cores of the machine.

#![allow(clippy::expect_used, clippy::panic, clippy::print_stdout)] // prints figures, inputs are its own

mod bodies;
mod plans;
mod sockets;
pub mod squad;

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::sync_figures::Bench;
use crate::sync_figures::service::Service;
use crate::sync_figures::wire::Wire;

/// Prints the figures whose names are given; all without a name.
pub fn run(names: &[String]) {
    let wanted = |name: &str| names.is_empty() || names.iter().any(|one| one == name);
    let bench = Bench::open();
    if wanted("plans") {
        plans::run(&bench);
    }
    if wanted("bodies") {
        bodies::run(&bench);
    }
    if wanted("sockets") {
        sockets::run(&bench);
    }
    bench.close();
}

/// How long `/healthz` takes, every few milliseconds until told to stop.
fn pulse(address: &str, stop: &AtomicBool) -> Vec<Duration> {
    let mut wire = Wire::open(address);
    let mut times = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        let (status, time) = wire.call(b"GET /healthz HTTP/1.1\r\nhost: localhost\r\n\r\n");
        assert_eq!(status, 200);
        times.push(time);
        std::thread::sleep(Duration::from_millis(5));
    }
    times
}

/// Runs something beside a flood for so long; gives what it and the flood found.
fn beside<T: Send, U: Send>(
    seconds: u64,
    watch: impl FnOnce(&AtomicBool) -> T + Send,
    flood: impl FnOnce(&AtomicBool) -> U + Send,
) -> (T, U) {
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let watching = scope.spawn(|| watch(&stop));
        let flooding = scope.spawn(|| flood(&stop));
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(seconds) {
            std::thread::sleep(Duration::from_millis(50));
        }
        stop.store(true, Ordering::Relaxed);
        (watching.join().expect("it watched"), flooding.join().expect("it flooded"))
    })
}

fn start(bench: &Bench, settings: &[(&str, &str)]) -> Service {
    bench.settle();
    Service::start_with(&bench.cluster.url(), settings)
}
