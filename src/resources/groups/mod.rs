//! Training groups.

mod http;
mod model;
mod store;
pub mod sync;
mod turn_http;

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    // Fixed paths first: `turn` is no id.
    turn_http::routes(config);
    http::routes(config);
}
