//! Simulations and their figures: what the estimate and its recommendations are worth on invented squads whose truth is
//! known, and what offline sync does under faults.
//!
//! `estimate --seeds N --athletes N`: N squads, N athletes in each. `squad --seeds N`: N clubs, in private lanes and in planned
//! ones. `sync --seeds N --folder PATH`: N seeds of 50,000 operations; those whose figures are in the folder are not run again.

// Prints figures, its inputs are its own, and a broken promise ends it loudly.
#![allow(clippy::expect_used, clippy::unwrap_used, clippy::panic, clippy::print_stdout, clippy::print_stderr)]
#![allow(clippy::cast_precision_loss, missing_docs)]

use std::path::PathBuf;
use std::process::ExitCode;

#[path = "../tests/api/contract.rs"]
#[allow(dead_code)] // tests ask more of it
mod contract;
#[path = "../tests/sync/faults/mod.rs"]
#[allow(dead_code, unused_imports)] // tests ask more of it
mod faults;
#[path = "../tests/sync/model/mod.rs"]
#[allow(dead_code, unused_imports)] // tests ask more of it
mod model;
#[path = "../tests/sync/network/mod.rs"]
#[allow(dead_code, unused_imports)] // tests ask more of it
mod network;
#[path = "../tests/sync/phone/mod.rs"]
#[allow(dead_code)] // tests ask more of it
mod phone;
mod simulate_figures;
#[path = "../tests/simulation/mod.rs"]
mod simulation;
#[path = "../tests/api/support.rs"]
#[allow(dead_code)] // tests ask more of it
mod support;

use simulate_figures::{Size, estimate, squad, sync};
use simulation::dice;

const USAGE: &str = "usage: simulate [estimate | squad | sync] [--seeds N] [--athletes N], both from 1 to 999; sync also [--folder PATH]";

fn main() -> ExitCode {
    // Cargo says so to every bench.
    let mut words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let what = words.first().filter(|word| !word.starts_with("--")).cloned();
    if what.is_some() {
        words.remove(0);
    }
    let folder = words.iter().position(|word| word == "--folder").and_then(|at| {
        let option: Vec<String> = words.drain(at..words.len().min(at + 2)).collect();
        option.get(1).map(PathBuf::from)
    });
    let asked = words.iter().any(|word| word == "--seeds");
    let done = match (what.as_deref(), size(words.into_iter())) {
        (None | Some("estimate"), Some(size)) => {
            estimate::run(size);
            true
        }
        (Some("sync"), Some(size)) => sync::run(size.seeds, folder.as_deref()),
        (Some("squad"), Some(size)) => {
            squad::run(if asked { size.seeds } else { squad::CLUBS });
            true
        }
        _ => {
            println!("{USAGE}");
            false
        }
    };
    if done { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn size(mut words: impl Iterator<Item = String>) -> Option<Size> {
    let mut size = Size::default();
    while let Some(word) = words.next() {
        let mut number = || words.next()?.parse().ok().filter(|n| (1..=999).contains(n));
        match word.as_str() {
            "--seeds" => size.seeds = number()?,
            "--athletes" => size.athletes = number()?,
            _ => return None,
        }
    }
    Some(size)
}
