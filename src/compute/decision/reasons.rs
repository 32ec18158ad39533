//! Why a decision was taken: a closed list of codes with parameters. The words are in `compute::english`.
//!
//! A decision without its reasons is an order; with them a coach can agree or see what the rules do not know. Each reason is one fact with
//! the figures behind it, never a rule's name. They stand in the order in which they read:
//!
//! 1. what was seen: [`Reason::RunsSeen`] with [`Reason::CountedToo`] and [`Reason::HoldHere`], or [`Reason::NoRuns`]; the surface of the day;
//! 2. what follows from it: a step, or why none;
//! 3. what would change it ([`Reason::looks_ahead`]);
//! 4. what a coach said of it and for how long, or what speaks against what was said.
//!
//! A code, once published, keeps its meaning, so that a client can say it in another language; figures go with it as parameters. The
//! compiler holds every `match` to the whole list, so that a new reason cannot be without code, parameters or words.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::Reason;
//! use lanewright_compute::params::Value;
//!
//! let broken = Reason::LatestBroken { held: 3, intervals: 8 };
//! assert_eq!((broken.code(), broken.looks_ahead()), ("latest_broken", false));
//! assert_eq!(broken.params(), [("held", Value::Count(3)), ("intervals", Value::Count(8))]);
//! assert_eq!(broken.text(), "Only 3 of 8 intervals held in the latest session.");
//! ```

use super::policy::Policy;
use super::returning::Surface;
use super::situation::{Criterion, Evidence, Rating};
use super::{Configuration, Hold};
use crate::params::{CodeDoc, Param, Value, code, count, metres, number, place};
use crate::units::Length;
use crate::wellbeing::Reported;

