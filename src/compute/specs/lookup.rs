//! What applies to an athlete on a date, and what comes next.
//!
//! # How an answer is found
//!
//! 1. Rows of the rule set (all its editions), the athlete's sex and the wanted environment are gathered
//!    ([`super::file`]).
//! 2. On the day, a club's rows that hold replace published ones of the same key.
//! 3. Each age group that holds gives an interval of birth dates ([`AgeGroup::births`]); the athlete belongs if their
//!    possible births meet it, and certainly if they all lie in it.
//! 4. Every specification of a group the athlete belongs to applies.
//!
//! The next change is the first later day, of those on which anything can change, whose set differs; at most four
//! years ahead.
//!
//! # When nothing applies
//!
//! | reason | what a person can do |
//! | --- | --- |
//! | `unknown_ruleset` | name another, or add age groups and specifications |
//! | `not_in_force` | the age group that fits held or will hold on another day: ask for the newer edition |
//! | `no_age_group` | too young or too old for all groups; the youngest group's race is shown for orientation |
//! | `no_specification` | add the row: the group is there, its figures are not |
//! | `grade_decides` | choose from the specifications by grade |
//! | `rule_not_stated` | map the groups to ages |
//!
//! # Worked
//!
//! A girl born on 20 May 2013, `UKA`, 1 June 2025: on 31 August 2025 she is 12, so U13: 70 m with eight barriers of
//! 685 mm at 7.00 m. On 1 October 2025 the next competition year begins, on whose 31 August she is 13: U15, 75 m at
//! 762 mm and 7.50 m.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::age_groups::{AgeGroup, AgeSpan, Birth, published_age_groups};
use super::file::{File, belongs};
use super::{Environment, Spec, published};
use crate::day::Day;
use crate::units::Sex;

/// Whom a question is about, and for when.
///
/// Nothing else of a person enters an answer.
#[derive(Clone, Copy, Debug)]
pub struct Query<'a> {
    /// Rule set; without its edition year (`UKA`) it stands for every edition, each on its own dates.
    ///
    /// With its edition year it stands for that edition alone, also on days when it no longer holds.
    pub ruleset: &'a str,
    /// Sex category of the athlete.
    pub sex: Sex,
    /// What is known of the athlete's birth.
    pub birth: Birth,
    /// Day of competition.
    pub on: Day,
    /// Indoor or outdoor races only; `None` for both.
    pub environment: Option<Environment>,
}

/// Rows that a club has added.
///
/// On the days it holds, a row replaces the published row of the same rule set, event, environment and age group that
/// would apply to the athlete; of two such rows the one that began later wins, then the later in the slice.
///
/// Borrowed for as long as the answer, which points into them.
#[derive(Clone, Copy, Debug, Default)]
pub struct Club<'a> {
    /// Specifications, any order.
    pub specs: &'a [Spec],
    /// Age groups, any order.
    pub age_groups: &'a [AgeGroup],
}

/// A specification that applies, and by which rule.
///
/// Points into tables or the club's rows; copies are cheap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Applicable<'a> {
    /// The specification.
    pub spec: &'a Spec,
    /// The age group; its `words` tell the rule.
    pub group: &'a AgeGroup,
    /// The athlete's age on the reference day of the group.
    pub age: AgeSpan,
    /// Whether it applies for every birth date that is possible; `false` only where the year alone is known.
    ///
    /// With a year of birth alone an athlete may belong to two groups, both uncertain.
    pub certain: bool,
    /// Whether the athlete is too young for every group, and this is what the youngest one races over: for orientation.
    ///
    /// Never certain then. It is a goal to look at, not one to enter for.
    pub provisional: bool,
}

/// Why no specification applies.
///
/// The first that holds in the order: unknown, no specification, grade, not stated, not in force, no group. Codes are
/// stable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Reason {
    /// The rule set is not on file.
    UnknownRuleset,
    /// The age group that fits is no longer, or not yet, in force.
    NotInForce,
    /// No age group of the rule set fits this age.
    NoAgeGroup,
    /// The age group is known, but no specification for it is on file.
    NoSpecification,
    /// The school grade decides, and no age is computed.
    GradeDecides,
    /// The sources do not state the day on which ages count.
    RuleNotStated,
}

