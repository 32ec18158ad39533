//! Venues: where the lanes are set out.

mod http;
mod model;
mod shapes;
mod store;

pub use http::routes;
