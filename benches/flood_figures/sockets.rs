//! Thousands of bodies that never come, from one address.

use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::time::{Duration, Instant};

use super::start;
use crate::sync_figures::{Bench, quantile};

/// Connections that one address opens.
const OPEN: usize = 4_100;

fn slow(address: &str) -> Option<TcpStream> {
    let mut stream = TcpStream::connect(address).ok()?;
    stream
        .write_all(
            b"POST /v1/rhythm/analysis HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\n\
              content-length: 1000\r\n\r\n{",
        )
        .ok()?;
    Some(stream)
}

/// Prints how long another address and the supervisors' listener are answered meanwhile.
pub fn run(bench: &Bench) {
    lanewright::platform::sockets::fitting(OPEN, 200);
    let free = TcpListener::bind("127.0.0.1:0").and_then(|listener| listener.local_addr()).expect("a port");
    let probes = free.to_string();
    let service = start(bench, &[("LANEWRIGHT_HEALTH_LISTEN", &probes)]);
    let held: Vec<Option<TcpStream>> = (0..OPEN).map(|_| slow(&service.address)).collect();
    let open = held.iter().flatten().count();
    let other = reqwest::Client::builder().local_address(Some("127.0.0.2".parse().expect("an address"))).build();
    let other = other.expect("a client");
    let ask = async |url: String| {
        let mut times = Vec::new();
        for _ in 0..500 {
            let begun = Instant::now();
            assert_eq!(other.get(&url).send().await.expect("an answer").status(), 200);
            times.push(begun.elapsed());
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        times
    };
    let mut elsewhere = bench.runtime.block_on(ask(format!("http://{}/healthz", service.address)));
    let mut probed = bench.runtime.block_on(ask(format!("http://{probes}/healthz")));
    println!("flood sockets: one address opened {open} connections with bodies that do not come");
    for (name, times) in [("another address", &mut elsewhere), ("supervisors' listener", &mut probed)] {
        println!("  /healthz for {name}: p50 {:.2} ms, p99 {:.2}", quantile(times, 0.5), quantile(times, 0.99));
    }
    drop(held);
}
