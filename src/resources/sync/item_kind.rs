//! What an item of a push is about, and who may send it.

use std::borrow::Cow;

use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::model::{Policy, Type};
use crate::platform::access::{
    Act, AssessmentWrite, ClubAdmin, PlanWrite, Recorder, RosterWrite, SessionWrite, Syncing,
};
use crate::platform::db;
use crate::platform::ops::{Method, Op};
use crate::platform::problem::{Code, Problem};
use crate::platform::words;

/// What an item is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A synced record.
    Record(Type),
    /// That an athlete belongs to a group.
    Membership,
}

impl Kind {
    pub(super) fn parse(word: &str) -> Result<Self, String> {
        if word == "group_membership" {
            return Ok(Self::Membership);
        }
        Type::parse(word).map(Self::Record).map_err(|detail| format!("{detail}, group_membership"))
    }

    /// The word on the wire.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Record(kind) => kind.as_str(),
            Self::Membership => "group_membership",
        }
    }

    /// The kind of the record whose version such an item changes.
    pub(super) const fn of_record(self) -> db::Kind {
        match self {
            Self::Record(kind) => kind.kind(),
            Self::Membership => db::Kind::Athlete,
        }
    }

    /// Whether the item records a fact, which is never refused for a permission or a missing parent.
    pub fn is_fact(self, op: &Op) -> bool {
        matches!(self, Self::Record(kind) if kind.policy() == Policy::AppendOnly) && op.method == Method::Put
    }

    /// What an item can do; with another method it is refused.
    pub const fn methods(self) -> &'static [Method] {
        use Method::{Delete, Patch, Put};
        match self {
            Self::Membership | Self::Record(Type::Measurement) => &[Put, Delete],
            Self::Record(kind) => match kind.policy() {
                Policy::AppendOnly => &[Put],
                Policy::Set => &[Put, Delete],
                Policy::Merge | Policy::Optimistic => &[Put, Patch, Delete],
                Policy::ReadOnly => &[],
            },
        }
    }

    /// Whether the record says something about a person.
    pub const fn is_personal(self) -> bool {
        matches!(self, Self::Membership | Self::Record(Type::Athlete | Type::Measurement | Type::LanePlan))
    }

    /// Whether such an edit erases an athlete.
    pub fn erases(self, op: &Op) -> bool {
        self == Self::Record(Type::Athlete) && op.method == Method::Delete
    }

    /// Why somebody may not send such an edit, whatever it is about; nothing when they may.
    pub fn refusal(self, op: &Op, who: &Recorder) -> Option<Problem> {
        if let Some(reason) = self.barred(who) {
            let detail = format!("This needs what your membership or access token lacks: {reason}.");
            return Some(Problem::new(Code::Forbidden, detail));
        }
        // What cannot be undone is for people.
        who.in_person().err().filter(|_| self.erases(op))
    }

    /// What keeps somebody from such items: `left`, `role` or `scope`.
    pub fn barred(self, who: &Recorder) -> Option<&'static str> {
        fn check<A: Act>(who: &Recorder) -> Option<&'static str> {
            match who.role {
                None => Some("left"),
                Some(_) if !who.has_role::<A>() => Some("role"),
                Some(_) if !who.has_scope::<A>() => Some("scope"),
                Some(_) => None,
            }
        }
        match self {
            Self::Record(Type::Group | Type::Venue | Type::Equipment | Type::AgeGroup | Type::CompetitionSpec) => {
                check::<ClubAdmin>(who)
            }
            Self::Record(Type::BarrierConfiguration | Type::LanePlan | Type::Decision | Type::RaceTest) => {
                check::<PlanWrite>(who)
            }
            Self::Record(Type::Session | Type::Attendance | Type::Run | Type::RaceResult | Type::WellbeingRecord) => {
                check::<SessionWrite>(who)
            }
            Self::Record(Type::Assessment) => check::<AssessmentWrite>(who),
            Self::Record(Type::Athlete | Type::Measurement) | Self::Membership => check::<RosterWrite>(who),
            // Nobody may, which the edit itself says.
            Self::Record(Type::Club | Type::RaceEntry) => check::<Syncing>(who),
        }
    }
}

impl PartialSchema for Kind {
    fn schema() -> RefOr<Schema> {
        let membership = words::schema("", &[("group_membership", "That an athlete belongs to a group.")]);
        words::merged("What an item of a push is about.", &[Type::schema(), membership])
    }
}

impl ToSchema for Kind {
    fn name() -> Cow<'static, str> {
        "PushType".into()
    }
}
