//! What a step up still needs, in words.
//!
//! The list is computed whatever the decision is, also where the athlete rests. Each entry is one sentence here
//! and one code in [`Missing::CODES`]; together they are the end of an explanation ([`needs`]). When each is on
//! the list, with the policy's defaults:
//!
//! | code | on the list while |
//! | --- | --- |
//! | `intervals` | fewer than 12 intervals count at the current configuration |
//! | `days` | they were run on fewer than 2 days |
//! | `hold_mean` | the mean P(hold) here is below 0.80 |
//! | `hold_low` | its 5 % quantile is below 0.60 |
//! | `fewer_hits` | over 10 % of barriers are hit here, or over 20 % in the latest session |
//! | `held_session` | the latest session broke the rhythm: under 50 % of at least 8 intervals held |
//! | `rating` | lead leg, trail leg or walkover is below secure or not rated, or another criterion is rated below it |
//! | `clean_session` | the athlete fell in the latest session, or a report is open |
//! | `coach_confirmation` | that, or a return, waits for a coach's word |
//! | `sessions_back` | fewer than two sessions were run since a return |
//! | `dry_surface` | today's surface is wet or uneven |
//! | `likelier_step` | nothing else is missing, and no next step reaches 0.65 |
//! | `equipment` | the club owns no barrier for a next step, or to come back to the target over |
//!
//! The last two come with the rule that finds them; arms count among the criteria only where the club says so.

use super::figures::{count, listed, metres, percent, sentence, words};
use crate::decision::{Criterion, Missing, Rating};

impl Missing {
    /// One English sentence, "A step up needs ...".
    ///
    /// ```
    /// use lanewright_compute::decision::{Criterion, Missing, Rating};
    ///
    /// let missing = Missing::Rating { criterion: Criterion::TrailLeg, seen: Some(Rating::Emerging), needed: Rating::Secure };
    /// assert_eq!(missing.text(), "A step up needs the trail leg rated secure (now emerging).");
    /// ```
    pub fn text(&self) -> String {
        sentence(&format!("a step up needs {}", self.clause()))
    }

    /// The words, as a noun that can stand in a list behind "a step up needs".
    fn clause(&self) -> String {
        match *self {
            Self::Intervals { count: n } => count(n, "more interval"),
            Self::Days { count: n } => count(n, "more day"),
            Self::HoldMean { needed } => format!("{} of intervals expected to hold", percent(needed)),
            Self::HoldLow { needed } => format!("more runs to show that at least {} hold", percent(needed)),
            Self::FewerHits { share } => format!("at most {} of barriers hit", percent(share)),
            Self::HeldSession { share } => format!("a session with at least {} held", percent(share)),
            Self::Rating { criterion, seen, needed } => format!(
                "the {} rated {} ({})",
                criterion.words(),
                needed.words(),
                seen.map_or_else(|| "not rated yet".to_owned(), |rating| format!("now {}", rating.words()))
            ),
            Self::CoachConfirmation => "a coach's confirmation of the return".to_owned(),
            Self::CleanSession => "a session without a fall or pain".to_owned(),
            Self::SessionsBack { count: n } => format!("{} after the return", count(n, "more session")),
            Self::DrySurface => "a dry, even surface".to_owned(),
            Self::LikelierStep { needed } => {
                format!("a next step that should hold {} of intervals", percent(needed))
            }
            Self::Equipment { up_to: Some(height) } => {
                format!("a barrier for the next step, up to the target's {}", metres(height))
            }
            Self::Equipment { up_to: None } => "a barrier for the next step in the club's equipment".to_owned(),
        }
    }
}

