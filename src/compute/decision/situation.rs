//! What is known about one athlete on one day, as the rules read it.

use super::returning::{Back, Surface};
use super::{Configuration, Given};
use crate::params::{Param, Value, count};
use crate::units::{BarrierKind, Length};
use crate::wellbeing::Reported;

/// A coach's rating of one technique criterion, lowest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rating {
    /// 0: not yet.
    NotYet,
    /// 1: emerging.
    Emerging,
    /// 2: secure.
    Secure,
    /// 3: secure under race conditions.
    SecureUnderRace,
}

impl Rating {
    /// Every rating, lowest first: the position is the level.
    pub const ALL: [Self; 4] = [Self::NotYet, Self::Emerging, Self::Secure, Self::SecureUnderRace];

    /// The rating of a level 0 to 3, if it is one.
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
    /// Lead-leg mechanics.
    LeadLeg,
    /// Trail-leg mechanics.
    TrailLeg,
    /// Walkover: posture and clearance path at walking pace.
    Walkover,
    /// Take-off.
    TakeOff,
    /// Landing.
    Landing,
    /// Posture between barriers.
    Posture,
    /// Three-stride rhythm.
    Rhythm,
    /// Arm action.
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

    /// The criteria without which nobody gets a barrier lane.
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

/// The latest rating of each criterion inside the assessment window; absent means "not seen".
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

    /// The ratings once every gate is passed: none rated below `needed`, and lead leg, trail leg and walkover seen.
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

/// What was run at the current configuration, all days together (counts).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Evidence {
    /// Intervals in which the three-stride rhythm held.
    pub held: u32,
    /// Intervals over-reached.
    pub over_reached: u32,
    /// Intervals crowded.
    pub crowded: u32,
    /// Intervals broken, cause not recorded.
    pub broken: u32,
    /// Distinct days.
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

/// The latest configuration with at least six intervals, and what was run at it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Current {
    /// The configuration.
    pub configuration: Configuration,
    /// The evidence at it.
    pub evidence: Evidence,
    /// Evidence from elsewhere that counts as well: over the same or a higher barrier, at least as demanding to half a spacing
    /// step. Its days are those without a run at the configuration itself.
    pub also: Evidence,
}

impl Current {
    /// All evidence that a step up may rest on.
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

/// All runs of the athlete's latest session together (counts).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LatestSession {
    /// The session's day, days since 1970-01-01.
    pub on: i32,
    /// Intervals held.
    pub held: u32,
    /// Intervals of every outcome.
    pub intervals: u32,
    /// Barriers run.
    pub barriers: u32,
    /// Barriers hit.
    pub hits: u32,
    /// Whether the athlete went down.
    pub fell: bool,
}

/// A restriction on the athlete's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Restriction {
    /// The last restricted day, days since 1970-01-01; absent while open-ended.
    pub until: Option<i32>,
}

/// Whether a coach confirmed the return after the last fall.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Clearance {
    /// There was no fall.
    #[default]
    NotNeeded,
    /// A fall that no coach has confirmed since.
    Pending,
    /// A coach confirmed after the last fall.
    Given,
}

/// The specification the athlete will race over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Target {
    /// Barrier height.
    pub height: Length,
    /// Distance between barriers.
    pub spacing: Length,
    /// Number of barriers.
    pub barriers: u32,
    /// Start line to the first barrier.
    pub approach: Length,
}

/// One entry of the club's equipment.
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
    /// Rests for now.
    Resting,
    /// Has left the club.
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
    /// The current configuration, absent before six intervals at one.
    pub current: Option<Current>,
    /// Configurations held: at least six intervals, most of them held; any order.
    pub held: Vec<Configuration>,
    /// The latest session in which the athlete ran.
    pub latest: Option<LatestSession>,
    /// Whether the athlete trains.
    pub status: Status,
    /// Technique ratings.
    pub ratings: Ratings,
    /// The restriction, if there is one.
    pub restriction: Option<Restriction>,
    /// The report of pain, illness or injury that stands.
    pub report: Option<Reported>,
    /// The latest return after a report or restriction; everything run before it is left out of `current` and `held`.
    pub back: Option<Back>,
    /// A coach's word after the last fall.
    pub clearance: Clearance,
    /// The coach's latest word, standing or not.
    pub word: Option<Given>,
    /// The specification to race over.
    pub target: Option<Target>,
    /// The club's equipment, any order.
    pub stock: Vec<Stock>,
    /// Whether the athlete is a minor.
    pub minor: bool,
    /// What is wrong with the surface today, if anything.
    pub surface: Option<Surface>,
    /// Share of the estimate that still comes from the prior, 0 to 1.
    pub prior_share: f64,
}

impl Situation {
    /// An athlete of whom nothing is on file, on a day (days since 1970-01-01).
    ///
    /// Counts as a minor until the record says otherwise.
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

    /// The restriction, while it is in force.
    pub(super) fn restriction_in_force(&self) -> Option<Restriction> {
        self.restriction.filter(|flag| flag.until.is_none_or(|until| until >= self.on))
    }

    /// Whether the athlete fell in the latest session.
    pub(super) fn fell(&self) -> bool {
        self.latest.is_some_and(|latest| latest.fell)
    }
}