/// One reason of a decision. Probabilities and shares are 0 to 1, days are days since 1970-01-01.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// No configuration has six intervals yet: the first wicket lane follows, or what a coach chose.
    NoRuns,
    /// What was run at the current configuration within the weeks that count as evidence.
    RunsSeen {
        /// Where.
        at: Configuration,
        /// What, there alone.
        evidence: Evidence,
    },
    /// The model's probability at the current configuration; what is expected, beside what was seen.
    HoldHere {
        /// Probability that an interval is held, with its 90 % range.
        hold: Hold,
    },
    /// Pain, illness or an injury was reported and stands: rest and refer.
    PainReported {
        /// What, and when.
        report: Reported,
    },
    /// A restriction is in force: rest and refer.
    Restricted {
        /// Its last day, days since 1970-01-01, if it has one.
        until: Option<i32>,
    },
    /// The athlete fell in the latest session: lower and closer.
    Fell,
    /// A technique criterion keeps the athlete off barriers, or from a step up: one reason for each.
    TechniqueGate {
        /// Which.
        criterion: Criterion,
        /// Its rating, if seen.
        seen: Option<Rating>,
    },
    /// The first wicket lane should hold with something in hand.
    FirstLane {
        /// The probability asked for, without what is in hand.
        wanted: f64,
    },
    /// No first wicket lane should hold as asked; the likeliest is taken.
    LikeliestLane {
        /// The probability asked for and not reached.
        wanted: f64,
    },
    /// The wicket lane is held well enough for barriers: a change of kind follows.
    WicketsHeld,
    /// The rhythm is more likely broken than the policy allows: a step in follows.
    HoldLow {
        /// Mean probability at the current configuration.
        mean: f64,
        /// The policy's limit, or the floor where that is higher.
        limit: f64,
    },
    /// Too few intervals of the latest session were held: a step in follows.
    LatestBroken {
        /// Intervals held.
        held: u32,
        /// Intervals run.
        intervals: u32,
    },
    /// Most failures are crowded, so a shorter spacing would not help: a coach decides on a wider one.
    Crowded,
    /// Too many barriers are hit while the rhythm holds: a lower height follows.
    HitsHigh {
        /// Barriers hit, of the latest session or at the configuration.
        hits: u32,
        /// Barriers run, of the same.
        barriers: u32,
    },
    /// The spacing cannot come in further: the height comes down instead, or everything stays.
    SpacingAtMinimum {
        /// The shortest spacing proposed.
        shortest: Length,
    },
    /// The club owns nothing lower: the spacing comes in alone, or everything stays.
    NoLowerHeight,
    /// The current configuration is beyond the target specification, as after a change of age group.
    PastTarget,
    /// The evidence does not yet allow a step up: the decision's list of what is missing says what it needs.
    NotReady,
    /// The target specification is held: a race test follows.
    AtTarget {
        /// Barriers of the race.
        barriers: u32,
        /// Start line to the first barrier of the race.
        approach: Length,
    },
    /// The target is raced over hurdles, which the club owns at this height: these come before the race test.
    TargetOverHurdles,
    /// Of two steps, the one more likely held, by more than 0.005.
    LikelierStep {
        /// Probability after the step taken.
        taken: f64,
        /// Probability after the other.
        other: f64,
    },
    /// Of two equally likely steps, the one further from the target, by its share of the target.
    LargerGap,
    /// Of two equally likely steps, the spacing: it needs no other setting of the barriers.
    SpacingFirst,
    /// The only step open that is likely enough to hold.
    OnlyStep,
    /// The barriers change before the height can rise.
    KindBeforeHeight,
    /// The next barriers start higher up, so the spacing comes in with them unless it is the shortest already.
    KindWithHeight,
    /// The next step is not likely enough to be held: the same again.
    NextStepUnlikely {
        /// Probability after the likeliest of them.
        mean: f64,
        /// The policy's limit, or the floor where that is higher.
        needed: f64,
    },
    /// The club owns nothing for the next step: the same again.
    NoNextStep,
    /// When to step back again: stands beside every step up, so that a coach knows before the run when to take it back.
    StepBackIf {
        /// Share held below which.
        held_share: f64,
        /// Over how many intervals.
        intervals: u32,
        /// Share of barriers hit above which.
        hit_share: f64,
    },
    /// What ends the rest: a coach's clearance, and medical advice where there is any.
    UntilCleared,
    /// What ends the stay within the target: its next change.
    UntilTargetMoves,
    /// Intervals elsewhere that were at least as demanding and count as well.
    CountedToo {
        /// Intervals.
        intervals: u32,
        /// Days without a run at the current configuration.
        days: u32,
    },
    /// The athlete is back after a report or restriction: an easier lane, and sessions before a step up.
    Returning {
        /// What was held last before it, if anything.
        last_held: Option<Configuration>,
    },
    /// The surface is not dry and even: softer, closer, and no step up.
    Surface {
        /// What is wrong with it.
        surface: Surface,
    },
    /// A coach accepted this advice, and the word stands.
    CoachAccepted,
    /// A coach chose this instead of the advice, and the word stands.
    CoachOverrode,
    /// How long a coach's word stands, unless something ends it earlier.
    WordUntil {
        /// Its last day, days since 1970-01-01.
        until: i32,
    },
    /// What was run since a coach's word ends it; over its configuration or anything easier.
    AgainstWord {
        /// Intervals held.
        held: u32,
        /// Intervals run.
        intervals: u32,
        /// Barriers hit.
        hits: u32,
        /// Barriers run.
        barriers: u32,
    },
}

