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
//! With P(s, h) the mean probability that an interval holds at spacing s over height h, P05 its 5 % quantile, `(s, h)` the
//! current configuration, and the numbers of [`Policy::default`] in brackets, the tests behind these words are
//!
//! ```text
//! step out  (3)   crowded > over-reached + broken,  P(s, h) < min_hold_mean (0.80),  P(wider, h) > P(s, h) + 0.005
//! step in   (3)   P(s, h) < max(step_in_hold_mean (0.50), floor (0.65)),
//!                 or k < step_in_held_share (0.50) n of the latest session, with n >= step_back_intervals (8)
//! lower     (3)   hits > lower_height_hit_share (0.20) barriers, with barriers >= step_back_intervals (8)
//! ready     (5)   n >= min_intervals (12) on >= min_days (2) days,  P >= min_hold_mean (0.80),  P05 >= min_hold_p05 (0.60),
//!                 hits <= max_hit_share (0.10) barriers,  no rating below min_rating (secure)
//! step up (7, 8)  P after the step >= max(min_hold_after_step (0.65), floor (0.65))
//! ```
//!
//! On a wet or uneven surface no step up is open, and what the rules say becomes wickets or soft barriers, one step closer than
//! run last.
//!
//! A coach's word that stands takes the place of what rules 1 (after a fall) to 8 say; pain and restrictions outrank it. See
//! [`Word`].
//!
//! | goes in | comes out |
//! | --- | --- |
//! | [`Situation`]: what is on file of one athlete on a day | [`Decision`]: what to do, where, with reasons and cautions |
//! | [`Policy`]: the club's numbers | [`Region`]: where the athlete may run at all that day |
//! | P(hold) of a height and a spacing, from [`crate::estimate`] | [`Missing`]: what a step up still needs |
//!
//! # Why in this order
//! What can hurt comes before what can be learned. Pain, a fall and a bad surface are facts of the day that no record of good runs
//! outweighs, so they are asked first and no probability enters there. A step back needs little evidence (eight intervals, or a low
//! mean) and a step up needs much (twelve intervals on two days and a low quantile as well): a lane that is too easy costs a session,
//! a lane that is too hard can cost a fall. One variable changes at a time, because after two changes nobody can say which of them
//! broke the rhythm.
//!
//! # What is assumed
//! Outcomes were recorded as they were seen; `hold` answers the same for the same place; the policy passed [`Policy::check`]. Nothing
//! is remembered from one decision to the next: what was decided before acts through the runs, and through a coach's [`Word`]. Who else
//! trains, how many barriers there are and how long the straight is are left to [`crate::lane_plan`].
//!
//! # Where it is asked
//! [`crate::advice`] makes the situation from what is on file and calls [`decide`]; [`crate::progress`] asks [`verdict`] on every
//! training day of a forecast; [`crate::board`] asks [`missing()`] on past days. The lane plan, lanes laid out by hand, a coach's override
//! and race-test entries ask the region of the decision, and none of them decides anew.
//!
//! # Source
//! The rules are design choices that follow common practice: one thing at a time (no source); ready before further (A. Behm,
//! "Coaching Philosophy for The Hurdles", clinic notes); back to the last step that worked (S. McGill, "If They Can't Do
//! It, Don't Do It", The Hurdle Magazine); lower after hits, because hits come from a low body centre at take-off and slow
//! the run (study of hurdle hitting in the 110 m hurdles, ISBS Proceedings 38(1), item 69, 2020); rhythm judged anew after
//! each raise (Y. Ozaki, T. Ueda, "Do Different Hurdle Heights Alter Important Spatiotemporal Variables in Hurdle
//! Clearance?", Frontiers in Sports and Active Living 4: 822592, 2022). That no bigger step comes on the day of a report of pain is
//! a design rule from memory; rest and referral at pain that lasts follow "Managing Growth Spurts and Training Loads in Adolescent
//! Athletes", Princeton Sports and Family Medicine.

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
///
/// Equality is exact to the millimetre; what counts as the same height or spacing in practice is for the tolerances of [`Policy`]. It
/// says nothing of how many barriers stand there nor of the approach: neither changes what an interval demands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Configuration {
    /// Kind of barrier; how rigid it is matters as much as its height, see [`rung`].
    pub barrier_kind: BarrierKind,
    /// Top of the barrier above the ground; 0 is a flat mark.
    pub height: Length,
    /// From one barrier to the next, measured between their bars.
    pub spacing: Length,
}

