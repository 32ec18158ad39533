//! What applies to an athlete on a date, and what comes next.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::age_groups::{AgeGroup, AgeSpan, Birth, published_age_groups};
use super::file::{File, belongs};
use super::{Environment, Spec, published};
use crate::day::Day;
use crate::units::Sex;

/// Whom a question is about, and for when.
#[derive(Clone, Copy, Debug)]
pub struct Query<'a> {
    /// Rule set; without its edition year (`UKA`) it stands for every edition, each on its own dates.
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
#[derive(Clone, Copy, Debug, Default)]
pub struct Club<'a> {
    /// Specifications, any order.
    pub specs: &'a [Spec],
    /// Age groups, any order.
    pub age_groups: &'a [AgeGroup],
}

/// A specification that applies, and by which rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Applicable<'a> {
    /// The specification.
    pub spec: &'a Spec,
    /// The age group; its `words` tell the rule.
    pub group: &'a AgeGroup,
    /// The athlete's age on the reference day of the group.
    pub age: AgeSpan,
    /// Whether it applies for every birth date that is possible; `false` only where the year alone is known.
    pub certain: bool,
    /// Whether the athlete is too young for every group, and this is what the youngest one races over: for orientation.
    pub provisional: bool,
}

/// Why no specification applies.
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
#[derive(Clone, Debug, PartialEq)]
pub struct Lookup<'a> {
    /// What applies on the day, in the order of the tables; several where groups overlap.
    pub current: Vec<Applicable<'a>>,
    /// Why `current` is empty, if it is.
    pub reason: Option<Reason>,
    /// What the youngest group races over, for somebody who is too young for every group; else empty.
    pub provisional: Vec<Applicable<'a>>,
    /// Specifications of groups that go by school grade, for a person to choose from.
    pub by_grade: Vec<&'a Spec>,
    /// The first change of the set within four years, if there is one.
    pub next: Option<Upcoming<'a>>,
}

/// Looks up what applies to an athlete on a day and the first day on which that changes.
///
/// Groups without a lower limit on file ("under 14, under 15") hold an athlete only in the youngest that fits (design
/// choice; moving up is for the coach to choose).
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
fn same_set(a: &[Applicable<'_>], b: &[Applicable<'_>]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.spec == b.spec && a.group == b.group)
}
