//! The published specifications, one row a line.
//!
//! # Source
//! Per row: the ids lead to [`super::SOURCES`]. Rows marked `Memory` hold at least one figure that was not read on a page.
//!
//! # Method
//!
//! A row was written when at least one page gave its figures; where pages differ, the newest print and the inch-exact
//! height count, and the note says what the other one prints. Run-ins that no page gives are what is left of the
//! distance, and say "derived".
//!
//! | figure | usual reason for a difference | taken |
//! | --- | --- | --- |
//! | 0.762, 0.838, 0.914, 0.991, 1.067 m | pages round 30, 33, 36, 39 and 42 inches to the centimetre | the inch to the millimetre |
//! | 0.84, 0.915, 0.990, 0.760 m | older roundings in print | the newer figure, the older in the note |
//! | a sum that misses the distance | misprint | the figure that closes it, told in the note |
//!
//! All 153 rows close to the millimetre: approach + (barriers - 1) · spacing + run-in = distance (a test).
//!
//! # Confidence
//!
//! 110 rows are `Page`, 43 are `Memory`. A row is `Memory` as soon as one figure, or the age group it goes with, was
//! not read. It is served all the same, marked, because a coach with a marked figure asks, and one without a figure
//! guesses.
//!
//! # Editing
//!
//! A new edition of a rule set is a new rule set with its year; rows of an old edition stay, so that old answers can
//! be repeated. Heights that a page prints as 68.6 cm are 686 mm. The order of rows is the order of answers.

use super::{Confidence, Environment, Spec};
use crate::units::Sex;

/// Letters keep a row on one line.
const F: Option<Sex> = Some(Sex::Female);
const M: Option<Sex> = Some(Sex::Male);
const X: Option<Sex> = None;

use Confidence::{Memory, Page};
use Environment::{Indoor, Outdoor};

/// Rows of: rule set, event, place, sex, age group: distance (m), barriers x height (mm), approach, spacing, run-in (mm);
/// confidence, sources, note.
///
/// The distance is typed in metres and the rest in millimetres, as pages print them and as
/// [`Length`](crate::units::Length) stores them.
macro_rules! specs {
    ($($ruleset:literal $event:literal $place:ident $sex:ident $group:literal: $metres:literal m,
       $barriers:literal x $height:literal, $first:literal $between:literal $run_in:literal;
       $confidence:ident $sources:literal $note:literal;)*) => {
        &[$(Spec {
            ruleset: std::borrow::Cow::Borrowed($ruleset),
            event_code: std::borrow::Cow::Borrowed($event),
            environment: $place,
            sex: $sex,
            age_group: std::borrow::Cow::Borrowed($group),
            race_distance: crate::units::Length::from_mm($metres * 1_000),
            barriers: $barriers,
            height: crate::units::Length::from_mm($height),
            to_first: crate::units::Length::from_mm($first),
            between: crate::units::Length::from_mm($between),
            run_in: crate::units::Length::from_mm($run_in),
            sources: std::borrow::Cow::Borrowed($sources),
            confidence: $confidence,
            note: std::borrow::Cow::Borrowed($note),
            valid_from: None,
            valid_to: None,
        }),*]
    };
}

mod british_isles;
mod international;
mod overseas;

/// Every published specification, grouped by rule set.
///
/// 153 rows; cheap to walk and to clone, since all is borrowed from the program.
///
/// ```
/// use lanewright_compute::specs::published;
///
/// let women = published().find(|s| s.event_code == "100H" && s.age_group == "SEN").unwrap();
/// assert_eq!((women.barriers, women.between.mm()), (10, 8_500));
/// ```
pub fn published() -> impl Iterator<Item = &'static Spec> + Clone {
    [international::ROWS, british_isles::ROWS, overseas::ROWS].into_iter().flatten()
}
