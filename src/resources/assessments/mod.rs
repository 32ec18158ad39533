//! Assessments: a coach's rating of technique. Append-only; a correction supersedes.

mod http;
mod model;
mod shapes;
mod store;

pub use http::routes;
