//! Calendar days without a clock.
//!
//! Records, ages and forecasts are told in days, so the mathematics needs no time of day, no time zone and no
//! "today": whoever asks brings the day along. A day is one whole number, which makes differences and sums
//! exact.
//!
//! # Mathematics
//! The number of a date is the days of the years before it, plus those of the months before it, plus the day,
//! counted from 1970-01-01:
//!
//! ```text
//! n = 365 (y-1) + floor((y-1)/4) - floor((y-1)/100) + floor((y-1)/400) + before(month) + leap day + d - 1 - 719 162
//! ```
//!
//! with y - 1 whole years before the year, a leap day from March of a leap year on, and 719 162 the same sum
//! for 1970-01-01. The way back tries years upwards from one that is never too late, then months downwards: a
//! handful of sums, no table.
//!
//! Known days, which tests hold: 2000-02-29 is 11 016, 2001-09-09 is 11 574, 2038-01-19 is 24 855. Every day of
//! the range is turned into its date and back there, too.
//!
//! Example: for 2026-10-01 the years before give 739 616 days, the nine months before 273, the day 1: 739 616 +
//! 273 + 1 - 1 - 719 162 = 20 727.

use std::fmt;

/// A civil date of the Gregorian calendar: whole days since 1970-01-01, from 1900-01-01 to 2200-12-31.
///
/// Ordered as the calendar. The range holds every birth date and every forecast, and keeps the year at four
/// digits.
///
/// # Source
/// Leap years and month lengths: ISO 8601-1 (2019), proleptic Gregorian calendar. The range is a design choice.
///
/// ```
/// use lanewright_compute::day::Day;
///
/// let day = Day::from_ymd(2026, 10, 1).unwrap();
/// assert_eq!(day.ymd(), (2026, 10, 1));
/// assert_eq!(day.days(), 20_727);
/// assert_eq!(day.add_days(-1).to_string(), "2026-09-30");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(i32);

impl Day {
    /// The first day that can be told: 1900-01-01, day -25 567.
    pub const MIN: Self = Self(civil(1_900, 1, 1));
    /// The last day that can be told: 2200-12-31, day 84 370.
    pub const MAX: Self = Self(civil(2_200, 12, 31));

    /// The day of a year (1900 to 2200), month (1 to 12) and day of the month, if there is such a day: none for
    /// 29 February of a common year.
    ///
    /// ```
    /// use lanewright_compute::day::Day;
    ///
    /// assert!(Day::from_ymd(2024, 2, 29).is_some() && Day::from_ymd(2100, 2, 29).is_none());
    /// ```
    pub const fn from_ymd(year: i32, month: u8, day: u8) -> Option<Self> {
        if year < 1_900 || year > 2_200 || month < 1 || month > 12 {
            return None;
        }
        if day < 1 || day > month_length(year, month) {
            return None;
        }
        Some(Self(civil(year, month, day)))
    }

    /// The day that lies this many days after 1970-01-01, if it is within range: -25 567 to 84 370.
    pub const fn from_days(days: i32) -> Option<Self> {
        if days < Self::MIN.0 || days > Self::MAX.0 {
            return None;
        }
        Some(Self(days))
    }

    /// Days since 1970-01-01, negative before; the number that records of the core and codes
    /// ([`Value::Day`](crate::params::Value::Day)) hold.
    pub const fn days(self) -> i32 {
        self.0
    }

