//! Assessments: a coach's rating of technique. Append-only; a correction supersedes.

mod http;
mod model;
mod record;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
