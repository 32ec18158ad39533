//! Why a decision was taken: a closed list with parameters, worded in one place.

use super::policy::Policy;
use super::situation::{Criterion, Evidence, Rating};
use super::wording::{count, date, expected, metres, percent, runs_seen, sentence};
use super::{Configuration, Hold};
use crate::compute::units::Length;

/// One reason of a decision.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// No configuration has six intervals yet.
    NoRuns,
    /// What was run at the current configuration.
    RunsSeen {
        /// Where.
        at: Configuration,
        /// What.
        evidence: Evidence,
    },
    /// The model's probability at the current configuration.
    HoldHere {
        /// Probability that an interval is held.
        hold: Hold,
    },
    /// Pain or an injury was reported.
    PainReported,
    /// A restriction is on the record.
    Restricted {
        /// Its last day, days since 1970-01-01, if it has one.
        until: Option<i32>,
    },
    /// The athlete fell in the latest session.
    Fell,
    /// A technique criterion keeps the athlete off barriers.
    TechniqueGate {
        /// Which.
        criterion: Criterion,
        /// Its rating, if seen.
        seen: Option<Rating>,
    },
    /// The first wicket lane is the longest that should hold.
    FirstLane {
        /// The probability asked for.
        wanted: f64,
    },
    /// No first wicket lane should hold as asked; the likeliest is taken.
    LikeliestLane {
        /// The probability asked for.
        wanted: f64,
    },
    /// The wicket lane is held well enough for barriers.
    WicketsHeld,
    /// The rhythm is more likely broken than the policy allows.
    HoldLow {
        /// Mean probability.
        mean: f64,
        /// The policy's limit.
        limit: f64,
    },
    /// Too few intervals of the latest session were held.
    LatestBroken {
        /// Intervals held.
        held: u32,
        /// Intervals run.
        intervals: u32,
    },
    /// Most failures are crowded, so a shorter spacing would not help.
    Crowded,
    /// Too many barriers are hit while the rhythm holds.
    HitsHigh {
        /// Barriers hit.
        hits: u32,
        /// Barriers run.
        barriers: u32,
    },
    /// The spacing cannot come in further.
    SpacingAtMinimum {
        /// The shortest spacing proposed.
        shortest: Length,
    },
    /// The club owns nothing lower.
    NoLowerHeight,
    /// The current configuration is beyond the target specification.
    PastTarget,
    /// The evidence does not yet allow a step up.
    NotReady,
    /// The target specification is held.
    AtTarget {
        /// Barriers of the race.
        barriers: u32,
        /// Start line to the first barrier.
        approach: Length,
    },
    /// The target is raced over hurdles, which the club owns at this height.
    TargetOverHurdles,
    /// Of two steps, the one more likely held.
    LikelierStep {
        /// Probability after the step taken.
        taken: f64,
        /// Probability after the other.
        other: f64,
    },
    /// Of two equally likely steps, the one further from the target.
    LargerGap,
    /// Of two equally likely steps, the spacing: it needs no other setting of the barriers.
    SpacingFirst,
    /// The only step open that is likely enough to hold.
    OnlyStep,
    /// The barriers change before the height can rise.
    KindBeforeHeight,
    /// The next barriers start higher up, so the spacing comes in with them.
    KindWithHeight,
    /// The next step is not likely enough to be held.
    NextStepUnlikely {
        /// Probability after it.
        mean: f64,
        /// The policy's limit.
        needed: f64,
    },
    /// The club owns nothing for the next step.
    NoNextStep,
    /// When to step back again.
    StepBackIf {
        /// Share held below which.
        held_share: f64,
        /// Over how many intervals.
        intervals: u32,
        /// Share of barriers hit above which.
        hit_share: f64,
    },
    /// What ends the rest.
    UntilCleared,
}

