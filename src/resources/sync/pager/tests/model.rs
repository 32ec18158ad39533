//! A club of the model of the protocol, read like one in the database.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::convert::Infallible;

use uuid::Uuid;

use super::super::*;
use super::engine::club::{Club, What as Says, single};
use super::engine::pull::{self, Emit};
use super::engine::words::{ALL, CLUB, EACH, EVERY_TYPE, Id, Kind, Record, Scopes};
use crate::resources::sync::model::Types;
use crate::resources::sync::places::Walk;
use crate::resources::sync::visibility::{Grant, Reason};

const KINDS: [(Kind, Type); 7] = [
    (Kind::Venue, Type::Venue),
    (Kind::Athlete, Type::Athlete),
    (Kind::Session, Type::Session),
    (Kind::Measurement, Type::Measurement),
    (Kind::Attendance, Type::Attendance),
    (Kind::Plan, Type::LanePlan),
    (Kind::Run, Type::Run),
];

fn kind(of: Kind) -> Type {
    KINDS.into_iter().find(|(one, _)| *one == of).unwrap().1
}

pub fn types(set: u8) -> Types {
    KINDS.into_iter().filter(|(one, _)| set & EVERY_TYPE & one.bit() != 0).map(|(_, kind)| kind).collect()
}

fn id(of: Id) -> Uuid {
    Uuid::from_u128(u128::from(of) + 1)
}

pub fn back(of: Uuid) -> Id {
    Id::try_from(of.as_u128() - 1).unwrap()
}

/// A scope; that of an admin is everything.
pub fn scope(one: Scopes) -> Uuid {
    if one == ALL { Uuid::nil() } else { id(one.into()) }
}

fn scopes(set: Scopes) -> Vec<Uuid> {
    single(set).map(scope).collect()
}

/// A root of the model by its type, which its token does not tell.
pub fn root(club: &Club, of: Id) -> RootId {
    RootId { id: id(of), kind: club.records.get(&of).map_or(Type::Group, |one| kind(one.kind)) }
}

fn key(club: &Club, key: pull::Key) -> Key {
    let (above, part, rank, child) = key;
    let part = match part {
        0 => Part::Reset,
        1 => Part::Root,
        3 => Part::Dated(KINDS[usize::from(rank)].1, id(child)),
        _ => Part::Child(KINDS[usize::from(rank)].1, id(child)),
    };
    Key { root: root(club, above), part }
}

pub fn position(club: &Club, of: &pull::Position) -> Position {
    let key = |one| key(club, one);
    let walk = of.walk.map(|walk| Walk { types: types(walk.types), groups: 0, after: walk.after.map(key) });
    Position { seq: of.seq, sub: of.sub.map(key), walk }
}

pub fn sight(club: &Club, member: usize) -> Sight {
    let mine = club.grants.iter().filter(|grant| grant.member == member);
    Sight(mine.map(|grant| Grant { scope: scope(grant.scope), from: grant.from, to: grant.to }).collect())
}

/// What the service sends: type, record, and the reason and number of a removal.
pub type Told = (Type, Id, Option<(Reason, Seq)>);

pub fn told(item: &Item) -> Told {
    let removed = match item.sent {
        Sent::Current => None,
        Sent::Removed(reason, rev) => Some((reason, rev)),
    };
    (item.kind, back(item.id), removed)
}

/// What the model sends.
pub fn wanted(club: &Club, (of, record, emit): (Kind, Id, Emit)) -> Told {
    let removed = match emit {
        Emit::Current => None,
        Emit::Removed { deleted } => {
            let reason = if deleted { Reason::Deleted } else { Reason::Changed };
            Some((reason, club.records[&record].rev))
        }
    };
    (kind(of), record, removed)
}

pub struct Reading<'a> {
    pub club: &'a Club,
    pub member: usize,
    pub history_from: Option<i32>,
    /// The groups that the phone carries.
    pub groups: Option<Vec<Uuid>>,
    pub read: usize,
}

impl Reading<'_> {
    fn page(&mut self, ids: impl Iterator<Item = Id>, after: Place, limit: usize) -> Vec<RootId> {
        let roots = ids.map(|id| root(self.club, id)).filter(|root| Place::past(*root) > after);
        let ids: Vec<RootId> = roots.collect::<BTreeSet<RootId>>().into_iter().take(limit).collect();
        self.read += ids.len();
        ids
    }

    fn carried(&self, one: Scopes) -> Vec<Uuid> {
        match &self.groups {
            None => vec![scope(one)],
            Some(groups) => visibility::remaining(scope(one), groups, scope(CLUB)),
        }
    }

    /// What the member sees and saw of the groups that the phone carries.
    pub fn sight(&self) -> Sight {
        let all = sight(self.club, self.member);
        self.groups.as_ref().map_or_else(|| all.clone(), |groups| all.of_groups(groups, scope(CLUB)))
    }

    fn roots_where(&self, holds: impl Fn(&Record) -> bool) -> Vec<Id> {
        let roots = self.club.records.values().filter(|one| one.kind.is_root() && holds(one));
        roots.map(|one| one.id).collect()
    }
}

