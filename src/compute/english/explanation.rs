//! A whole decision in three short sentences.
//!
//! 1. What was seen, and what it implies: the runs at the current configuration, then up to three reasons as
//!    clauses with their conjunctions.
//! 2. What to do, with the lane in full and what to expect there.
//! 3. What would change it: the reason that looks ahead, else what a step up still needs, else more runs.
//!
//! A coach reads it at the side of the track, so it has sixty words at most. Clauses of the first sentence are
//! given up for that, the last first; the list of reasons has them all. Which clause leads with "and", "but" or
//! "so" is part of the reason: "so" where the decision follows from it, "but" where it speaks against what was
//! seen. A second "but" would turn the sentence twice and becomes "and".
//!
//! # Worked example
//! Seven of eight intervals held over wickets at 0.30 m, 5.75 m apart, on one day, and the trail leg is rated
//! emerging. The reasons are `runs_seen`, `hold_here`, `technique_gate` and `not_ready`; a step up lacks a
//! rating, four intervals and a day.
//!
//! ```text
//! seen     7 of 8 intervals held over wickets at 0.30 m, 5.75 m apart  + but the trail leg is rated emerging
//! action   stay with wickets at 0.30 m, 5.75 m apart: expect 90 % held (likely 75 to 100 %)
//! ahead    a step up needs the trail leg rated secure, and 4 more intervals on 1 more day
//! ```
//!
//! `hold_here` is said by the second sentence, and "a step up is not open yet" goes, since the rating says why.
//! That is 49 words.
//!
//! # Used from
//! Recommendations (with the reasons one by one beside it), the athlete's card, the squad, and who rests in a
//! lane plan.

use super::figures::{count, likely, listed, metres, percent, place, plural, sentence, set_to, words};
use super::missing::needs;
use super::reasons::{held, reported, restricted, underfoot};
use crate::decision::{Configuration, Criterion, Decision, DecisionKind, Rating, Reason};

/// Most words of an explanation, figures with their units counted as one (design choice).
const WORDS: usize = 60;
/// Most clauses of the first sentence beside the runs, fewer where the words do not reach; the reasons list
/// them all.
const CLAUSES: usize = 3;

impl Decision {
    /// Three plain English sentences of at most sixty words: what was seen and what it implies; what to do;
    /// what would change it.
    ///
    /// Tried with three clauses, then with two; with one it is taken however long it is, which the test on
    /// random athletes has not seen above sixty. The same decision always gives the same text.
    pub fn explanation(&self) -> String {
        let texts = (1..=CLAUSES).rev().map(|clauses| (clauses, self.explained(clauses)));
        let mut short = texts.filter(|(clauses, text)| *clauses == 1 || words(text) <= WORDS);
        short.next().map_or_else(String::new, |(_, text)| text)
    }

    /// The sentences, with so many clauses beside the runs. What is missing gets the words that the first two
    /// sentences leave.
    fn explained(&self, clauses: usize) -> String {
        let now = format!("{} {}", sentence(&self.seen(clauses)), sentence(&self.action()));
        let gated = self.reasons.iter().any(|reason| matches!(reason, Reason::TechniqueGate { .. }));
        let ahead = match self.reasons.iter().find(|reason| reason.looks_ahead()) {
            Some(reason) => reason.text(),
            None if self.missing.is_empty() => "More runs would change this.".to_owned(),
            None => sentence(&needs(&self.missing, gated, WORDS.saturating_sub(words(&now)))),
        };
        format!("{now} {ahead}")
    }

    /// What was seen and what it implies, as clauses with their own conjunctions.
    ///
    /// The technique that stands in the way is one clause for all its criteria and comes last; it takes the
    /// place of "a step up is not open yet". Without runs the first clause opens the sentence without its
    /// conjunction. Empty only when no reason has a clause.
    fn seen(&self, most: usize) -> String {
        let runs = self.reasons.iter().find_map(|reason| match *reason {
            Reason::RunsSeen { at, evidence } => Some(format!("{} over {}", held(evidence), place(at))),
            _ => None,
        });
        let mut clauses: Vec<(&str, String)> = self.reasons.iter().filter_map(|reason| self.short(reason)).collect();
        let gate = self.gate();
        if let Some(gate) = gate {
            clauses.retain(|(_, clause)| clause != NOT_OPEN);
            let first_lane = self.current.is_none() && !clauses.is_empty();
            clauses.push((if first_lane { "and" } else { "but" }, gate));
        }
        clauses.truncate(most);
        let mut said = runs.unwrap_or_default();
        let mut turned = false;
        for (conjunction, clause) in clauses {
            // A second "but" would turn the sentence twice.
            let conjunction = if turned && conjunction == "but" { "and" } else { conjunction };
            turned |= conjunction == "but";
            if said.is_empty() {
                said = clause;
            } else {
                said = format!("{said}, {conjunction} {clause}");
            }
        }
        said
    }

