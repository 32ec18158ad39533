//! The model itself: no I/O, no clock, no chance but the seed's.

// Small numbers; loud failure is what a model is for; each user takes a part.
#![allow(dead_code, clippy::cast_precision_loss, clippy::print_stdout, clippy::unwrap_used)]

mod answer;
pub mod club;
pub mod flaw;
mod laws;
mod people;
mod phone;
pub mod proof;
pub mod pull;
mod push;
mod rest;
mod server;
pub mod words;
pub mod world;
