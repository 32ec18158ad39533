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
//! Runs over something harder than w say nothing of w and are not counted; runs over something easier are, since whoever breaks there
//! breaks at w. A word never outranks rest: a closed region is a hard wall in its way. On a wet or uneven surface it waits for a dry day,
//! unless it asks for no more than that day's advice.
//!
//! # Why a word binds
//! A coach sees what no record holds: fear, a growth spurt, a race on Sunday. So the word replaces the rules' proposal everywhere and not
//! only on the screen where it was given; and because it does, it is bounded by hard walls, has a last day, and ends by itself on facts that
//! the coach did not know when it was given.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{Configuration, Evidence, Given, Hold, Policy, Situation, Word, decide};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let mm = Length::from_mm;
//! let at = Configuration { barrier_kind: BarrierKind::Wicket, height: mm(300), spacing: mm(5_500) };
//! let word = Word {
//!     at, overridden: true, coach_accepts: false, on: 19_990, since: 19_990, until: 20_010, overtaken: false, gate_rated: None,
//! };
//! let say = |tried: Evidence| {
//!     let situation = Situation { word: Some(Given { word, tried }), ..Situation::unseen(20_000) };
//!     decide(&situation, &Policy::default(), &|_, _| Hold { mean: 0.85, p05: 0.7, p95: 0.95 })
//! };
//! let stands = say(Evidence { held: 4, over_reached: 4, ..Evidence::default() });
//! assert_eq!((stands.proposed, stands.valid_until), (Some(at), 20_010));
//! assert!(stands.governed.is_some_and(|one| one.proposed != Some(at)), "what the rules say alone is kept beside it");
//! let broken = say(Evidence { held: 3, over_reached: 5, ..Evidence::default() });
//! assert!(broken.governed.is_none() && broken.reasons.iter().any(|one| one.code() == "against_word"));
//! ```
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
///
/// Every field is as it was recorded; whether the word stands on a day is decided with the runs and the ratings of that day. Days are days
/// since 1970-01-01.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Word {
    /// What the athlete runs over: as advised when it was accepted, as chosen when it was overridden.
    pub at: Configuration,
    /// Whether the coach chose otherwise than advised; such a word is not outgrown by new runs.
    pub overridden: bool,
    /// Whether the coach confirmed a second time, against the soft walls of that day; then the floor of P(hold) does not bind at `at`, nor
    /// does one variable at a time over its barrier.
    pub coach_accepts: bool,
    /// Its day.
    pub on: i32,
    /// The first day whose runs were recorded after it: its day, or the day after when that day was run before the word was given.
    pub since: i32,
    /// The last day on which it stands, at most [`WORD_DAYS`] after `on`.
    pub until: i32,
    /// Whether a fall was recorded after it, or a report or a restriction on its day or later.
    pub overtaken: bool,
    /// The lowest rating of lead leg, trail leg or walkover that was recorded after it; none where none was.
    pub gate_rated: Option<Rating>,
}

impl Word {
    /// Whether a run over a configuration speaks of this one: it is no harder in kind, height or spacing, within the tolerances. Whoever breaks
    /// over something easier breaks here as well; whoever breaks over something harder may hold here.
    ///
    /// ```
    /// use lanewright_compute::decision::{Configuration, Policy, Word};
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let mm = Length::from_mm;
    /// let at = Configuration { barrier_kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(6_500) };
    /// let word = Word {
    ///     at, overridden: false, coach_accepts: false, on: 0, since: 0, until: 7, overtaken: false, gate_rated: None,
    /// };
    /// let tried = |run| word.is_tried_by(run, &Policy::default());
    /// assert!(tried(Configuration { spacing: mm(6_520), ..at }), "what a tape and chalk cannot tell apart");
    /// assert!(!tried(Configuration { spacing: mm(6_750), ..at }));
    /// ```
    pub fn is_tried_by(&self, run: Configuration, policy: &Policy) -> bool {
        rung(run.barrier_kind) <= rung(self.at.barrier_kind)
            && run.height.mm() <= self.at.height.mm() + policy.height_tolerance.mm()
            && run.spacing.mm() <= self.at.spacing.mm() + policy.spacing_tolerance.mm()
    }
}

/// A word and what was run since, over its configuration or anything easier.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Given {
    /// The word, whether or not it stands.
    pub word: Word,
    /// The runs since [`Word::since`], within the weeks that count as evidence and after the latest return.
    pub tried: Evidence,
}

/// A word that stands, and what the rules say without it: so that a coach sees both, and summaries compare advice, word and what was run.
#[derive(Clone, Debug, PartialEq)]
pub struct Governed {
    /// The word, its height settled on one that the club owns.
    pub word: Word,
    /// What the rules alone would do.
    pub kind: DecisionKind,
    /// Where they would send the athlete, with what the day's surface makes of it.
    pub proposed: Option<Configuration>,
    /// Where they would let the athlete run: what the coach's next choice is held against.
    pub region: Region,
}

impl Rules<'_> {
    /// The word in force on the day, unless health or technique ended it; whether or not the runs speak against it. Technique ends a word over
    /// barriers alone: wickets are where technique is learned.
    fn word_of_the_day(&self) -> Option<Given> {
        let ended = |word: &Word| {
            let below = word.gate_rated.is_some_and(|rating| rating < self.policy.min_rating);
            word.overtaken || (below && word.at.barrier_kind != BarrierKind::Wicket)
        };
        self.situation.word.filter(|given| self.situation.on <= given.word.until && !ended(&given.word))
    }

    /// What the runs since the word say against it; none without a word, or while too few runs speak. Told as a reason beside what the rules
    /// say, so that a coach learns why their word no longer stands.
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

    /// Whether the runs since an accepted word carry the rules beyond it: enough intervals were tried, and what is advised now is harder in kind,
    /// height or spacing.
    fn is_outgrown(&self, given: &Given, alone: &Draft) -> bool {
        !given.word.overridden
            && given.tried.intervals() >= self.policy.step_back_intervals
            && alone.proposed.is_some_and(|to| to.is_harder_than(given.word.at))
    }

    /// The word that governs, given what the rules alone say and where they let the athlete run; none when it ended or a hard wall is in its way.
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

    /// What a word says; the rules' own draft where both agree, whose list of what is missing then stays.
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

    /// What leads from the current configuration to another, the most noticeable change first: kind, height beyond the tolerance, spacing. A
    /// first lane is nothing that changes.
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