/// The height of a wicket, at which demands are stated, millimetres (mm): the same 0.30 m at which [`crate::estimate`] states the
/// limit, so that a demand can be held against a limit.
const WICKET_HEIGHT_MM: u32 = 300;

impl Configuration {
    /// What it demands, as the spacing over a wicket that is as demanding: `e = s + g max(0, h - 0.30 m)`, metres (m), for a
    /// height cost `g` in metres of spacing per metre of height (about 1; an athlete's own comes from the estimate).
    ///
    /// Lets lanes of different heights be compared on one scale: which runs count as evidence for a step, and how far a lane of a plan is
    /// from the advised one. The kind does not enter. Never below the spacing for `g >= 0`.
    ///
    /// ```
    /// use lanewright_compute::decision::Configuration;
    /// use lanewright_compute::units::{BarrierKind, Length};
    ///
    /// let mm = Length::from_mm;
    /// let low = Configuration { barrier_kind: BarrierKind::LowBarrier, height: mm(500), spacing: mm(6_250) };
    /// assert!((low.demand_m(1.0) - 6.45).abs() < 1e-9, "as hard as wickets 6.45 m apart");
    /// assert!((Configuration { height: mm(150), ..low }.demand_m(1.0) - 6.25).abs() < 1e-9, "below 0.30 m height costs nothing");
    /// ```
    pub fn demand_m(&self, height_cost: f64) -> f64 {
        let excess = Length::from_mm(self.height.mm().saturating_sub(WICKET_HEIGHT_MM));
        self.spacing.metres() + height_cost * excess.metres()
    }

    /// Whether it is harder than another in kind, height or spacing.
    ///
    /// One harder variable is enough, whatever the others are, so of two configurations each can be harder than the other: 0.60 m at 6 m
    /// and 0.50 m at 7 m. No tolerance enters. Used where "no harder than the advice" must mean no harder in anything; for a trade-off
    /// between the variables ask [`Configuration::demand_m`].
    pub fn is_harder_than(&self, other: Self) -> bool {
        rung(self.barrier_kind) > rung(other.barrier_kind) || self.height > other.height || self.spacing > other.spacing
    }
}

/// What to do.
///
/// The kind names the most noticeable change from what is run now to what is proposed. The order of the variants is no ranking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DecisionKind {
    /// A wider spacing over the same barriers: rule 8, or rule 3 for whoever is crowded, who then needs no evidence but a coach's
    /// confirmation.
    StepUpSpacing,
    /// A greater height on the same rung of kinds at the same spacing (foam may become a low barrier): rule 8.
    StepUpHeight,
    /// Other barriers: off wickets (rule 7), onto the barriers that the next height or the race needs (rules 8 and 6), back onto
    /// wickets where technique is not secure (rule 2), or softer ones on a bad surface.
    ChangeBarrierKind,
    /// The same again, until what [`Decision::missing`] lists is there; also the first wicket lane of somebody without runs.
    Consolidate,
    /// A shorter spacing over the same barriers: the rhythm broke, or the target is closer than what is run.
    StepIn,
    /// A lower height: after hits, after a fall (then closer as well), on the way back, or above the target.
    LowerHeight,
    /// No running over barriers: a report or a restriction stands. Nothing is proposed and the region is closed, until the clearance
    /// or the last day of which [`crate::wellbeing`] keeps account.
    RestAndRefer,
    /// A timed run over the target specification, which is held: rule 6.
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

    /// The word used in JSON, CSV and the database; once published it never changes.
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

    /// The kind that a word of [`DecisionKind::as_str`] names; none for any other text, also for one in other letters.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// Where an athlete stands on the progression, first to last.
