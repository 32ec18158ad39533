//! Training groups.

mod http;
mod model;
mod store;

pub use http::routes;
