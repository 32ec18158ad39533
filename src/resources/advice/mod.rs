//! What advice rests on, read from the rows of many resources, and how its words look in JSON. Recommendations and lane
//! plans share it; what sessions keep and lane plans propose of a session's parts; and how an answer about many leaves somebody out.

mod block;
mod club_store;
mod fall_store;
mod lengths;
mod memory;
mod policy;
mod presence_store;
mod shapes;
mod since_store;
mod store;
mod unusable;
mod unusable_page;
pub mod vocabulary;
mod wellbeing_store;
mod word_store;

pub use block::{Block, BlockFields};
pub use lengths::{length, mm};
pub use memory::Memory;
pub use policy::{PolicyFields, policy_of};
pub use presence_store::{Attendance, attendance, members};
pub use shapes::{
    CautionCode, CautionView, HeldUpCode, MissingView, NoteCode, ObstacleCode, ReasonView, StandingView, WallView,
    describe, overtaken_note, tell_surface, told_surface,
};
pub use since_store::{Planned, Since, closed, since, since_planned};
pub use store::{Person, day, load, load_for_session, setting};
pub use unusable::{NotComputedView, Unusable, UnusableView, computed};
pub use unusable_page::not_computed;
pub use wellbeing_store::{against_rest, standings};
pub use word_store::{Said, decisions};
