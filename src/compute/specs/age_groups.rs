//! Age groups: who belongs to one on a day, told as the interval of birth dates.
//!
//! # Why births and not ages
//!
//! An age group says "13 or 14 on 31 August". Turned round, it is an interval of birth dates for each day of
//! competition, so that an athlete of whom only the year of birth is known is an interval as well, and belonging is
//! whether two intervals meet.
//!
//! ```text
//! first birth = the day after the last birth of someone who is max + 1 on the upper reference day
//! last birth  = the last birth of someone who is min on the lower reference day, and not after the day itself
//! ```
//!
//! # Reference days for a competition on 1 June 2026
//!
//! | rule | reference day | season or year it goes by |
//! | --- | --- | --- |
//! | `end_of_year` | 31 December 2026 | calendar year |
//! | `august_in_year` | 31 August 2026 | 1 October 2025 to 30 September 2026 |
//! | `august_then_december` | lower 31 August 2026, upper 31 December 2026 | both |
//! | `school_year` | 31 August 2025 | 1 October 2025 to 30 September 2026 |
//! | `school_year_then_december` | lower 31 August 2025, upper 31 December 2026 | both |
//! | `end_of_school_year` | 31 August 2026 | 1 September 2025 to 31 August 2026 |
//! | `mid_year` | 1 July 2026 | calendar year |
//! | `start_of_year` | 1 January 2026 | calendar year |
//! | `before_school_year` | 1 January 2025 | 1 September 2025 to 31 August 2026 |
//! | `season_december` | 31 December 2025 | 1 July 2025 to 30 June 2026 |
//! | `season_september` | 30 September 2025 | 1 July 2025 to 30 June 2026 |
//! | `day_of_competition` | 1 June 2026 | the day |
//!
//! # Worked
//!
//! U13 of the United Kingdom on 1 June 2018, at least 11 and under 13 on 31 August 2018: births from 1 September 2005
//! to 31 August 2007.

use std::borrow::Cow;

use super::{Confidence, Source, is_valid, sources};
use crate::day::{Day, civil, month_length};
use crate::units::Sex;

mod table;

pub use table::published_age_groups;

/// The day on which ages count for a group.
///
/// A birthday on 29 February counts as 1 March in other years (English law; design choice elsewhere).
///
/// Each was read on a page of a federation, a club or a meeting, as the rows say ([`published_age_groups`]).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AgeRule {
    /// 31 December of the competition year, which is the age by year of birth.
    EndOfYear,
    /// 31 August within the competition year; the year from 1 October to 30 September is from memory.
    AugustInYear,
    /// Lower limit on 31 August within the competition year, upper limit on 31 December of the calendar year.
    AugustThenDecember,
    /// School year, told by the age on the 31 August before it; athletes move on 1 October.
    SchoolYear,
    /// Lower limit by school year, upper limit on 31 December of the calendar year.
    SchoolYearThenDecember,
    /// 31 August at the end of the school year, which begins on 1 September.
    EndOfSchoolYear,
    /// 1 July of the competition year (calendar year).
    MidYear,
    /// 1 January of the competition year (calendar year).
    StartOfYear,
    /// 1 January before the start of the school year, which begins on 1 September.
    BeforeSchoolYear,
    /// 31 December of the season's first year; that a season runs from 1 July to 30 June is a design choice.
    SeasonDecember,
    /// 30 September of the season's first year; that a season runs from 1 July to 30 June is a design choice.
    SeasonSeptember,
    /// The day of competition: the group changes on the birthday.
    DayOfCompetition,
    /// The school grade decides; no age is computed.
    SchoolGrade,
    /// The sources read do not state the day; no age is computed.
    NotStated,
}

