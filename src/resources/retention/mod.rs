//! How long a club keeps what it knows about people: what it says, what will go, and that it goes.

mod drop_store;
mod due_store;
mod http;
mod model;
mod shapes;
mod store;
mod sweep;

pub use sweep::sweep;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
}
