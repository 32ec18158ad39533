//! The club and its settings.

mod http;
mod model;
mod security;
mod security_store;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    security::routes(config);
}
