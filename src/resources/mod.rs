//! One folder per resource, with its HTTP, its rules and its SQL.

pub mod groups;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts every resource.
pub fn mount(config: &mut ServiceConfig) {
    groups::routes(config);
}
