//! Dates and instants of requests: of years that standards and the database can write. And when a day is, where a club is.

use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
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

/// When a day begins in a time zone: somewhat after midnight where clocks go forward then, and with the next one where a day was left out.
pub fn begins(day: NaiveDate, zone: Tz) -> DateTime<Utc> {
    let midnight = day.and_time(NaiveTime::MIN);
    let at = |half_hours: i64| zone.from_local_datetime(&(midnight + Duration::minutes(30 * half_hours))).earliest();
    (0..=48).find_map(at).map_or_else(|| midnight.and_utc(), |begins| begins.with_timezone(&Utc))
}

/// The instants of some days in a time zone: when the first of them begins, and when the last is over.
pub fn instants(from: NaiveDate, to: NaiveDate, zone: Tz) -> (DateTime<Utc>, DateTime<Utc>) {
    (begins(from, zone), begins(to.succ_opt().unwrap_or(to), zone))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_that_of_the_clubs_clocks_whatever_they_do() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        for (on, zone, from, to) in [
            ("2026-06-01", chrono_tz::Europe::London, "2026-05-31T23:00:00Z", "2026-06-01T23:00:00Z"),
            ("2026-10-25", chrono_tz::Europe::London, "2026-10-24T23:00:00Z", "2026-10-26T00:00:00Z"),
            ("2026-11-28", chrono_tz::America::Los_Angeles, "2026-11-28T08:00:00Z", "2026-11-29T08:00:00Z"),
            ("2026-11-28", chrono_tz::Pacific::Auckland, "2026-11-27T11:00:00Z", "2026-11-28T11:00:00Z"),
            // Clocks go forward at midnight: the day before ends when this one begins.
            ("2025-09-06", chrono_tz::America::Santiago, "2025-09-06T04:00:00Z", "2025-09-07T04:00:00Z"),
            // A day that was left out when the date line moved has no instant.
            ("2011-12-30", chrono_tz::Pacific::Apia, "2011-12-30T10:00:00Z", "2011-12-30T10:00:00Z"),
        ] {
            let found = instants(day(on), day(on), zone);
            assert_eq!(found, (from.parse().unwrap(), to.parse().unwrap()), "{on} {zone}");
        }
    }
}
