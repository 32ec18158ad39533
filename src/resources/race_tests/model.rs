//! Race tests and their rules.

use crate::compute::advice::Setting;
use crate::compute::day::Day;
use crate::compute::race::{Course, TimingClass};
use crate::compute::specs::{Environment, Spec, published};
use crate::compute::units::{Length, Sex};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::SessionId;
use crate::platform::words::words;

/// Most barriers of a race test.
pub const MAX_BARRIERS: u8 = 20;

words! {
    /// Whether a race test is still to come.
    State as RaceTestState { /// To come.
        Planned = "planned", /// It was run.
        Held = "held" }
}

words! {
    /// How times are taken.
    Method as TimingMethod { /// A stopwatch.
        Hand = "hand", /// Taps on a phone.
        Tap = "tap", /// Video frames.
        Video = "video", /// Timing gates.
        Gate = "gate" }
}

impl Method {
    /// How its times compare.
    pub const fn class(self) -> TimingClass {
        match self {
            Self::Hand | Self::Tap => TimingClass::Hand,
            Self::Video | Self::Gate => TimingClass::Electronic,
        }
    }
}

/// What a race test is run over, and which published or own specification it was taken from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Specification {
    /// Rule set with its edition.
    pub ruleset: Option<String>,
    /// Event.
    pub event_code: Option<String>,
    /// Indoor or outdoor.
    pub environment: Option<String>,
    /// `F`, `M` or `X` for both.
    pub sex: Option<String>,
    /// Code of the age group.
    pub age_group: Option<String>,
    /// The figures.
    pub course: Course,
    /// Whether the spacing is shorter than what will be raced over.
    pub discounted: bool,
}

/// A race test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RaceTest {
    /// The session it is part of.
    pub session: SessionId,
    /// Its name.
    pub name: String,
    /// Whether it is still to come.
    pub state: State,
    /// What it is run over.
    pub specification: Specification,
    /// How times are taken, unless a result says otherwise.
    pub timing: Method,
}

/// The parts of a race test that can change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changeable {
    /// See [`RaceTest`].
    pub name: String,
    /// See [`RaceTest`].
    pub state: State,
    /// See [`RaceTest`].
    pub timing: Method,
}

impl Changeable {
    /// Parses the parts.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(name: &str, state: &str, timing: &str) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 80);
        let state = faults.take("/state", "word", State::parse(state));
        let timing = faults.take("/timing_method", "word", Method::parse(timing));
        let value = name.zip(state).zip(timing).map(|((name, state), timing)| Self { name, state, timing });
        faults.finish(value)
    }
}

/// A specification by its names.
#[derive(Clone, Copy, Debug)]
pub struct Named<'a> {
    /// Rule set; the club's when absent.
    pub ruleset: Option<&'a str>,
    /// Event.
    pub event_code: &'a str,
    /// Code of the age group.
    pub age_group: &'a str,
    /// `F` or `M`.
    pub sex: Option<&'a str>,
    /// Indoor or outdoor.
    pub environment: Option<&'a str>,
}

impl Named<'_> {
    fn fits(&self, spec: &Spec, ruleset: &str, on: Day) -> bool {
        spec.is_under(ruleset)
            && spec.event_code == self.event_code
            && spec.age_group == self.age_group
            && self.sex.is_none_or(|word| spec.sex.is_none_or(|sex| sex.as_str() == word))
            && self.environment.is_none_or(|word| spec.environment.as_str() == word)
            && spec.valid_from.is_none_or(|from| from <= on)
            && spec.valid_to.is_none_or(|to| on <= to)
    }

    /// The specification of these names on a day: the club's own before a published one.
    ///
    /// # Errors
    /// A fault when there is none, or more than one with different figures.
    pub fn find(&self, setting: &Setting, on: Day) -> Result<Specification, Vec<Fault>> {
        let mut faults = Faults::new();
        if self.sex.is_some_and(|word| Sex::from_word(word).is_none()) {
            faults.add("/spec/sex", "word", "must be F or M");
        }
        if self.environment.is_some_and(|word| Environment::from_word(word).is_none()) {
            faults.add("/spec/environment", "word", "must be indoor or outdoor");
        }
        if !faults.is_empty() {
            return faults.finish(None);
        }
        let ruleset = self.ruleset.unwrap_or(&setting.ruleset);
        let mut found: Vec<&Spec> = setting.specs.iter().filter(|spec| self.fits(spec, ruleset, on)).collect();
        if found.is_empty() {
            found = published().filter(|spec| self.fits(spec, ruleset, on)).collect();
        }
        let mut courses: Vec<Course> = found.iter().map(|spec| course_of(spec)).collect();
        courses.sort_unstable();
        courses.dedup();
        match (found.first(), courses.len()) {
            (Some(spec), 1) => Ok(Specification {
                ruleset: Some(spec.ruleset.to_string()),
                event_code: Some(spec.event_code.to_string()),
                environment: Some(spec.environment.as_str().to_owned()),
                sex: Some(self.sex.or(spec.sex.map(Sex::as_str)).unwrap_or("X").to_owned()),
                age_group: Some(spec.age_group.to_string()),
                course: course_of(spec),
                discounted: false,
            }),
            (Some(_), _) => {
                faults.add(
                    "/spec",
                    "ambiguous",
                    "fits several specifications; add sex, environment or the edition's year",
                );
                faults.finish(None)
            }
            (None, _) => {
                let detail = format!(
                    "no specification {} {} of {ruleset} is on file for that day; GET /v1/competition-specs lists those \
                     that are, or send `dimensions`",
                    self.event_code, self.age_group
                );
                faults.add("/spec", "unknown_spec", detail);
                faults.finish(None)
            }
        }
    }
}