impl Source for Reading<'_> {
    type Error = Infallible;

    async fn rows(&mut self, after: Seq, limit: usize) -> Result<Vec<Row>, Infallible> {
        let what = |says: Says| match says {
            Says::Root(of, moved) => {
                What::Root(root(self.club, of), moved.map(|(old, new)| (scopes(old), scopes(new))))
            }
            Says::Day(of) => What::Root(root(self.club, of), None),
            Says::Child(child, of) => What::Child(kind(self.club.records[&child].kind), id(child), root(self.club, of)),
            Says::Grant(who, one) if who == self.member => What::Grant(self.carried(one)),
            Says::Revoke(who, one) if who == self.member => What::Revoke(self.carried(one)),
            Says::Grant(..) | Says::Revoke(..) => What::Other,
        };
        let rows = self.club.rows_after(after).iter().take(limit);
        let redated = |says: Says| matches!(says, Says::Day(_)) && self.history_from.is_some();
        let rows: Vec<Row> =
            rows.map(|row| Row { seq: row.seq, what: what(row.what), redated: redated(row.what) }).collect();
        self.read += rows.len();
        Ok(rows)
    }

    async fn roots(&mut self, ids: &[RootId]) -> Result<HashMap<RootId, Root>, Infallible> {
        let found = ids.iter().filter_map(|id| self.club.records.get(&back(id.id)).map(|one| (*id, one)));
        let root = |one: &Record| Root { rev: one.rev, alive: one.alive, scopes: scopes(one.scopes), withheld: false };
        Ok(found.map(|(id, one)| (id, root(one))).collect())
    }

    async fn visible(&mut self, after: Place, limit: usize) -> Result<Vec<RootId>, Infallible> {
        let sight = self.sight();
        let seen = self.roots_where(|one| {
            sight.sees(&Root { rev: one.rev, alive: one.alive, scopes: scopes(one.scopes), withheld: false })
        });
        Ok(self.page(seen.into_iter(), after, limit))
    }

    async fn touched(
        &mut self,
        wanted: &[Uuid],
        since: Seq,
        after: Place,
        limit: usize,
    ) -> Result<Vec<RootId>, Infallible> {
        let scope = EACH.into_iter().filter(|one| wanted.contains(&scope(*one))).fold(0, |all, one| all | one);
        let left = self.club.rows_after(since).iter().filter_map(|row| match row.what {
            Says::Root(root, Some((before, _))) if before & scope != 0 => Some(root),
            _ => None,
        });
        let inside = self.roots_where(|one| one.scopes & scope != 0);
        let all: Vec<Id> = left.chain(inside).collect();
        Ok(self.page(all.into_iter(), after, limit))
    }

    async fn children(
        &mut self,
        roots: &[RootId],
        types: Types,
        after: Option<Key>,
        limit: usize,
    ) -> Result<Vec<Child>, Infallible> {
        let old = |one: &Record| self.club.old(one, self.history_from);
        let below = |root: &RootId| self.club.below(back(root.id)).into_iter().filter(|one| !old(one));
        let mut all: Vec<Child> = roots
            .iter()
            .flat_map(|root| below(root).map(|one| Child { root: *root, kind: kind(one.kind), id: id(one.id) }))
            .filter(|child| types.has(child.kind))
            .collect();
        all.sort_by_key(|child| Key { root: child.root, part: Part::Child(child.kind, child.id) });
        all.retain(|child| {
            after.is_none_or(|after| Key { root: child.root, part: Part::Child(child.kind, child.id) } > after)
        });
        all.truncate(limit);
        self.read += all.len();
        Ok(all)
    }

    async fn old(&mut self, records: &[(Type, Uuid)]) -> Result<HashSet<(Type, Uuid)>, Infallible> {
        let old = |id: Uuid| self.club.records.get(&back(id)).is_some_and(|one| self.club.old(one, self.history_from));
        Ok(records.iter().filter(|(_, id)| old(*id)).copied().collect())
    }

    async fn dated(
        &mut self,
        session: Uuid,
        types: Types,
        after: Option<(Type, Uuid)>,
        limit: usize,
    ) -> Result<Vec<Dated>, Infallible> {
        let dated = |one: &Record| Dated {
            child: Child { root: root(self.club, one.root), kind: kind(one.kind), id: id(one.id) },
            rev: one.rev,
            old: self.club.old(one, self.history_from),
        };
        let mut all: Vec<Dated> = self.club.below(back(session)).into_iter().map(dated).collect();
        all.retain(|one| types.has(one.child.kind) && after.is_none_or(|after| (one.child.kind, one.child.id) > after));
        all.truncate(limit);
        self.read += all.len();
        Ok(all)
    }
}
