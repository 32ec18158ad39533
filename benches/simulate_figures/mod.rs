//! Tables of simulated figures with their bars.

use std::ops::RangeInclusive;

pub mod estimate;
pub mod squad;
pub mod sync;

/// How many squads and athletes are simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    pub seeds: u32,
    pub athletes: u32,
}

impl Default for Size {
    fn default() -> Self {
        Self { seeds: 12, athletes: 25 }
    }
}

/// Prints one figure beside its bar.
fn figure(name: &str, value: f64, bar: &RangeInclusive<f64>) {
    let verdict = if bar.contains(&value) { "pass" } else { "MISS" };
    let (low, high) = (bar.start(), bar.end());
    let bar = if low.is_finite() { format!("{low:.3} to {high:.3}") } else { format!("at most {high:.3}") };
    println!("  {name:<58} {value:>7.3}   {bar:<17} {verdict}");
}

/// A bar from below only.
fn at_most(high: f64) -> RangeInclusive<f64> {
    f64::NEG_INFINITY..=high
}
