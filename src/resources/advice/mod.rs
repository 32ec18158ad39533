//! What advice rests on, read from the rows of many resources. Recommendations and lane plans share it.

mod policy;
mod store;

pub use policy::{PolicyFields, policy_of};
pub use store::{Person, load, setting};
