//! Well-being: reports of pain, illness or injury, restrictions, and a coach's clearances. Append-only; a correction supersedes.

mod http;
mod model;
mod record;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