impl Reason {
    /// Every code with its meaning, in the order in which they were published: the order of the API's vocabulary, not of the variants.
    pub const CODES: [CodeDoc; 38] = [
        code("no_runs", "Fewer than six intervals at any one configuration are on file.", &[]),
        code(
            "runs_seen",
            "What was run at the current configuration.",
            &[
                "barrier_kind",
                "height_m",
                "spacing_m",
                "held",
                "over_reached",
                "crowded",
                "broken",
                "intervals",
                "days",
                "barriers",
                "hits",
            ],
        ),
        code("hold_here", "What is expected at the current configuration.", &["hold_mean", "hold_p05", "hold_p95"]),
        code("pain_reported", "Pain, illness or an injury was reported.", &["report", "reported_on"]),
        code("restricted", "A restriction is on the record; without `until` it is open-ended.", &["until"]),
        code("fell", "The athlete fell in the latest session.", &[]),
        code("technique_gate", "A technique rating stands against barriers or a step up.", &["criterion", "rating"]),
        code("first_lane", "The spacing that should hold as asked, with something in hand.", &["hold_needed"]),
        code("likeliest_lane", "No spacing should hold as asked; this one comes closest.", &["hold_needed"]),
        code("wickets_held", "The wicket lane is held well enough for barriers.", &[]),
        code("hold_low", "Too few intervals should hold at the current configuration.", &["hold_mean", "hold_needed"]),
        code("latest_broken", "Too few intervals of the latest session were held.", &["held", "intervals"]),
        code("crowded", "Most broken intervals were crowded, so a shorter spacing would not help.", &[]),
        code("hits_high", "Too many barriers were hit while the rhythm held.", &["hits", "barriers"]),
        code("spacing_at_minimum", "The spacing cannot come in further.", &["spacing_shortest_m"]),
        code("no_lower_height", "The club owns nothing lower.", &[]),
        code("past_target", "The current configuration is beyond the target specification.", &[]),
        code("not_ready", "What is seen does not open a step up yet; `missing` lists what it needs.", &[]),
        code("at_target", "The target specification is held.", &["barriers", "approach_m"]),
        code("target_over_hurdles", "The target is held over softer barriers and raced over hurdles.", &[]),
        code("likelier_step", "Of two steps, the one likelier to hold.", &["hold_mean", "hold_other"]),
        code("larger_gap", "Of two equally likely steps, the one further from the target.", &[]),
        code("spacing_first", "Of two equally likely steps, the spacing.", &[]),
        code("only_step", "The only step likely enough to hold.", &[]),
        code("kind_before_height", "The barriers change before the height rises.", &[]),
        code(
            "kind_with_height",
            "The next barriers start higher, so the spacing comes in with them where it can.",
            &[],
        ),
        code("next_step_unlikely", "No next step is likely enough to hold.", &["hold_mean", "hold_needed"]),
        code("no_next_step", "The club owns no barrier for the next step.", &[]),
        code("step_back_if", "When to step back.", &["held_share_least", "intervals_least", "hit_share_most"]),
        code("until_cleared", "Running resumes when a coach confirms and medical advice allows it.", &[]),
        code("until_target_moves", "The stay within the target ends when the target moves.", &[]),
        code("counted_too", "Runs elsewhere that were at least as demanding count as well.", &["intervals", "days"]),
        code(
            "returning",
            "Back after a report or restriction: lower and closer than last held, two sessions before a step up.",
            &["barrier_kind", "height_m", "spacing_m"],
        ),
        code("surface", "The surface is wet or uneven: soft barriers, closer, no step up.", &["surface"]),
        code("coach_accepted", "A coach accepted this advice.", &[]),
        code("coach_overrode", "A coach chose this instead of the advice.", &[]),
        code("word_until", "How long the coach's word stands.", &["until"]),
        code(
            "against_word",
            "Runs since the coach's word speak against it, so it no longer stands.",
            &["held", "intervals", "hits", "barriers"],
        ),
    ];

