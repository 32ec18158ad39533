//! Barrier configurations over HTTP.

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::PlanWrite;
use crate::platform::routed::plain_routes;

plain_routes! {
    "barrier_configurations" at "/v1/clubs/{club_id}/barrier-configurations", "barrier_configuration_id", written by PlanWrite;
    /// Creates a barrier configuration.
    create_barrier_configuration;
    /// Reads a barrier configuration.
    get_barrier_configuration: "The barrier configuration";
    /// Changes a barrier configuration (merge patch).
    update_barrier_configuration or "Another record of the club has this name";
    /// Deletes a barrier configuration.
    delete_barrier_configuration;
    /// Lists the barrier configurations, oldest first.
    list_barrier_configurations;
}
