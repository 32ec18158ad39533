//! Members of a club, and the invitations by which they come.

mod http;
mod invitations;
mod invitations_store;
mod model;
mod shapes;
mod store;

pub use invitations_store::prune;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    invitations::routes(config);
}
