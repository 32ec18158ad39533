//! The club and its settings.

mod http;
mod model;
mod security;
mod security_store;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    http::routes(config);
    security::routes(config);
}
