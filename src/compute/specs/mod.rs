//! Competition specifications and age-group rules: what an athlete races over on a date, and what comes next.
//!
//! Published rows carry their sources and whether the figures were read on a page or written from memory. A club adds or
//! replaces rows with dates. Where nothing is on file the answer says so; no figure is filled in.
//!
//! # What is on file
//!
//! 153 specifications of 12 rule sets ([`published`]) and 127 age groups of 22 ([`published_age_groups`]), each with
//! the ids of its sources ([`SOURCES`]) and a [`Confidence`]. More rule sets have age groups than specifications: a
//! club fills the gap with rows of its own, and the ages are there already.
//!
//! | kept | why |
//! | --- | --- |
//! | the rule set with its edition (`UKA-2024`) | figures change with editions; a question names `UKA` and gets each edition on its own dates |
//! | dates at both ends of a row | a change of rules is known ahead, and yesterday's races stay explainable |
//! | confidence and note | a coach sees which figure was read on a page and which was written from memory |
//! | whole millimetres | approach, spacings and run-in must add up to the distance exactly |
//!
//! # Questions
//!
//! - [`lookup()`]: what applies to this athlete on this day, why nothing does, and what changes next;
//! - [`sprint_target`]: which of several to train towards;
//! - [`OnFile::of`]: whether a rule set can answer at all.
//!
//! Used by [`crate::advice`] for the target of an athlete, by [`crate::rhythm`] for courses, and by the answers about
//! specifications. A wrong row would misplace a target by a barrier height, so an answer never interpolates and
//! never borrows a row of another rule set.
//!
//! # Cost
//!
//! A question scans all rows (some hundreds) for every day on which an answer can change within four years, at most
//! some dozens.

mod age_groups;
mod file;
mod lookup;
mod sources;
mod table;

use std::borrow::Cow;

use thiserror::Error;

use super::day::Day;
use super::units::{Length, Sex};

pub use age_groups::{AgeGroup, AgeRule, AgeSpan, Birth, published_age_groups};
pub use lookup::{Applicable, Club, Lookup, OnFile, Query, Reason, Upcoming, lookup, sprint_target};
pub use sources::{SOURCES, Source, source};
pub use table::published;

/// Where a race is run.
///
/// Indoor straights end sooner, so an age group may race other distances there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Environment {
    /// Under a roof.
    Indoor,
    /// In the open.
    Outdoor,
}

impl Environment {
    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Indoor => "indoor",
            Self::Outdoor => "outdoor",
        }
    }

    /// The place that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Indoor, Self::Outdoor].into_iter().find(|place| place.as_str() == word)
    }
}

/// How well a row is supported.
///
/// Ordered from best to a club's own word, which is neither better nor worse but somebody else's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confidence {
    /// The figures were read on the pages named as sources.
    ///
    /// Every figure of it, or derived by subtraction from figures that were.
    Page,
    /// At least one figure was written from memory; check it against the rule book.
    ///
    /// Shown with the specification and never hidden.
    Memory,
    /// Given by the club.
    Club,
}

impl Confidence {
    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Page => "page",
            Self::Memory => "memory",
            Self::Club => "club",
        }
    }
}

/// A competition specification: what one age group of one rule set races over.
///
/// Source ids are joined with `+`; [`source`] resolves one.
///
/// Millimetres throughout. Rows of the tables are checked by tests; a club's rows by [`Spec::check`] when they are
/// stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spec {
    /// Rule set with its edition, such as `UKA-2024`.
    pub ruleset: Cow<'static, str>,
    /// Race distance in metres (m) and `H`, such as `80H`.
    ///
    /// Names the distance only: `100H` is 8.50 m apart for women and 8.00 m for younger girls.
    pub event_code: Cow<'static, str>,
    /// Where the race is run.
    pub environment: Environment,
    /// Sex category; `None` stands for both.
    pub sex: Option<Sex>,
    /// Code of the age group within the rule set.
    pub age_group: Cow<'static, str>,
    /// Start to finish.
    pub race_distance: Length,
    /// Number of barriers.
    ///
    /// 4 to 10 in the published rows.
    pub barriers: u8,
    /// Barrier height.
    ///
    /// 450 to 1 067 mm in the published rows.
    pub height: Length,
    /// Approach: start to first barrier.
    pub to_first: Length,
    /// Spacing: barrier to barrier.
    ///
    /// 6 000 to 9 140 mm of sprint races, 35 000 mm of the long ones.
    pub between: Length,
    /// Last barrier to finish.
    pub run_in: Length,
    /// Ids of the sources, joined with `+`; empty where none is known.
    pub sources: Cow<'static, str>,
    /// How well the row is supported.
    pub confidence: Confidence,
    /// What a reader of the figures should know; may be empty.
    pub note: Cow<'static, str>,
    /// First day the row holds; `None` where it has no start on file.
    pub valid_from: Option<Day>,
    /// Last day the row holds; `None` where it has no end on file.
    pub valid_to: Option<Day>,
}

