//! How long estimates take, beside the straightforward filter on the same athletes.

#![allow(clippy::expect_used, clippy::missing_panics_doc, clippy::print_stdout)] // prints figures, inputs are its own

use std::hint::black_box;
use std::time::{Duration, Instant};

use lanewright::compute::estimate::{RunCounts, Settings, estimate};
use lanewright::compute::prior::{Basis, Prior};
use lanewright::compute::units::Length;

#[path = "../../tests/compute/slow_filter.rs"]
mod slow_filter;

const ATHLETES: u32 = 60;
const SESSIONS: u32 = 120;
const REPEATS: usize = 7;

/// Prints the time of a squad, of one athlete, and the ratio to the straightforward filter.
pub fn run() {
    let settings = Settings::default();
    let squad: Vec<_> = (0..ATHLETES).map(history).collect();
    let on_day = 20_500;
    let whole = best(|| {
        for (prior, runs) in &squad {
            black_box(estimate(prior, runs, on_day, &settings).expect("possible runs"));
        }
    });
    let (prior, runs) = &squad[0];
    let one = best(|| {
        black_box(estimate(prior, runs, on_day, &settings).expect("possible runs"));
    });
    let begun = Instant::now();
    let mut slow = slow_filter::Slow::new(prior, &settings, 1);
    slow.filter(runs, on_day);
    black_box(slow.mean(|cell| cell.limit_m));
    let straightforward = begun.elapsed();
    let made = estimate(prior, runs, on_day, &settings).expect("possible runs");
    let curve = best(|| {
        let spacings: Vec<_> = (20..60).map(|k| Length::from_mm(k * 250 / 2 + 2_500)).collect();
        let heights = [300, 500, 600, 680, 762].map(Length::from_mm);
        black_box(made.hold_curve(&heights, &spacings));
    });
    println!("estimate: {ATHLETES} athletes x {SESSIONS} sessions {:.1} ms (bar 120 ms)", ms(whole));
    println!("estimate: one athlete {:.2} ms (bar 2.5 ms)", ms(one));
    println!(
        "estimate: straightforward filter, one athlete {:.1} ms, ratio {:.0}",
        ms(straightforward),
        ms(straightforward) / ms(one)
    );
    println!("estimate: hold curve of 5 heights x 40 spacings {:.2} ms", ms(curve));
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}

fn best(mut work: impl FnMut()) -> Duration {
    let mut least = Duration::MAX;
    for _ in 0..REPEATS {
        let begun = Instant::now();
        work();
        least = least.min(begun.elapsed());
    }
    least
}

/// An invented athlete who runs twice a week for sixty weeks, four runs of four intervals a session, spacing and height
/// rising slowly; outcomes from a fixed sequence.
fn history(athlete: u32) -> (Prior, Vec<RunCounts>) {
    let mut seed = u64::from(athlete) * 2 + 1;
    let limit_mm = 6_000 + 25 * (athlete % 40);
    let mut runs = Vec::new();
    for session in 0..SESSIONS {
        let gain = session * 3;
        let height = [300, 500, 600][(session / 40) as usize];
        let comfortable = limit_mm + gain - (height - 300);
        let spacing = (comfortable - 250) / 250 * 250;
        let day = 20_000 + i32::try_from(session / 2 * 7 + session % 2 * 3).expect("small");
        for _ in 0..4 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let over_reached = u16::try_from((seed >> 33) % 5).expect("small").saturating_sub(2);
            runs.push(RunCounts {
                day,
                height: Length::from_mm(height),
                spacing: Length::from_mm(spacing),
                held: 4 - over_reached,
                over_reached,
                crowded: 0,
                broken: 0,
            });
        }
    }
    (Prior { mean_m: f64::from(limit_mm) / 1_000.0, sd_m: 0.45, basis: Basis::default() }, runs)
}
