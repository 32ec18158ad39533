//! Equipment: the barriers a club owns.

mod http;
mod model;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