    /// The stable code, one of [`Reason::CODES`].
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoRuns => "no_runs",
            Self::RunsSeen { .. } => "runs_seen",
            Self::CountedToo { .. } => "counted_too",
            Self::CoachAccepted => "coach_accepted",
            Self::CoachOverrode => "coach_overrode",
            Self::WordUntil { .. } => "word_until",
            Self::AgainstWord { .. } => "against_word",
            Self::HoldHere { .. } => "hold_here",
            Self::PainReported { .. } => "pain_reported",
            Self::Restricted { .. } => "restricted",
            Self::Fell => "fell",
            Self::TechniqueGate { .. } => "technique_gate",
            Self::FirstLane { .. } => "first_lane",
            Self::LikeliestLane { .. } => "likeliest_lane",
            Self::WicketsHeld => "wickets_held",
            Self::HoldLow { .. } => "hold_low",
            Self::LatestBroken { .. } => "latest_broken",
            Self::Crowded => "crowded",
            Self::HitsHigh { .. } => "hits_high",
            Self::SpacingAtMinimum { .. } => "spacing_at_minimum",
            Self::NoLowerHeight => "no_lower_height",
            Self::PastTarget => "past_target",
            Self::NotReady => "not_ready",
            Self::AtTarget { .. } => "at_target",
            Self::TargetOverHurdles => "target_over_hurdles",
            Self::LikelierStep { .. } => "likelier_step",
            Self::LargerGap => "larger_gap",
            Self::SpacingFirst => "spacing_first",
            Self::OnlyStep => "only_step",
            Self::KindBeforeHeight => "kind_before_height",
            Self::KindWithHeight => "kind_with_height",
            Self::NextStepUnlikely { .. } => "next_step_unlikely",
            Self::NoNextStep => "no_next_step",
            Self::StepBackIf { .. } => "step_back_if",
            Self::UntilCleared => "until_cleared",
            Self::UntilTargetMoves => "until_target_moves",
            Self::Returning { .. } => "returning",
            Self::Surface { .. } => "surface",
        }
    }

    /// The figures behind it, named as in [`PARAMS`](crate::params::PARAMS): lengths in metres, shares and probabilities 0 to 1, dates as days.
    /// What may be absent in the reason, the end of a restriction, a rating that was not seen, a lane that nothing held, is absent here.
    pub fn params(&self) -> Vec<Param> {
        match *self {
            Self::RunsSeen { at, evidence } => place(at).into_iter().chain(counts(evidence)).collect(),
            Self::CountedToo { intervals, days } => vec![count("intervals", intervals), count("days", days)],
            Self::HoldHere { hold } => {
                vec![number("hold_mean", hold.mean), number("hold_p05", hold.p05), number("hold_p95", hold.p95)]
            }
            Self::PainReported { report } => {
                vec![("report", Value::Word(report.what.as_str())), ("reported_on", Value::Day(report.on))]
            }
            Self::Returning { last_held } => last_held.map(place).into_iter().flatten().collect(),
            Self::Surface { surface } => vec![("surface", Value::Word(surface.as_str()))],
            Self::Restricted { until } => until.map(|day| ("until", Value::Day(day))).into_iter().collect(),
            Self::TechniqueGate { criterion, seen } => criterion.params(seen),
            Self::FirstLane { wanted } | Self::LikeliestLane { wanted } => vec![number("hold_needed", wanted)],
            Self::HoldLow { mean, limit: needed } | Self::NextStepUnlikely { mean, needed } => {
                vec![number("hold_mean", mean), number("hold_needed", needed)]
            }
            Self::LatestBroken { held, intervals } => vec![count("held", held), count("intervals", intervals)],
            Self::WordUntil { until } => vec![("until", Value::Day(until))],
            Self::AgainstWord { held, intervals, hits, barriers } => vec![
                count("held", held),
                count("intervals", intervals),
                count("hits", hits),
                count("barriers", barriers),
            ],
            Self::HitsHigh { hits, barriers } => vec![count("hits", hits), count("barriers", barriers)],
            Self::SpacingAtMinimum { shortest } => vec![metres("spacing_shortest_m", shortest)],
            Self::AtTarget { barriers, approach } => vec![count("barriers", barriers), metres("approach_m", approach)],
            Self::LikelierStep { taken, other } => vec![number("hold_mean", taken), number("hold_other", other)],
            Self::StepBackIf { held_share, intervals, hit_share } => vec![
                number("held_share_least", held_share),
                count("intervals_least", intervals),
                number("hit_share_most", hit_share),
            ],
            Self::NoRuns
            | Self::Fell
            | Self::WicketsHeld
            | Self::Crowded
            | Self::NoLowerHeight
            | Self::PastTarget
            | Self::NotReady
            | Self::TargetOverHurdles
            | Self::LargerGap
            | Self::SpacingFirst
            | Self::OnlyStep
            | Self::KindBeforeHeight
            | Self::KindWithHeight
            | Self::NoNextStep
            | Self::UntilCleared
            | Self::CoachAccepted
            | Self::CoachOverrode
            | Self::UntilTargetMoves => Vec::new(),
        }
    }

    /// Whether the reason says what would change the decision, not what led to it. An explanation ends with the first of these.
    pub const fn looks_ahead(&self) -> bool {
        matches!(self, Self::StepBackIf { .. } | Self::UntilCleared | Self::UntilTargetMoves | Self::WordUntil { .. })
    }

    /// The reason that says when a step up is taken back, in the numbers of [`step_back`](super::step_back) and of a word.
    pub(super) const fn step_back_if(policy: &Policy) -> Self {
        Self::StepBackIf {
            held_share: policy.step_in_held_share,
            intervals: policy.step_back_intervals,
            hit_share: policy.lower_height_hit_share,
        }
    }
}

/// Evidence as parameters, with the sum of its intervals.
fn counts(evidence: Evidence) -> [Param; 8] {
    [
        count("held", evidence.held),
        count("over_reached", evidence.over_reached),
        count("crowded", evidence.crowded),
        count("broken", evidence.broken),
        count("intervals", evidence.intervals()),
        count("days", evidence.days),
        count("barriers", evidence.barriers),
        count("hits", evidence.hits),
    ]
}
