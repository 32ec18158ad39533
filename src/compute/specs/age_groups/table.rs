//! The published age groups, one row a line.
//!
//! # Source
//! Per row: the ids lead to [`crate::specs::SOURCES`]. Rows marked `Memory` hold a limit or a day that was not
//! read on a page.
//!
//! # Rule sets
//!
//! | rule set | groups | day on which ages count | read where |
//! | --- | --- | --- | --- |
//! | WA | 5 | 31 December; masters the day of competition | the Russian federation's text, worded like the international one |
//! | WMA | 11 | day of competition | masters' pages; bands of the groups that share a specification |
//! | RUS | 3 | 31 December | the same Russian text |
//! | UKA-2024 | 6 | 31 August in the competition year; under 20 and under 18 by 31 December | club pages with birth dates |
//! | UKA-2026 | 6 | school year, from 1 April 2026 | the federation's and clubs' announcements |
//! | ESAA | 4 | 31 August at the end of the school year | handbook |
//! | IAAA | 4 | 1 July; the oldest by 1 January | a club's table of 2018 |
//! | AAI | 11 | 31 December | club tables of 2018 |
//! | USATF-Y, AAU | 6, 8 | 31 December | club and association tables |
//! | NFHS, JAAF | 1, 4 | school grade | pages on the races; grades in part from memory |
//! | OFSAA | 3 | 1 January before the school year | playing regulations |
//! | AC | 7 | 31 December; masters the day of competition | a meeting's and a province's pages |
//! | LAA-2019, LAANSW-2008 | 10, 10 | 31 December, before 2018/19 30 September | club pages; the ages of 2008 from memory |
//! | DLV, SFIF, SWISS | 4, 2, 6 | 31 December | mostly from memory |
//! | FIDAL, ASA | 5, 3 | 31 December | a federation's guide of 2015, an entry manual of 2018 |
//! | LBFA | 8 | not stated | the federation's list of 2026 |
//!
//! # What to check before relying on a row
//!
//! - The United Kingdom changed on 1 April 2026: groups of `UKA-2026` are here, its hurdle sheet could not be read, so
//!   those groups have no specification on file. `UKA-2024` ends on 31 March 2026 for all but seniors.
//! - The oldest limits of IAAA and OFSAA have no lower age on file; their groups are read as "under", youngest first.
//! - Bands of WMA are joined where neighbouring five-year groups race over the same barriers, so women have two sets
//!   of bands (short and long hurdles) that overlap.
//! - FIDAL's, ASA's, AAI's, AAU's, SWISS's and AC's groups have no specifications here: a club adds them.
//!
//! # Method
//!
//! Limits are as printed: "under 13" with "at least 11" is 11 to 12. School years are turned into ages by the cut-off
//! that goes with them. Nothing is guessed where a page is silent: a rule that states no day computes no age.
//!
//! # School years turned into ages
//!
//! A pupil of year 7 is 11 on the 31 August before that school year and 12 on the one that ends it; so the two rule
//! sets that name school years differ by one in age for the same children:
//!
//! | rule set | group | school years | ages on its cut-off |
//! | --- | --- | --- | --- |
//! | UKA-2026 (31 August before) | U10 | 3 and 4 | 7 and 8 |
//! | | U12 | 5 and 6 | 9 and 10 |
//! | | U14 | 7 and 8 | 11 and 12 |
//! | | U16 | 9 and 10 | 13 and 14 |
//! | | U18 | 11 and 12 | 15 and 16 |
//! | | U20 | 13 and later | 17 to 19 |
//! | ESAA (31 August at the end) | Y7-8 | 7 and 8 | 12 and 13 |
//! | | JUN | 8 and 9 | 13 and 14 |
//! | | INT | 10 and 11 | 15 and 16 |
//! | | SEN-SCH | 12 and 13 | 17 and 18 |
//!
//! Only U10 to U20 and Y7-8 are told by school year on the pages; the years of JUN, INT and SEN-SCH above are derived
//! from their ages.
//!
//! # Groups that overlap
//!
//! - UKA-2024: U18 beside U17 and U20, for it is the international group of the same country.
//! - WA: SEN takes in U23, which has no race of its own, and masters.
//! - ESAA: Y7-8 and JUN share the age of 13.
//! - WMA: W35-49 (400 m) beside W35-39 and W40-49 (short races).
//!
//! An athlete in two groups gets the specifications of both; the target is that of the group with the lower upper age.
//!
//! # Worked
//!
//! ```
//! use lanewright_compute::day::Day;
//! use lanewright_compute::specs::{Birth, published_age_groups};
//!
//! let on = Day::from_ymd(2026, 6, 1).unwrap();
//! let born = Birth::Date(Day::from_ymd(2013, 10, 5).unwrap());
//! let group = published_age_groups().iter().find(|g| g.ruleset == "UKA-2026" && g.code == "U14").unwrap();
//! let (first, last) = group.births(on).unwrap();
//! assert_eq!(Day::from_days(first), Day::from_ymd(2012, 9, 1));
//! assert_eq!(Day::from_days(last), Day::from_ymd(2014, 8, 31));
//! assert_eq!(group.age(born, on).unwrap().oldest, 11);
//! ```

