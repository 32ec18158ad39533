//! What a club takes over of a published rule set.

use chrono::{Datelike, NaiveDate};

use super::Own;
use crate::compute::day::Day;
use crate::compute::specs::{AgeGroup, AgeRule, Club, OnFile, Spec, published, published_age_groups};
use crate::platform::fault::{Fault, Faults};
use crate::resources::age_groups::Group;

/// What becomes of one age group.
#[derive(Clone, Debug)]
pub struct Mapping {
    /// Its code in the rule set taken over.
    pub from: String,
    /// Its code in the club.
    pub to: Option<String>,
    /// Lowest age, where it is not that of the group.
    pub min_age: Option<i16>,
    /// Highest age, where it is not that of the group.
    pub max_age: Option<i16>,
    /// The day on which ages count, where it is not that of the group.
    pub rule: Option<String>,
}

/// Rows for the club.
#[derive(Debug)]
pub struct Adoption {
    /// Specifications.
    pub specs: Vec<Own>,
    /// Age groups.
    pub age_groups: Vec<Group>,
}

impl Adoption {
    /// The rows of a published rule set under the name of the club's; all age groups unless some are `mapped`.
    ///
    /// # Errors
    /// A rule set without sprint specifications, or that the club's name takes in already; every mapping that is broken.
    pub fn plan(from: &str, into: &str, valid_from: NaiveDate, mapped: Option<&[Mapping]>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        if !(1900..=2200).contains(&valid_from.year()) {
            return Err(vec![Fault::at("/valid_from", "out_of_range", "must be from 1900 to 2200")]);
        }
        let specs: Vec<&Spec> = published().filter(|spec| spec.ruleset == from && spec.is_sprint()).collect();
        if specs.is_empty() {
            let detail = "has no sprint-hurdle specification on file; GET /v1/rulesets lists those that have";
            return Err(vec![Fault::at("/from", "unknown", detail)]);
        }
        let groups = published_age_groups().iter().filter(|group| group.ruleset == from);
        let by_age = Day::from_days(valid_from.to_epoch_days())
            .is_some_and(|day| OnFile::of(into, &Club::default(), day) == OnFile::ByAge);
        if by_age && specs.iter().any(|spec| spec.is_under(into)) {
            let detail = format!("applies under the club's rule set {into} on that day already");
            return Err(vec![Fault::at("/from", "same", detail)]);
        }
        let unchanged: Vec<Mapping>;
        let mapped = match mapped {
            Some(mapped) => mapped,
            None => {
                unchanged = every_group(&specs);
                &unchanged
            }
        };
        let source = format!("Taken over from {from}; check against your own rule book");
        let (mut own, mut age_groups) = (Vec::new(), Vec::new());
        for (at, mapping) in mapped.iter().enumerate() {
            let pointer = |field: &str| format!("/age_groups/{at}/{field}");
            let of: Vec<&&Spec> = specs.iter().filter(|spec| spec.age_group == mapping.from).collect();
            if of.is_empty() {
                faults.add(
                    pointer("from"),
                    "unknown",
                    format!("is no age group of {from} with a sprint specification"),
                );
                continue;
            }
            let Some(code) = faults.text(&pointer("to"), mapping.to.as_deref().unwrap_or(&mapping.from), 40) else {
                continue;
            };
            if mapped[..at].iter().any(|other| other.to.as_ref().unwrap_or(&other.from).trim() == code) {
                faults.add(pointer("to"), "duplicate", "is the code of an earlier age group of this list");
                continue;
            }
            own.extend(of.into_iter().map(|spec| taken_over(spec, into, &code, valid_from, &source)));
            let published = groups.clone().find(|group| group.code == mapping.from);
            if let Some((rule, ages)) = rule_of(mapping, published) {
                match Group::parse([into, &code, &source, &rule], ages, (valid_from, None)) {
                    Ok(group) => age_groups.push(group),
                    Err(broken) => faults.add_all(&format!("/age_groups/{at}"), broken),
                }
            }
        }
        faults.finish(Some(Self { specs: own, age_groups }))
    }
}

/// The age groups of specifications, each once, unchanged.
fn every_group(specs: &[&Spec]) -> Vec<Mapping> {
    let mut codes: Vec<&str> = specs.iter().map(|spec| &*spec.age_group).collect();
    codes.sort_unstable();
    codes.dedup();
    let unchanged = |code: &str| Mapping { from: code.to_owned(), to: None, min_age: None, max_age: None, rule: None };
    codes.into_iter().map(unchanged).collect()
}

/// The lowest and the highest age of a group.
type Ages = (Option<i16>, Option<i16>);

/// By which rule and ages a group is told; none where neither the mapping nor the published group says so.
fn rule_of(mapping: &Mapping, published: Option<&AgeGroup>) -> Option<(String, Ages)> {
    let counted = published.filter(|group| group.counts_ages());
    let aged = mapping.min_age.is_some() || mapping.max_age.is_some();
    let rule = match (&mapping.rule, counted) {
        (Some(rule), _) => rule.clone(),
        (None, Some(group)) => group.rule.as_str().to_owned(),
        // A school year goes by grade or by an unstated day: ages alone count at its end.
        (None, None) if aged => AgeRule::EndOfSchoolYear.as_str().to_owned(),
        (None, None) => return None,
    };
    let ages = if aged {
        (mapping.min_age, mapping.max_age)
    } else {
        (counted?.min_age.map(i16::from), counted?.max_age.map(i16::from))
    };
    Some((rule, ages))
}

fn taken_over(spec: &Spec, into: &str, code: &str, valid_from: NaiveDate, source: &str) -> Own {
    Own {
        ruleset: into.to_owned(),
        event_code: spec.event_code.to_string(),
        environment: spec.environment,
        sex: spec.sex,
        age_group: code.to_owned(),
        race_distance: spec.race_distance,
        barriers: spec.barriers,
        height: spec.height,
        to_first: spec.to_first,
        between: spec.between,
        run_in: spec.run_in,
        valid_from,
        valid_to: None,
        source: source.to_owned(),
    }
}
