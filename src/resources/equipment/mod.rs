//! Equipment: the barriers a club owns.

mod http;
mod list_page;
mod model;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
