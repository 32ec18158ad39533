//! A club in memory, read like one in the database.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::convert::Infallible;

use uuid::Uuid;

use super::super::*;
use crate::resources::sync::model::Types;
use crate::resources::sync::visibility::Grant;

#[derive(Clone)]
pub enum Entry {
    Root(RootId, Option<(Vec<Uuid>, Vec<Uuid>)>),
    Child(Type, Uuid, RootId),
    Grant(u128, Uuid),
    Revoke(u128, Uuid),
}

/// A club in memory; scopes, roots and records are small numbers.
#[derive(Default)]
pub struct Club {
    pub log: Vec<Entry>,
    pub roots: BTreeMap<RootId, Root>,
    pub children: BTreeMap<(Type, Uuid), (RootId, bool, Seq)>,
    pub grants: Vec<(u128, Grant)>,
}

pub fn id(n: u128) -> Uuid {
    Uuid::from_u128(n + 1)
}

/// A root: the numbers of each type begin at 0.
pub fn root(kind: Type, n: u128) -> RootId {
    RootId { id: id(n), kind }
}

impl Club {
    pub fn head(&self) -> Seq {
        Seq::try_from(self.log.len()).unwrap()
    }

    fn add(&mut self, entry: Entry) -> Seq {
        self.log.push(entry);
        self.head()
    }

    pub fn root(&mut self, root: RootId, scopes: Option<Vec<Uuid>>, alive: bool) {
        let moved = scopes.map(|after| {
            let before = self.roots.get(&root).map_or_else(Vec::new, |root| root.scopes.clone());
            (before, after)
        });
        let rev = self.add(Entry::Root(root, moved.clone()));
        let scopes = match (moved, self.roots.get(&root)) {
            (Some((_, after)), _) if alive => after,
            (_, Some(known)) => known.scopes.clone(),
            (_, None) => Vec::new(),
        };
        self.roots.insert(root, Root { rev, alive, scopes, withheld: false });
    }

    pub fn child(&mut self, child: (Type, Uuid), root: RootId, alive: bool) {
        let rev = self.add(Entry::Child(child.0, child.1, root));
        self.children.insert(child, (root, alive, rev));
    }

    pub fn toggle(&mut self, member: u128, scope: Uuid) {
        let open =
            self.grants.iter().position(|(who, grant)| *who == member && grant.scope == scope && grant.to.is_none());
        match open {
            Some(at) => {
                let to = self.add(Entry::Revoke(member, scope));
                self.grants[at].1.to = Some(to);
            }
            None => {
                let from = self.add(Entry::Grant(member, scope));
                self.grants.push((member, Grant { scope, from, to: None }));
            }
        }
    }

    pub fn sight(&self, member: u128) -> Sight {
        Sight(self.grants.iter().filter(|(who, _)| *who == member).map(|(_, grant)| *grant).collect())
    }
}

pub struct Reading<'a> {
    pub club: &'a Club,
    pub member: u128,
}

impl Source for Reading<'_> {
    type Error = Infallible;

    async fn rows(&mut self, after: Seq, limit: usize) -> Result<Vec<Row>, Infallible> {
        let skip = usize::try_from(after).unwrap();
        let rows = self.club.log.iter().enumerate().skip(skip).take(limit);
        let rows: Vec<Row> = rows
            .map(|(at, entry)| Row {
                seq: Seq::try_from(at + 1).unwrap(),
                redated: false,
                what: match entry.clone() {
                    Entry::Root(id, moved) => What::Root(id, moved),
                    Entry::Child(kind, id, root) => What::Child(kind, id, root),
                    Entry::Grant(who, scope) if who == self.member => What::Grant(vec![scope]),
                    Entry::Revoke(who, scope) if who == self.member => What::Revoke(vec![scope]),
                    Entry::Grant(..) | Entry::Revoke(..) => What::Other,
                },
            })
            .collect();
        Ok(rows)
    }

    async fn roots(&mut self, ids: &[RootId]) -> Result<HashMap<RootId, Root>, Infallible> {
        Ok(ids.iter().filter_map(|id| self.club.roots.get(id).map(|root| (*id, root.clone()))).collect())
    }

    async fn visible(&mut self, after: Place, limit: usize) -> Result<Vec<RootId>, Infallible> {
        let sight = self.club.sight(self.member);
        let seen = self.club.roots.iter().filter(|(_, root)| sight.sees(root)).map(|(id, _)| *id);
        Ok(seen.filter(|root| Place::past(*root) > after).take(limit).collect())
    }

    async fn touched(
        &mut self,
        scopes: &[Uuid],
        since: Seq,
        after: Place,
        limit: usize,
    ) -> Result<Vec<RootId>, Infallible> {
        let skip = usize::try_from(since).unwrap();
        let left = self.club.log.iter().skip(skip).filter_map(|entry| match entry {
            Entry::Root(id, Some((before, _))) if before.iter().any(|one| scopes.contains(one)) => Some(*id),
            _ => None,
        });
        let inside = self
            .club
            .roots
            .iter()
            .filter(|(_, root)| root.scopes.iter().any(|one| scopes.contains(one)))
            .map(|(id, _)| *id);
        let all: BTreeSet<RootId> = left.chain(inside).collect();
        Ok(all.into_iter().filter(|root| Place::past(*root) > after).take(limit).collect())
    }

    async fn children(
        &mut self,
        roots: &[RootId],
        types: Types,
        after: Option<Key>,
        limit: usize,
    ) -> Result<Vec<Child>, Infallible> {
        let live = self.club.children.iter().filter(|(_, (root, alive, _))| *alive && roots.contains(root));
        let mut all: Vec<Child> =
            live.map(|((kind, id), (root, ..))| Child { root: *root, kind: *kind, id: *id }).collect();
        let key = |child: &Child| Key { root: child.root, part: Part::Child(child.kind, child.id) };
        all.sort_by_key(key);
        all.retain(|child| types.has(child.kind) && after.is_none_or(|after| key(child) > after));
        all.truncate(limit);
        Ok(all)
    }

    async fn old(&mut self, _: &[(Type, Uuid)]) -> Result<HashSet<(Type, Uuid)>, Infallible> {
        Ok(HashSet::new())
    }

    async fn dated(&mut self, _: Uuid, _: Types, _: Option<(Type, Uuid)>, _: usize) -> Result<Vec<Dated>, Infallible> {
        Ok(Vec::new())
    }
}
