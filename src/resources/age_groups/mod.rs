//! A club's own age groups: additions to, and overrides of, the published ones.

mod http;
mod model;
mod shapes;
mod store;
pub mod sync;

pub use http::routes;
pub use model::Group;
pub use shapes::Fields;
pub use store::insert;
