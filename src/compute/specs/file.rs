//! The rows on file for one athlete: which hold on a day, and which days can bring a change.
//!
//! One value holds the rows of one question, so that each of the days to try costs a filter and no search of the
//! tables.
//!
//! Replacement: a club's row takes the place of the published row of its key for as long as it holds. Keys are, for an
//! age group, rule set and code; for a specification, rule set, event, environment and age group. Sex is no part of a
//! key: rows of the other sex were left out before. Of two club rows of one key the one that began later counts, so a
//! new row need not end the old.

use super::age_groups::{AgeGroup, AgeRule, Birth, published_age_groups};
use super::lookup::{Applicable, Club, Query, Reason};
use super::{Spec, is_valid, published, takes_in};
use crate::day::{Day, civil};
use crate::units::Sex;

/// How far ahead a change is searched for: four years, so that every two-year group ends within it.
///
/// Design choice. 4 x 365.25 days.
const HORIZON_DAYS: i32 = 1_461;

/// The rows that may concern one athlete under one rule set, on whatever day.
///
/// `is_known` tells a rule set without groups for this sex from one that is not on file at all.
pub(super) struct File<'a> {
    birth: Birth,
    /// Published, then the club's.
    groups: [Vec<&'a AgeGroup>; 2],
    /// Published, then the club's.
    specs: [Vec<&'a Spec>; 2],
    is_known: bool,
}

impl<'a> File<'a> {
    /// Cost: one pass over all rows. A rule set counts as known by its age groups, since without them no row can
    /// apply.
    pub(super) fn new(query: &Query<'_>, club: &Club<'a>) -> Self {
        let sex = |of: Option<Sex>| of.is_none_or(|sex| sex == query.sex);
        let group = |g: &&AgeGroup| takes_in(query.ruleset, &g.ruleset) && sex(g.sex);
        let spec = |s: &&Spec| {
            let place = query.environment.is_none_or(|e| e == s.environment);
            takes_in(query.ruleset, &s.ruleset) && sex(s.sex) && place
        };
        let mut groups = published_age_groups().iter().chain(club.age_groups);
        Self {
            birth: query.birth,
            is_known: groups.any(|g| takes_in(query.ruleset, &g.ruleset)),
            groups: [
                published_age_groups().iter().filter(group).collect(),
                club.age_groups.iter().filter(group).collect(),
            ],
            specs: [published().filter(spec).collect(), club.specs.iter().filter(spec).collect()],
        }
    }

    /// Groups in force, published before the club's.
    fn groups_on(&self, on: Day) -> Vec<&'a AgeGroup> {
        in_force(&self.groups, on, |g| (g.valid_from, g.valid_to), |a, b| a.ruleset == b.ruleset && a.code == b.code)
    }

    /// Specifications in force; published ones have no dates and always are, unless replaced.
    fn specs_on(&self, on: Day) -> Vec<&'a Spec> {
        in_force(
            &self.specs,
            on,
            |s| (s.valid_from, s.valid_to),
            |a, b| {
                a.ruleset == b.ruleset
                    && a.event_code == b.event_code
                    && a.environment == b.environment
                    && a.age_group == b.age_group
            },
        )
    }

    /// The groups that hold the athlete on a day, and whether every possible birth date does.
    ///
    /// Groups without a lower limit reach down to birth on paper: "under 15" takes in an eight-year-old. Each such
    /// group begins where the next younger of its rule set ends, so an athlete is in the youngest that fits. Groups
    /// with both limits may overlap (`U17` and `U18` of the United Kingdom), and the athlete is in both.
    fn memberships(&self, on: Day) -> Vec<(&'a AgeGroup, bool)> {
        let groups = self.groups_on(on);
        let (born_first, born_last) = self.birth.range();
        let mut found = Vec::new();
        for group in &groups {
            let Some((first, mut last)) = group.births(on) else {
                continue;
            };
            if group.min_age.is_none() {
                let younger = groups.iter().filter(|other| {
                    other.ruleset == group.ruleset
                        && other.min_age.is_none()
                        && other.max_age < group.max_age
                        && other.max_age.is_some()
                });
                for (begins, _) in younger.filter_map(|other| other.births(on)) {
                    last = last.min(begins - 1);
                }
            }
            if born_first.days() <= last && born_last.days() >= first {
                let certain = first <= born_first.days() && born_last.days() <= last;
                found.push((*group, certain));
            }
        }
        found
    }

    /// Groups in the order of the tables, specifications of a group in theirs.
    pub(super) fn applicable(&self, on: Day) -> Vec<Applicable<'a>> {
        let specs = self.specs_on(on);
        let mut found = Vec::new();
        for (group, certain) in self.memberships(on) {
            let Some(age) = group.age(self.birth, on) else {
                continue;
            };
            found.extend(specs.iter().filter(|spec| belongs(spec, group)).map(|spec| Applicable {
                spec,
                group,
                age,
                certain,
                provisional: false,
            }));
        }
        found
    }

    /// For somebody younger than every age group that has a specification: those of the youngest such group.
    ///
    /// The group whose latest possible birth is latest is the youngest; the athlete must be born after that, on every
    /// possible date. Several groups may share that end. Groups without a specification are passed over.
    pub(super) fn provisional(&self, on: Day) -> Vec<Applicable<'a>> {
        // Whose own group has no specification is not too young: the next older one would say nothing about them.
        if !self.memberships(on).is_empty() {
            return Vec::new();
        }
        let (born_first, _) = self.birth.range();
        let specs = self.specs_on(on);
        let groups: Vec<(&'a AgeGroup, i32)> = self
            .groups_on(on)
            .into_iter()
            .filter(|group| specs.iter().any(|spec| belongs(spec, group)))
            .filter_map(|group| Some((group, group.births(on)?.1)))
            .collect();
        let Some(latest) = groups.iter().map(|(_, last)| *last).max().filter(|last| born_first.days() > *last) else {
            return Vec::new();
        };
        let youngest = groups.into_iter().filter(|(_, last)| *last == latest).filter_map(|(group, _)| {
            let age = group.age(self.birth, on)?;
            Some((group, age))
        });
        youngest
            .flat_map(|(group, age)| {
                let specs = specs.iter().filter(move |spec| belongs(spec, group));
                specs.map(move |spec| Applicable { spec, group, age, certain: false, provisional: true })
            })
            .collect()
    }

    /// None when something was found. `not_in_force` asks whether any group would take the athlete in if its dates
    /// were open.
    pub(super) fn reason(&self, found: &[Applicable<'_>], on: Day) -> Option<Reason> {
        if !found.is_empty() {
            return None;
        }
        if !self.is_known {
            return Some(Reason::UnknownRuleset);
        }
        if !self.memberships(on).is_empty() {
            return Some(Reason::NoSpecification);
        }
        let goes_by = |rule| self.groups_on(on).iter().any(|g| g.rule == rule);
        if goes_by(AgeRule::SchoolGrade) {
            return Some(Reason::GradeDecides);
        }
        if goes_by(AgeRule::NotStated) {
            return Some(Reason::RuleNotStated);
        }
        let (first, last) = self.birth.range();
        let fits_another_day = self.groups.iter().flatten().any(|group| {
            let open = AgeGroup { valid_from: None, valid_to: None, ..(*group).clone() };
            open.births(on).is_some_and(|(from, to)| first.days() <= to && last.days() >= from)
        });
        Some(if fits_another_day { Reason::NotInForce } else { Reason::NoAgeGroup })
    }

    /// Of groups in force on the day whose rule is the school grade.
    pub(super) fn by_grade(&self, on: Day) -> Vec<&'a Spec> {
        let groups = self.groups_on(on);
        let mut specs = self.specs_on(on);
        specs.retain(|spec| groups.iter().any(|group| group.rule == AgeRule::SchoolGrade && belongs(spec, group)));
        specs
    }

    /// Every day within the horizon on which the set can change, in order: the days on which a rule moves on to its next
    /// reference day, birthdays, and the ends of dated rows.
    ///
    /// Yearly turns of every rule (1 January, 1 July, 1 September, 1 October), the athlete's birthdays (of the first
    /// and last possible birth), first days and days after last days of dated rows: later than `on`, ascending, each
    /// once. A superset: most bring no change. A birthday on 29 February
    /// runs on to 1 March in other years, as the rules count it.
    pub(super) fn change_days(&self, on: Day) -> Vec<Day> {
        let (first, last) = self.birth.range();
        let birthdays = [first.ymd(), last.ymd()].map(|(_, month, day)| (month, day));
        let turns = [(1, 1), (7, 1), (9, 1), (10, 1), birthdays[0], birthdays[1]];
        let year = on.year();
        let yearly =
            (year..=year + 4).flat_map(|year| turns.map(|(month, day)| Day::from_days(civil(year, month, day))));
        let groups = self.groups.iter().flatten();
        let specs = self.specs.iter().flatten();
        let windows = groups
            .map(|g| (g.valid_from, g.valid_to))
            .chain(specs.map(|s| (s.valid_from, s.valid_to)))
            .flat_map(|(from, to)| [from, to.map(|to| to.add_days(1))]);
        let mut days: Vec<Day> =
            yearly.chain(windows).flatten().filter(|day| *day > on && day.days() - on.days() <= HORIZON_DAYS).collect();
        days.sort_unstable();
        days.dedup();
        days
    }
}

