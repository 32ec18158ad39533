//! Training sessions and who came.

mod attendance;
mod feed;
mod feed_http;
mod feed_store;
mod http;
mod model;
mod presence_store;
mod rests_store;
mod shapes;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    attendance::routes(config);
    feed_http::routes(config);
}
