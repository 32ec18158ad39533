//! Accounts: sign-up, sign-in, refresh, sign-out, devices, and founding a club.

mod devices_store;
mod http;
mod model;
mod shapes;
mod sign_in;
mod store;

pub use devices_store::prune;
pub use store::any;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    sign_in::routes(config);
}
