//! Invented squads with a known truth, to see what the estimate, the advice and the forecast are worth.
//!
//! The truth is not the model: outcomes follow a normal curve, each athlete has a band of their own, height costs more
//! the higher it gets, runs and days have good and bad luck, the limit grows unevenly, weeks are missed, a share of the
//! intervals is recorded wrongly and some without a cause. The prior is the service's own, from measurements with errors.
//! Every figure of it is a design choice unless it names a source. The same seed gives the same figures on every machine.

#![allow(dead_code)] // each program takes its part
#![allow(clippy::expect_used, clippy::cast_precision_loss)] // a broken simulation may fail loudly; its counts are small

pub mod athlete;
pub mod calendar;
pub mod clubs;
pub mod coach;
pub mod dice;
pub mod figures;
pub mod forecast;
pub mod laws;
pub mod plan;
pub mod season;
