//! What is known about one athlete on one day, as the rules read it.
//!
//! Everything is a plain value, put together from what is on file by [`crate::advice`]; the rules read nothing else, so two athletes with
//! equal situations and equal predictions get equal advice. Each figure is as of the day: runs, reports and ratings of later days
//! are left out before they come here.
//!
//! | figure | what counts | whence |
//! | --- | --- | --- |
//! | `current`, `held` | runs of the last 56 days, and since a return | [`crate::advice`] |
//! | `latest` | all runs of the last day with one, however long ago | [`crate::advice`] |
//! | `ratings` | the latest of each criterion within 84 days | the caller of [`crate::advice`] |
//! | `report`, `restriction`, `back` | what stands on the day | [`crate::wellbeing`] |
//! | `word` | the coach's latest, whether or not it stands | the caller of [`crate::advice`] |
//! | `target` | the specification of age group and day | [`crate::specs`] |
//!
//! What is not here does not matter to the rules: names, sex, merit, what others run. Age enters as `minor` alone, for one caution.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{Configuration, Current, Evidence, Rating, Ratings, Situation};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let at = Configuration {
//!     barrier_kind: BarrierKind::LowBarrier, height: Length::from_mm(500), spacing: Length::from_mm(6_500),
//! };
//! let evidence = Evidence { held: 7, over_reached: 1, days: 1, barriers: 10, ..Evidence::default() };
//! let also = Evidence { held: 4, days: 1, barriers: 5, ..Evidence::default() };
//! let current = Current { configuration: at, evidence, also };
//! assert_eq!((current.counted().intervals(), current.counted().days), (12, 2), "enough for a step up, by its numbers");
//! let situation = Situation { current: Some(current), ..Situation::unseen(20_000) };
//! assert!(situation.minor && situation.ratings.of(lanewright_compute::decision::Criterion::LeadLeg).is_none());
//! let passed = Ratings { lead_leg: Some(Rating::Emerging), ..Ratings::default() }.passed(Rating::Secure);
//! assert_eq!((passed.lead_leg, passed.posture), (Some(Rating::Secure), None));
//! ```
//!
//! # Source
//! Criteria and gate: what a coach assesses in clinic notes ("Developing the High-Hurdler", "sprint-based hurdling"; author not shown), and
//! "10 of the Biggest Mistakes Young Athletes Make in the Hurdles", coachingyoungathletes.com, 2016. Four levels, with "not seen" apart from
//! the lowest: common practice, no source.

use super::returning::{Back, Surface};
use super::{Configuration, Given};
use crate::params::{Param, Value, count};
use crate::units::{BarrierKind, Length};
use crate::wellbeing::Reported;

/// A coach's rating of one technique criterion, lowest first. Not seen is no rating, and not the lowest one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rating {
    /// 0: not yet.
    NotYet,
    /// 1: emerging; below what the gate asks by default.
    Emerging,
    /// 2: secure; what the gate and steps up ask by default.
    Secure,
    /// 3: secure under race conditions; nothing is left to watch.
    SecureUnderRace,
}

impl Rating {
    /// Every rating, lowest first: the position is the level.
    pub const ALL: [Self; 4] = [Self::NotYet, Self::Emerging, Self::Secure, Self::SecureUnderRace];

    /// The rating of a level 0 to 3; none for anything else.
    pub fn from_level(level: u8) -> Option<Self> {
        Self::ALL.get(usize::from(level)).copied()
    }

    /// The level, 0 to 3.
    pub const fn level(self) -> u32 {
        match self {
            Self::NotYet => 0,
            Self::Emerging => 1,
            Self::Secure => 2,
            Self::SecureUnderRace => 3,
        }
    }
}

/// A technique criterion that a coach rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Criterion {
    /// Lead-leg mechanics: a bent knee first, shin vertical, a straight path, pulled down actively. Part of the gate.
    LeadLeg,
    /// Trail-leg mechanics: the knee leads, the heel tight, extended forward into the first stride. Part of the gate.
    TrailLeg,
    /// Walkover: posture and clearance path at walking pace. Part of the gate.
    Walkover,
    /// Take-off: a shorter, quicker last step, the ball of the foot under the hip, neither too near nor too far.
    TakeOff,
    /// Landing: on the ball of the foot, under or just behind the body, and on at once.
    Landing,
    /// Posture between barriers: tall, without over-reaching.
    Posture,
    /// Three-stride rhythm: the first stride short, the second longest. What the intervals count; the rating is what it looks like.
    Rhythm,
    /// Arm action: the opposite arm forward, no crossing of the midline. Counts only where [`Policy::arms_count`](super::Policy::arms_count).
    Arms,
}

impl Criterion {
    /// Every criterion, in the order in which it is taught.
    pub const ALL: [Self; 8] = [
        Self::LeadLeg,
        Self::TrailLeg,
        Self::Walkover,
        Self::TakeOff,
        Self::Landing,
        Self::Posture,
        Self::Rhythm,
        Self::Arms,
    ];

