//! Why a decision was taken and what a step up still needs: closed lists with parameters, worded in one place.

use super::policy::Policy;
use super::situation::{Criterion, Evidence, Rating};
use super::{Configuration, Hold};
use crate::compute::units::{BarrierKind, Length};

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
    /// A first wicket lane is chosen from the estimate.
    FirstLane {
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
    /// The only step open.
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

/// One thing that a step up still needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Missing {
    /// More intervals at the current configuration.
    Intervals {
        /// How many.
        count: u32,
    },
    /// More days at the current configuration.
    Days {
        /// How many.
        count: u32,
    },
    /// A higher mean probability of holding.
    HoldMean {
        /// The value needed.
        needed: f64,
    },
    /// A higher 5 % quantile of it.
    HoldLow {
        /// The value needed.
        needed: f64,
    },
    /// Fewer barriers hit.
    FewerHits {
        /// The largest share allowed.
        share: f64,
    },
    /// A session in which enough intervals are held.
    HeldSession {
        /// The smallest share allowed.
        share: f64,
    },
    /// A technique rating.
    Rating {
        /// Of which criterion.
        criterion: Criterion,
        /// Its rating now, if seen.
        seen: Option<Rating>,
        /// The rating needed.
        needed: Rating,
    },
    /// A coach's word after a fall or report of pain.
    CoachConfirmation,
    /// A session without a fall or pain.
    CleanSession,
    /// A likelier next step.
    LikelierStep {
        /// The probability needed after it.
        needed: f64,
    },
    /// A barrier for the next step that the target allows.
    Equipment {
        /// The target's height, if there is a target.
        up_to: Option<Length>,
    },
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
                format!(
                    "the estimate suggests this spacing for {} of intervals held",
                    percent(wanted)
                )
            }
            Self::HoldLow { mean, limit } => {
                format!(
                    "only {} of intervals are expected to hold, below {}",
                    percent(mean),
                    percent(limit)
                )
            }
            Self::LatestBroken { held, intervals } => {
                format!(
                    "only {held} of {} held in the latest session",
                    count(intervals, "interval")
                )
            }
            Self::HitsHigh { hits, barriers } => {
                format!(
                    "{hits} of {} were hit while the rhythm held",
                    count(barriers, "barrier")
                )
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
            Self::NextStepUnlikely { mean, needed } => format!(
                "the next step would hold in {} of intervals, below {}",
                percent(mean),
                percent(needed)
            ),
            Self::StepBackIf {
                held_share,
                intervals,
                hit_share,
            } => format!(
                "step back when fewer than {} of {} hold, or more than {} of barriers are hit",
                percent(held_share),
                count(intervals, "interval"),
                percent(hit_share)
            ),
            _ => self.fixed_clause().to_owned(),
        }
    }

    /// The words of the reasons without figures.
    const fn fixed_clause(&self) -> &'static str {
        match self {
            Self::NoRuns => "no configuration has enough three-stride runs on file yet",
            Self::PainReported => "pain or an injury was reported",
            Self::Restricted { .. } => "a restriction is on the record",
            Self::Fell => "the athlete fell in the latest session",
            Self::WicketsHeld => "the wicket lane is held, so low barriers may replace the wickets",
            Self::Crowded => {
                "most broken intervals are crowded, so a shorter spacing would not help"
            }
            Self::NoLowerHeight => "the club owns nothing lower",
            Self::PastTarget => "this is beyond the target specification",
            Self::NotReady => "that is not enough for a step up yet",
            Self::TargetOverHurdles => {
                "the target is held over softer barriers and is raced over hurdles"
            }
            Self::LargerGap => {
                "both steps are as likely to hold and this one is further from the target"
            }
            Self::OnlyStep => "this is the only step open",
            Self::KindBeforeHeight => {
                "the next height needs other barriers, and the barriers change first"
            }
            Self::KindWithHeight => {
                "the next barriers start at a greater height, so the spacing comes in with them"
            }
            Self::NoNextStep => "the club owns no barrier for the next step within the target",
            Self::UntilCleared => {
                "running resumes when a coach confirms and any medical advice allows it"
            }
            _ => "",
        }
    }
}

