//! Runs: one pass of one athlete down one lane. Append-only; a correction supersedes.

mod http;
mod model;
mod record;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
