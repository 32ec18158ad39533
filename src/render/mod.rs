//! Results as files: bytes out, nothing else.

pub mod set_out;
pub mod start_list;