///
/// Told of the proposal, not of what was run: a stage says what the athlete works at next. As long as lead leg, trail leg or walkover
/// is not secure the stage is that of the drills, though the wicket lane is advised beside them. The order is that of teaching and is
/// what `Ord` compares. [`crate::session_plan`] chooses drills by it, [`crate::board`] counts it.
///
/// # Source
/// Trail-leg mechanics, take-off and landing, then three steps between, arms last: clinic notes, "sprint-based hurdling"; flat over
/// low objects, lead leg, trail leg, height, then full sets: "How to Teach Young Athletes to Hurdle", coachingyoungathletes.com, and
/// J. Tansley, "10 P.E. Lessons Plans for Track & Field", 2001. The division into eleven is a design choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Mobility drills: none of lead leg, trail leg and walkover was rated inside the window.
    Mobility,
    /// Lead-leg drills: it is not secure, or not rated beside others that are.
    LeadLeg,
    /// Trail-leg drills: the lead leg is secure and this is not.
    TrailLeg,
    /// Walkovers: both legs are secure at their drills and this is not.
    Walkover,
    /// First runs over wickets: technique is secure, and no configuration has six intervals yet. Also of who rests without any.
    WicketRun,
    /// Three-stride rhythm over wickets, which are the advice.
    RhythmWickets,
    /// Over the lowest barriers that the club owns, or lower ones, while the target is higher.
    LowBarriers,
    /// Above the lowest barriers and below the target's height, where the next change is not one of spacing.
    HeightBuild,
    /// At the target's height and closer than the target, or below that height where the spacing steps up.
    SpacingBuild,
    /// Height and spacing of the target within the tolerances, over whatever barriers but wickets.
    CompetitionSpec,
    /// A race test is advised: the target is held over the barriers of the race.
    RaceTest,
}

impl Stage {
    /// Every stage, first to last: the position is the rank.
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

    /// The word used in JSON, CSV and the database; once published it never changes.
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
///
/// Invariants: `proposed` is none exactly for [`DecisionKind::RestAndRefer`]; `reasons` is never empty; `cautions` begins with
/// [`Caution::BASE`]; `current` and `hold_current` are there together, as are `proposed` and `hold_proposed`. Whoever has left, or
/// rests by status, still gets a proposal, for the day they come back; the region is closed all the same, and that is what plans ask.
/// It supports a coach, who decides: nothing here says that an athlete must run.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// What to do; with a word that stands, what leads from the current configuration to that of the word.
    pub kind: DecisionKind,
    /// Where the athlete runs now: the latest configuration with six intervals; none before that, and none at first after a break.
    pub current: Option<Configuration>,
    /// Where the athlete runs next; absent for rest and refer.
    pub proposed: Option<Configuration>,
    /// The stage of the proposal; of who rests, that of the current configuration.
    pub stage: Stage,
    /// The prediction at the current configuration, probabilities 0 to 1.
    pub hold_current: Option<Hold>,
    /// The prediction at the proposed configuration, probabilities 0 to 1.
    pub hold_proposed: Option<Hold>,
    /// Where the athlete may run today; follows the word where one stands.
    pub region: Region,
    /// The coach's word that this follows, and what the rules say without it; none where no word stands.
    pub governed: Option<Governed>,
    /// The permitted spacing that fits the athlete best over the proposed height, for a lane of their own; none for rest and refer, and
    /// none where the region permits no spacing over that barrier.
    pub fit: Option<Fit>,
    /// Whether a coach has to confirm before the athlete runs it: at rest, after a fall or a return that nobody cleared, for whoever is
    /// crowded, where harder barriers start higher up so that height and spacing change with them, and for a greater height without a
    /// target. A word that stands has confirmed what it names; a fall is cleared only by a word that says so.
    pub needs_confirmation: bool,
    /// Why, in the order in which it reads: what was seen, what follows, what would change it; never empty.
    pub reasons: Vec<Reason>,
    /// Cautions: [`Caution::BASE`] first, then those of the surface, the athlete and this decision.
    pub cautions: Vec<Caution>,
    /// What a step up still needs, whatever is advised meanwhile; empty when evidence, technique and health leave one open.
    pub missing: Vec<Missing>,
    /// The day after which to compute anew, days since 1970-01-01: the last day of a restriction, else of the word, else as many days on
    /// as [`Policy::recompute_after_days`] says. New runs, reports or ratings ask for a new decision before it.
    pub valid_until: i32,
}

