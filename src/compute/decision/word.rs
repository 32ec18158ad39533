//! The coach's word: an accepted or overridden decision that governs what an athlete runs over.
//!
//! A decision that names a configuration w stands as the athlete's advised configuration from its day to its last day, or
//! until the next one. It ends early with evidence against it. Of the runs that were recorded after it, over w or anything
//! easier, with n intervals of which k were held, and m barriers of which j were hit:
//!
//! ```text
//! n >= 8 and k < n / 2,      or m >= 8 and j > m / 5      (numbers of the policy)
//! a fall, a report of pain, illness or injury, or a restriction after it
//! over barriers: lead leg, trail leg or walkover rated below secure after it
//! w beyond the target, or over barriers that the club no longer owns
//! n >= 8, w accepted, and the rules now advise something harder than w
//! ```
//!
//! While it stands, the region is that of w instead of the rules' own advice, so lane plans, fitting lanes and race tests
//! follow it. What the rules say without it stays in [`Governed`]: the next decision is measured against that.
//!
//! The last line is for accepted words alone: who followed the rules follows them on when new runs lead further. What a coach
//! chose instead of them stands against a step up as well, to its last day: the coach sees what the rules would advise.
//!
//! # Source
//! Design choice.

use super::policy::Policy;
use super::reasons::Reason;
use super::region::{Region, rung};
use super::rules::{Draft, Here, ROUNDING, Rules, exceeds};
use super::situation::{Evidence, Rating};
use super::{Configuration, DecisionKind};
use crate::units::BarrierKind;

/// Days that a word may stand at most: eight weeks, as long as runs count as evidence (design choice).
pub const WORD_DAYS: i32 = 56;

/// What a coach decided about an athlete's configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Word {
    /// What the athlete runs over.
    pub at: Configuration,
    /// Whether the coach chose otherwise than advised.
    pub overridden: bool,
    /// Whether the coach confirmed a second time, against the soft walls of that day.
    pub coach_accepts: bool,
    /// Its day, days since 1970-01-01.
    pub on: i32,
    /// The first day whose runs were recorded after it, days since 1970-01-01.
    pub since: i32,
    /// The last day on which it stands, days since 1970-01-01.
    pub until: i32,
    /// Whether a fall, a report or a restriction came after it.
    pub overtaken: bool,
    /// The lowest rating of lead leg, trail leg or walkover that was recorded after it.
    pub gate_rated: Option<Rating>,
}

impl Word {
    /// Whether a run over a configuration speaks of this one: it is no harder in kind, height or spacing.
    pub fn is_tried_by(&self, run: Configuration, policy: &Policy) -> bool {
        rung(run.barrier_kind) <= rung(self.at.barrier_kind)
            && run.height.mm() <= self.at.height.mm() + policy.height_tolerance.mm()
            && run.spacing.mm() <= self.at.spacing.mm() + policy.spacing_tolerance.mm()
    }
}

/// A word and what was run since, over its configuration or anything easier.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Given {
    /// The word.
    pub word: Word,
    /// The runs.
    pub tried: Evidence,
}

/// A word that stands, and what the rules say without it.
#[derive(Clone, Debug, PartialEq)]
pub struct Governed {
    /// The word.
    pub word: Word,
    /// What the rules alone would do.
    pub kind: DecisionKind,
    /// Where they would send the athlete.
    pub proposed: Option<Configuration>,
    /// Where they would let the athlete run.
    pub region: Region,
}

impl Rules<'_> {
    /// The word in force on the day, unless health or technique ended it; whether or not the runs speak against it.
    fn word_of_the_day(&self) -> Option<Given> {
        let ended = |word: &Word| {
            let below = word.gate_rated.is_some_and(|rating| rating < self.policy.min_rating);
            word.overtaken || (below && word.at.barrier_kind != BarrierKind::Wicket)
        };
        self.situation.word.filter(|given| self.situation.on <= given.word.until && !ended(&given.word))
    }

    /// What the runs since the word say against it.
    pub(super) fn against_word(&self) -> Option<Reason> {
        let tried = self.word_of_the_day()?.tried;
        let policy = self.policy;
        let few = tried.intervals() >= policy.step_back_intervals
            && f64::from(tried.held) + ROUNDING < policy.step_in_held_share * f64::from(tried.intervals());
        let hit = tried.barriers >= policy.step_back_intervals
            && exceeds(tried.hits, tried.barriers, policy.lower_height_hit_share);
        (few || hit).then(|| Reason::AgainstWord {
            held: tried.held,
            intervals: tried.intervals(),
            hits: tried.hits,
            barriers: tried.barriers,
        })
    }

    /// Whether the runs since an accepted word carry the rules beyond it.
    fn is_outgrown(&self, given: &Given, alone: &Draft) -> bool {
        !given.word.overridden
            && given.tried.intervals() >= self.policy.step_back_intervals
            && alone.proposed.is_some_and(|to| to.is_harder_than(given.word.at))
    }

    /// The word that governs, given what the rules alone say and where they let the athlete run.
    pub(super) fn word(&self, alone: &Draft, region: &Region) -> Option<Word> {
        let given = self.word_of_the_day().filter(|given| !self.is_outgrown(given, alone))?;
        let word = self.against_word().is_none().then_some(given.word)?;
        region.check_hard(word.at).ok()?;
        let at = region.settled(word.at)?;
        // A wet or uneven surface outranks it: it waits for a dry day, unless it asks for no more than that day's advice.
        let underfoot = self.situation.surface.is_some();
        if underfoot && region.check(at, (self.hold)(at.height, at.spacing).mean).is_err() {
            return None;
        }
        Some(Word { at, ..word })
    }

    /// What a word says; the rules' own draft where both agree.
    pub(super) fn obey(&self, word: Word, alone: &Draft) -> Draft {
        let said = if word.overridden { Reason::CoachOverrode } else { Reason::CoachAccepted };
        let until = Reason::WordUntil { until: word.until };
        if alone.proposed == Some(word.at) {
            let mut reasons = alone.reasons.clone();
            reasons.extend([said, until]);
            return Draft { reasons, confirm: false, ..alone.clone() };
        }
        let mut reasons = self.current.map_or_else(|| vec![Reason::NoRuns], Here::seen);
        reasons.extend([said, until]);
        Draft { kind: self.towards(word.at), proposed: Some(word.at), reasons, confirm: false, missing: Vec::new() }
    }

    /// What leads from the current configuration to another, the most noticeable change first.
    fn towards(&self, to: Configuration) -> DecisionKind {
        let Some(from) = self.current.map(|here| here.at) else { return DecisionKind::Consolidate };
        if from.barrier_kind != to.barrier_kind {
            DecisionKind::ChangeBarrierKind
        } else if self.ladder.above(to.height, from.height) {
            DecisionKind::StepUpHeight
        } else if self.ladder.above(from.height, to.height) {
            DecisionKind::LowerHeight
        } else if to.spacing > from.spacing {
            DecisionKind::StepUpSpacing
        } else if to.spacing < from.spacing {
            DecisionKind::StepIn
        } else {
            DecisionKind::Consolidate
        }
    }
}