/// Why the figures of a [`Spec`] cannot be a race.
///
/// Worded to follow the name of a specification.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum SpecError {
    /// No barrier at all.
    #[error("must have at least one barrier")]
    NoBarrier,
    /// Approach, spacings and run-in do not make up the distance.
    #[error(
        "approach, spacings and run-in add up to {sum_mm} mm, {} mm {} than the race distance",
        difference_mm.abs(),
        if *difference_mm > 0 { "more" } else { "less" }
    )]
    DoesNotAddUp {
        /// Approach + (barriers - 1) x spacing + run-in, millimetres (mm).
        sum_mm: i64,
        /// The sum less the race distance, millimetres (mm).
        difference_mm: i64,
    },
    /// The last valid day lies before the first.
    #[error("must not end before it begins")]
    EndsBeforeItBegins,
}

impl Spec {
    /// Checks that approach + (barriers - 1) x spacing + run-in makes up the race distance to the millimetre.
    ///
    /// Height and age group are not looked at. Barriers first, then the sum, then the dates. Never overflows: sums are
    /// of 64 bits.
    ///
    /// Worked: 11.5 + 7 · 7.5 + 11.0 = 75.0 m. With a run-in of 11.5 m typed, the error says "500 mm more".
    ///
    /// # Errors
    /// [`SpecError`] for the first thing that is wrong.
    ///
    /// ```
    /// use lanewright_compute::specs::published;
    ///
    /// assert!(published().all(|spec| spec.check().is_ok()));
    /// ```
    pub fn check(&self) -> Result<(), SpecError> {
        if self.barriers == 0 {
            return Err(SpecError::NoBarrier);
        }
        let sum_mm = i64::from(self.to_first.mm())
            + i64::from(self.barriers - 1) * i64::from(self.between.mm())
            + i64::from(self.run_in.mm());
        let difference_mm = sum_mm - i64::from(self.race_distance.mm());
        if difference_mm != 0 {
            return Err(SpecError::DoesNotAddUp { sum_mm, difference_mm });
        }
        if matches!((self.valid_from, self.valid_to), (Some(from), Some(to)) if to < from) {
            return Err(SpecError::EndsBeforeItBegins);
        }
        Ok(())
    }

    /// Whether this is a sprint-hurdle race, run in the three-stride rhythm.
    ///
    /// Spacings of the sprint races are at most 9.14 m and those of the 200 to 400 m races 35 m; the line at 10 m
    /// between them is a design choice.
    ///
    /// Only these have a target spacing, a schedule and a race test of three strides; longer ones are told and not
    /// trained towards.
    pub const fn is_sprint(&self) -> bool {
        self.between.mm() <= 10_000
    }

    /// Whether the row holds on a day.
    ///
    /// Both ends included; always true of a published specification, whose rows have no dates.
    pub fn holds_on(&self, on: Day) -> bool {
        is_valid(self.valid_from, self.valid_to, on)
    }

    /// Whether a rule set, named with or without its edition year, has this specification.
    ///
    /// Exact otherwise: `UKA-20` takes in nothing, `WA` does not take in `WASA`.
    ///
    /// ```
    /// use lanewright_compute::specs::published;
    ///
    /// let of = |ruleset: &str| published().filter(|spec| spec.is_under(ruleset)).count();
    /// assert_eq!(of("UKA"), of("UKA-2024"));
    /// assert_eq!((of("UKA-2024"), of("UKA-2"), of("")), (20, 0, 0));
    /// ```
    pub fn is_under(&self, ruleset: &str) -> bool {
        takes_in(ruleset, &self.ruleset)
    }

    /// The sources of the row, in its order; an id that is not among [`SOURCES`] is left out.
    pub fn sources(&self) -> impl Iterator<Item = &'static Source> + '_ {
        sources::of(&self.sources)
    }
}

/// Whether a rule set, named with or without its edition year, takes in this edition: `UKA` takes in `UKA-2024`.
///
/// An edition is a hyphen and four digits behind the name.
fn takes_in(ruleset: &str, edition: &str) -> bool {
    edition.strip_prefix(ruleset).is_some_and(|rest| {
        rest.is_empty()
            || rest.strip_prefix('-').is_some_and(|year| year.len() == 4 && year.bytes().all(|b| b.is_ascii_digit()))
    })
}

/// Whether a day lies within dates that may be open at either end, both ends included.
///
/// An open end holds for ever.
fn is_valid(from: Option<Day>, to: Option<Day>, on: Day) -> bool {
    from.is_none_or(|from| from <= on) && to.is_none_or(|to| on <= to)
}
