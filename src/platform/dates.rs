//! Dates and instants of requests: of years that standards and the database can write; and what day an instant is where.

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

/// The date of an instant in a time zone.
pub fn day_of(at: DateTime<Utc>, zone: Tz) -> NaiveDate {
    at.with_timezone(&zone).date_naive()
}

/// When a day begins in a time zone; none at the end of the calendar.
pub fn begins(day: NaiveDate, zone: Tz) -> Option<DateTime<Utc>> {
    let midnight = day.and_time(NaiveTime::MIN);
    // Where clocks go forward at midnight the day begins somewhat later, and where they left a day out with the next one.
    let begins = |half_hours: i64| {
        let local = midnight.checked_add_signed(Duration::minutes(30 * half_hours))?;
        zone.from_local_datetime(&local).earliest()
    };
    Some((0..=48).find_map(begins)?.with_timezone(&Utc))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_begins_when_its_clocks_say_so() {
        let begins = |day: &str, zone: Tz| begins(day.parse().unwrap(), zone).map(|at| at.to_rfc3339());
        let found = [
            begins("2026-11-25", Tz::UTC),
            begins("2026-11-25", Tz::Pacific__Pago_Pago),
            begins("2026-11-25", Tz::Pacific__Kiritimati),
            // Clocks go forward at midnight.
            begins("2026-04-24", Tz::Africa__Cairo),
            // The day that Samoa left out.
            begins("2011-12-30", Tz::Pacific__Apia),
        ];
        let wanted =
            ["2026-11-25T00:00", "2026-11-25T11:00", "2026-11-24T10:00", "2026-04-23T22:00", "2011-12-30T10:00"];
        assert_eq!(found, wanted.map(|at| Some(format!("{at}:00+00:00"))));
        assert_eq!(begins("2026-11-24", Tz::UTC), Some("2026-11-24T00:00:00+00:00".to_owned()));
        for (at, day) in [("2026-11-25T10:59:59Z", "2026-11-24"), ("2026-11-25T11:00:00Z", "2026-11-25")] {
            assert_eq!(day_of(at.parse().unwrap(), Tz::Pacific__Pago_Pago), day.parse().unwrap());
        }
    }
}
