//! Lanewright: the backend that athletics clubs run for their sprint-hurdle squads.

pub mod compute;
pub mod render;
