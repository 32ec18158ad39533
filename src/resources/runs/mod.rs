//! Runs: one pass of one athlete down one lane. Append-only; a correction supersedes.

mod http;
mod lanes_store;
pub mod model;
mod page_store;
mod record;
pub mod shapes;
mod store;
pub mod sync;
mod table;

pub use http::routes;