impl AgeRule {
    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::EndOfYear => "end_of_year",
            Self::AugustInYear => "august_in_year",
            Self::AugustThenDecember => "august_then_december",
            Self::SchoolYear => "school_year",
            Self::SchoolYearThenDecember => "school_year_then_december",
            Self::EndOfSchoolYear => "end_of_school_year",
            Self::MidYear => "mid_year",
            Self::StartOfYear => "start_of_year",
            Self::BeforeSchoolYear => "before_school_year",
            Self::SeasonDecember => "season_december",
            Self::SeasonSeptember => "season_september",
            Self::DayOfCompetition => "day_of_competition",
            Self::SchoolGrade => "school_grade",
            Self::NotStated => "not_stated",
        }
    }

    /// Every rule.
    pub const ALL: [Self; 14] = [
        Self::EndOfYear,
        Self::AugustInYear,
        Self::AugustThenDecember,
        Self::SchoolYear,
        Self::SchoolYearThenDecember,
        Self::EndOfSchoolYear,
        Self::MidYear,
        Self::StartOfYear,
        Self::BeforeSchoolYear,
        Self::SeasonDecember,
        Self::SeasonSeptember,
        Self::DayOfCompetition,
        Self::SchoolGrade,
        Self::NotStated,
    ];

    /// The rule that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.as_str() == word)
    }

    /// The reference days of the lower and the upper limit for a competition on a day, as year, month, day.
    ///
    /// None for the two rules that compute no age. A reference day may lie before or after the competition.
    fn reference(self, on: Day) -> Option<[(i32, u8, u8); 2]> {
        let (year, month, day) = on.ymd();
        // The year in which a season that begins with this month began.
        let since = |first: u8| if month >= first { year } else { year - 1 };
        let december = (year, 12, 31);
        let august = (since(10) + 1, 8, 31);
        let school = (since(10), 8, 31);
        let one = match self {
            Self::AugustThenDecember => return Some([august, december]),
            Self::SchoolYearThenDecember => return Some([school, december]),
            Self::EndOfYear => december,
            Self::AugustInYear => august,
            Self::SchoolYear => school,
            Self::EndOfSchoolYear => (since(9) + 1, 8, 31),
            Self::MidYear => (year, 7, 1),
            Self::StartOfYear => (year, 1, 1),
            Self::BeforeSchoolYear => (since(9), 1, 1),
            Self::SeasonDecember => (since(7), 12, 31),
            Self::SeasonSeptember => (since(7), 9, 30),
            Self::DayOfCompetition => (year, month, day),
            Self::SchoolGrade | Self::NotStated => return None,
        };
        Some([one, one])
    }

    /// The day of the rule in words, to follow "aged 13 or 14".
    ///
    /// Part of the English shown; `AugustThenDecember` and its like stand in brackets behind the ages.
    const fn words(self) -> &'static str {
        match self {
            Self::EndOfYear => "on 31 December of the competition year (by year of birth)",
            Self::AugustInYear => "on 31 August within the competition year (1 October to 30 September)",
            Self::AugustThenDecember => {
                "(lower limit on 31 August within the competition year, upper limit on 31 December)"
            }
            Self::SchoolYear => "on the 31 August before the school year, moving up on 1 October",
            Self::SchoolYearThenDecember => {
                "(lower limit on the 31 August before the school year, moving up on 1 October; upper limit on 31 December)"
            }
            Self::EndOfSchoolYear => "on 31 August at the end of the school year",
            Self::MidYear => "on 1 July of the competition year",
            Self::StartOfYear => "on 1 January of the competition year",
            Self::BeforeSchoolYear => "on 1 January before the start of the school year",
            Self::SeasonDecember => "on 31 December of the season's first year (July to June)",
            Self::SeasonSeptember => "on 30 September of the season's first year (July to June)",
            Self::DayOfCompetition => "on the day of competition (first day of the meeting)",
            Self::SchoolGrade => "by school grade, not by age",
            Self::NotStated => "on a day that the sources do not state",
        }
    }
}

/// What is known of a birth.
///
/// A club need not know the day; a year is enough for every rule, at the price of certainty in up to two groups.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Birth {
    /// The date.
    Date(Day),
    /// The year only.
    Year(i32),
}

impl Birth {
    /// The first and the last possible date, cut off at the days that [`Day`] can tell.
    ///
    /// Equal ends for a date. Years outside 1900 to 2200 are moved to the nearer end.
    pub fn range(self) -> (Day, Day) {
        match self {
            Self::Date(day) => (day, day),
            Self::Year(year) => {
                let year = year.clamp(1_900, 2_200);
                (Day::from_ymd(year, 1, 1).unwrap_or(Day::MIN), Day::from_ymd(year, 12, 31).unwrap_or(Day::MAX))
            }
        }
    }

    /// The least and the greatest age that it may mean on a day, years (y) of 365.25 days; equal when the date is
    /// known, negative before the birth.
    ///
    /// A year alone leaves one year open, which moves through the calendar year: of 2016, 9 to 10 years on 1 January
    /// 2026 and 10 to 11 on 31 December.
    pub fn ages_y(self, on: Day) -> (f64, f64) {
        let (first, last) = self.range();
        let since = |born: Day| f64::from(on.days() - born.days()) / 365.25;
        (since(last), since(first))
    }

    /// The ages, whole years, that it may mean on a day; they differ by one with a year alone, but for 31 December.
    pub fn ages(self, on: Day) -> AgeSpan {
        let (first, last) = self.range();
        AgeSpan { youngest: age_on(last, on.ymd()), oldest: age_on(first, on.ymd()) }
    }
}

/// The ages, whole years, that a birth may mean on a reference day; equal when the date is known.
///
/// The two differ by at most one. Not checked against the group: it may lie outside where the upper limit has another
/// day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AgeSpan {
    /// Age if born on the last possible date; negative before the birth.
    pub youngest: i32,
    /// Age if born on the first possible date.
    pub oldest: i32,
}