/// Whether a specification is for an age group.
///
/// By code, and the group's rule set must be an edition of the specification's: a club's row under `UKA` goes with the
/// groups of every edition.
pub(super) fn belongs(spec: &Spec, group: &AgeGroup) -> bool {
    spec.age_group == group.code && takes_in(&spec.ruleset, &group.ruleset)
}

/// The rows that hold on a day: the club's, each the latest of its key, and the published ones that none of them replaces.
///
/// Club rows in their own order of keys, behind the published ones. Of equal beginnings the later in the list wins; no
/// beginning counts as earlier than any.
fn in_force<'a, T>(
    [published, club]: &[Vec<&'a T>; 2],
    on: Day,
    dates: impl Fn(&T) -> (Option<Day>, Option<Day>),
    same_key: impl Fn(&T, &T) -> bool,
) -> Vec<&'a T> {
    let holds = |row: &&&'a T| {
        let (from, to) = dates(row);
        is_valid(from, to, on)
    };
    let mut ours: Vec<&'a T> = Vec::new();
    for row in club.iter().filter(holds).copied() {
        match ours.iter_mut().find(|other| same_key(other, row)) {
            Some(other) if dates(other).0 <= dates(row).0 => *other = row,
            Some(_) => {}
            None => ours.push(row),
        }
    }
    let mut rows: Vec<&'a T> = published.iter().filter(holds).copied().collect();
    rows.retain(|row| !ours.iter().any(|own| same_key(own, row)));
    rows.extend(ours);
    rows
}
