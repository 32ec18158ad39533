//! Results as files: bytes out, nothing else.

pub mod chart;
mod paper;
pub mod pdf;
pub mod set_out;
pub mod sheet;
pub mod start_list;
pub mod table;
