//! Commands.
fn main() {}