impl Reason {
    /// The stable code.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoRuns => "no_runs",
            Self::RunsSeen { .. } => "runs_seen",
            Self::HoldHere { .. } => "hold_here",
            Self::PainReported => "pain_reported",
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
        }
    }

    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&self.clause())
    }

    /// Whether the reason says what would change the decision, not what led to it.
    pub(super) const fn looks_ahead(&self) -> bool {
        matches!(self, Self::StepBackIf { .. } | Self::UntilCleared)
    }

    /// The reason that says when a step up is taken back.
    pub(super) const fn step_back_if(policy: &Policy) -> Self {
        Self::StepBackIf {
            held_share: policy.step_in_held_share,
            intervals: policy.step_back_intervals,
            hit_share: policy.lower_height_hit_share,
        }
    }

    /// The words, as a clause that can stand beside others.
    #[allow(clippy::too_many_lines)] // one arm a reason, so that the compiler misses none
    pub(super) fn clause(&self) -> String {
        match *self {
            Self::RunsSeen { at, evidence } => runs_seen(at, evidence),
            Self::HoldHere { hold } => format!("{} is expected here", expected(hold)),
            Self::Restricted { until: Some(day) } => {
                format!("a restriction is on the record until {}", date(day))
            }
            Self::TechniqueGate { criterion, seen } => match seen {
                Some(rating) => format!("the {} is rated {}", criterion.words(), rating.words()),
                None => format!("the {} has no rating in the window", criterion.words()),
            },
            Self::FirstLane { wanted } => {
                format!("this is the longest spacing expected to hold in {} of intervals", percent(wanted))
            }
            Self::LikeliestLane { wanted } => format!(
                "no spacing is expected to hold in {} of intervals yet, and this one is likeliest",
                percent(wanted)
            ),
            Self::HoldLow { mean, limit } => {
                format!("only {} of intervals are expected to hold, below {}", percent(mean), percent(limit))
            }
            Self::LatestBroken { held, intervals } => {
                format!("only {held} of {} held in the latest session", count(intervals, "interval"))
            }
            Self::HitsHigh { hits, barriers } => {
                format!("{hits} of {} were hit while the rhythm held", count(barriers, "barrier"))
            }
            Self::SpacingAtMinimum { shortest } => {
                format!("the spacing cannot come in below {}", metres(shortest))
            }
            Self::AtTarget { barriers, approach } => format!(
                "the target's height and spacing are held, to be raced over {} with {} approach",
                count(barriers, "barrier"),
                metres(approach)
            ),
            Self::LikelierStep { taken, other } => format!(
                "of the two steps open this one is likelier to hold, {} against {}",
                percent(taken),
                percent(other)
            ),
            Self::NextStepUnlikely { mean, needed } => {
                format!("the next step would hold in {} of intervals, below {}", percent(mean), percent(needed))
            }
            Self::StepBackIf { held_share, intervals, hit_share } => format!(
                "step back when fewer than {} of {} hold, or more than {} of barriers are hit",
                percent(held_share),
                count(intervals, "interval"),
                percent(hit_share)
            ),
            Self::NoRuns => "no configuration has enough three-stride runs on file yet".to_owned(),
            Self::PainReported => "pain or an injury was reported".to_owned(),
            Self::Restricted { until: None } => "a restriction is on the record".to_owned(),
            Self::Fell => "the athlete fell in the latest session".to_owned(),
            Self::WicketsHeld => "the wicket lane is held, so low barriers may replace the wickets".to_owned(),
            Self::Crowded => "most broken intervals are crowded, so a shorter spacing \
                 would not help and a coach decides whether to open it"
                .to_owned(),
            Self::NoLowerHeight => "the club owns nothing lower".to_owned(),
            Self::PastTarget => "this is beyond the target specification".to_owned(),
            Self::NotReady => "that is not enough for a step up yet".to_owned(),
            Self::TargetOverHurdles => "the target is held over softer barriers and is raced over hurdles".to_owned(),
            Self::LargerGap => "both steps are as likely to hold and this one is further \
                 from the target"
                .to_owned(),
            Self::OnlyStep => "this is the only step open that is likely to hold".to_owned(),
            Self::KindBeforeHeight => "the next height needs other barriers, and the barriers change first".to_owned(),
            Self::KindWithHeight => "the next barriers start at a greater height, so the spacing \
                 comes in with them"
                .to_owned(),
            Self::NoNextStep => "the club owns no barrier for the next step within the target".to_owned(),
            Self::UntilCleared => "running resumes when a coach confirms and any medical advice allows it".to_owned(),
            Self::SpacingFirst => "both steps are as likely to hold, and spacing comes before height".to_owned(),
        }
    }
}
