//! Lanewright: the backend that athletics clubs run for their sprint-hurdle squads.
//!
//! `compute` is the mathematics, `render` turns its results into files, `platform` is shared technique,
//! `resources` has one folder per resource, `app` puts them together, `serve` starts and stops
//! it, `seed` fills it with invented clubs.

pub mod app;
pub mod compute;
pub mod platform;
pub mod render;
pub mod resources;
pub mod seed;
pub mod serve;
