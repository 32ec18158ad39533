//! The mathematics: quantities, estimate, decision, lane plan, set-out, rhythm.
//!
//! Pure functions over plain types: no HTTP, no SQL, no clock, no randomness without a seed. The same input
//! gives the same output on every machine: time comes in as a [`day::Day`], lengths are whole millimetres
//! ([`units::Length`]), elementary functions are those of `libm`, and where chance is wanted it is drawn from a
//! seed.
//!
//! | question | module |
//! | --- | --- |
//! | what is a length, a kind of barrier, a day | [`units`], [`day`] |
//! | what may never be, whoever asks | [`bounds`] |
//! | what is believed before anything was run | [`prior`] |
//! | what is believed after the runs: limit, width, P(hold) | [`estimate`] |
//! | what an athlete does next, and where they may run | [`decision`], asked through [`advice`] |
//! | who is ill, restricted, or back | [`wellbeing`] |
//! | which lanes to set out, and who runs where | [`lane_plan`], told of each by [`standing`] |
//! | where the tapes and barriers go | [`approach`], [`set_out`] |
//! | what a coach takes along for each athlete | [`card`] |
//! | what a session can hold | [`session_plan`] |
//! | how a run went, and how a race should go | [`rhythm`], [`robust`] |
//! | how it went over weeks, and what is to be expected | [`progress`], [`board`] |
//! | which race an athlete's age leads to | [`specs`] |
//! | heats, lanes and results of a test | [`race`] |
//! | how all of it is said | [`english`], with the figures in [`params`] |
//!
//! Nothing here is validated on athletes: what has no source is marked as a design choice or as common
//! practice, beside the figure.

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
