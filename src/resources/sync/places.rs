//! Places: among roots, within what a row of the log or a full copy expands to, and how far a phone has read.

use uuid::Uuid;

use super::model::{Type, Types};
use super::visibility::Seq;

/// A root by id and type, in the order in which roots are sent. Clients choose ids, so that records of two types may
/// have the same one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RootId {
    /// Its id.
    pub id: Uuid,
    /// Its type.
    pub kind: Type,
}

/// A place between roots: after some and before the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The id before or at which it is.
    pub id: Uuid,
    /// The last rank of a type at that id that lies before the place.
    pub rank: i16,
}

impl Place {
    /// Before every root.
    pub const START: Self = Self { id: Uuid::nil(), rank: -1 };

    /// Just before a root.
    pub const fn before(root: RootId) -> Self {
        Self { id: root.id, rank: root.kind.rank() - 1 }
    }

    /// Just after a root.
    pub const fn past(root: RootId) -> Self {
        Self { id: root.id, rank: root.kind.rank() }
    }
}

/// A place among everything that one row of the log, or a full copy, expands to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    /// The root.
    pub root: RootId,
    /// Which part of it.
    pub part: Part,
}

/// A part of a root.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The removal that makes room.
    Reset,
    /// The root.
    Root,
    /// A record below it.
    Child(Type, Uuid),
    /// A record whose day is that of this session, below it or below another root.
    Dated(Type, Uuid),
}

/// A full copy of some types under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Walk {
    /// The types it sends.
    pub types: Types,
    /// Those of the groups that the phone carries whose roots alone it sends, one bit for each; all roots when 0.
    pub groups: u32,
    /// The last place that was sent.
    pub after: Option<Key>,
}

/// How far a phone has read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// The last row of the log that was read whole.
    pub seq: Seq,
    /// The last place that was sent of the row after it.
    pub sub: Option<Key>,
    /// A full copy that comes first.
    pub walk: Option<Walk>,
}
