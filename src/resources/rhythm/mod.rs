//! Rhythm: analysis of touchdown times, touchdown schedules, forecasts of the final time.

mod answers;
mod club;
mod cue;
mod http;
mod model;
mod own_cue;
mod played;
mod schedule_page;
mod schedules;
mod shapes;
mod store;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    cue::routes(config);
    club::routes(config);
    own_cue::routes(config);
}
