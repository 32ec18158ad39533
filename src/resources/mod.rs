//! One folder per resource, with its HTTP, its rules and its SQL.

pub mod accounts;
pub mod athletes;
pub mod groups;
pub mod members;
pub mod sessions;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts every resource.
pub fn mount(config: &mut ServiceConfig) {
    accounts::routes(config);
    athletes::routes(config);
    groups::routes(config);
    members::routes(config);
    sessions::routes(config);
}