    /// A reason as a short clause and the conjunction that leads to it; none where another sentence says it:
    /// what is expected, what to do and what would change it. For a change of barriers the likelihood of the
    /// step goes without saying, as the change has a reason of its own.
    fn short(&self, reason: &Reason) -> Option<(&'static str, String)> {
        let (conjunction, clause) = match *reason {
            Reason::NoRuns => ("and", "too few three-stride runs are on file"),
            Reason::PainReported { report } => return Some(("and", reported(report))),
            Reason::Returning { .. } => ("and", "the athlete is just back"),
            Reason::Surface { surface } => ("but", underfoot(surface)),
            Reason::Restricted { until } => return Some(("and", restricted(until))),
            Reason::Fell => ("but", "the athlete fell in the latest session"),
            Reason::WicketsHeld => ("so", "the lowest barriers may replace them"),
            Reason::HoldLow { mean, .. } => {
                return Some(("and", format!("only {} should hold here", percent(mean))));
            }
            Reason::LatestBroken { held, intervals } => {
                return Some(("but", format!("only {held} of {intervals} in the last session")));
            }
            Reason::Crowded => ("and", "most broken ones were crowded, so coming in would not help"),
            Reason::HitsHigh { hits, barriers } => {
                let was = if hits == 1 { "was" } else { "were" };
                return Some(("but", format!("{hits} of {} {was} hit", count(barriers, "barrier"))));
            }
            Reason::SpacingAtMinimum { .. } => ("and", "the spacing cannot come in further"),
            Reason::NoLowerHeight => ("and", "the club owns nothing lower"),
            Reason::PastTarget => ("but", "that is beyond the target specification"),
            Reason::NotReady => ("but", NOT_OPEN),
            Reason::AtTarget { .. } => ("so", "the target specification is held"),
            Reason::TargetOverHurdles => ("but", "the race is over hurdles"),
            Reason::LikelierStep { .. } | Reason::LargerGap if self.kind == DecisionKind::ChangeBarrierKind => {
                return None;
            }
            Reason::LikelierStep { .. } => {
                return Some(("and", format!("{} is the likelier next step", self.stepped())));
            }
            Reason::LargerGap => return Some(("and", format!("{} is further from the target", self.stepped()))),
            Reason::SpacingFirst => ("so", "a step up is open, spacing first"),
            Reason::OnlyStep => ("so", "a step up is open"),
            Reason::KindBeforeHeight => ("but", "the next height needs other barriers"),
            Reason::KindWithHeight => ("but", "the next barriers start higher"),
            Reason::NextStepUnlikely { mean, .. } => {
                return Some(("but", format!("the likeliest next step should hold only {}", percent(mean))));
            }
            Reason::NoNextStep => ("but", "the club owns no barrier for the next step"),
            Reason::CoachAccepted => ("and", "a coach accepted this advice"),
            Reason::CoachOverrode => ("but", "a coach chose otherwise"),
            Reason::AgainstWord { .. } => ("and", "the coach's word no longer stands after these runs"),
            Reason::RunsSeen { .. }
            | Reason::CountedToo { .. }
            | Reason::HoldHere { .. }
            | Reason::TechniqueGate { .. }
            | Reason::FirstLane { .. }
            | Reason::LikeliestLane { .. }
            | Reason::StepBackIf { .. }
            | Reason::UntilCleared
            | Reason::WordUntil { .. }
            | Reason::UntilTargetMoves => return None,
        };
        Some((conjunction, clause.to_owned()))
    }

