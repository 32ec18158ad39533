//! Runs: one pass of one athlete down one lane. Append-only; a correction supersedes.

mod http;
pub mod model;
pub mod shapes;
mod store;

pub use http::routes;
