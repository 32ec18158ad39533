//! What one athlete does next, and why: step up, stay, step back, rest or race.
//!
//! The rules, in order; the first that applies decides:
//!
//! 1. Pain, illness, an injury or a restriction: rest and refer. Back after it: one height lower and at least one step closer
//!    than last held, two sessions before a step up. A fall in the latest session: lower height and one spacing step in. Either
//!    way a coach confirms before any step up, and no step up comes in the session of a fall or on the day of a report.
//! 2. No current configuration, or lead leg, trail leg or walkover not secure: drills and a wicket lane.
//! 3. Crowded, and a wider lane should hold better: one spacing step out, over wickets up to a metre. Rhythm broken otherwise:
//!    one spacing step in; barriers hit while it holds: lower height. A step back outranks a step up.
//! 4. Beyond the target specification: back towards it, height first.
//! 5. Too few intervals or days, too low a probability, too many hits, technique not secure: consolidate.
//! 6. At the target specification: race test, over hurdles where the club owns them.
//! 7. Wickets held: the lowest barrier, one spacing step closer.
//! 8. One step of one variable: spacing or height, whichever is likelier to hold afterwards; otherwise consolidate.
//!
//! On a wet or uneven surface no step up is open, and what the rules say becomes wickets or soft barriers, one step closer than
//! run last.
//!
//! A coach's word that stands takes the place of what rules 1 (after a fall) to 8 say; pain and restrictions outrank it. See
//! [`Word`].
//!
//! # Source
//! The rules are design choices that follow common practice: one thing at a time (no source); ready before further (A. Behm,
//! "Coaching Philosophy for The Hurdles", clinic notes); back to the last step that worked (S. McGill, "If They Can't Do
//! It, Don't Do It", The Hurdle Magazine); lower after hits, because hits come from a low body centre at take-off and slow
//! the run (study of hurdle hitting in the 110 m hurdles, ISBS Proceedings 38(1), item 69, 2020); rhythm judged anew after
//! each raise (Y. Ozaki, T. Ueda, "Do Different Hurdle Heights Alter Important Spatiotemporal Variables in Hurdle
//! Clearance?", Frontiers in Sports and Active Living 4: 822592, 2022).

mod cautions;
mod fit;
mod ladder;
mod missing;
mod policy;
mod reasons;
mod region;
mod returning;
mod rules;
mod situation;
mod step_back;
mod step_up;
mod wall;
mod word;

pub use crate::estimate::Hold;
pub use cautions::Caution;
pub use fit::Fit;
pub use missing::Missing;
pub use policy::{HOLD_FLOOR_LEAST, Policy, PolicyFault};
pub use reasons::Reason;
pub use region::{Bound, Limit, Region, rung};
pub use returning::{Back, SESSIONS_BACK, Surface};
pub use situation::{
    Clearance, Criterion, Current, Evidence, LatestSession, Rating, Ratings, Restriction, Situation, Status, Stock,
    Target,
};
pub use wall::Wall;
pub use word::{Given, Governed, WORD_DAYS, Word};

use crate::units::{BarrierKind, Length};

/// What the athlete runs over, how high and how far apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Configuration {
    /// Kind of barrier.
    pub barrier_kind: BarrierKind,
    /// Barrier height.
    pub height: Length,
    /// Distance between barriers.
    pub spacing: Length,
}

/// The height of a wicket, at which demands are stated, millimetres (mm).
const WICKET_HEIGHT_MM: u32 = 300;

impl Configuration {
    /// What it demands, as the spacing over a wicket that is as demanding: `e = s + g max(0, h - 0.30 m)`, metres (m), for a
    /// height cost `g` in metres of spacing per metre of height.
    pub fn demand_m(&self, height_cost: f64) -> f64 {
        let excess = Length::from_mm(self.height.mm().saturating_sub(WICKET_HEIGHT_MM));
        self.spacing.metres() + height_cost * excess.metres()
    }

