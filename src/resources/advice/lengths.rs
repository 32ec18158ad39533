//! Lengths as the database keeps them: whole millimetres.

use crate::compute::units::Length;
use crate::platform::db::StoreError;

/// A length from its column.
///
/// # Errors
/// When it is negative: `what` does not parse then.
pub fn length(mm: i32, what: &'static str) -> Result<Length, StoreError> {
    u32::try_from(mm).map(Length::from_mm).map_err(|_| StoreError::Corrupt(what))
}

/// A length for its column, millimetres (mm).
pub fn mm(length: Length) -> i32 {
    i32::try_from(length.mm()).unwrap_or(i32::MAX)
}
