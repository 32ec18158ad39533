//! Barrier configurations: reusable lane recipes.

mod http;
mod model;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