impl Reason {
    /// The stable code used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::UnknownRuleset => "unknown_ruleset",
            Self::NotInForce => "not_in_force",
            Self::NoAgeGroup => "no_age_group",
            Self::NoSpecification => "no_specification",
            Self::GradeDecides => "grade_decides",
            Self::RuleNotStated => "rule_not_stated",
        }
    }
}

/// What applies from a later day on.
///
/// An empty set is a change as well: the athlete outgrows the groups, or an edition ends without a successor on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Upcoming<'a> {
    /// First day of the change.
    pub applies_from: Day,
    /// The whole set from that day on; may be empty.
    pub specs: Vec<Applicable<'a>>,
    /// Why the set is empty, if it is.
    pub reason: Option<Reason>,
}

/// The answer to a [`Query`].
///
/// `current` is empty exactly where `reason` is there.
#[derive(Clone, Debug, PartialEq)]
pub struct Lookup<'a> {
    /// What applies on the day, in the order of the tables; several where groups overlap.
    pub current: Vec<Applicable<'a>>,
    /// Why `current` is empty, if it is.
    pub reason: Option<Reason>,
    /// What the youngest group races over, for somebody who is too young for every group; else empty.
    pub provisional: Vec<Applicable<'a>>,
    /// Specifications of groups that go by school grade, for a person to choose from.
    ///
    /// Of the rule set, sex and environment, whatever the age.
    pub by_grade: Vec<&'a Spec>,
    /// The first change of the set within four years, if there is one.
    ///
    /// None where nothing changes in 1 461 days.
    pub next: Option<Upcoming<'a>>,
}

/// Looks up what applies to an athlete on a day and the first day on which that changes.
///
/// Groups without a lower limit on file ("under 14, under 15") hold an athlete only in the youngest that fits (design
/// choice; moving up is for the coach to choose).
///
/// Whether an applicable row is certain does not count as a change.
///
/// ```
/// use lanewright_compute::day::Day;
/// use lanewright_compute::specs::{Birth, Club, Query, lookup};
/// use lanewright_compute::units::Sex;
///
/// let query = Query {
///     ruleset: "UKA",
///     sex: Sex::Female,
///     birth: Birth::Date(Day::from_ymd(2_013, 5, 20).unwrap()),
///     on: Day::from_ymd(2_025, 6, 1).unwrap(),
///     environment: None,
/// };
/// let found = lookup(&query, &Club::default());
/// assert_eq!(found.current[0].spec.event_code, "70H");
/// assert_eq!(found.next.unwrap().applies_from, Day::from_ymd(2_025, 10, 1).unwrap());
/// ```
pub fn lookup<'a>(query: &Query<'_>, club: &Club<'a>) -> Lookup<'a> {
    let file = File::new(query, club);
    let current = file.applicable(query.on);
    let next = file
        .change_days(query.on)
        .into_iter()
        .map(|day| (day, file.applicable(day)))
        .find(|(_, specs)| !same_set(specs, &current))
        .map(|(applies_from, specs)| Upcoming { applies_from, reason: file.reason(&specs, applies_from), specs });
    let provisional = if current.is_empty() { file.provisional(query.on) } else { Vec::new() };
    Lookup { reason: file.reason(&current, query.on), provisional, by_grade: file.by_grade(query.on), current, next }
}

