//! Clients that ask one thing after another, and clients that keep to a rate.

use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use super::meter::{Whose, used};
use super::routes::Route;
use crate::sync_figures::quantile;
use crate::sync_figures::wire::Wire;

const COUNTING: u8 = 1;
const OVER: u8 = 2;

/// What was counted.
#[derive(Clone, Debug, Default)]
pub struct Counted {
    times: Vec<Duration>,
    seconds: f64,
    /// Processor time of whoever answered, and of the database.
    cpu: [Duration; 2],
}

impl Counted {
    /// Adds what another round counted.
    pub fn add(&mut self, other: Self) {
        self.times.extend(other.times);
        self.seconds += other.seconds;
        for (all, one) in self.cpu.iter_mut().zip(other.cpu) {
            *all += one;
        }
    }

    /// Requests a second.
    #[allow(clippy::cast_precision_loss)] // counts
    pub fn rate(&self) -> f64 {
        self.times.len() as f64 / self.seconds
    }

    /// The time below which a share stayed, ms.
    pub fn quantile(&mut self, share: f64) -> f64 {
        quantile(&mut self.times, share)
    }

    /// Processor time a request of whoever answered, and of the database, ms.
    #[allow(clippy::cast_precision_loss)] // counts
    pub fn cpu(&self) -> [f64; 2] {
        self.cpu.map(|one| one.as_secs_f64() * 1_000.0 / self.times.len() as f64)
    }
}

/// Sends a call and insists on the status.
pub fn send(wire: &mut Wire, route: &Route, call: &[u8]) -> Duration {
    let (status, time) = wire.call(call);
    assert_eq!(status, route.status, "{}: {}", route.name, String::from_utf8_lossy(&wire.body));
    time
}

/// Lets the route's clients ask as fast as they are answered, `seconds` long after `warming` uncounted ones.
pub fn run(address: &str, route: &Route, whose: [Whose; 2], (warming, seconds): (u32, u32), round: u32) -> Counted {
    let stage = AtomicU8::new(0);
    let client = |client: u32| {
        let mut wire = Wire::open(address);
        let mut random = seed(round, client);
        let mut times = Vec::new();
        loop {
            let time = send(&mut wire, route, &(route.call)(client, next(&mut random)));
            match stage.load(Ordering::Relaxed) {
                COUNTING => times.push(time),
                OVER => return times,
                _ => {}
            }
        }
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..route.clients).map(|one| scope.spawn(move || client(one))).collect();
        std::thread::sleep(Duration::from_secs(warming.into()));
        let before = whose.map(used);
        stage.store(COUNTING, Ordering::Relaxed);
        let begun = Instant::now();
        std::thread::sleep(Duration::from_secs(seconds.into()));
        stage.store(OVER, Ordering::Relaxed);
        let counted = begun.elapsed().as_secs_f64();
        let after = whose.map(used);
        let [ours, database] = before;
        let cpu = [after[0].saturating_sub(ours), after[1].saturating_sub(database)];
        let times = threads.into_iter().flat_map(|thread| thread.join().expect("it asks")).collect();
        Counted { times, seconds: counted, cpu }
    })
}

/// Lets them ask at so many requests a second; the times since each request was due.
pub fn paced(address: &str, route: &Route, rate: f64, seconds: u32) -> Vec<Duration> {
    let begun = Instant::now();
    let (each, until) = (f64::from(route.clients) / rate, Duration::from_secs(seconds.into()));
    let client = |client: u32| {
        let mut wire = Wire::open(address);
        let mut random = seed(u32::MAX, client);
        let mut times = Vec::new();
        let mut due = Duration::from_secs_f64(f64::from(client) / rate);
        while due < until {
            std::thread::sleep(due.saturating_sub(begun.elapsed()));
            send(&mut wire, route, &(route.call)(client, next(&mut random)));
            times.push(begun.elapsed().saturating_sub(due));
            due += Duration::from_secs_f64(each);
        }
        times
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..route.clients).map(|one| scope.spawn(move || client(one))).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("it asks")).collect()
    })
}

/// Chance for a single request, another each time.
pub fn once() -> u64 {
    static COUNT: AtomicU64 = AtomicU64::new(0xffff_0000);
    COUNT.fetch_add(1, Ordering::Relaxed) << 32
}

fn seed(round: u32, client: u32) -> u64 {
    (u64::from(round) << 32 | u64::from(client)).wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1
}

fn next(random: &mut u64) -> u64 {
    *random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    *random
}
