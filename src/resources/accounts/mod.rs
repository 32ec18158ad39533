//! Accounts: sign-up, sign-in, refresh, sign-out, devices, founding a club, and apps that act for people.

mod devices_store;
mod http;
mod model;
mod oauth;
mod prune_store;
mod shapes;
mod sign_in;
mod store;

pub use oauth::pages;
pub use prune_store::prune;
pub use store::any;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    sign_in::routes(config);
    oauth::routes(config);
}
