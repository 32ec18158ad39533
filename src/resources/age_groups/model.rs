//! A club's own age group and its rules.

use chrono::{Datelike, NaiveDate};

use crate::compute::specs::AgeRule;
use crate::platform::fault::{Fault, Faults};

/// Highest age of a group.
const MAX_AGE: i16 = 120;

/// An age group of a club's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Rule set.
    pub ruleset: String,
    /// Code of the group.
    pub code: String,
    /// Lowest age on the reference day.
    pub min_age: Option<i16>,
    /// Highest age on the reference day.
    pub max_age: Option<i16>,
    /// The day on which ages count.
    pub rule: AgeRule,
    /// First day on which it holds.
    pub valid_from: NaiveDate,
    /// Last day on which it holds.
    pub valid_to: Option<NaiveDate>,
    /// Where the rule was read.
    pub source: String,
}

impl Group {
    /// Parses an age group: texts are rule set, code, source and rule; ages lowest and highest; days first and last.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        [ruleset, code, source, rule]: [&str; 4],
        (min_age, max_age): (Option<i16>, Option<i16>),
        (valid_from, valid_to): (NaiveDate, Option<NaiveDate>),
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let ruleset = faults.text("/ruleset", ruleset, 40);
        let code = faults.text("/age_group", code, 40);
        let source = faults.text("/source", source, 300);
        let rule = AgeRule::from_word(rule).filter(|rule| *rule != AgeRule::NotStated).ok_or_else(|| {
            let words: Vec<&str> =
                AgeRule::ALL.iter().filter(|rule| **rule != AgeRule::NotStated).map(|rule| rule.as_str()).collect();
            format!("must be one of {}", words.join(", "))
        });
        let rule = faults.take("/rule", "word", rule);
        for (pointer, age) in [("/min_age", min_age), ("/max_age", max_age)] {
            if age.is_some_and(|age| !(0..=MAX_AGE).contains(&age)) {
                faults.add(pointer, "out_of_range", format!("must be from 0 to {MAX_AGE}"));
            }
        }
        if min_age.zip(max_age).is_some_and(|(min, max)| min > max) {
            faults.add("/max_age", "order", "must not be below min_age");
        }
        check_days(&mut faults, valid_from, valid_to);
        let value = (|| {
            Some(Self {
                ruleset: ruleset?,
                code: code?,
                min_age,
                max_age,
                rule: rule?,
                valid_from,
                valid_to,
                source: source?,
            })
        })();
        faults.finish(value)
    }
}

fn check_days(faults: &mut Faults, valid_from: NaiveDate, valid_to: Option<NaiveDate>) {
    if !(1900..=2200).contains(&valid_from.year()) {
        faults.add("/valid_from", "out_of_range", "must be from 1900 to 2200");
    }
    if valid_to.is_some_and(|day| day < valid_from || day.year() > 2200) {
        faults.add("/valid_to", "order", "must not be before valid_from nor after 2200");
    }
}