/// The first things that a step up needs, safety first, as one clause; `named` when the text before has named
/// the criteria that are not rated high enough. Takes about as many words as are `left`; what is left out
/// stands in the list of what is missing.
///
/// The order: a coach's word and a clean session, sessions back and a dry surface, ratings, runs, and what only
/// comes with them. When something is left out the clause says "first needs"; the first group is always said.
/// `missing` must not be empty.
///
/// Example: intervals (4), days (1) and a trail leg that is rated emerging, which was named before: "a step up
/// needs the trail leg rated secure, and 4 more intervals on 1 more day".
pub(super) fn needs(missing: &[Missing], named: bool, left: usize) -> String {
    let mut groups = groups(missing, named);
    let mut said = 0;
    let fits = |group: &&String| {
        // With the "and" that leads to the next.
        said += words(group) + 1;
        said + words(LEAD_WHEN_CUT) <= left + 1
    };
    let fitting = groups.iter().take_while(fits).count().max(1);
    let all = fitting >= groups.len();
    groups.truncate(fitting);
    let lead = if all { "a step up needs" } else { LEAD_WHEN_CUT };
    format!("{lead} {}", groups.join(", and "))
}

/// How the clause begins when not everything that is missing is said.
const LEAD_WHEN_CUT: &str = "a step up first needs";

/// What is missing in groups that read together, in the order in which they are said; each a noun for a list. A
/// surer estimate (`hold_low`) is not said beside a higher mean, which brings it along.
fn groups(missing: &[Missing], named: bool) -> Vec<String> {
    let mut groups = Vec::new();
    let clean = missing.contains(&Missing::CleanSession);
    let confirmed = missing.contains(&Missing::CoachConfirmation);
    groups.extend(match (clean, confirmed) {
        (true, true) => Some("a coach's confirmation and a session without a fall or pain".to_owned()),
        (true, false) => Some(Missing::CleanSession.clause()),
        (false, true) => Some("a coach's confirmation".to_owned()),
        (false, false) => None,
    });
    let alone = |one: &&Missing| matches!(one, Missing::SessionsBack { .. } | Missing::DrySurface);
    groups.extend(missing.iter().filter(alone).map(Missing::clause));
    groups.extend(ratings(missing, named));
    groups.extend(runs(missing));
    let surer = missing.iter().any(|one| matches!(one, Missing::HoldMean { .. }));
    let alone = |one: &&Missing| match one {
        Missing::HoldLow { .. } => !surer,
        Missing::HoldMean { .. }
        | Missing::FewerHits { .. }
        | Missing::HeldSession { .. }
        | Missing::LikelierStep { .. }
        | Missing::Equipment { .. } => true,
        _ => false,
    };
    groups.extend(missing.iter().filter(alone).map(Missing::clause));
    groups
}

/// "12 more intervals on 2 more days"; one alone where the other is not missing, none where neither is.
fn runs(missing: &[Missing]) -> Option<String> {
    let intervals = missing.iter().find(|one| matches!(one, Missing::Intervals { .. })).map(Missing::clause);
    let days = missing.iter().find(|one| matches!(one, Missing::Days { .. })).map(Missing::clause);
    match (intervals, days) {
        (Some(intervals), Some(days)) => Some(format!("{intervals} on {days}")),
        (one, other) => one.or(other),
    }
}

/// "the lead leg and trail leg rated secure"; "these rated secure" where several were named before. A single
/// one says what it is rated now, unless it was named. The rating needed is the same for all.
fn ratings(missing: &[Missing], named: bool) -> Option<String> {
    let rated: Vec<(Criterion, Option<Rating>, Rating)> = missing
        .iter()
        .filter_map(|one| match *one {
            Missing::Rating { criterion, seen, needed } => Some((criterion, seen, needed)),
            _ => None,
        })
        .collect();
    match rated.as_slice() {
        [] => None,
        [(criterion, _, needed)] if named => Some(format!("the {} rated {}", criterion.words(), needed.words())),
        [(criterion, seen, needed)] => {
            Some(Missing::Rating { criterion: *criterion, seen: *seen, needed: *needed }.clause())
        }
        [(.., needed), ..] if named => Some(format!("these rated {}", needed.words())),
        [(.., needed), ..] => {
            let words: Vec<&str> = rated.iter().map(|(criterion, ..)| criterion.words()).collect();
            Some(format!("the {} rated {}", listed(&words), needed.words()))
        }
    }
}