impl Missing {
    /// The stable code.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Intervals { .. } => "intervals",
            Self::Days { .. } => "days",
            Self::HoldMean { .. } => "hold_mean",
            Self::HoldLow { .. } => "hold_low",
            Self::FewerHits { .. } => "fewer_hits",
            Self::HeldSession { .. } => "held_session",
            Self::Rating { .. } => "rating",
            Self::CoachConfirmation => "coach_confirmation",
            Self::CleanSession => "clean_session",
            Self::LikelierStep { .. } => "likelier_step",
            Self::Equipment { .. } => "equipment",
        }
    }

    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&format!("a step up needs {}", self.clause()))
    }

    /// The words, as a noun that can stand in a list.
    pub(super) fn clause(&self) -> String {
        match *self {
            Self::Intervals { count: n } => {
                format!("{} more at this configuration", count(n, "interval"))
            }
            Self::Days { count: n } => format!("{} more at this configuration", count(n, "day")),
            Self::HoldMean { needed } => {
                format!("{} of intervals expected to hold", percent(needed))
            }
            Self::HoldLow { needed } => {
                format!(
                    "enough runs to be sure that {} or more hold",
                    percent(needed)
                )
            }
            Self::FewerHits { share } => format!("hits on at most {} of barriers", percent(share)),
            Self::HeldSession { share } => {
                format!(
                    "a session with at least {} of intervals held",
                    percent(share)
                )
            }
            Self::Rating {
                criterion,
                seen,
                needed,
            } => format!(
                "the {} rated {} (now {})",
                criterion.words(),
                needed.words(),
                seen.map_or("not rated", Rating::words)
            ),
            Self::CoachConfirmation => "a coach's confirmation after the fall or pain".to_owned(),
            Self::CleanSession => "a session without a fall or pain".to_owned(),
            Self::LikelierStep { needed } => {
                format!(
                    "a next step expected to hold in {} of intervals",
                    percent(needed)
                )
            }
            Self::Equipment {
                up_to: Some(height),
            } => {
                format!("a higher barrier within the target's {}", metres(height))
            }
            Self::Equipment { up_to: None } => {
                "a higher barrier in the club's equipment".to_owned()
            }
        }
    }
}

fn runs_seen(at: Configuration, evidence: Evidence) -> String {
    format!(
        "{} of {} held on {} over {}, with {} of {} hit",
        evidence.held,
        count(evidence.intervals(), "interval"),
        count(evidence.days, "day"),
        place(at),
        evidence.hits,
        count(evidence.barriers, "barrier"),
    )
}

/// "84 % of intervals held (66 to 95 %)".
pub(super) fn expected(hold: Hold) -> String {
    format!(
        "{} of intervals held ({:.0} to {})",
        percent(hold.mean),
        hold.p05 * 100.0,
        percent(hold.p95)
    )
}

/// "low barriers at 0.45 m, 6.50 m apart".
pub(super) fn place(at: Configuration) -> String {
    format!(
        "{} at {}, {} apart",
        plural(at.barrier_kind),
        metres(at.height),
        metres(at.spacing)
    )
}

/// The kind's everyday plural.
pub(super) const fn plural(kind: BarrierKind) -> &'static str {
    match kind {
        BarrierKind::Wicket => "wickets",
        BarrierKind::Foam => "foam barriers",
        BarrierKind::LowBarrier => "low barriers",
        BarrierKind::Hurdle => "hurdles",
    }
}

/// Metres to the centimetre, or to the millimetre where the length has some.
pub(super) fn metres(length: Length) -> String {
    if length.mm().is_multiple_of(10) {
        format!("{:.2} m", length.metres())
    } else {
        format!("{:.3} m", length.metres())
    }
}

/// A clause as a sentence.
pub(super) fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), letters.as_str())
    })
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn count(n: u32, thing: &str) -> String {
    format!("{n} {thing}{}", if n == 1 { "" } else { "s" })
}

/// The ISO 8601 date of a day since 1970-01-01.
///
/// # Source
/// Counting years from 1 March makes the leap day the last of its year (common practice, no source).
fn date(day: i32) -> String {
    let z = i64::from(day) + 719_468;
    let era = z.div_euclid(146_097);
    let day_of_era = z.rem_euclid(146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * day_of_year + 2) / 153;
    let month = if shifted < 10 {
        shifted + 3
    } else {
        shifted - 9
    };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!(
        "{year:04}-{month:02}-{:02}",
        day_of_year - (153 * shifted + 2) / 5 + 1
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_since_1970_read_as_dates() {
        assert_eq!(date(0), "1970-01-01");
        assert_eq!(date(-1), "1969-12-31");
        assert_eq!(date(11_016), "2000-02-29");
        assert_eq!(date(20_000), "2024-10-04");
    }
}
