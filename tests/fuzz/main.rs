//! Broken input for every parser and calculator: nothing panics, and what is accepted is sound.
//!
//! Seeds are fixed. Each target is bounded by a count and by its share of `LANEWRIGHT_FUZZ_SECONDS` (default 10 in all);
//! `./dev fuzz 600` looks longer.

// Tests may fail loudly.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, clippy::cast_precision_loss, missing_docs)]

mod calculators;
mod machine;
mod parsers;
