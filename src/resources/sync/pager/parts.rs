//! What pages are made from, and what they hold.

use std::collections::{HashMap, HashSet};

use uuid::Uuid;

use crate::resources::sync::model::{Type, Types};
use crate::resources::sync::places::{Key, Place, Position, RootId};
use crate::resources::sync::visibility::{Reason, Root, Seq};

/// A row of the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Its number.
    pub seq: Seq,
    /// What it says.
    pub what: What,
    /// Whether it changed the day of a session, for a phone that keeps no history before some day.
    pub redated: bool,
}

/// What a row of the log says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// A root changed; its scopes before and after, where they changed.
    Root(RootId, Option<(Vec<Uuid>, Vec<Uuid>)>),
    /// A record below a root changed.
    Child(Type, Uuid, RootId),
    /// This member sees scopes from here on.
    Grant(Vec<Uuid>),
    /// This member no longer sees scopes.
    Revoke(Vec<Uuid>),
    /// Nothing that concerns the member.
    Other,
}

/// A record below a root.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Child {
    /// Its root.
    pub root: RootId,
    /// Its type.
    pub kind: Type,
    /// Its id.
    pub id: Uuid,
}

/// A record whose day is that of a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dated {
    /// The record.
    pub child: Child,
    /// Number of its last change.
    pub rev: Seq,
    /// Whether that day lies before the first that the phone keeps.
    pub old: bool,
}

/// Where rows, roots and records come from.
pub trait Source {
    /// Why they cannot be read.
    type Error;

    /// The rows of the log after a number, in order.
    async fn rows(&mut self, after: Seq, limit: usize) -> Result<Vec<Row>, Self::Error>;
    /// Roots as they are now; those that are not there are left out.
    async fn roots(&mut self, ids: &[RootId]) -> Result<HashMap<RootId, Root>, Self::Error>;
    /// The roots that are seen now, in order, after `after`.
    async fn visible(&mut self, after: Place, limit: usize) -> Result<Vec<RootId>, Self::Error>;
    /// The roots that are in one of these scopes now or left it in a row after `since`, in order, after `after`.
    async fn touched(
        &mut self,
        scopes: &[Uuid],
        since: Seq,
        after: Place,
        limit: usize,
    ) -> Result<Vec<RootId>, Self::Error>;
    /// The live records of these types below these roots, by root, type and id, after `after`.
    async fn children(
        &mut self,
        roots: &[RootId],
        types: Types,
        after: Option<Key>,
        limit: usize,
    ) -> Result<Vec<Child>, Self::Error>;
    /// Those of these records that are about a day before the first that the phone keeps.
    async fn old(&mut self, records: &[(Type, Uuid)]) -> Result<HashSet<(Type, Uuid)>, Self::Error>;
    /// The live records of these types whose day is that of a session, by type and id, after `after`.
    async fn dated(
        &mut self,
        session: Uuid,
        types: Types,
        after: Option<(Type, Uuid)>,
        limit: usize,
    ) -> Result<Vec<Dated>, Self::Error>;
}

/// One thing to send.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Item {
    /// Where to go on after it.
    pub position: Position,
    /// Its type.
    pub kind: Type,
    /// Its id.
    pub id: Uuid,
    /// What is to be sent of it.
    pub sent: Sent,
}

/// What is sent of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sent {
    /// The record as it is now; when it is not there any more, that it was deleted.
    Current,
    /// That it goes; with the number of its last change.
    Removed(Reason, Seq),
}

/// A page.
#[derive(Debug)]
pub struct Page {
    /// What to send, in order.
    pub items: Vec<Item>,
    /// Where the next page begins.
    pub next: Position,
    /// Whether there is more to read at once.
    pub more: bool,
}

/// How much a page may hold and cost.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Things to send.
    pub items: usize,
    /// Rows to read.
    pub rows: usize,
}

/// What a phone carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The types.
    pub types: Types,
    /// The groups, beside what belongs to the whole club; everything that the member sees when absent.
    pub groups: Option<Vec<Uuid>>,
}

impl What {
    /// The root that it is about.
    pub(super) fn root(&self) -> Option<RootId> {
        match self {
            Self::Root(id, _) | Self::Child(_, _, id) => Some(*id),
            Self::Grant(_) | Self::Revoke(_) | Self::Other => None,
        }
    }

    /// The record below a root that it is about.
    pub(super) fn child(&self) -> Option<(Type, Uuid)> {
        match self {
            Self::Child(kind, id, _) => Some((*kind, *id)),
            _ => None,
        }
    }
}
