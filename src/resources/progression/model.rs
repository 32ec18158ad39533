//! The period asked for.

use chrono::{Days, NaiveDate};

use crate::compute::day::Day;
use crate::compute::progress::{PERIOD_DAYS_MAX, Period};
use crate::platform::fault::Fault;

/// Days of the period when `from` is absent: the last twelve weeks.
const DEFAULT_DAYS: u64 = 84;

/// The period from one date to another, both included; up to today, and twelve weeks long, where a date is absent.
///
/// # Errors
/// The first parameter that cannot be used, by its name.
pub fn period(today: NaiveDate, from: Option<NaiveDate>, to: Option<NaiveDate>) -> Result<Period, Fault> {
    let out = |name: &str| Fault::of(name, "out_of_range", "must be from 2000-01-01 to a year ahead");
    let within = |date: NaiveDate, name: &str| {
        let latest = today.checked_add_days(Days::new(366)).unwrap_or(today);
        let earliest = NaiveDate::from_ymd_opt(2000, 1, 1).unwrap_or_default();
        let day = Day::from_days(date.to_epoch_days());
        day.filter(|_| (earliest..=latest).contains(&date)).ok_or_else(|| out(name))
    };
    let to = to.unwrap_or(today);
    let last = within(to, "to")?;
    let from = from.or_else(|| to.checked_sub_days(Days::new(DEFAULT_DAYS - 1))).unwrap_or(to);
    let first = within(from, "from")?;
    if first > last {
        return Err(Fault::of("from", "after_to", "must not be after `to`"));
    }
    Period::new(first, last).ok_or_else(|| {
        Fault::of("from", "too_long", format!("must be at most {PERIOD_DAYS_MAX} days up to `to`, both included"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_period_is_twelve_weeks_up_to_today_unless_dates_say_otherwise() {
        let today = date("2026-11-25");
        let told = |from: Option<&str>, to: Option<&str>| {
            let found = period(today, from.map(date), to.map(date));
            found.map(|one| (one.from().to_string(), one.to().to_string())).map_err(|fault| fault.parameter.unwrap())
        };
        let is = |from: &str, to: &str| Ok((from.to_owned(), to.to_owned()));
        assert_eq!(told(None, None), is("2026-09-03", "2026-11-25"));
        assert_eq!(told(None, Some("2026-03-01")), is("2025-12-08", "2026-03-01"));
        assert_eq!(told(Some("2024-11-25"), None), is("2024-11-25", "2026-11-25"));
        assert_eq!(told(Some("2024-11-24"), None), Err("from".to_owned()));
        assert_eq!(told(Some("2026-11-26"), None), Err("from".to_owned()));
        assert_eq!(told(None, Some("2027-11-27")), Err("to".to_owned()));
        assert_eq!(told(Some("1999-12-31"), Some("2000-01-02")), Err("from".to_owned()));
    }
}
