//! One folder per resource, with its HTTP, its rules and its SQL.

pub mod accounts;
pub mod advice;
pub mod age_groups;
pub mod assessments;
pub mod athletes;
pub mod audit;
pub mod barrier_configurations;
pub mod clubs;
pub mod competition_specs;
pub mod equipment;
pub mod exports;
pub mod groups;
pub mod imports;
pub mod lane_plans;
pub mod members;
pub mod progression;
pub mod race_tests;
pub mod recommendations;
pub mod retention;
pub mod rhythm;
pub mod runs;
pub mod sessions;
pub mod sync;
pub mod venues;
pub mod wellbeing_records;

use crate::platform::route::Mount;

/// Mounts every resource.
pub fn mount(config: &mut Mount<'_>) {
    // Routes are tried in this order, and phones ask for changes more often than for anything else.
    sync::routes(config);
    accounts::routes(config);
    assessments::routes(config);
    athletes::routes(config);
    audit::routes(config);
    age_groups::routes(config);
    barrier_configurations::routes(config);
    clubs::routes(config);
    competition_specs::routes(config);
    equipment::routes(config);
    exports::routes(config);
    groups::routes(config);
    imports::routes(config);
    lane_plans::routes(config);
    members::routes(config);
    progression::routes(config);
    race_tests::routes(config);
    recommendations::routes(config);
    retention::routes(config);
    rhythm::routes(config);
    runs::routes(config);
    sessions::routes(config);
    venues::routes(config);
    wellbeing_records::routes(config);
}
