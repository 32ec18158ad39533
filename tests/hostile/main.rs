//! A hostile caller against the built program, generated from the OpenAPI document: over sockets, on one database, without
//! a call of our own functions. `LANEWRIGHT_HOSTILE=full` (`./dev hostile --full`) asks everything, else a part of it.

// Tests may fail loudly, and their figures are small.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::cast_precision_loss, missing_docs)]

mod apps;
#[path = "../api/archives.rs"]
mod archives;
#[path = "../api/authenticator.rs"]
mod authenticator;
mod document;
mod fixtures;
mod floods;
mod foreign;
mod links;
mod matrix;
mod people;
mod pushes;
mod report;
mod retries;
mod send;
mod service;
mod sockets;
mod table;
mod text;
mod values;
mod world;

/// Whether everything is asked.
fn full() -> bool {
    std::env::var("LANEWRIGHT_HOSTILE").is_ok_and(|form| form == "full")
}
