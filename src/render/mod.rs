//! Results as files: bytes out, nothing else.

pub mod chart;
pub mod cue;
pub mod html;
pub mod measure;
mod paper;
pub mod pdf;
pub mod set_out;
pub mod sheet;
pub mod start_list;
pub mod strip;
pub mod table;
mod told;

pub use paper::kind_words;