    /// Whether it is harder than another in kind, height or spacing.
    pub fn is_harder_than(&self, other: Self) -> bool {
        rung(self.barrier_kind) > rung(other.barrier_kind) || self.height > other.height || self.spacing > other.spacing
    }
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DecisionKind {
    /// A wider spacing.
    StepUpSpacing,
    /// A greater height.
    StepUpHeight,
    /// Other barriers.
    ChangeBarrierKind,
    /// The same again.
    Consolidate,
    /// A shorter spacing.
    StepIn,
    /// A lower height.
    LowerHeight,
    /// No running over barriers.
    RestAndRefer,
    /// A timed run over the target specification.
    RaceTest,
}

impl DecisionKind {
    /// Every kind.
    pub const ALL: [Self; 8] = [
        Self::StepUpSpacing,
        Self::StepUpHeight,
        Self::ChangeBarrierKind,
        Self::Consolidate,
        Self::StepIn,
        Self::LowerHeight,
        Self::RestAndRefer,
        Self::RaceTest,
    ];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::StepUpSpacing => "step_up_spacing",
            Self::StepUpHeight => "step_up_height",
            Self::ChangeBarrierKind => "change_barrier_kind",
            Self::Consolidate => "consolidate",
            Self::StepIn => "step_in",
            Self::LowerHeight => "lower_height",
            Self::RestAndRefer => "rest_and_refer",
            Self::RaceTest => "race_test",
        }
    }

    /// The kind that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// Where an athlete stands on the progression, first to last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Mobility drills: no technique seen yet.
    Mobility,
    /// Lead-leg drills.
    LeadLeg,
    /// Trail-leg drills.
    TrailLeg,
    /// Walkovers.
    Walkover,
    /// First runs over wickets.
    WicketRun,
    /// Three-stride rhythm over wickets.
    RhythmWickets,
    /// The lowest barriers.
    LowBarriers,
    /// Height rises towards the target.
    HeightBuild,
    /// Spacing opens towards the target.
    SpacingBuild,
    /// At the target specification.
    CompetitionSpec,
    /// Tested under race conditions.
    RaceTest,
}

impl Stage {
    /// Every stage, first to last.
    pub const ALL: [Self; 11] = [
        Self::Mobility,
        Self::LeadLeg,
        Self::TrailLeg,
        Self::Walkover,
        Self::WicketRun,
        Self::RhythmWickets,
        Self::LowBarriers,
        Self::HeightBuild,
        Self::SpacingBuild,
        Self::CompetitionSpec,
        Self::RaceTest,
    ];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Mobility => "mobility",
            Self::LeadLeg => "lead_leg",
            Self::TrailLeg => "trail_leg",
            Self::Walkover => "walkover",
            Self::WicketRun => "wicket_run",
            Self::RhythmWickets => "rhythm_wickets",
            Self::LowBarriers => "low_barriers",
            Self::HeightBuild => "height_build",
            Self::SpacingBuild => "spacing_build",
            Self::CompetitionSpec => "competition_spec",
            Self::RaceTest => "race_test",
        }
    }
}

/// A decision with everything that led to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// What to do.
    pub kind: DecisionKind,
    /// Where the athlete runs now.
    pub current: Option<Configuration>,
    /// Where the athlete runs next; absent for rest and refer.
    pub proposed: Option<Configuration>,
    /// The stage of the proposal.
    pub stage: Stage,
    /// The prediction at the current configuration.
    pub hold_current: Option<Hold>,
    /// The prediction at the proposed configuration.
    pub hold_proposed: Option<Hold>,
    /// Where the athlete may run today.
    pub region: Region,
    /// The coach's word that this follows, and what the rules say without it; none where no word stands.
    pub governed: Option<Governed>,
    /// The permitted spacing that fits the athlete best over the proposed height.
    pub fit: Option<Fit>,
    /// Whether a coach has to confirm before the athlete runs it.
    pub needs_confirmation: bool,
    /// Why, in the order in which it reads; never empty.
    pub reasons: Vec<Reason>,
    /// Cautions, the base ones first.
    pub cautions: Vec<Caution>,
    /// What a step up still needs.
    pub missing: Vec<Missing>,
    /// The day after which to compute anew, days since 1970-01-01.
    pub valid_until: i32,
}

