//! Reasons in words.

use super::figures::{count, date, likely, metres, percent, place, sentence};
use crate::decision::{Criterion, Evidence, Rating, Reason, SESSIONS_BACK, Surface};
use crate::wellbeing::{Report, Reported};

impl Reason {
    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&self.clause())
    }

    #[allow(clippy::too_many_lines)] // one arm a reason, so that the compiler misses none
    fn clause(&self) -> String {
        match *self {
            Self::NoRuns => "too few three-stride runs are on file to judge".to_owned(),
            Self::RunsSeen { at, evidence } => format!(
                "{} on {} over {}, with {} of {} hit",
                held(evidence),
                count(evidence.days, "day"),
                place(at),
                evidence.hits,
                count(evidence.barriers, "barrier"),
            ),
            Self::CountedToo { intervals, days } => {
                let counts = if intervals == 1 { "counts" } else { "count" };
                let more = if days > 0 { format!(", with {}", count(days, "more day")) } else { String::new() };
                format!("{} at least as demanding elsewhere {counts} as well{more}", count(intervals, "interval"))
            }
            Self::HoldHere { hold } => format!("of the intervals here expect {}", likely(hold)),
            Self::PainReported { report } => reported(report),
            Self::Restricted { until } => restricted(until),
            Self::Fell => "the athlete fell in the latest session".to_owned(),
            Self::TechniqueGate { criterion, seen } => rated(criterion, seen),
            Self::FirstLane { wanted } => {
                format!("at this spacing at least {} of intervals should hold, with something in hand", percent(wanted))
            }
            Self::LikeliestLane { wanted } => {
                format!("no spacing should hold {} of intervals yet, and this one comes closest", percent(wanted))
            }
            Self::WicketsHeld => "the rhythm holds over wickets, so the lowest barriers may replace them".to_owned(),
            Self::HoldLow { mean, limit } => {
                format!("only {} of intervals should hold here, below the limit of {}", percent(mean), percent(limit))
            }
            Self::LatestBroken { held, intervals } => {
                format!("only {held} of {} held in the latest session", count(intervals, "interval"))
            }
            Self::Crowded => "most broken intervals were crowded, so coming in would not help; \
                a coach decides whether to open the spacing"
                .to_owned(),
            Self::HitsHigh { hits, barriers } => {
                let was = if hits == 1 { "was" } else { "were" };
                format!("{hits} of {} {was} hit while the rhythm held", count(barriers, "barrier"))
            }
            Self::SpacingAtMinimum { shortest } => {
                format!("the spacing cannot come in further: the club's shortest is {}", metres(shortest))
            }
            Self::NoLowerHeight => "the club owns nothing lower".to_owned(),
            Self::PastTarget => "this is beyond the target specification".to_owned(),
            Self::NotReady => "a step up is not open yet".to_owned(),
            Self::AtTarget { barriers, approach } => format!(
                "the target's height and spacing hold; the race has {} and an approach of {}",
                count(barriers, "barrier"),
                metres(approach)
            ),
            Self::TargetOverHurdles => "the target holds over softer barriers, but the race is over hurdles".to_owned(),
            Self::LikelierStep { taken, other } => format!(
                "of the two next steps this one is likelier to hold, {} of intervals against {}",
                percent(taken),
                percent(other)
            ),
            Self::LargerGap => {
                "both next steps are as likely to hold, and this one is further from the target".to_owned()
            }
            Self::SpacingFirst => "both next steps are as likely to hold, and spacing comes before height".to_owned(),
            Self::OnlyStep => "this is the only next step likely enough to hold".to_owned(),
            Self::KindBeforeHeight => "the next height needs other barriers, so these come first".to_owned(),
            Self::KindWithHeight => "the next barriers start higher, so the spacing comes in with them".to_owned(),
            Self::NextStepUnlikely { mean, needed } => format!(
                "the likeliest next step should hold only {} of intervals, and {} are needed",
                percent(mean),
                percent(needed)
            ),
            Self::NoNextStep => "the club owns no barrier for the next step".to_owned(),
            Self::StepBackIf { held_share, intervals, hit_share } => format!(
                "step back if the athlete falls, holds under {} of {intervals} or more intervals, \
                 or hits over {} of barriers",
                percent(held_share),
                percent(hit_share)
            ),
            Self::UntilCleared => {
                "running resumes only when a coach confirms it and any medical advice allows it".to_owned()
            }
            Self::Returning { last_held: Some(held) } => format!(
                "back after a report or restriction: one height lower and at least one step closer than last held, \
                 {}; {SESSIONS_BACK} sessions before a step up",
                place(held)
            ),
            Self::Returning { last_held: None } => format!(
                "back after a report or restriction: an easy first lane, and {SESSIONS_BACK} sessions before a step up"
            ),
            Self::Surface { surface } => {
                format!("{}: wickets or soft barriers only, one step closer and no step up", underfoot(surface))
            }
            Self::CoachAccepted => "a coach accepted this advice".to_owned(),
            Self::CoachOverrode => "a coach chose this instead of the advice".to_owned(),
            Self::WordUntil { until } => {
                format!("this stands until {}, the coach's next word, or runs that speak against it", date(until))
            }
            Self::AgainstWord { held, intervals, hits, barriers } => format!(
                "since the coach's word {held} of {} held and {hits} of {} {} hit, so it no longer stands",
                count(intervals, "interval"),
                count(barriers, "barrier"),
                if hits == 1 { "was" } else { "were" }
            ),
            Self::UntilTargetMoves => "this changes when the target does, with the next age group or season".to_owned(),
        }
    }
}

/// "18 of 20 intervals held".
pub(super) fn held(evidence: Evidence) -> String {
    format!("{} of {} held", evidence.held, count(evidence.intervals(), "interval"))
}

pub(super) fn restricted(until: Option<i32>) -> String {
    match until {
        Some(day) => format!("a restriction stands until {}", date(day)),
        None => "a restriction stands with no end date".to_owned(),
    }
}

/// "pain was reported on 2026-11-24".
pub(super) fn reported(report: Reported) -> String {
    let what = match report.what {
        Report::Pain => "pain",
        Report::Illness => "an illness",
        Report::Injury => "an injury",
    };
    format!("{what} was reported on {}", date(report.on))
}

/// "the surface is wet".
pub(super) const fn underfoot(surface: Surface) -> &'static str {
    match surface {
        Surface::Wet => "the surface is wet",
        Surface::Uneven => "the surface is uneven",
    }
}

fn rated(criterion: Criterion, seen: Option<Rating>) -> String {
    match seen {
        Some(rating) => format!("the {} is rated {}", criterion.words(), rating.words()),
        None => format!("the {} has no recent rating", criterion.words()),
    }
}