    /// The criteria without which nobody gets a barrier lane: how a barrier is cleared at all.
    pub const GATE: [Self; 3] = [Self::LeadLeg, Self::TrailLeg, Self::Walkover];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::LeadLeg => "lead_leg",
            Self::TrailLeg => "trail_leg",
            Self::Walkover => "walkover",
            Self::TakeOff => "take_off",
            Self::Landing => "landing",
            Self::Posture => "posture",
            Self::Rhythm => "rhythm",
            Self::Arms => "arms",
        }
    }

    /// The criterion and its rating as parameters; without the latter when it was not seen.
    pub(super) fn params(self, seen: Option<Rating>) -> Vec<Param> {
        let named = ("criterion", Value::Word(self.as_str()));
        std::iter::once(named).chain(seen.map(|rating| count("rating", rating.level()))).collect()
    }
}

/// The latest rating of each criterion inside the assessment window; absent means "not seen", also of what was rated before it
/// ([`RATING_DAYS`](crate::advice::RATING_DAYS)).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ratings {
    /// Lead leg.
    pub lead_leg: Option<Rating>,
    /// Trail leg.
    pub trail_leg: Option<Rating>,
    /// Walkover.
    pub walkover: Option<Rating>,
    /// Take-off.
    pub take_off: Option<Rating>,
    /// Landing.
    pub landing: Option<Rating>,
    /// Posture.
    pub posture: Option<Rating>,
    /// Rhythm.
    pub rhythm: Option<Rating>,
    /// Arms.
    pub arms: Option<Rating>,
}

impl Ratings {
    /// The rating of one criterion, if it was seen.
    pub const fn of(&self, criterion: Criterion) -> Option<Rating> {
        match criterion {
            Criterion::LeadLeg => self.lead_leg,
            Criterion::TrailLeg => self.trail_leg,
            Criterion::Walkover => self.walkover,
            Criterion::TakeOff => self.take_off,
            Criterion::Landing => self.landing,
            Criterion::Posture => self.posture,
            Criterion::Rhythm => self.rhythm,
            Criterion::Arms => self.arms,
        }
    }

    /// The ratings once every gate is passed: none rated below `needed`, and lead leg, trail leg and walkover seen. What a forecast takes as
    /// given, since no training brings a rating; what was not seen outside the gate stays so.
    #[must_use]
    pub fn passed(mut self, needed: Rating) -> Self {
        for gate in [&mut self.lead_leg, &mut self.trail_leg, &mut self.walkover] {
            *gate = Some(gate.unwrap_or(needed).max(needed));
        }
        for other in [&mut self.take_off, &mut self.landing, &mut self.posture, &mut self.rhythm, &mut self.arms] {
            *other = other.map(|rating| rating.max(needed));
        }
        self
    }
}

/// What was run at the current configuration, or elsewhere in what counts for the same question, all days together (counts). An interval
/// lies between two barriers; single barriers and walkovers have none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Intervals in which the three-stride rhythm held.
    pub held: u32,
    /// Intervals over-reached: a spacing too long for the athlete.
    pub over_reached: u32,
    /// Intervals crowded: a spacing too short.
    pub crowded: u32,
    /// Intervals broken, cause not recorded; they count against holding, and for neither side.
    pub broken: u32,
    /// Distinct days on which they were run.
    pub days: u32,
    /// Barriers run.
    pub barriers: u32,
    /// Barriers hit.
    pub hits: u32,
}

impl Evidence {
    /// Intervals of every outcome.
    pub const fn intervals(&self) -> u32 {
        self.held.saturating_add(self.over_reached).saturating_add(self.crowded).saturating_add(self.broken)
    }
}

/// The latest configuration with at least six intervals, and what was run at it. Six say where the athlete trains, and are half of what a
/// step up asks (design choice).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Current {
    /// The configuration.
    pub configuration: Configuration,
    /// The evidence at it.
    pub evidence: Evidence,
    /// Evidence from elsewhere that counts as well: over the same or a higher barrier, at least as demanding to half a spacing
    /// step. Its days are those without a run at the configuration itself, so that days add up.
    pub also: Evidence,
}

impl Current {
    /// All evidence that a step up may rest on, here and elsewhere; each figure the sum of both.
    pub fn counted(&self) -> Evidence {
        let (a, b) = (self.evidence, self.also);
        Evidence {
            held: a.held.saturating_add(b.held),
            over_reached: a.over_reached.saturating_add(b.over_reached),
            crowded: a.crowded.saturating_add(b.crowded),
            broken: a.broken.saturating_add(b.broken),
            days: a.days.saturating_add(b.days),
            barriers: a.barriers.saturating_add(b.barriers),
            hits: a.hits.saturating_add(b.hits),
        }
    }
}

