//! Recommendations: what each athlete should do next, why, and what the coach decided.

mod decided;
mod decisions;
mod estimate;
mod http;
mod model;
mod region;
mod shapes;
mod store;
pub mod sync;
mod word;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    decisions::routes(config);
}
