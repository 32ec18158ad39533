//! What a step up still needs, in words.

use super::figures::{count, listed, metres, percent, sentence, words};
use crate::decision::{Criterion, Missing, Rating};

impl Missing {
    /// One English sentence.
    pub fn text(&self) -> String {
        sentence(&format!("a step up needs {}", self.clause()))
    }

    /// The words, as a noun that can stand in a list.
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

/// The first things that a step up needs, safety first, as one clause; `named` when the text before has named the
/// criteria that are not rated high enough. Takes about as many words as are `left`; what is left out stands in the list
/// of what is missing.
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

const LEAD_WHEN_CUT: &str = "a step up first needs";

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

/// "12 more intervals on 2 more days".
fn runs(missing: &[Missing]) -> Option<String> {
    let intervals = missing.iter().find(|one| matches!(one, Missing::Intervals { .. })).map(Missing::clause);
    let days = missing.iter().find(|one| matches!(one, Missing::Days { .. })).map(Missing::clause);
    match (intervals, days) {
        (Some(intervals), Some(days)) => Some(format!("{intervals} on {days}")),
        (one, other) => one.or(other),
    }
}

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
