//! The mathematics: quantities, estimate, decision, lane plan, set-out, rhythm.
//!
//! Pure functions over plain types: no HTTP, no SQL, no clock, no randomness without a seed.

pub mod advice;
pub mod approach;
pub mod board;
pub mod bounds;
pub mod card;
pub mod day;
pub mod decision;
pub mod english;
pub mod estimate;
pub mod lane_plan;
mod lots;
pub mod params;
pub mod prior;
pub mod progress;
pub mod race;
pub mod rhythm;
pub mod robust;
pub mod session_plan;
pub mod set_out;
pub mod specs;
pub mod standing;
pub mod units;
pub mod wellbeing;
