//! The club and its settings.

mod http;
mod model;
mod store;
pub mod sync;

pub use http::routes;
