//! What the estimate and its recommendations are worth on invented squads whose truth is known.
//!
//! Options: `--seeds N` squads, `--athletes N` in each.

#![allow(clippy::expect_used, clippy::print_stdout, missing_docs)] // prints figures, inputs are its own

use std::process::ExitCode;

mod simulate_figures;
#[path = "../tests/simulation/mod.rs"]
mod simulation;

use simulate_figures::{Size, estimate};

const USAGE: &str = "usage: simulate [estimate] [--seeds N] [--athletes N], both from 1 to 999";

fn main() -> ExitCode {
    match size(std::env::args().skip(1)) {
        Some(size) => {
            estimate::run(size);
            ExitCode::SUCCESS
        }
        None => {
            println!("{USAGE}");
            ExitCode::FAILURE
        }
    }
}

fn size(mut words: impl Iterator<Item = String>) -> Option<Size> {
    let mut size = Size::default();
    while let Some(word) = words.next() {
        let mut number = || words.next()?.parse().ok().filter(|n| (1..=999).contains(n));
        match word.as_str() {
            // Cargo says so to every bench.
            "estimate" | "--bench" => {}
            "--seeds" => size.seeds = number()?,
            "--athletes" => size.athletes = number()?,
            _ => return None,
        }
    }
    Some(size)
}