impl Decision {
    /// The cautions of this athlete, beside those that hold for everybody ([`Caution::BASE`]): what a card or a row of the board has room
    /// for. A document that shows them shows the base ones once, for the whole squad.
    pub fn own_cautions(&self) -> impl Iterator<Item = &Caution> {
        self.cautions.iter().filter(|one| !Caution::BASE.contains(one))
    }

    /// Whether a coach may choose a configuration, whose intervals hold with a mean probability of `hold` (0 to 1), instead of what the
    /// rules advise.
    ///
    /// Asked of the rules' own region, also where a word stands, so that one word is never the ground for the next. In this order:
    ///
    /// 1. the hard walls ([`Region::check_hard`]): no choice passes them;
    /// 2. with `coach_accepts`, a second confirmation, everything else is open where [`Region::opens`] says so: not early on the way back,
    ///    not on a wet or uneven surface, and not before a fall or return is cleared, which this very word does with `clears`;
    /// 3. what is no harder than the advice in anything may be chosen by every coach, below the floor of P(hold) as well: it is how somebody
    ///    is given an easier lane than advised;
    /// 4. else the region decides, soft walls included.
    ///
    /// The height is first settled on one that the club owns, within the tolerance.
    ///
    /// # Errors
    /// The first [`Wall`] in the way; the caller says what would open it.
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
/// the possible steps, and at the spacings among which the one that fits is found. It should fall with height and, beyond the limit,
/// with spacing, but nothing breaks where it does not; a probability that is not a number never opens a step up. The policy must pass
/// [`Policy::check`]. The same input always gives the same decision. Never fails: whoever has nothing on file gets drills and a wicket
/// lane.
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

/// What [`decide`] says, without the region and the cautions around it; a coach's word that stands and the surface of the day enter as there.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// What to do.
    pub kind: DecisionKind,
    /// Where the athlete runs next; absent for rest and refer.
    pub proposed: Option<Configuration>,
    /// What the rule that decided lacks: a barrier, or a likelier step; nothing where a word decided otherwise. What every step up needs is in
    /// [`missing()`].
    pub missing: Vec<Missing>,
}

/// The heart of [`decide`], for whoever asks the same rules about many days to come: a forecast asks it for each session of each of its
/// futures, where the region, the lane that fits and the sentences would cost most of the time and be thrown away.
pub fn verdict(situation: &Situation, policy: &Policy, hold: &dyn Fn(Length, Length) -> Hold) -> Verdict {
    let draft = rules::Rules::new(situation, policy, hold).said();
    Verdict { kind: draft.kind, proposed: draft.proposed, missing: draft.missing }
}

/// What a step up still needs by the rules alone, without a coach's word, for whoever asks the same rules about many days. Equal to
/// [`Decision::missing`] where no word stands.
///
/// ```
/// use lanewright_compute::decision::{Hold, Missing, Policy, Situation, missing};
///
/// let found = missing(&Situation::unseen(20_000), &Policy::default(), &|_, _| Hold { mean: 0.9, p05: 0.8, p95: 0.95 });
/// assert_eq!(found[..2], [Missing::Intervals { count: 12 }, Missing::Days { count: 2 }]);
/// assert_eq!(found.len(), 5, "and a rating of lead leg, trail leg and walkover");
/// ```
pub fn missing(situation: &Situation, policy: &Policy, hold: &dyn Fn(Length, Length) -> Hold) -> Vec<Missing> {
    let rules = rules::Rules::new(situation, policy, hold);
    let mut missing = rules.missing();
    missing.extend(rules.draft().missing);
    missing
}
