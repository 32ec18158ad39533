//! What is synced: the types, their parents and the policy by which edits of each are reconciled.

use crate::platform::db::Kind;
use crate::platform::words::words;

words! {
    /// A synced type. The order is that in which the records below a root are sent; tokens name a type by its place, so
    /// new types come last.
    Type as SyncType { /// A training group.
        Group = "group", /// A venue.
        Venue = "venue", /// A stock of barriers.
        Equipment = "equipment", /// A reusable lane recipe.
        BarrierConfiguration = "barrier_configuration", /// An athlete.
        Athlete = "athlete", /// A training session.
        Session = "session", /// A measurement of an athlete.
        Measurement = "measurement", /// That an athlete came to a session.
        Attendance = "attendance", /// A lane plan of a session.
        LanePlan = "lane_plan", /// A run of an athlete.
        Run = "run", /// An assessment of an athlete.
        Assessment = "assessment", /// What a coach decided on a recommendation.
        Decision = "decision", /// A race test of a session.
        RaceTest = "race_test", /// That an athlete is entered in a race test, and where they run.
        RaceEntry = "race_entry", /// A result of an athlete in a race test.
        RaceResult = "race_result", /// The club and its settings.
        Club = "club", /// A club's own age group.
        AgeGroup = "age_group", /// A club's own competition specification.
        CompetitionSpec = "competition_spec", /// A report of pain, illness or injury, a restriction or a clearance.
        WellbeingRecord = "wellbeing_record" }
}

/// How edits of a type are reconciled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Policy {
    /// Recorded once, never changed.
    AppendOnly,
    /// Edits of different field groups are merged.
    Merge,
    /// An edit names the version it was made on.
    Optimistic,
    /// Present or not; adding twice is one.
    Set,
    /// Made on the server; a phone only reads it.
    ReadOnly,
}

impl Policy {
    /// The word in the OpenAPI document.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::AppendOnly => "append_only",
            Self::Merge => "merge",
            Self::Optimistic => "optimistic",
            Self::Set => "set",
            Self::ReadOnly => "read_only",
        }
    }
}

impl Type {
    /// Every type, in order.
    pub const ALL: [Self; 19] = [
        Self::Group,
        Self::Venue,
        Self::Equipment,
        Self::BarrierConfiguration,
        Self::Athlete,
        Self::Session,
        Self::Measurement,
        Self::Attendance,
        Self::LanePlan,
        Self::Run,
        Self::Assessment,
        Self::Decision,
        Self::RaceTest,
        Self::RaceEntry,
        Self::RaceResult,
        Self::Club,
        Self::AgeGroup,
        Self::CompetitionSpec,
        Self::WellbeingRecord,
    ];

    /// The place in [`Type::ALL`].
    pub const fn rank(self) -> i16 {
        self as i16
    }

    /// The type at a place in [`Type::ALL`].
    pub fn of_rank(rank: i16) -> Option<Self> {
        usize::try_from(rank).ok().and_then(|at| Self::ALL.get(at)).copied()
    }

    /// The type that the change log calls so; none when phones do not carry it.
    pub fn of_kind(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.kind().as_str() == word)
    }

    /// The kind in the change log.
    pub const fn kind(self) -> Kind {
        match self {
            Self::Group => Kind::Group,
            Self::Venue => Kind::Venue,
            Self::Equipment => Kind::Equipment,
            Self::BarrierConfiguration => Kind::BarrierConfiguration,
            Self::Athlete => Kind::Athlete,
            Self::Session => Kind::Session,
            Self::Measurement => Kind::Measurement,
            Self::Attendance => Kind::Attendance,
            Self::LanePlan => Kind::LanePlan,
            Self::Run => Kind::Run,
            Self::Assessment => Kind::Assessment,
            Self::Decision => Kind::Recommendation,
            Self::RaceTest => Kind::RaceTest,
            Self::RaceEntry => Kind::RaceEntry,
            Self::RaceResult => Kind::RaceResult,
            Self::Club => Kind::Club,
            Self::AgeGroup => Kind::AgeGroup,
            Self::CompetitionSpec => Kind::CompetitionSpec,
            Self::WellbeingRecord => Kind::WellbeingRecord,
        }
    }

    /// Whether records of the type are seen by themselves, not through a parent.
    pub const fn is_root(self) -> bool {
        matches!(
            self,
            Self::Group
                | Self::Venue
                | Self::Equipment
                | Self::BarrierConfiguration
                | Self::Athlete
                | Self::Session
                | Self::Club
                | Self::AgeGroup
                | Self::CompetitionSpec
        )
    }

    /// How edits are reconciled.
    pub const fn policy(self) -> Policy {
        match self {
            Self::Athlete => Policy::Merge,
            Self::Group
            | Self::Venue
            | Self::Equipment
            | Self::BarrierConfiguration
            | Self::Session
            | Self::LanePlan
            | Self::RaceTest
            | Self::AgeGroup
            | Self::CompetitionSpec => Policy::Optimistic,
            Self::Attendance => Policy::Set,
            Self::Measurement
            | Self::Run
            | Self::Assessment
            | Self::Decision
            | Self::RaceResult
            | Self::WellbeingRecord => Policy::AppendOnly,
            Self::Club | Self::RaceEntry => Policy::ReadOnly,
        }
    }
}

/// A set of types.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Types(u32);

impl Types {
    /// Every type.
    pub fn all() -> Self {
        Type::ALL.into_iter().collect()
    }

    /// The set with these bits, where each is known.
    pub fn of_bits(bits: u32) -> Option<Self> {
        (bits & !Self::all().0 == 0).then_some(Self(bits))
    }

    /// One bit for each type.
    pub const fn bits(self) -> u32 {
        self.0
    }

    /// Whether a type is in the set.
    pub const fn has(self, one: Type) -> bool {
        self.0 & (1 << one as u32) != 0
    }

    /// The types of this set that are not in the other.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The types of both sets.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// The types of either set.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether nothing is in the set.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The types in order.
    pub fn iter(self) -> impl Iterator<Item = Type> {
        Type::ALL.into_iter().filter(move |one| self.has(*one))
    }
}

impl FromIterator<Type> for Types {
    fn from_iter<I: IntoIterator<Item = Type>>(types: I) -> Self {
        Self(types.into_iter().fold(0, |bits, one| bits | (1 << one as u32)))
    }
}