/// An age group of a rule set.
///
/// Groups of one rule set may overlap, and a code means something within its rule set only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AgeGroup {
    /// Rule set with its edition, such as `UKA-2024`.
    pub ruleset: Cow<'static, str>,
    /// Code of the group within the rule set, such as `U13`.
    pub code: Cow<'static, str>,
    /// Sex category; `None` stands for both.
    pub sex: Option<Sex>,
    /// The day on which ages count.
    pub rule: AgeRule,
    /// Lowest age, whole years; `None` where no lower limit is on file.
    ///
    /// Reached on the reference day.
    pub min_age: Option<u8>,
    /// Highest age, whole years; `None` where there is no upper limit.
    ///
    /// Inclusive: "under 15" is 14.
    pub max_age: Option<u8>,
    /// Ids of the sources, joined with `+`; empty where none is known.
    pub sources: Cow<'static, str>,
    /// How well the rule is supported.
    pub confidence: Confidence,
    /// What a reader of the rule should know; may be empty.
    pub note: Cow<'static, str>,
    /// First day the group holds; `None` where it has no start on file.
    pub valid_from: Option<Day>,
    /// Last day the group holds; `None` where it has no end on file.
    pub valid_to: Option<Day>,
}

impl AgeGroup {
    /// Whether an age leads to the group: not for a school grade or a day that the sources do not state.
    ///
    /// A coach or admin chooses there.
    pub fn counts_ages(&self) -> bool {
        !matches!(self.rule, AgeRule::SchoolGrade | AgeRule::NotStated)
    }

    /// The ages of the group, whole years, as far as they differ: up to 100 where there is no upper limit.
    ///
    /// Without limits 0 to 100; for the question whether a rule set leads to targets.
    pub(super) fn ages(&self) -> std::ops::RangeInclusive<u8> {
        self.min_age.unwrap_or(0)..=self.max_age.unwrap_or(100)
    }

    /// Whether the row holds on a day.
    pub fn holds_on(&self, on: Day) -> bool {
        is_valid(self.valid_from, self.valid_to, on)
    }

    /// The first and last birth date, days since 1970-01-01, that belong to the group on a day; `None` when no date
    /// does or no age is computed for it. Nobody belongs to a group before being born.
    ///
    /// Open ends are the least and the largest day number.
    ///
    /// ```
    /// use lanewright_compute::day::Day;
    /// use lanewright_compute::specs::published_age_groups;
    ///
    /// let u13 = published_age_groups().iter().find(|g| g.ruleset == "UKA-2024" && g.code == "U13").unwrap();
    /// let (first, last) = u13.births(Day::from_ymd(2018, 6, 1).unwrap()).unwrap();
    /// assert_eq!(Day::from_days(first), Day::from_ymd(2005, 9, 1));
    /// assert_eq!(Day::from_days(last), Day::from_ymd(2007, 8, 31));
    /// ```
    pub fn births(&self, on: Day) -> Option<(i32, i32)> {
        if !self.holds_on(on) {
            return None;
        }
        let [lower, upper] = self.rule.reference(on)?;
        let first = self.max_age.map_or(i32::MIN, |age| latest_birth(upper, i32::from(age) + 1) + 1);
        let last = self.min_age.map_or(i32::MAX, |age| latest_birth(lower, i32::from(age))).min(on.days());
        (first <= last).then_some((first, last))
    }

    /// The age on the reference day (of the lower limit, where there are two); `None` where no age is computed.
    ///
    /// Also for a day on which the group does not hold. A birth after the reference day gives negative ages.
    pub fn age(&self, birth: Birth, on: Day) -> Option<AgeSpan> {
        let [reference, _] = self.rule.reference(on)?;
        let (first, last) = birth.range();
        Some(AgeSpan { youngest: age_on(last, reference), oldest: age_on(first, reference) })
    }

    /// The rule in words: "aged 13 or 14 on 31 December of the competition year (by year of birth)".
    ///
    /// Under 15 without a lower limit on file reads "under 15 (no lower limit on file) on ...".
    pub fn words(&self) -> String {
        let ages = match (self.min_age, self.max_age) {
            _ if self.rule == AgeRule::SchoolGrade => return self.rule.words().to_owned(),
            (None, None) => "any age".to_owned(),
            (None, Some(max)) => {
                format!("under {} (no lower limit on file)", u16::from(max) + 1)
            }
            (Some(min), None) => format!("aged {min} or older"),
            (Some(min), Some(max)) if min == max => format!("aged {min}"),
            (Some(min), Some(max)) if u16::from(min) + 1 == u16::from(max) => {
                format!("aged {min} or {max}")
            }
            (Some(min), Some(max)) => format!("aged {min} to {max}"),
        };
        format!("{ages} {}", self.rule.words())
    }

    /// The sources of the rule, in its order; an id that is not among [`super::SOURCES`] is left out.
    pub fn sources(&self) -> impl Iterator<Item = &'static Source> + '_ {
        sources::of(&self.sources)
    }
}

/// The last birth date, days since 1970-01-01, of someone who has reached an age on the reference day.
///
/// A reference day of 29 February (day of competition) becomes the 28th in other years.
fn latest_birth((year, month, day): (i32, u8, u8), age: i32) -> i32 {
    let year = year - age;
    civil(year, month, day.min(month_length(year, month)))
}

/// Whole years from a birth date to a reference day; someone born on 29 February turns on 1 March of other years.
///
/// Full years: one less until the birthday of that year.
fn age_on(birth: Day, (year, month, day): (i32, u8, u8)) -> i32 {
    let (birth_year, birth_month, birth_day) = birth.ymd();
    year - birth_year - i32::from((month, day) < (birth_month, birth_day))
}
