//! Clients that ask at a rate, or as fast as they are answered, and count who was taken and who was told to come again.

use std::time::{Duration, Instant};

use crate::sync_figures::quantile;
use crate::sync_figures::wire::Wire;

/// What clients were answered.
#[derive(Debug, Default)]
pub struct Answered {
    /// How long those took that were taken.
    pub taken: Vec<Duration>,
    /// How long it took to be told to come again.
    pub told: Vec<Duration>,
    /// For how long they asked, seconds.
    pub seconds: f64,
}

impl Answered {
    /// So many of these a second.
    #[allow(clippy::cast_precision_loss)] // counts
    pub fn rate(&self, times: &[Duration]) -> f64 {
        times.len() as f64 / self.seconds.max(f64::EPSILON)
    }

    /// Requests a second, however they were answered.
    pub fn offered(&self) -> f64 {
        self.rate(&self.taken) + self.rate(&self.told)
    }

    /// p50 and p99 of those taken and of those told, ms.
    pub fn times(&mut self) -> [[f64; 2]; 2] {
        [&mut self.taken, &mut self.told].map(|times| [quantile(times, 0.5), quantile(times, 0.99)])
    }

    fn note(&mut self, (status, time): (u16, Duration), wire: &Wire) {
        match status {
            // What a stranger asks for is not there, what nobody's password opens neither: answered all the same.
            200 | 401 | 404 => self.taken.push(time),
            429 | 503 => self.told.push(time),
            _ => panic!("{status}: {}", String::from_utf8_lossy(&wire.body)),
        }
    }
}

/// Lets each client ask its requests in turn for so long, together at so many a second; without a rate as fast as they can.
pub fn ask(address: &str, clients: &[Vec<Vec<u8>>], rate: Option<f64>, time: Duration) -> Answered {
    let begun = Instant::now();
    #[allow(clippy::cast_precision_loss)] // counts
    let pace = |client: usize| rate.map(|rate| (client as f64 / rate, clients.len() as f64 / rate));
    let client = |(number, requests): (usize, &Vec<Vec<u8>>)| {
        let mut wire = Wire::open(address);
        let mut answered = Answered::default();
        let pace = pace(number);
        let mut due = pace.map_or(Duration::ZERO, |(first, _)| Duration::from_secs_f64(first));
        for request in requests.iter().cycle().skip(number) {
            std::thread::sleep(due.saturating_sub(begun.elapsed()));
            if begun.elapsed() >= time {
                break;
            }
            let answer = wire.call(request);
            answered.note(answer, &wire);
            if matches!(answer.0, 429 | 503) && request.starts_with(b"POST") {
                // What is refused before its body was read ends its connection.
                wire = Wire::open(address);
            }
            due += pace.map_or(Duration::ZERO, |(_, each)| Duration::from_secs_f64(each));
        }
        answered
    };
    let mut all = Answered::default();
    std::thread::scope(|scope| {
        let threads: Vec<_> = clients.iter().enumerate().map(|one| scope.spawn(move || client(one))).collect();
        for one in threads.into_iter().map(|thread| thread.join().expect("it asks")) {
            all.taken.extend(one.taken);
            all.told.extend(one.told);
        }
    });
    all.seconds = begun.elapsed().as_secs_f64();
    all
}