/// All runs of the athlete's latest day with one (counts), over whatever they ran, walkovers too: one bad day is seen wherever it happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LatestSession {
    /// The session's day, days since 1970-01-01.
    pub on: i32,
    /// Intervals held.
    pub held: u32,
    /// Intervals of every outcome, held ones too.
    pub intervals: u32,
    /// Barriers run.
    pub barriers: u32,
    /// Barriers hit.
    pub hits: u32,
    /// Whether the athlete went down in any of the runs. Read until the next session, however long that takes.
    pub fell: bool,
}

/// A restriction on the athlete's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Restriction {
    /// The last restricted day, days since 1970-01-01; absent while open-ended.
    pub until: Option<i32>,
}

/// Whether a coach confirmed the return after the last fall, in a run or in a race.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Clearance {
    /// There was no fall on record.
    #[default]
    NotNeeded,
    /// A fall that no coach has confirmed since: no step up, and a confirmation is asked for with every decision.
    Pending,
    /// A coach confirmed after the last fall was recorded.
    Given,
}

/// The specification the athlete will race over. Ends every ladder, and is a hard wall of the region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Target {
    /// Barrier height.
    pub height: Length,
    /// Distance between barriers.
    pub spacing: Length,
    /// Number of barriers of the race; told, not used by the rules.
    pub barriers: u32,
    /// Start line to the first barrier; told, not used by the rules. See [`crate::approach`].
    pub approach: Length,
}

/// One entry of the club's equipment. How many there are is for the lane plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stock {
    /// The kind.
    pub kind: BarrierKind,
    /// The heights it can be set to, any order.
    pub heights: Vec<Length>,
}

/// Whether the athlete trains.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Status {
    /// Trains.
    #[default]
    Active,
    /// Rests for now, without a report or a restriction; closes the region.
    Resting,
    /// Has left the club; closes the region.
    Left,
}

impl Status {
    /// The status that a word of the database names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            "active" => Some(Self::Active),
            "resting" => Some(Self::Resting),
            "left" => Some(Self::Left),
            _ => None,
        }
    }
}

/// Everything about one athlete that the rules read.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// The day of the decision, days since 1970-01-01.
    pub on: i32,
    /// The current configuration, absent before six intervals at one within the weeks that count as evidence.
    pub current: Option<Current>,
    /// Configurations held: at least six intervals, more than half of them held; any order. They say how wide lanes over lower barriers may be.
    pub held: Vec<Configuration>,
    /// The latest session in which the athlete ran; none before the first.
    pub latest: Option<LatestSession>,
    /// Whether the athlete trains.
    pub status: Status,
    /// Technique ratings; [`Ratings::default`] where nothing was rated, which keeps the athlete off barriers.
    pub ratings: Ratings,
    /// The restriction, if there is one; one whose last day is over no longer counts.
    pub restriction: Option<Restriction>,
    /// The report of pain, illness or injury that stands; not one that is cleared.
    pub report: Option<Reported>,
    /// The latest return after a report or restriction; everything run before it is left out of `current` and `held`.
    pub back: Option<Back>,
    /// A coach's word after the last fall; of a report or restriction it is in `back`.
    pub clearance: Clearance,
    /// The coach's latest word, standing or not, with what was run since.
    pub word: Option<Given>,
    /// The specification to race over; without one, equipment and policy alone bound the steps, and a caution says so.
    pub target: Option<Target>,
    /// The club's equipment, any order; empty where it owns nothing, and flat marks stand in for wickets.
    pub stock: Vec<Stock>,
    /// Whether the athlete is a minor, by the least age that the record leaves open.
    pub minor: bool,
    /// What is wrong with the surface today; none where it is dry and even, and where nobody said.
    pub surface: Option<Surface>,
    /// Share of the variance of the estimate that still comes from the prior, 0 to 1; 1 without runs.
    pub prior_share: f64,
}

impl Situation {
    /// An athlete of whom nothing is on file, on a day (days since 1970-01-01).
    ///
    /// Counts as a minor until the record says otherwise, since that is the careful side. A base for examples and tests: every field that
    /// matters is then named beside it.
    pub fn unseen(on: i32) -> Self {
        Self {
            on,
            current: None,
            held: Vec::new(),
            latest: None,
            status: Status::Active,
            ratings: Ratings::default(),
            restriction: None,
            report: None,
            back: None,
            clearance: Clearance::NotNeeded,
            word: None,
            target: None,
            stock: Vec::new(),
            minor: true,
            surface: None,
            prior_share: 1.0,
        }
    }

    /// The restriction, while it is in force: through its last day.
    pub(super) fn restriction_in_force(&self) -> Option<Restriction> {
        self.restriction.filter(|flag| flag.until.is_none_or(|until| until >= self.on))
    }

    /// Whether the athlete fell in the latest session.
    pub(super) fn fell(&self) -> bool {
        self.latest.is_some_and(|latest| latest.fell)
    }
}
