//! The club and its settings.

mod ended_store;
mod ending_http;
mod ending_store;
mod http;
mod letters;
mod model;
mod security;
mod security_store;
mod store;
pub mod sync;

pub use ended_store::{close_again, sweep};
pub use letters::write;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    security::routes(config);
    ending_http::routes(config);
}
