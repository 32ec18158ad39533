//! Athletes with their dated measurements, and the roster as CSV.

mod consent;
mod consent_store;
mod consents_http;
mod erase_store;
pub mod erasures;
mod http;
mod measured_store;
mod measurements;
pub mod merge;
pub mod model;
pub mod moves;
pub mod roster;
mod roster_change;
pub mod roster_file;
mod roster_http;
mod roster_store;
mod shapes;
mod status_store;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    // Fixed paths first: `import` and `export` are not ids.
    roster_http::routes(config);
    http::routes(config);
    measurements::routes(config);
    consents_http::routes(config);
}
