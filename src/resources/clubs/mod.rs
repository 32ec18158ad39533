//! The club and its settings.

mod http;
mod model;
mod store;

pub use http::routes;
