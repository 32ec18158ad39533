//! Offline sync: what changed since a phone last asked, and what it recorded meanwhile.

mod admin_http;
mod admin_shapes;
mod admin_store;
mod bodies;
mod clock_store;
mod deleted_store;
mod devices_store;
mod document;
mod held_http;
mod held_model;
mod history_store;
mod http;
mod intake;
mod item_kind;
mod items;
mod limits_http;
mod model;
mod pager;
mod places;
mod polls;
mod push;
mod push_http;
mod push_store;
mod retention_store;
mod roots_store;
mod shapes;
mod slots;
mod store;
mod token;
mod visibility;
mod wait;

pub use document::describe;
pub use polls::Polls;
pub use retention_store::{compact, prune};

/// The routes of the change feed.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    push_http::routes(config);
    held_http::routes(config);
    limits_http::routes(config);
    admin_http::routes(config);
}
