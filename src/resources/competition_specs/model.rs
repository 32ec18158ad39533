//! A club's own competition specification and its rules.

pub mod adoption;

use chrono::{Datelike, NaiveDate};

use crate::compute::specs::Environment;
use crate::compute::units::{Length, Sex};
use crate::platform::fault::{Fault, Faults};

const fn m(metres: u32) -> Length {
    Length::from_mm(metres * 1_000)
}

/// A competition specification of a club's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Own {
    /// Rule set.
    pub ruleset: String,
    /// Event.
    pub event_code: String,
    /// Under a roof or not.
    pub environment: Environment,
    /// Sex category; none stands for both.
    pub sex: Option<Sex>,
    /// Code of the age group.
    pub age_group: String,
    /// Race distance.
    pub race_distance: Length,
    /// Barriers.
    pub barriers: u8,
    /// Height of the barriers.
    pub height: Length,
    /// Start line to the first barrier.
    pub to_first: Length,
    /// Distance between barriers.
    pub between: Length,
    /// Last barrier to the finish.
    pub run_in: Length,
    /// First day on which it holds.
    pub valid_from: NaiveDate,
    /// Last day on which it holds.
    pub valid_to: Option<NaiveDate>,
    /// Where the figures were read.
    pub source: String,
}

impl Own {
    /// Parses a specification: texts are rule set, event, age group, source, environment and sex; metres (m) are race
    /// distance, height, start to first, between and run-in; days first and last.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        [ruleset, event_code, age_group, source, environment, sex]: [&str; 6],
        [distance, height, to_first, between, run_in]: [f64; 5],
        barriers: u8,
        (valid_from, valid_to): (NaiveDate, Option<NaiveDate>),
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let ruleset = faults.text("/ruleset", ruleset, 40);
        let event_code = faults.text("/event_code", event_code, 20);
        let age_group = faults.text("/age_group", age_group, 40);
        let source = faults.text("/source", source, 300);
        let environment = Environment::from_word(environment).ok_or("must be indoor or outdoor");
        let environment = faults.take("/environment", "word", environment);
        let sex = match sex {
            "X" => Some(None),
            other => faults.take("/sex", "word", Sex::from_word(other).map(Some).ok_or("must be F, M or X for both")),
        };
        let barriers = (1..=20).contains(&barriers).then_some(barriers).ok_or("must be from 1 to 20");
        let barriers = faults.take("/barriers", "out_of_range", barriers);
        let mut metres = |pointer: &str, value: f64, low: Length, high: Length| {
            faults.take(pointer, "out_of_range", Length::between(value, low, high))
        };
        let race_distance = metres("/race_distance_m", distance, m(20), m(1_000));
        let height = metres("/height_m", height, Length::from_mm(200), Length::from_mm(1_100));
        let to_first = metres("/to_first_m", to_first, m(1), m(100));
        let between = metres("/between_m", between, m(1), m(100));
        let run_in = metres("/run_in_m", run_in, m(1), m(100));
        if !(1900..=2200).contains(&valid_from.year()) {
            faults.add("/valid_from", "out_of_range", "must be from 1900 to 2200");
        }
        if valid_to.is_some_and(|day| day < valid_from || day.year() > 2200) {
            faults.add("/valid_to", "order", "must not be before valid_from nor after 2200");
        }
        let value = (|| {
            Some(Self {
                ruleset: ruleset?,
                event_code: event_code?,
                environment: environment?,
                sex: sex?,
                age_group: age_group?,
                race_distance: race_distance?,
                barriers: barriers?,
                height: height?,
                to_first: to_first?,
                between: between?,
                run_in: run_in?,
                valid_from,
                valid_to,
                source: source?,
            })
        })();
        if let Some(value) = &value {
            value.check_sum(&mut faults);
        }
        faults.finish(value)
    }

    /// Start, spacings and run-in make the race distance.
    fn check_sum(&self, faults: &mut Faults) {
        let gaps = u32::from(self.barriers.saturating_sub(1));
        let sum = self.to_first.mm() + gaps * self.between.mm() + self.run_in.mm();
        if sum != self.race_distance.mm() {
            let (sum, distance) = (f64::from(sum) / 1_000.0, self.race_distance.metres());
            let detail = format!("start, {gaps} spacings and run-in add up to {sum} m, not to {distance} m");
            faults.add("/run_in_m", "sum", detail);
        }
    }
}
