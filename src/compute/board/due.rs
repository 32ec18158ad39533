//! What is due: measurements that a growing athlete has outgrown, and the next change of what they race over.
//!
//! Neither stops anybody. An old stature makes the prior older, which matters until an athlete's own runs outweigh it; a change of target
//! that nobody saw coming makes a lane that was within the target one beyond it, and the rules then step back.
//!
//! ```text
//! stature   never taken, or more than 84 days old while the athlete is under 18; of who is grown once for all
//! sprint    never taken, or more than 182 days old
//! ```
//!
//! Worked: a stature of day 20 000 is due from day 20 085, the 85th after it; a sprint of that day from day 20 183.

use super::Seen;
use crate::advice::{ADULT_YEARS, Advice, age};
use crate::day::Day;
use crate::specs::{AgeRule, Birth};

/// Days after which the stature of somebody under 18 is measured anew: twelve weeks, as long as ratings count.
///
/// # Source
/// That squads are reviewed after growth spurts, which come at about 11 to 15 years: "Growth and Development in Young Athletes",
/// learnuni.com; how often to look for one is a design choice.
pub const MEASURE_DAYS: i32 = 84;
/// Days after which a sprint is timed anew: half a year (design choice).
pub const SPRINT_DAYS: i32 = 182;

/// The days of the latest measurements, days since 1970-01-01; none where nothing is on file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Measured {
    /// Stature.
    pub stature: Option<i32>,
    /// A sprint over 30 m or 50 m, whichever is later.
    pub sprint: Option<i32>,
}

/// What is measured. A leg length is never due: it is used where a club takes one, and asked of nobody.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurement {
    /// The stature.
    Stature,
    /// A sprint over 30 m or 50 m.
    Sprint,
}

impl Measurement {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Stature => "stature",
            Self::Sprint => "sprint",
        }
    }
}

/// A measurement that is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MeasurementDue {
    /// Which.
    pub what: Measurement,
    /// The first day on which the latest was too old, days since 1970-01-01; none if it was never taken.
    pub since: Option<i32>,
}

/// Which measurements are due on a day, the stature first. Whoever is grown is measured once. The age is the least that the birth leaves
/// open, so with a birth year alone somebody is measured a year longer.
pub(super) fn measurements(seen: &Seen<'_>, on: Day) -> Vec<MeasurementDue> {
    let over = |last: Option<i32>, days: i32| match last {
        None => Some(None),
        Some(day) => (on.days().saturating_sub(day) > days).then(|| Some(day + days + 1)),
    };
    let grows = age(seen.record.birth, on) < ADULT_YEARS;
    let stature = over(seen.measured.stature, if grows { MEASURE_DAYS } else { i32::MAX });
    let sprint = over(seen.measured.sprint, SPRINT_DAYS);
    let due = |what, since: Option<Option<i32>>| since.map(|since| MeasurementDue { what, since });
    due(Measurement::Stature, stature).into_iter().chain(due(Measurement::Sprint, sprint)).collect()
}

/// Why the specification changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The athlete's birthday: an age group of a rule set that counts age on the day of competition. Only where the date of birth is known.
    Birthday,
    /// A day of the rule set: a season begins, or an edition. Also whenever the cause is not certain.
    Season,
}

impl Cause {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Birthday => "birthday",
            Self::Season => "season",
        }
    }
}

/// The next change of the specification to train towards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SpecificationChange {
    /// The first day of the new one.
    pub on: Day,
    /// Why it changes then.
    pub cause: Cause,
}

/// The next change that the advice knows of; none when it knows of none after the day.
pub(super) fn change(advice: &Advice<'_>, birth: Birth, on: Day) -> Option<SpecificationChange> {
    let (day, next) = advice.next_target.as_ref()?;
    let older = matches!(birth, Birth::Date(_)) && age(birth, *day) > age(birth, day.add_days(-1));
    let birthday = older && next.group.rule == AgeRule::DayOfCompetition;
    let cause = if birthday { Cause::Birthday } else { Cause::Season };
    (*day > on).then_some(SpecificationChange { on: *day, cause })
}
