//! Competition specifications: the published ones, a club's own, and which apply to whom.

mod adopt;
mod lookup;
pub mod model;
mod own;
mod published;
pub mod shapes;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    // Fixed paths first: `applicable` is not an id.
    lookup::routes(config);
    adopt::routes(config);
    own::routes(config);
}
