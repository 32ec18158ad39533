//! Imports: the archive of an export comes into an empty club as it was, that of an athlete into a club with new ids.

mod archive;
mod check;
mod held;
mod http;
mod model;
mod rows;
mod store;
mod work;

pub use archive::{RECORDS, UNPACKED};
pub use http::{BYTES, routes};
