//! What advice rests on, read from the rows of many resources, and how its words look in JSON. Recommendations and lane
//! plans share it.

mod memory;
mod policy;
mod shapes;
mod store;
mod word_store;

pub use memory::Memory;
pub use policy::{PolicyFields, policy_of};
pub use shapes::{CautionView, MissingView, ReasonView, StandingView, WallView};
pub use store::{Person, day, load, setting};
pub use word_store::{Said, decisions};
