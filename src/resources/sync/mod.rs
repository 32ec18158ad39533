//! Offline sync: what changed since a phone last asked, and what it recorded meanwhile.

mod bodies;
mod http;
mod intake;
mod items;
mod model;
mod pager;
mod push;
mod push_http;
mod push_store;
mod shapes;
mod slots;
mod store;
mod token;
mod visibility;
mod wait;

/// The routes of the change feed.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    http::routes(config);
    push_http::routes(config);
}