    /// The variable that steps up; the height for every step that is not one of spacing.
    fn stepped(&self) -> &'static str {
        if self.kind == DecisionKind::StepUpSpacing { "spacing" } else { "height" }
    }

    /// The technique ratings that stand against barriers or a step up, as one clause: "the lead leg is rated
    /// emerging", "the lead leg, trail leg and walkover are not rated", "the lead leg and walkover fall short"
    /// where some are rated. None where nothing stands against it.
    fn gate(&self) -> Option<String> {
        let below: Vec<(Criterion, Option<Rating>)> = self
            .reasons
            .iter()
            .filter_map(|reason| match *reason {
                Reason::TechniqueGate { criterion, seen } => Some((criterion, seen)),
                _ => None,
            })
            .collect();
        let words: Vec<&str> = below.iter().map(|(criterion, _)| criterion.words()).collect();
        let how = match below.as_slice() {
            [] => return None,
            [(_, Some(rating))] => format!("is rated {}", rating.words()),
            [(_, None)] => "is not rated".to_owned(),
            _ if below.iter().all(|(_, seen)| seen.is_none()) => "are not rated".to_owned(),
            _ => "fall short".to_owned(),
        };
        Some(format!("the {} {how}", listed(&words)))
    }

    /// What to do, as one clause: the lane in full, what to expect there, and the coach's word where one is
    /// needed.
    ///
    /// "Once a coach confirms" leads, because the athlete does not run before; only where a crowded athlete
    /// stays until the coach opens the spacing does it come last. Without a proposal it is the rest. The
    /// expectation is left out where the model has none.
    fn action(&self) -> String {
        let Some(to) = self.proposed else {
            return "no running over barriers: rest, and refer the athlete for medical advice".to_owned();
        };
        let (before, after) = match self.needs_confirmation {
            false => ("", ""),
            true if self.kind == DecisionKind::Consolidate && self.reasons.contains(&Reason::Crowded) => {
                ("", ", until a coach confirms a longer spacing")
            }
            true => ("once a coach confirms, ", ""),
        };
        let hold = self.hold_proposed.filter(|hold| hold.mean.is_finite());
        let expectation = hold.map_or_else(String::new, |hold| format!(": expect {}", likely(hold)));
        format!("{before}{}{after}{expectation}", self.what(to))
    }

    /// What changes, in the verb: open, bring in, raise, lower, go up, come down, change, stay, start, or run a
    /// race test.
    ///
    /// Where one variable alone moves, the other is said to stay ("still 6.50 m apart"), so that nobody carries
    /// more than is needed. Where both move the lane is said in full.
    fn what(&self, to: Configuration) -> String {
        let Some(from) = self.current else {
            return format!("start with {}", place(to));
        };
        let same = from.barrier_kind == to.barrier_kind;
        let lifted = |verb: &str| {
            let (kind, height, spacing) = (plural(to.barrier_kind), metres(to.height), metres(to.spacing));
            format!("{verb} the {kind} to {height}, still {spacing} apart")
        };
        let moved = |verb: &str| format!("{verb} to {}, still over {}", metres(to.spacing), set_to(to));
        match self.kind {
            DecisionKind::Consolidate => format!("stay with {}", place(to)),
            DecisionKind::RaceTest => format!("run a race test over {}", self.race(to)),
            DecisionKind::ChangeBarrierKind => format!("change to {}", place(to)),
            DecisionKind::StepUpSpacing => moved("open the spacing"),
            DecisionKind::StepIn => moved("bring the spacing in"),
            DecisionKind::StepUpHeight if same && from.spacing == to.spacing => lifted("raise"),
            DecisionKind::StepUpHeight => format!("go up to {}", place(to)),
            DecisionKind::LowerHeight if same && from.spacing == to.spacing => lifted("lower"),
            DecisionKind::LowerHeight | DecisionKind::RestAndRefer => format!("come down to {}", place(to)),
        }
    }

    /// "8 hurdles at 0.762 m, 8.00 m apart, 12.00 m from the start": the target with barriers and approach of
    /// the race, as the reason has them.
    fn race(&self, to: Configuration) -> String {
        let target = self.reasons.iter().find_map(|reason| match *reason {
            Reason::AtTarget { barriers, approach } => Some((barriers, approach)),
            _ => None,
        });
        match target {
            Some((barriers, approach)) => format!("{barriers} {}, {} from the start", place(to), metres(approach)),
            None => place(to),
        }
    }
}

/// The clause of [`Reason::NotReady`]; named, since the technique that stands in the way replaces it.
const NOT_OPEN: &str = "a step up is not open yet";
