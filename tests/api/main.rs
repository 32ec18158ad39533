//! The API over a real socket, on a real database of its own for each test.

// Tests may fail loudly, and their figures are small.
#![allow(clippy::unwrap_used, clippy::panic, clippy::cast_precision_loss, missing_docs)]

mod accounts;
mod accounts_guessing;
mod accounts_limits;
mod accounts_passwords;
mod accounts_refresh;
mod athletes;
mod barrier_configurations;
mod bounds;
mod clubs;
mod coach_word;
mod competition_specs;
mod contract;
mod document;
mod equipment;
mod floods;
mod front;
mod groups;
mod hidden;
mod kinds;
mod kinds_migration;
mod measurements;
mod members;
mod operations;
mod progression;
mod race_readiness;
mod race_tests;
mod rhythm;
mod roster;
mod schema;
mod seed;
mod service;
mod shared_sessions;
mod support;
mod sync_admin;
mod sync_held;
mod sync_polls;
mod sync_pull;
mod sync_push;
mod sync_race;
mod sync_refusals;
mod tour;
mod training;
mod venues;
mod visibility;
mod wellbeing;
mod wellbeing_advice;
mod wellbeing_migration;
