//! The published specifications, one row a line.
//!
//! # Source
//! Per row: the ids lead to [`super::SOURCES`]. Rows marked `Memory` hold at least one figure that was not read on a page.

use super::{Confidence, Environment, Spec};
use crate::units::Sex;

const F: Option<Sex> = Some(Sex::Female);
const M: Option<Sex> = Some(Sex::Male);
const X: Option<Sex> = None;

use Confidence::{Memory, Page};
use Environment::{Indoor, Outdoor};

/// Rows of: rule set, event, place, sex, age group: distance (m), barriers x height (mm), approach, spacing, run-in (mm);
/// confidence, sources, note.
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
/// ```
/// use lanewright_compute::specs::published;
///
/// let women = published().find(|s| s.event_code == "100H" && s.age_group == "SEN").unwrap();
/// assert_eq!((women.barriers, women.between.mm()), (10, 8_500));
/// ```
pub fn published() -> impl Iterator<Item = &'static Spec> + Clone {
    [international::ROWS, british_isles::ROWS, overseas::ROWS].into_iter().flatten()
}
