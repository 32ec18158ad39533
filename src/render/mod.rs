//! Results as files: bytes out, nothing else.

pub mod chart;
pub mod cue;
mod paper;
pub mod set_out;
pub mod start_list;
pub mod table;
