//! Venues: where the lanes are set out.

mod http;
mod model;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
