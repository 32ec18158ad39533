//! The figures behind a coded sentence, so that a client can say it in another language.

use super::decision::Configuration;
use super::units::{BarrierKind, Length};

/// One figure or word.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A whole number.
    Count(u32),
    /// A length in metres, a share or a probability.
    Number(f64),
    /// A word of a closed list.
    Word(&'static str),
    /// A day, days since 1970-01-01.
    Day(i32),
}

/// A parameter: its name, listed in [`PARAMS`], and its value.
pub type Param = (&'static str, Value);

/// What a parameter may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Count,
    /// A level from 0 to 3.
    Level,
    /// A share or a probability from 0 to 1.
    Share,
    /// A loss times its weight, from 0 to 2.
    Loss,
    /// A length, metres (m).
    Metres,
    /// A word.
    Word,
    /// A date.
    Date,
}

/// Every parameter there is: name, what it may be, what it means; in the order in which they were published.
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

/// A code with what it means and the parameters it may carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeDoc {
    /// The code; once published it never changes.
    pub code: &'static str,
    /// What it means.
    pub means: &'static str,
    /// Names of its parameters.
    pub params: &'static [&'static str],
}

/// One line of a list of codes.
pub(super) const fn code(code: &'static str, means: &'static str, params: &'static [&'static str]) -> CodeDoc {
    CodeDoc { code, means, params }
}

pub(super) const fn count(name: &'static str, n: u32) -> Param {
    (name, Value::Count(n))
}

pub(super) const fn number(name: &'static str, x: f64) -> Param {
    (name, Value::Number(x))
}

pub(super) fn metres(name: &'static str, length: Length) -> Param {
    (name, Value::Number(length.metres()))
}

pub(super) const fn kind(name: &'static str, kind: BarrierKind) -> Param {
    (name, Value::Word(kind.as_str()))
}

/// Kind, height and spacing.
pub(super) fn place(at: Configuration) -> [Param; 3] {
    [kind("barrier_kind", at.barrier_kind), metres("height_m", at.height), metres("spacing_m", at.spacing)]
}
