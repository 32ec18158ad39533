//! Training groups.

mod http;
mod model;
mod store;
pub mod sync;
mod turn_http;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    // Fixed paths first: `turn` is no id.
    turn_http::routes(config);
    http::routes(config);
}
