//! Progress of an athlete and of a squad over a period: as JSON, as a table and as a chart; and the board of a squad.

mod ahead;
mod athlete;
mod athlete_page;
mod board;
mod board_http;
mod board_page;
mod board_row;
mod figures;
mod http;
mod links;
mod model;
mod pictures;
mod squad;
mod squad_page;
mod store;
mod words;

/// The routes of progression.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    board_http::routes(config);
}