use std::borrow::Cow;

use super::{AgeGroup, AgeRule};
use crate::day::Day;
use crate::specs::Confidence::{Memory, Page};
use crate::units::Sex;

/// First and last day, both included; none is open.
type Window = (Option<Day>, Option<Day>);

const F: Option<Sex> = Some(Sex::Female);
const M: Option<Sex> = Some(Sex::Male);
const X: Option<Sex> = None;

/// No start or end on file.
const ALWAYS: Window = (None, None);
/// The school-year groups of the United Kingdom replaced the others on 1 April 2026 (England Athletics 2025).
const UNTIL_2026: Window = (None, Day::from_ymd(2_026, 3, 31));
const SINCE_2026: Window = (Day::from_ymd(2_026, 4, 1), None);
/// Last day before season 2018/19.
///
/// Little Athletics moved its reference day with that season (three pages of 2018 agree).
const UNTIL_2018: Window = (None, Day::from_ymd(2_018, 6, 30));

/// An age limit; 0 stands for none.
const fn limit(age: u8) -> Option<u8> {
    if age == 0 { None } else { Some(age) }
}

/// Rows of: rule set, code, sex, rule, lowest and highest age (0 for none), window; confidence, sources, note.
///
/// Everything is borrowed from the program, so the table costs nothing to start.
macro_rules! groups {
    ($($ruleset:literal $code:literal $sex:ident $rule:ident $min:literal $max:literal $window:ident;
       $confidence:ident $sources:literal $note:literal;)*) => {
        &[$(AgeGroup {
            ruleset: Cow::Borrowed($ruleset),
            code: Cow::Borrowed($code),
            sex: $sex,
            rule: AgeRule::$rule,
            min_age: limit($min),
            max_age: limit($max),
            sources: Cow::Borrowed($sources),
            confidence: $confidence,
            note: Cow::Borrowed($note),
            valid_from: $window.0,
            valid_to: $window.1,
        }),*]
    };
}

