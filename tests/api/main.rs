//! The API over a real socket, on a real database of its own for each test.

mod accounts;
mod barrier_configurations;
mod clubs;
mod competition_specs;
mod equipment;
mod groups;
mod members;
mod schema;
mod service;
mod support;
mod venues;
