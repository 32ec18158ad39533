//! Runs: one pass of one athlete down one lane. Append-only; a correction supersedes.

mod http;
mod model;
mod shapes;
mod store;

pub use http::routes;
