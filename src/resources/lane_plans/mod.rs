//! Lane plans: the lanes to set out for a session and who runs where, with the set-out sheet.

mod alternatives;
mod answer;
mod http;
mod judge;
pub mod model;
mod problem;
pub mod request;
mod set_out;
pub mod shapes;
mod sight;
mod stock;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    http::routes(config);
    set_out::routes(config);
}
