//! Bodies that unpack without end, ten at once and again and again, without a token.

use std::io::Write;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{beside, pulse, start};
use crate::sync_figures::wire::{self, Wire};
use crate::sync_figures::{Bench, quantile};

const AT_ONCE: usize = 10;
const SECONDS: u64 = 8;

fn bombs() -> Vec<(&'static str, Vec<u8>)> {
    let zeros = vec![b' '; 1024 * 1024];
    let mut zstd = zstd::stream::Encoder::new(Vec::new(), 19).expect("an encoder");
    for _ in 0..512 {
        zstd.write_all(&zeros).expect("memory");
    }
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    for _ in 0..60 {
        gzip.write_all(&zeros).expect("memory");
    }
    vec![("zstd", zstd.finish().expect("memory")), ("gzip", gzip.finish().expect("memory"))]
}

/// Prints how long `/healthz` takes meanwhile, and what memory it cost.
pub fn run(bench: &Bench) {
    let service = start(bench, &[]);
    let address = service.address.as_str();
    let (mut calm, ()) = beside(3, |stop| pulse(address, stop), |_| ());
    let (resident, peak) = service.memory();
    let bombs = bombs();
    let sizes: Vec<usize> = bombs.iter().map(|(_, bomb)| bomb.len()).collect();
    let paths = ["/v1/rhythm/analysis", "/v1/rhythm/final-time", "/v1/auth/sign-in", "/v1/auth/sign-up"];
    let calls: Vec<Vec<u8>> = paths
        .iter()
        .flat_map(|path| bombs.iter().map(move |(coding, bomb)| wire::packed(path, coding, bomb)))
        .collect();
    let throw = |stop: &AtomicBool| {
        let one = |n: usize| {
            let mut count = 0;
            for call in calls.iter().cycle().skip(n) {
                if stop.load(Ordering::Relaxed) {
                    break;
                }
                // A refusal closes the connection: the rest of the body is not worth reading.
                let (status, _) = Wire::open(address).call(call);
                assert!(matches!(status, 413 | 429 | 503), "{status}");
                count += 1;
            }
            count
        };
        std::thread::scope(|scope| {
            let throwers: Vec<_> = (0..AT_ONCE).map(|n| scope.spawn(move || one(n))).collect();
            throwers.into_iter().map(|thread| thread.join().expect("it throws")).sum::<usize>()
        })
    };
    let (mut times, thrown) = beside(SECONDS, |stop| pulse(address, stop), throw);
    let (after, highest) = service.memory();
    println!(
        "flood bodies: {thrown} bodies of {sizes:?} bytes (512 and 60 MiB unpacked), {AT_ONCE} at once for {SECONDS} s"
    );
    println!(
        "  /healthz before p50 {:.2} ms, p99 {:.2}; during p50 {:.2}, p99 {:.2}, longest {:.2} (bar 50)",
        quantile(&mut calm, 0.5),
        quantile(&mut calm, 0.99),
        quantile(&mut times, 0.5),
        quantile(&mut times, 0.99),
        quantile(&mut times, 1.0)
    );
    println!("  resident {resident:.0} MB, peak {peak:.0}; after {after:.0} MB, peak {highest:.0}");
}
