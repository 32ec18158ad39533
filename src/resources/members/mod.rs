//! Members of a club, and the invitations by which they come.

mod http;
mod invitations;
mod invitations_store;
mod model;
mod shapes;
mod store;

pub use invitations_store::prune;

/// The routes of this resource.
pub fn routes(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    http::routes(config);
    invitations::routes(config);
}
