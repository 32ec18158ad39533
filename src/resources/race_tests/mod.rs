//! Race tests: who runs when and where, from which start, and what came of it.

mod draw;
mod draw_shapes;
mod entries_http;
mod entries_store;
mod history_store;
mod http;
mod loading;
mod model;
mod outcome;
mod pages;
mod readiness_shapes;
mod record;
pub mod record_shapes;
mod results;
mod results_shapes;
mod results_store;
mod results_table;
mod shapes;
mod splits;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    entries_http::routes(config);
    draw::routes(config);
    results::routes(config);
}