    /// Year, month (1 to 12), day of the month (1 to 31).
    ///
    /// Begins at 1969 + days / 366 rounded down, which is never after the year, and goes up to it; then down
    /// from December. At most a dozen and a half sums.
    pub fn ymd(self) -> (i32, u8, u8) {
        // At most two years too early anywhere in the range.
        let mut year = 1_969 + self.0.div_euclid(366);
        while civil(year + 1, 1, 1) <= self.0 {
            year += 1;
        }
        let mut month = 12;
        while civil(year, month, 1) > self.0 {
            month -= 1;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 1 to 31
        let day = (self.0 - civil(year, month, 1) + 1) as u8;
        (year, month, day)
    }

    /// The calendar year, 1900 to 2200: that of age groups and seasons which go by it.
    pub fn year(self) -> i32 {
        self.ymd().0
    }

    /// The day this many days later (earlier when negative), cut off at [`Day::MIN`] and [`Day::MAX`]: a
    /// forecast beyond the range is its end, not an error. Any number is allowed.
    ///
    /// ```
    /// use lanewright_compute::day::Day;
    ///
    /// assert_eq!(Day::from_ymd(2024, 2, 28).unwrap().add_days(2), Day::from_ymd(2024, 3, 1).unwrap());
    /// assert_eq!(Day::MAX.add_days(1), Day::MAX);
    /// ```
    #[must_use]
    pub fn add_days(self, days: i32) -> Self {
        Self(self.0.saturating_add(days).clamp(Self::MIN.0, Self::MAX.0))
    }
}

impl fmt::Display for Day {
    /// Writes the day as `YYYY-MM-DD`, ten characters always.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.ymd();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

/// Every fourth year, but of the centuries only every fourth: 2000 is one, 1900 and 2100 are none.
const fn is_leap(year: i32) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

/// Days in a month (1 to 12) of a year. For the last day of a month, to which reference dates of age rules are
/// cut.
pub(crate) const fn month_length(year: i32, month: u8) -> u8 {
    match month {
        2 if is_leap(year) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days from 1970-01-01 to a date of any year from 1 on; a day past the end of its month runs on into the next.
///
/// No range is checked: rules of age groups count back to births before 1900, which are no [`Day`]. 29 February
/// of a common year is 1 March.
pub(crate) const fn civil(year: i32, month: u8, day: u8) -> i32 {
    const BEFORE: [i32; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    const EPOCH: i32 = 719_162;
    let past = year - 1;
    let leap_day = (month > 2 && is_leap(year)) as i32;
    past * 365 + past / 4 - past / 100 + past / 400 + BEFORE[(month - 1) as usize] + leap_day + day as i32 - 1 - EPOCH
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_days_have_their_published_numbers() {
        // Unix time of these midnights divided by 86 400.
        for (ymd, days) in [
            ((1_970, 1, 1), 0),
            ((2_000, 2, 29), 11_016),
            ((2_001, 9, 9), 11_574),
            ((2_038, 1, 19), 24_855),
            ((1_900, 1, 1), -25_567),
        ] {
            let day = Day::from_ymd(ymd.0, ymd.1, ymd.2).unwrap();
            assert_eq!(day.days(), days);
            assert_eq!(day.ymd(), ymd);
        }
    }

    #[test]
    fn every_day_of_the_range_comes_back_from_its_date() {
        let mut date = (1_900, 1, 1);
        for days in Day::MIN.days()..=Day::MAX.days() {
            let day = Day::from_days(days).unwrap();
            assert_eq!(day.ymd(), date);
            assert_eq!(Day::from_ymd(date.0, date.1, date.2), Some(day));
            date = match date {
                (y, 12, 31) => (y + 1, 1, 1),
                (y, m, d) if d == month_length(y, m) => (y, m + 1, 1),
                (y, m, d) => (y, m, d + 1),
            };
        }
        assert_eq!(date, (2_201, 1, 1));
    }

    #[test]
    fn a_date_that_does_not_exist_is_no_day() {
        for (y, m, d) in [
            (2_026, 2, 29),
            (1_900, 2, 29),
            (2_026, 4, 31),
            (2_026, 13, 1),
            (2_026, 0, 1),
            (2_026, 1, 0),
            (1_899, 12, 31),
            (2_201, 1, 1),
        ] {
            assert_eq!(Day::from_ymd(y, m, d), None);
        }
        assert_eq!(Day::MAX.add_days(1), Day::MAX);
        assert_eq!(Day::MIN.add_days(i32::MIN), Day::MIN);
    }
}
