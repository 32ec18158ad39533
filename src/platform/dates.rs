//! Dates and instants of requests: of years that standards and the database can write.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use serde::de::Error;
use serde::{Deserialize, Deserializer};

/// Something with a year.
pub trait Dated {
    /// The year, if any.
    fn year(&self) -> Option<i32>;
}

impl Dated for NaiveDate {
    fn year(&self) -> Option<i32> {
        Some(Datelike::year(self))
    }
}

impl Dated for DateTime<Utc> {
    fn year(&self) -> Option<i32> {
        Some(Datelike::year(self))
    }
}

impl<T: Dated> Dated for Option<T> {
    fn year(&self) -> Option<i32> {
        self.as_ref().and_then(Dated::year)
    }
}

/// Whether a year has four digits, as RFC 3339 writes it.
pub fn is_writable(date: &impl Dated) -> bool {
    date.year().is_none_or(|year| (1..=9_999).contains(&year))
}

/// Reads a date or instant; what narrower range makes sense is for each field to say.
///
/// # Errors
/// When it is none, or its year is not from 0001 to 9999.
pub fn read<'de, D: Deserializer<'de>, T: Deserialize<'de> + Dated>(reader: D) -> Result<T, D::Error> {
    let date = T::deserialize(reader)?;
    if is_writable(&date) { Ok(date) } else { Err(D::Error::custom("must have a year from 0001 to 9999")) }
}