fn course_of(spec: &Spec) -> Course {
    Course {
        race_distance: spec.race_distance,
        barriers: spec.barriers,
        height: spec.height,
        approach: spec.to_first,
        spacing: spec.between,
    }
}

/// Parses a course: race distance, height, approach and spacing in metres (m).
///
/// # Errors
/// Every broken field, with pointers below `/dimensions`.
pub fn dimensions(
    [distance, height, approach, spacing]: [f64; 4],
    barriers: u8,
    discounted: bool,
) -> Result<Specification, Vec<Fault>> {
    let mut faults = Faults::new();
    let mut metres = |name: &str, value: f64, low: u32, high: u32| {
        let length = Length::between(value, Length::from_mm(low), Length::from_mm(high));
        faults.take(&format!("/dimensions/{name}"), "out_of_range", length)
    };
    let race_distance = metres("race_distance_m", distance, 10_000, 400_000);
    let height = metres("height_m", height, 50, 1_100);
    let approach = metres("approach_m", approach, 1_000, 50_000);
    let spacing = metres("spacing_m", spacing, 1_000, 40_000);
    let counted = (1..=MAX_BARRIERS).contains(&barriers).then_some(barriers).ok_or("must be from 1 to 20");
    let barriers = faults.take("/dimensions/barriers", "out_of_range", counted);
    let course = race_distance.zip(height).zip(approach).zip(spacing).zip(barriers).map(
        |((((race_distance, height), approach), spacing), barriers)| Course {
            race_distance,
            barriers,
            height,
            approach,
            spacing,
        },
    );
    if course.is_some_and(|course| course.run_in().is_none()) {
        faults.add("/dimensions/race_distance_m", "sum", "must reach beyond the last barrier");
    }
    let value = course.map(|course| Specification {
        ruleset: None,
        event_code: None,
        environment: None,
        sex: None,
        age_group: None,
        course,
        discounted,
    });
    faults.finish(value)
}

/// A date as the mathematics counts it.
pub fn day(date: chrono::NaiveDate) -> Option<Day> {
    Day::from_days(date.to_epoch_days())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compute::decision::Policy;
    use crate::compute::prior::PriorPolicy;

    fn setting() -> Setting {
        Setting {
            ruleset: "WA".to_owned(),
            specs: vec![],
            age_groups: vec![],
            stock: vec![],
            policy: Policy::default(),
            start: PriorPolicy::default(),
        }
    }

    #[test]
    fn a_specification_is_found_by_its_names_or_the_fault_says_why_not() {
        let on = Day::from_ymd(2026, 6, 1).unwrap();
        let named = Named { ruleset: None, event_code: "100H", age_group: "U18", sex: Some("F"), environment: None };
        let found = named.find(&setting(), on).unwrap();
        // World Athletics: 100 m hurdles, U18 women: 76.2 cm, 13.00 m, 8.50 m.
        let mm = Length::from_mm;
        assert_eq!(found.course.height, mm(762));
        assert_eq!(
            (found.course.approach, found.course.spacing, found.course.run_in()),
            (mm(13_000), mm(8_500), Some(mm(10_500)))
        );
        let code = |named: Named<'_>| named.find(&setting(), on).unwrap_err()[0].code.clone();
        assert_eq!(code(Named { age_group: "U99", ..named }), "unknown_spec");
        assert_eq!(code(Named { sex: Some("Q"), ..named }), "word");
        assert_eq!(code(Named { event_code: "60H", age_group: "SEN", sex: None, ..named }), "ambiguous");
    }
}