impl Decision {
    /// The cautions of this athlete, beside those that hold for everybody ([`Caution::BASE`]).
    pub fn own_cautions(&self) -> impl Iterator<Item = &Caution> {
        self.cautions.iter().filter(|one| !Caution::BASE.contains(one))
    }

    /// Whether a coach may choose a configuration, whose intervals hold with a mean probability of `hold`, instead of what the
    /// rules advise. The hard walls bound every choice; what is no harder than the advice meets no others. Those open when the coach confirms a second time
    /// (`coach_accepts`), but not before a fall or a report of pain is cleared; `clears` says that this very word clears it.
    ///
    /// # Errors
    /// The [`Wall`] in the way.
    pub fn may_choose(&self, at: Configuration, hold: f64, coach_accepts: bool, clears: bool) -> Result<(), Wall> {
        let region = self.governed.as_ref().map_or(&self.region, |governed| &governed.region);
        region.check_hard(at)?;
        let at = region.settled(at).unwrap_or(at);
        let weighed = coach_accepts && region.opens(clears);
        if weighed || region.advised().is_some_and(|advised| !at.is_harder_than(advised)) {
            return Ok(());
        }
        region.check(at, hold)
    }
}

/// Decides what one athlete does next.
///
/// `hold` gives the probability of holding an interval at a (height, spacing); it is asked at the current configuration, at
/// the possible steps, and at the spacings among which the one that fits is found. The policy must pass
/// [`Policy::check`]. The same input always gives the same decision.
///
/// ```
/// use lanewright_compute::decision::{DecisionKind, Hold, Policy, Situation, Stage, decide};
/// use lanewright_compute::units::Length;
///
/// // Nothing on file: the athlete starts with drills and a wicket lane that should hold.
/// let hold = |_height: Length, spacing: Length| {
///     let mean = if spacing.metres() <= 6.0 { 0.85 } else { 0.55 };
///     Hold { mean, p05: mean - 0.2, p95: mean + 0.1 }
/// };
/// let decision = decide(&Situation::unseen(20_000), &Policy::default(), &hold);
/// assert_eq!((decision.kind, decision.stage), (DecisionKind::Consolidate, Stage::Mobility));
/// assert_eq!(decision.proposed.unwrap().spacing, Length::from_mm(6_000));
/// ```
pub fn decide(situation: &Situation, policy: &Policy, hold: &dyn Fn(Length, Length) -> Hold) -> Decision {
    rules::Rules::new(situation, policy, hold).decide()
}

/// What [`decide`] would say, without the region, the words and the cautions around it.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// What to do.
    pub kind: DecisionKind,
    /// Where the athlete runs next; absent for rest and refer.
    pub proposed: Option<Configuration>,
    /// What a step up still needs.
    pub missing: Vec<Missing>,
}

/// The heart of [`decide`], for whoever asks the same rules about many days to come.
pub fn verdict(situation: &Situation, policy: &Policy, hold: &dyn Fn(Length, Length) -> Hold) -> Verdict {
    let rules = rules::Rules::new(situation, policy, hold);
    let draft = rules.draft();
    Verdict { kind: draft.kind, proposed: draft.proposed, missing: draft.missing }
}

/// What a step up still needs by the rules alone, without a coach's word, for whoever asks the same rules about many days.
pub fn missing(situation: &Situation, policy: &Policy, hold: &dyn Fn(Length, Length) -> Hold) -> Vec<Missing> {
    let rules = rules::Rules::new(situation, policy, hold);
    let mut missing = rules.missing();
    missing.extend(rules.draft().missing);
    missing
}
