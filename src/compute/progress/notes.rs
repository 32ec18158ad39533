//! What a forecast rests on and what weakens it: read beside every date.
//!
//! A date looks surer than it is; these sentences stand beside it. Each is a fact about the record or the forecast,
//! with its figures, and a stable code for clients that word it themselves.
//!
//! | note | when |
//! | --- | --- |
//! | `no_runs` | instead of a forecast |
//! | `training_goes_on` or `no_recent_runs` | one of the two, always |
//! | `thin_evidence` | more than half of the prior's variance remains |
//! | `uneven_rhythm` | no spacing reaches the probability that a step up asks for |
//! | `higher_than_run` | the higher of both targets stands above everything run so far |
//! | `longer_at_this_rate` | the target is likelier to take more than 26 weeks |
//! | `restricted` | the athlete rests, is restricted, was reported hurt or ill, or has left |
//!
//! Worked: a limit of 6.60 m over the target's height and a spacing of 7.50 m, rising by 0.02 m a week: "The target
//! asks for 0.90 m more than the limit there, and the limit rises by 0.02 m a week".

use std::collections::BTreeSet;

use super::WEEK;
use crate::advice::{Advice, EVIDENCE_DAYS, Record};
use crate::day::Day;
use crate::english::metres;
use crate::estimate::Dominance;
use crate::params::{CodeDoc, code};
use crate::units::Length;

/// Weeks that count as recent: those whose runs are evidence, from which the forecast takes how the athlete trains.
///
/// 8: 56 days of evidence.
const RECENT_WEEKS: i32 = EVIDENCE_DAYS / WEEK;

/// One thing to know about a forecast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Note {
    /// There is no forecast without runs.
    NoRuns,
    /// The assumption of every forecast.
    ///
    /// From 1 to 56.
    TrainingGoesOn {
        /// Training days of the latest eight weeks.
        days: u32,
    },
    /// No run in the latest eight weeks.
    NoRecentRuns,
    /// The estimate rests mostly on body and age.
    ThinEvidence,
    /// The target is higher than anything run so far.
    HigherThanRun {
        /// The highest barrier run.
        highest: Length,
        /// The target's height.
        target: Length,
    },
    /// No spacing is expected to hold as often as a step up asks for: the rhythm breaks unevenly.
    UnevenRhythm {
        /// The probability at the likeliest spacing.
        best: f64,
        /// The one asked for.
        needed: f64,
    },
    /// The target is likelier to take longer than the look ahead.
    LongerAtThisRate {
        /// Spacing of the target less the limit over its height, metres (m).
        gap_m: f64,
        /// How fast the limit is believed to rise, metres per week (m/week).
        rate_m: f64,
    },
    /// The athlete may not run at the moment.
    Restricted,
}

impl Note {
    /// Every code with its meaning; notes carry no parameters.
    ///
    /// In the order of the variants; once published a code never changes.
    pub const CODES: [CodeDoc; 8] = [
        code("no_runs", "There is no forecast without runs.", &[]),
        code("training_goes_on", "The dates assume that training goes on as it did.", &[]),
        code("no_recent_runs", "There was no run in the latest eight weeks.", &[]),
        code("thin_evidence", "The estimate rests mostly on body and age.", &[]),
        code("higher_than_run", "The target is higher than anything run so far.", &[]),
        code("uneven_rhythm", "No spacing is expected to hold as often as a step up asks for.", &[]),
        code("longer_at_this_rate", "The target is likelier to take longer than the look ahead.", &[]),
        code("restricted", "The athlete may not run at the moment.", &[]),
    ];

    /// The stable code.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoRuns => "no_runs",
            Self::TrainingGoesOn { .. } => "training_goes_on",
            Self::NoRecentRuns => "no_recent_runs",
            Self::ThinEvidence => "thin_evidence",
            Self::HigherThanRun { .. } => "higher_than_run",
            Self::UnevenRhythm { .. } => "uneven_rhythm",
            Self::LongerAtThisRate { .. } => "longer_at_this_rate",
            Self::Restricted => "restricted",
        }
    }

    /// One English sentence.
    ///
    /// Heights as everywhere ([`metres`]), rates to the centimetre, probabilities to the percent. A rate or gap below nought is told as nought.
    pub fn text(self) -> String {
        match self {
            Self::NoRuns => "There is no forecast before the first runs.".to_owned(),
            Self::TrainingGoesOn { days } => format!(
                "The dates assume that training goes on as in the last {RECENT_WEEKS} weeks ({days} training {}), that the advice \
                 is followed, that ratings stay, and that the athlete keeps improving at the rate seen so far; growth, illness \
                 and holidays are not foreseen.",
                if days == 1 { "day" } else { "days" }
            ),
            Self::NoRecentRuns => {
                format!(
                    "There was no run in the last {RECENT_WEEKS} weeks: the dates hold only if training starts again."
                )
            }
            Self::ThinEvidence => "There are few runs so far: the dates will move with the next sessions.".to_owned(),
            Self::HigherThanRun { highest, target } => format!(
                "The target stands {} high and nothing above {} was run so far: what the height costs is a guess.",
                metres(target),
                metres(highest)
            ),
            Self::UnevenRhythm { best, needed } => format!(
                "No spacing is expected to hold {:.0} % of intervals, the likeliest {:.0} %: a steadier rhythm has to come \
                 before the next step, and the dates take the rhythm to stay as uneven as it is.",
                needed * 100.0,
                best * 100.0
            ),
            Self::LongerAtThisRate { gap_m, rate_m } => format!(
                "The target asks for {:.2} m more than the limit there{}, and the limit rises by {:.2} m a week: more sessions a week, \
                 or a nearer race to aim at first, would bring a race test sooner.",
                gap_m.max(0.0),
                if gap_m > 0.0 { "" } else { ", but for a surer rhythm and the steps up to it" },
                rate_m.max(0.0)
            ),
            Self::Restricted => {
                "The athlete does not run at the moment: the dates hold only once running is allowed again.".to_owned()
            }
        }
    }
}

/// The notes of a forecast towards barriers of a height, with P(hold) at the likeliest spacing and the one that a step up asks
/// for; at least one run is on file.
///
/// Never empty. In the order of the module's table, without the first and the longer one, which the forecast adds.
pub(super) fn of(
    record: &Record,
    advice: &Advice<'_>,
    height: Length,
    (best, needed): (f64, f64),
    on: Day,
) -> Vec<Note> {
    let recent = on.days() - RECENT_WEEKS * WEEK + 1..=on.days();
    let days: BTreeSet<i32> = record.runs.iter().map(|run| run.day).filter(|day| recent.contains(day)).collect();
    let highest = record.runs.iter().filter(|run| run.day <= on.days()).map(|run| run.height).max().unwrap_or_default();
    let mut notes = vec![match u32::try_from(days.len()).unwrap_or(u32::MAX) {
        0 => Note::NoRecentRuns,
        days => Note::TrainingGoesOn { days },
    }];
    if advice.estimate.dominance() == Dominance::Prior {
        notes.push(Note::ThinEvidence);
    }
    if best < needed {
        notes.push(Note::UnevenRhythm { best, needed });
    }
    if height > highest {
        notes.push(Note::HigherThanRun { highest, target: height });
    }
    if advice.decision.region.closed().is_some() {
        notes.push(Note::Restricted);
    }
    notes
}