/// The sprint-hurdle specification to train towards, out of the current ones.
///
/// Only sprint races count ([`Spec::is_sprint`]). Of several, in this order (design choice): one that is certain to apply;
/// one of the wanted environment; the group with the lowest upper age limit; the longest race; the lowest barrier; the event
/// code.
///
/// None when no sprint race applies. A younger group wins because it asks less; so the target never leads past what
/// the athlete may already race over.
///
/// ```
/// use lanewright_compute::specs::sprint_target;
///
/// assert_eq!(sprint_target(&[], None), None);
/// ```
pub fn sprint_target<'b, 'a>(
    current: &'b [Applicable<'a>],
    environment: Option<Environment>,
) -> Option<&'b Applicable<'a>> {
    current.iter().filter(|one| one.spec.is_sprint()).min_by_key(|one| {
        (
            !one.certain,
            environment.is_some_and(|wanted| wanted != one.spec.environment),
            one.group.max_age.unwrap_or(u8::MAX),
            Reverse(one.spec.race_distance),
            one.spec.height,
            &*one.spec.event_code,
        )
    })
}

/// What a rule set offers an athlete whose age alone is known.
///
/// Asked when a club chooses its rule set and when it would adopt one, so that a club learns at once whether its
/// athletes get targets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnFile {
    /// Specifications that an age leads to.
    ByAge,
    /// Specifications, but a school grade or an unstated day decides who races over them: an admin maps groups to ages.
    AgesMissing,
    /// Specifications that some ages led to, but on other days: a newer edition may apply.
    NotInForce,
    /// No sprint-hurdle specification at all.
    Nothing,
}

impl OnFile {
    /// What is on file of a rule set, published and a club's own, on a day.
    ///
    /// Every pair of sex and age that a specification of some day leads to must be led to by one that holds today,
    /// else part of the squad would have no target: that is [`OnFile::NotInForce`]. Ages are walked from 0 to 100.
    ///
    /// ```
    /// use lanewright_compute::day::Day;
    /// use lanewright_compute::specs::{Club, OnFile};
    ///
    /// let on = |ruleset, year| OnFile::of(ruleset, &Club::default(), Day::from_ymd(year, 6, 1).unwrap());
    /// assert_eq!(on("UKA", 2025), OnFile::ByAge);
    /// assert_eq!(on("UKA", 2027), OnFile::NotInForce);
    /// assert_eq!(on("an invented one", 2025), OnFile::Nothing);
    /// ```
    pub fn of(ruleset: &str, club: &Club<'_>, on: Day) -> Self {
        let mut specs: Vec<&Spec> = published().collect();
        specs.extend(club.specs);
        specs.retain(|spec| spec.is_under(ruleset) && spec.is_sprint());
        if specs.is_empty() {
            return Self::Nothing;
        }
        let groups: Vec<&AgeGroup> = published_age_groups().iter().chain(club.age_groups).collect();
        let led_by = |spec: &Spec, holding: bool| -> Vec<(Sex, u8)> {
            let leads = |group: &&&AgeGroup| {
                group.counts_ages() && belongs(spec, group) && (!holding || (spec.holds_on(on) && group.holds_on(on)))
            };
            let of = |sex: Option<Sex>, one: Sex| sex.is_none_or(|sex| sex == one);
            let both = |group: &&AgeGroup| {
                [Sex::Female, Sex::Male].map(|sex| (of(spec.sex, sex) && of(group.sex, sex)).then_some(sex))
            };
            let led = groups.iter().filter(leads).flat_map(|group| {
                both(group).into_iter().flatten().flat_map(|sex| group.ages().map(move |age| (sex, age)))
            });
            led.collect()
        };
        let ever: BTreeSet<_> = specs.iter().flat_map(|spec| led_by(spec, false)).collect();
        let now: BTreeSet<_> = specs.iter().flat_map(|spec| led_by(spec, true)).collect();
        if ever.is_empty() {
            Self::AgesMissing
        } else if ever.is_subset(&now) {
            Self::ByAge
        } else {
            Self::NotInForce
        }
    }

    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::ByAge => "by_age",
            Self::AgesMissing => "ages_missing",
            Self::NotInForce => "not_in_force",
            Self::Nothing => "nothing",
        }
    }
}

/// Whether two answers hold the same rows, certain or not.
///
/// Rows are compared by value, in order.
fn same_set(a: &[Applicable<'_>], b: &[Applicable<'_>]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.spec == b.spec && a.group == b.group)
}
