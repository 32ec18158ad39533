//! What advice rests on, read from the rows of many resources, and how its words look in JSON. Recommendations and lane
//! plans share it.

mod club_store;
mod memory;
mod policy;
mod shapes;
mod store;
pub mod vocabulary;
mod wellbeing_store;
mod word_store;

pub use memory::Memory;
pub use policy::{PolicyFields, policy_of};
pub use shapes::{
    CautionCode, CautionView, HeldUpCode, MissingView, NoteCode, ReasonView, StandingView, WallView, describe,
};
pub use store::{Person, day, load, load_for_session, setting};
pub use wellbeing_store::{against_rest, standings};
pub use word_store::{Said, decisions};
