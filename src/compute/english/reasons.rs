//! Reasons in words.
//!
//! A decision carries its reasons in the order in which they read; each is one sentence here and one code in
//! [`Reason::CODES`]. When each is given, by the rule of [`crate::decision`] that gives it (figures are those
//! of the club's policy, here its defaults):
//!
//! | code | given |
//! | --- | --- |
//! | `no_runs` | no configuration has six intervals yet: the first lane, or a coach's word without runs |
//! | `runs_seen` | by each rule that looks at the current configuration: held of run, days, barriers hit |
//! | `counted_too` | beside it, where intervals at something at least as demanding count as well |
//! | `hold_here` | beside it, where the model's belief at the current configuration matters: staying and stepping up |
//! | `pain_reported` | rest: a report of pain, illness or injury is open |
//! | `restricted` | rest: a restriction is in force, with its last day where it has one |
//! | `until_cleared` | rest, last: what ends it |
//! | `fell` | a fall in the latest session |
//! | `technique_gate` | one for each criterion that stands against barriers or a step up, with its rating where there is one |
//! | `first_lane` | the first wicket lane reaches P(hold) 0.80 |
//! | `likeliest_lane` | no spacing reaches it: the likeliest is taken |
//! | `wickets_held` | from wickets to the lowest barriers |
//! | `hold_low` | mean P(hold) here below 0.50 or below the floor of 0.65, whichever is higher |
//! | `latest_broken` | under 50 % of at least 8 intervals of the latest session held |
//! | `crowded` | most failures crowded: coming in would make it worse, or the lane opens |
//! | `hits_high` | over 20 % of at least 8 barriers hit while the rhythm holds |
//! | `spacing_at_minimum` | the spacing should come in and is the club's shortest |
//! | `no_lower_height` | the height should come down and nothing lower is owned |
//! | `past_target` | the current configuration is higher or wider than the target |
//! | `until_target_moves` | beside it: what ends the stay within the target |
//! | `not_ready` | something is missing for a step up; the list of what is missing says what |
//! | `at_target` | the target is held: the race test, with barriers and approach of the race |
//! | `target_over_hurdles` | it is held over softer barriers and the club owns hurdles of that height |
//! | `likelier_step` | of two steps the likelier, by more than 0.005 |
//! | `larger_gap` | of two as likely, the one further from the target |
//! | `spacing_first` | of two as likely and as far, the spacing |
//! | `only_step` | one step alone is likely enough |
//! | `kind_before_height` | other barriers at the same spacing, before the height rises |
//! | `kind_with_height` | other barriers that start higher, with the spacing one step in where it can; a coach confirms |
//! | `next_step_unlikely` | the likeliest step stays below 0.65 |
//! | `no_next_step` | nothing is owned for a next step, or to come back to the target over |
//! | `step_back_if` | beside every step up, the race test and the way off wickets: when to come back |
//! | `returning` | after a report or restriction that has ended, with what was held last before it |
//! | `surface` | the session's surface is wet or uneven: second among the reasons |
//! | `coach_accepted`, `coach_overrode` | a coach's word stands |
//! | `word_until` | beside it: its last day |
//! | `against_word` | runs since a coach's word end it: beside what the rules say instead |
//!
//! Those that look ahead ([`Reason::looks_ahead`]) are the last sentence of an explanation; see
//! [`Decision::explanation`](crate::decision::Decision).

use super::figures::{count, date, likely, metres, percent, place, sentence};
use crate::decision::{Criterion, Evidence, Rating, Reason, SESSIONS_BACK, Surface};
use crate::wellbeing::{Report, Reported};

impl Reason {
    /// One English sentence.
    ///
    /// ```
    /// use lanewright_compute::decision::{Reason, Surface};
    ///
    /// assert_eq!(
    ///     Reason::LatestBroken { held: 1, intervals: 8 }.text(),
    ///     "Only 1 of 8 intervals held in the latest session."
    /// );
    /// assert_eq!(
    ///     Reason::Surface { surface: Surface::Wet }.text(),
    ///     "The surface is wet: wickets or soft barriers only, one step closer and no step up."
    /// );
    /// ```
    pub fn text(&self) -> String {
        sentence(&self.clause())
    }

    /// The reason as a clause. Shares and probabilities in whole per cent; the sessions of a return are those
    /// of the rule, not of the athlete: what is still to come stands among what is missing.
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
            Self::KindWithHeight => {
                "the next barriers start higher, so the spacing comes in with them where it can".to_owned()
            }
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

/// "18 of 20 intervals held". Intervals are all that were run, broken and crowded ones too.
pub(super) fn held(evidence: Evidence) -> String {
    format!("{} of {} held", evidence.held, count(evidence.intervals(), "interval"))
}

/// "a restriction stands until 2024-10-04", or that it has no end date.
pub(super) fn restricted(until: Option<i32>) -> String {
    match until {
        Some(day) => format!("a restriction stands until {}", date(day)),
        None => "a restriction stands with no end date".to_owned(),
    }
}

/// "pain was reported on 2026-11-24": what and when, nothing of what was noted.
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

/// "the trail leg is rated emerging", or that it has no recent rating: none inside the window of assessments.
fn rated(criterion: Criterion, seen: Option<Rating>) -> String {
    match seen {
        Some(rating) => format!("the {} is rated {}", criterion.words(), rating.words()),
        None => format!("the {} has no recent rating", criterion.words()),
    }
}
