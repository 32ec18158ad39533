//! Phones behind a bad network before the real service: four clubs, twenty phones, one seeded scheduler.

mod admin;
mod faults;
mod figures;
mod ledger;
mod parallel;
mod races;
mod routes;
mod run;
mod service;
mod truth;
mod work;
mod world;

#[cfg(test)]
mod tests;

// The long form, `./dev simulate sync`, runs many seeds of it.
#[allow(unused_imports)] // the tests do not ask for it
pub use {figures::Figures, run::figures, service::Service, world::Plan};