/// Order matters: answers list groups as they stand here.
static ROWS: &[AgeGroup] = groups! {
    "WA" "U18" X EndOfYear 16 17 ALWAYS; Page "RU-RULES+CRYER" "RU-RULES is the Russian rule, worded like the international one.";
    "WA" "U20" X EndOfYear 18 19 ALWAYS; Page "RU-RULES" "";
    "WA" "U23" X EndOfYear 20 22 ALWAYS; Page "RU-RULES" "Runs the senior specification.";
    "WA" "SEN" X EndOfYear 20 0 ALWAYS; Page "RU-RULES" "The rule sets no age limit; from 20 here, because younger groups have specifications of their own.";
    "WA" "MASTERS" X DayOfCompetition 35 0 ALWAYS; Memory "RU-RULES+WMASTERS-EN" "From 35 on WMASTERS-EN; the day of competition from memory. Specifications: rule set WMA.";
    "WMA" "M35-49" M DayOfCompetition 35 49 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "Five-year groups from 35 change on the birthday, at a longer meeting on its first day; bands of groups with one specification.";
    "WMA" "M50-59" M DayOfCompetition 50 59 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "M60-69" M DayOfCompetition 60 69 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "M70-79" M DayOfCompetition 70 79 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "M80+" M DayOfCompetition 80 0 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W35-39" F DayOfCompetition 35 39 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W35-49" F DayOfCompetition 35 49 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W40-49" F DayOfCompetition 40 49 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W50-59" F DayOfCompetition 50 59 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W60-69" F DayOfCompetition 60 69 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "WMA" "W70+" F DayOfCompetition 70 0 ALWAYS; Page "MASTERS-GP+BANDON-18+USATF-RULES" "";
    "RUS" "U12" X EndOfYear 10 11 ALWAYS; Page "RU-RULES" "";
    "RUS" "U14" X EndOfYear 12 13 ALWAYS; Page "RU-RULES" "";
    "RUS" "U16" X EndOfYear 14 15 ALWAYS; Page "RU-RULES" "";
    "UKA-2024" "U13" X AugustInYear 11 12 UNTIL_2026; Page "WHITEMOSS-18+DERBY" "At least 11 and under 13.";
    "UKA-2024" "U15" X AugustInYear 13 14 UNTIL_2026; Page "WHITEMOSS-18+DERBY" "";
    "UKA-2024" "U17" X AugustInYear 15 16 UNTIL_2026; Page "WHITEMOSS-18+DERBY" "";
    "UKA-2024" "U18" X EndOfYear 16 17 UNTIL_2026; Memory "EA-FACT+RU-RULES" "International group beside U17; the day from the international rule, the end with the school-year groups by design choice.";
    "UKA-2024" "U20" X AugustThenDecember 17 19 UNTIL_2026; Page "WHITEMOSS-18+DERBY" "At least 17 on 31 August and under 20 on 31 December; the end with the school-year groups by design choice.";
    "UKA-2024" "SEN" X EndOfYear 20 0 ALWAYS; Memory "EA-FACT" "Follows U20; the change of 1 April 2026 concerned young groups only.";
    "UKA-2026" "U10" X SchoolYear 7 8 SINCE_2026; Page "EA-AGE+DERBY+EA-OFFTRACK" "School years 3 and 4; the move on 1 October from EA-OFFTRACK, ages derived from the 31 August cut-off.";
    "UKA-2026" "U12" X SchoolYear 9 10 SINCE_2026; Page "EA-AGE+DERBY+EA-OFFTRACK" "School years 5 and 6; the move on 1 October from EA-OFFTRACK, ages derived from the 31 August cut-off.";
    "UKA-2026" "U14" X SchoolYear 11 12 SINCE_2026; Page "EA-AGE+DERBY+NORFOLK+EA-OFFTRACK" "School years 7 and 8; the move on 1 October from EA-OFFTRACK, ages derived from the 31 August cut-off.";
    "UKA-2026" "U16" X SchoolYear 13 14 SINCE_2026; Page "EA-AGE+DERBY+NORFOLK+EA-OFFTRACK" "School years 9 and 10; the move on 1 October from EA-OFFTRACK, ages derived from the 31 August cut-off.";
    "UKA-2026" "U18" X SchoolYear 15 16 SINCE_2026; Page "EA-AGE+DERBY+NORFOLK+EA-OFFTRACK" "School years 11 and 12; the move on 1 October from EA-OFFTRACK, ages derived from the 31 August cut-off.";
    "UKA-2026" "U20" X SchoolYearThenDecember 17 19 SINCE_2026; Page "EA-AGE+DERBY+NORFOLK+EA-OFFTRACK" "School year 13 and up; the upper limit stays 31 December.";
    "ESAA" "Y7-8" X EndOfSchoolYear 12 13 ALWAYS; Page "WMSAA-2025" "School years 7 and 8; ages derived from the 31 August cut-off.";
    "ESAA" "JUN" X EndOfSchoolYear 13 14 ALWAYS; Page "ESAA-GEN+NORFOLK" "13 and under 15; the 2026 championships keep the groups.";
    "ESAA" "INT" X EndOfSchoolYear 15 16 ALWAYS; Page "ESAA-GEN" "15 and under 17.";
    "ESAA" "SEN-SCH" X EndOfSchoolYear 17 18 ALWAYS; Page "ESAA-GEN" "17 and under 19.";
    "IAAA" "MINOR" X MidYear 0 13 ALWAYS; Page "BANDON-18" "Dates of 2018; competition year taken as the calendar year.";
    "IAAA" "JUN" X MidYear 0 14 ALWAYS; Page "BANDON-18" "Dates of 2018; competition year taken as the calendar year.";
    "IAAA" "INT" X MidYear 0 16 ALWAYS; Page "BANDON-18" "Dates of 2018; competition year taken as the calendar year.";
    "IAAA" "SEN-SCH" X StartOfYear 0 18 ALWAYS; Page "BANDON-18" "Dates of 2018; competition year taken as the calendar year.";
    "AAI" "U9" X EndOfYear 8 8 ALWAYS; Page "LONGFORD-18+BANDON-18" "Club athletics in Ireland.";
    "AAI" "U10" X EndOfYear 9 9 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U11" X EndOfYear 10 10 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U12" X EndOfYear 11 11 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U13" X EndOfYear 12 12 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U14" X EndOfYear 13 13 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U15" X EndOfYear 14 14 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U16" X EndOfYear 15 15 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U17" X EndOfYear 16 16 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U18" X EndOfYear 17 17 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "AAI" "U19" X EndOfYear 18 18 ALWAYS; Page "LONGFORD-18+BANDON-18" "";
    "USATF-Y" "8U" X EndOfYear 0 8 ALWAYS; Page "USATF-NV+AAG-23" "At least 7 on 31 December for the national meet.";
    "USATF-Y" "9-10" X EndOfYear 9 10 ALWAYS; Page "USATF-NV+AAG-23" "";
    "USATF-Y" "11-12" X EndOfYear 11 12 ALWAYS; Page "USATF-NV+AAG-23" "";
    "USATF-Y" "13-14" X EndOfYear 13 14 ALWAYS; Page "USATF-NV+AAG-23" "";
    "USATF-Y" "15-16" X EndOfYear 15 16 ALWAYS; Page "USATF-NV+AAG-23" "";
    "USATF-Y" "17-18" X EndOfYear 17 18 ALWAYS; Page "USATF-NV+AAG-23" "Still 18 on the last day of the national meet stays eligible.";
    "AAU" "9" X EndOfYear 9 9 ALWAYS; Page "JENKS-14" "Single years to 14; 2014 table. Ages below 9 not carried over.";
    "AAU" "10" X EndOfYear 10 10 ALWAYS; Page "JENKS-14" "";
    "AAU" "11" X EndOfYear 11 11 ALWAYS; Page "JENKS-14" "";
    "AAU" "12" X EndOfYear 12 12 ALWAYS; Page "JENKS-14" "";
    "AAU" "13" X EndOfYear 13 13 ALWAYS; Page "JENKS-14" "";
    "AAU" "14" X EndOfYear 14 14 ALWAYS; Page "JENKS-14" "";
    "AAU" "15-16" X EndOfYear 15 16 ALWAYS; Page "JENKS-14" "";
    "AAU" "17-18" X EndOfYear 17 18 ALWAYS; Page "JENKS-14" "";
    "NFHS" "HS" X SchoolGrade 0 0 ALWAYS; Memory "" "Grades 9 to 12; state associations set a highest age.";
    "OFSAA" "MIDGET-NOVICE" X BeforeSchoolYear 0 13 ALWAYS; Page "OFSAA-2016+OFSAA-21" "Has not reached the 14th birthday; grade 9 only, one year.";
    "OFSAA" "JUN" X BeforeSchoolYear 0 14 ALWAYS; Page "OFSAA-2016+OFSAA-21" "Has not reached the 15th birthday.";
    "OFSAA" "SEN-SCH" X BeforeSchoolYear 0 18 ALWAYS; Page "OFSAA-2016+OFSAA-21" "Has not reached the 19th birthday.";
    "AC" "U10" X EndOfYear 8 9 ALWAYS; Page "SHERWOOD-23+BCA-JD" "Alberta 2023; British Columbia has single years from 9 to 13.";
    "AC" "U12" X EndOfYear 10 11 ALWAYS; Page "SHERWOOD-23+BCA-JD" "";
    "AC" "U14" X EndOfYear 12 13 ALWAYS; Page "SHERWOOD-23+BCA-JD" "";
    "AC" "U16" X EndOfYear 14 15 ALWAYS; Page "SHERWOOD-23+BCA-JD" "";
    "AC" "U18" X EndOfYear 16 17 ALWAYS; Page "SHERWOOD-23+BCA-JD" "";
    "AC" "U20" X EndOfYear 18 19 ALWAYS; Page "SHERWOOD-23+BCA-JD" "";
    "AC" "MASTERS" X DayOfCompetition 35 0 ALWAYS; Page "SHERWOOD-23+BCA-JD" "35 on the day of the meeting.";
    "LAA-2019" "U6" X SeasonDecember 5 5 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "Changed from 30 September in 2018/19.";
    "LAA-2019" "U7" X SeasonDecember 6 6 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U8-U9" X SeasonDecember 7 8 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U10" X SeasonDecember 9 9 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U11" X SeasonDecember 10 10 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U12" X SeasonDecember 11 11 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U13" X SeasonDecember 12 12 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U14" X SeasonDecember 13 13 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U15" X SeasonDecember 14 14 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "";
    "LAA-2019" "U17" X SeasonDecember 15 16 ALWAYS; Page "SALAA-18+HENLEY-18+MOSMAN-18" "Spans two years.";
    "LAANSW-2008" "U7" X SeasonSeptember 6 6 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "Superseded 2018/19; the ages from memory.";
    "LAANSW-2008" "U8" X SeasonSeptember 7 7 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U9" X SeasonSeptember 8 8 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U10" X SeasonSeptember 9 9 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U11" X SeasonSeptember 10 10 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U12" X SeasonSeptember 11 11 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U13" X SeasonSeptember 12 12 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U14" X SeasonSeptember 13 13 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U15" X SeasonSeptember 14 14 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "";
    "LAANSW-2008" "U17" X SeasonSeptember 15 16 UNTIL_2018; Memory "WOODVILLE+SALAA-18" "Superseded 2018/19; the ages from memory.";
    "JAAF" "ELEM-5-6" X SchoolGrade 0 0 ALWAYS; Memory "" "Elementary school years 5 and 6; the school year begins on 1 April (from memory).";
    "JAAF" "JHS" X SchoolGrade 0 0 ALWAYS; Memory "" "Junior high school; the school year begins on 1 April (from memory).";
    "JAAF" "SHONEN-B" X SchoolGrade 0 0 ALWAYS; Page "JAWIKI-100+JAWIKI-110" "Junior high school year 3 and high school year 1.";
    "JAAF" "HS-SELECT" X SchoolGrade 0 0 ALWAYS; Page "JP-SEL18" "National high-school selection meet.";
    "DLV" "U14" X EndOfYear 12 13 ALWAYS; Page "DEWIKI-HURDLE" "The day from memory.";
    "DLV" "U16" X EndOfYear 14 15 ALWAYS; Memory "DE-HOEHEN" "";
    "DLV" "U18" X EndOfYear 16 17 ALWAYS; Memory "" "";
    "DLV" "U20" X EndOfYear 18 19 ALWAYS; Memory "" "";
    "SFIF" "P17" M EndOfYear 16 17 ALWAYS; Memory "SFIF-2023" "Class named on the page; the day from memory.";
    "SFIF" "F17" F EndOfYear 16 17 ALWAYS; Memory "SFIF-2023" "Class named on the page; the day from memory.";
    "FIDAL" "ESORDIENTI" X EndOfYear 6 11 ALWAYS; Page "FIDAL-PIE15" "";
    "FIDAL" "RAGAZZI" X EndOfYear 12 13 ALWAYS; Page "FIDAL-PIE15" "";
    "FIDAL" "CADETTI" X EndOfYear 14 15 ALWAYS; Page "FIDAL-PIE15" "";
    "FIDAL" "ALLIEVI" X EndOfYear 16 17 ALWAYS; Page "FIDAL-PIE15" "";
    "FIDAL" "JUNIORES" X EndOfYear 18 19 ALWAYS; Page "FIDAL-PIE15" "";
    "LBFA" "KAN" X NotStated 6 7 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "BEN" X NotStated 8 9 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "PUP" X NotStated 10 11 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "MIN" X NotStated 12 13 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "CAD" X NotStated 14 15 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "SCO" X NotStated 16 17 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "JUN" X NotStated 18 19 ALWAYS; Page "LBFA-2026" "";
    "LBFA" "ESP" X NotStated 20 22 ALWAYS; Page "LBFA-2026" "";
    "ASA" "U16" X EndOfYear 0 15 ALWAYS; Page "SASA-18" "South African schools, 2018.";
    "ASA" "U18" X EndOfYear 0 17 ALWAYS; Page "SASA-18" "South African schools, 2018.";
    "ASA" "U20" X EndOfYear 0 19 ALWAYS; Page "SASA-18" "South African schools, 2018.";
    "SWISS" "U10" X EndOfYear 8 9 ALWAYS; Memory "" "";
    "SWISS" "U12" X EndOfYear 10 11 ALWAYS; Memory "" "";
    "SWISS" "U14" X EndOfYear 12 13 ALWAYS; Memory "" "";
    "SWISS" "U16" X EndOfYear 14 15 ALWAYS; Memory "" "";
    "SWISS" "U18" X EndOfYear 16 17 ALWAYS; Memory "" "";
    "SWISS" "U20" X EndOfYear 18 19 ALWAYS; Memory "" "";
};

/// Every published age group, by rule set.
///
/// 127 rows. Tests hold the rules that were read on a page against the reference table they were carried over from.
///
/// ```
/// use lanewright_compute::specs::published_age_groups;
///
/// assert!(published_age_groups().iter().any(|g| g.ruleset == "UKA-2026" && g.code == "U14"));
/// ```
pub fn published_age_groups() -> &'static [AgeGroup] {
    ROWS
}
