//! Exports: all that a club holds, or all that it holds about one athlete, as an archive that is made in the background.

mod archive;
mod http;
mod model;
mod queue_store;
mod rows_store;
mod schema;
mod shapes;
mod store;
pub mod words;
mod work;

pub use http::routes;
pub use model::{KEPT_HOURS, MOST};
pub use store::prune;
pub use work::{Made, make, make_often};
