//! Progress of an athlete and of a squad over a period: as JSON, as a table and as a chart.

mod ahead;
mod athlete;
mod figures;
mod http;
mod links;
mod model;
mod pictures;
mod squad;
mod store;
mod words;

pub use http::routes;
