//! The figures behind a coded sentence, so that a client can say it in another language.
//!
//! Everything that [`crate::english`] says is also a code with parameters: reasons, what is missing, walls, and
//! where somebody stands in a lane. The sentence "12 more intervals on 2 more days" is the codes `intervals`
//! with `intervals_more` = 12 and `days` with `days_more` = 2. A client that translates needs the codes and
//! this list, and no grammar of ours.
//!
//! Names are shared: `hold_needed` means the same wherever it stands, and one name has one kind of value. That
//! every code carries exactly the parameters that its documentation names is held by a test.
//!
//! ```
//! use lanewright_compute::decision::Missing;
//! use lanewright_compute::params::{PARAMS, Value};
//!
//! let missing = Missing::Intervals { count: 12 };
//! assert_eq!((missing.code(), missing.params()), ("intervals", vec![("intervals_more", Value::Count(12))]));
//! assert_eq!(missing.text(), "A step up needs 12 more intervals.");
//! assert!(PARAMS.iter().any(|(name, _, _)| *name == "intervals_more"));
//! ```

use super::decision::Configuration;
use super::units::{BarrierKind, Length};

/// One figure or word, as JSON can hold it: numbers as numbers, days as dates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A whole number: intervals, days, barriers, sessions, or a level.
    Count(u32),
    /// A length in metres, or a share, a probability or a loss; which, its [`Kind`] says. Not rounded here.
    Number(f64),
    /// A word of a closed list, the same as in JSON elsewhere.
    Word(&'static str),
    /// A day, days since 1970-01-01; written as an ISO 8601 date.
    Day(i32),
}

/// A parameter: its name, listed in [`PARAMS`], and its value.
pub type Param = (&'static str, Value);

/// What a parameter may be; the service's document takes type, unit and bounds of each parameter from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Count,
    /// A rating's level from 0 to 3, a [`Value::Count`].
    Level,
    /// A share or a probability from 0 to 1.
    Share,
    /// A loss times its weight, from 0 to 2; see [`crate::lane_plan`].
    Loss,
    /// A length, metres (m), 0 to 1 000.
    Metres,
    /// A word of a closed list, at most 20 letters; the document names the list.
    Word,
    /// A date, a [`Value::Day`].
    Date,
}

/// Every parameter there is: name, what it may be, what it means; in the order in which they were published, so
/// that new ones come last.
pub const PARAMS: [(&str, Kind, &str); 39] = [
    ("held", Kind::Count, "Intervals held."),
    ("over_reached", Kind::Count, "Intervals over-reached."),
    ("crowded", Kind::Count, "Intervals crowded."),
    ("broken", Kind::Count, "Intervals broken, cause not recorded."),
    ("intervals", Kind::Count, "Intervals run."),
    ("days", Kind::Count, "Days on which they were run."),
    ("barriers", Kind::Count, "Barriers run; of a target, barriers of the race."),
    ("hits", Kind::Count, "Barriers hit."),
    ("intervals_more", Kind::Count, "Intervals still needed."),
    ("days_more", Kind::Count, "Days still needed."),
    ("intervals_least", Kind::Count, "Intervals that a session needs to count."),
    ("barrier_kind", Kind::Word, "wicket, foam, low_barrier or hurdle."),
    ("height_m", Kind::Metres, "Height of the barriers."),
    ("spacing_m", Kind::Metres, "Distance between barriers."),
    ("approach_m", Kind::Metres, "Start line to the first barrier."),
    ("spacing_shortest_m", Kind::Metres, "The shortest spacing of the club."),
    ("height_most_m", Kind::Metres, "The height of the target."),
    ("hold_mean", Kind::Share, "Probability that an interval is held."),
    ("hold_p05", Kind::Share, "Its 5 % quantile."),
    ("hold_p95", Kind::Share, "Its 95 % quantile."),
    ("hold_needed", Kind::Share, "The probability needed."),
    ("hold_other", Kind::Share, "The probability after the other step."),
    ("held_share_least", Kind::Share, "Smallest share of intervals held that is enough."),
    ("hit_share_most", Kind::Share, "Largest share of barriers hit that is allowed."),
    ("until", Kind::Date, "The last day on which it applies."),
    ("criterion", Kind::Word, "The technique criterion."),
    ("rating", Kind::Level, "0 not yet, 1 emerging, 2 secure, 3 secure under race conditions; absent when not rated."),
    ("rating_needed", Kind::Level, "The rating needed."),
    ("regret", Kind::Loss, "What this lane loses against the advised one, times the athlete's weight."),
    ("best_barrier_kind", Kind::Word, "The kind of barrier of the athlete's own best lane."),
    ("best_height_m", Kind::Metres, "The height of the athlete's own best lane."),
    ("best_spacing_m", Kind::Metres, "The spacing of the athlete's own best lane."),
    ("best_hold_mean", Kind::Share, "Probability that an interval is held in the athlete's own best lane."),
    ("height_limit_m", Kind::Metres, "The greatest height permitted."),
    ("spacing_limit_m", Kind::Metres, "The longest spacing permitted."),
    ("report", Kind::Word, "pain, illness or injury."),
    ("reported_on", Kind::Date, "The day of the report."),
    ("sessions_more", Kind::Count, "Sessions still needed."),
    ("surface", Kind::Word, "wet or uneven."),
];

/// A code with what it means and the parameters it may carry. Each closed list of codes has such a table
/// (`CODES`).
///
/// ```
/// use lanewright_compute::decision::Missing;
///
/// let days = Missing::CODES.iter().find(|one| one.code == "days").unwrap();
/// assert_eq!(days.params, ["days_more"]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeDoc {
    /// The code, snake case; once published it never changes and is never used for something else.
    pub code: &'static str,
    /// What it means, an English sentence for whoever translates it; what coaches read is in
    /// [`crate::english`].
    pub means: &'static str,
    /// Names of its parameters, of [`PARAMS`]; each may be absent where it has no value (an open end, a rating
    /// not seen).
    pub params: &'static [&'static str],
}

/// One line of a list of codes.
pub(super) const fn code(code: &'static str, means: &'static str, params: &'static [&'static str]) -> CodeDoc {
    CodeDoc { code, means, params }
}

/// A whole number by its name.
pub(super) const fn count(name: &'static str, n: u32) -> Param {
    (name, Value::Count(n))
}

/// A share, probability or loss by its name; lengths go through [`metres`].
pub(super) const fn number(name: &'static str, x: f64) -> Param {
    (name, Value::Number(x))
}

/// A length by its name, in metres.
pub(super) fn metres(name: &'static str, length: Length) -> Param {
    (name, Value::Number(length.metres()))
}

/// A kind of barrier by its name, as its word.
pub(super) const fn kind(name: &'static str, kind: BarrierKind) -> Param {
    (name, Value::Word(kind.as_str()))
}

/// Kind, height and spacing of a configuration, by the names `barrier_kind`, `height_m` and `spacing_m`.
pub(super) fn place(at: Configuration) -> [Param; 3] {
    [kind("barrier_kind", at.barrier_kind), metres("height_m", at.height), metres("spacing_m", at.spacing)]
}
