//! A club in the database: what is committed, and what a transaction is about to commit.

use std::collections::BTreeMap;

use super::words::{ALL, Act, EACH, GROUPS, Id, Item, Kind, MEMBERS, OpId, Record, Scopes, Seq, each};

/// How far the counter jumps in a new epoch; more than any history writes.
pub const JUMP: Seq = 10_000;
/// Rows of the log that are kept, however old.
const KEPT: usize = 6;
/// Days that the log and receipts are kept.
pub const RETAINED: i32 = 90;

/// That a member sees a scope from one number on, up to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grant {
    pub member: usize,
    pub scope: Scopes,
    pub from: Seq,
    pub to: Option<Seq>,
}

/// What a row of the log says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A root changed; its scopes before and after, where they changed.
    Root(Id, Option<(Scopes, Scopes)>),
    /// A session changed, and with its day that of its plans.
    Day(Id),
    /// A record below a root changed.
    Child(Id, Id),
    Grant(usize, Scopes),
    Revoke(usize, Scopes),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    pub seq: Seq,
    pub what: What,
    pub day: i32,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    pub item: Item,
    pub status: u16,
    pub rev: Seq,
    pub day: i32,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    pub item: Item,
    /// Whether an admin accepted it.
    pub outcome: Option<bool>,
}

/// A club as it is committed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Club {
    pub epoch: u32,
    pub seq: Seq,
    pub oldest: Seq,
    /// Each later epoch with the last number that it shares with the one before.
    pub forks: Vec<(u32, Seq)>,
    pub log: Vec<Row>,
    pub records: BTreeMap<Id, Record>,
    pub grants: Vec<Grant>,
    /// The day each member left.
    pub left: [Option<i32>; MEMBERS],
    pub receipts: BTreeMap<OpId, Receipt>,
    pub held: BTreeMap<Id, Held>,
    /// Values that lost against another edit.
    pub refused: BTreeMap<OpId, Id>,
    /// How often each value was written; no part of the protocol.
    pub effects: BTreeMap<OpId, (u32, i32)>,
    /// The day each edit was refused; no part of the protocol.
    pub refusals: BTreeMap<OpId, i32>,
}

impl Default for Club {
    fn default() -> Self {
        Self {
            epoch: 1,
            seq: 0,
            oldest: 1,
            forks: Vec::new(),
            log: Vec::new(),
            records: BTreeMap::new(),
            grants: Vec::new(),
            left: [None; MEMBERS],
            receipts: BTreeMap::new(),
            held: BTreeMap::new(),
            refused: BTreeMap::new(),
            effects: BTreeMap::new(),
            refusals: BTreeMap::new(),
        }
    }
}

impl Club {
    /// The scopes that a member sees, with a choice of grants.
    fn scopes(&self, member: usize, valid: impl Fn(&Grant) -> bool) -> Scopes {
        let grants = self.grants.iter().filter(|grant| grant.member == member && valid(grant));
        grants.fold(0, |all, grant| all | grant.scope)
    }

    pub fn now(&self, member: usize) -> Scopes {
        self.scopes(member, |grant| grant.to.is_none())
    }

    pub fn at(&self, member: usize, seq: Seq) -> Scopes {
        self.scopes(member, |grant| grant.from <= seq && grant.to.is_none_or(|to| seq < to))
    }

    pub fn ever(&self, member: usize) -> Scopes {
        self.scopes(member, |_| true)
    }

    /// Whether a member sees a root.
    pub fn sees(&self, member: usize, root: &Record) -> bool {
        root.alive && root.scopes & self.now(member) != 0
    }

    /// Whether a member sees a record.
    pub fn shows(&self, member: usize, record: &Record) -> bool {
        record.alive && self.records.get(&record.root).is_some_and(|root| self.sees(member, root))
    }

    /// Whether a live record is about a day before the first that a phone keeps: a plan about that of its session.
    pub fn old(&self, record: &Record, history_from: Option<i32>) -> bool {
        let day = match record.kind {
            Kind::Run => Some(record.claimed),
            Kind::Plan => self.records.get(&record.root).map(|session| session.claimed),
            _ => None,
        };
        record.alive && history_from.zip(day).is_some_and(|(first, day)| day < first)
    }

    /// The rows after a number.
    pub fn rows_after(&self, seq: Seq) -> &[Row] {
        &self.log[self.log.partition_point(|row| row.seq <= seq)..]
    }

    /// The live records below a root, in the order in which they are sent.
    pub fn below(&self, root: Id) -> Vec<&Record> {
        let mut all: Vec<&Record> =
            self.records.values().filter(|one| one.root == root && one.id != root && one.alive).collect();
        all.sort_by_key(|one| (one.kind, one.id));
        all
    }

    /// Drops what is older than the retention, but keeps some rows.
    pub fn compact(&mut self, day: i32) {
        let before = day - RETAINED;
        let many = self.log.len().saturating_sub(KEPT);
        let drop = self.log.iter().take(many).take_while(|row| row.day < before).count();
        if drop > 0 {
            self.oldest = self.log[drop - 1].seq + 1;
            self.log.drain(..drop);
        }
        self.receipts.retain(|_, receipt| receipt.day >= before);
        self.effects.retain(|_, (_, day)| *day >= before);
        self.refusals.retain(|_, day| *day >= before);
    }
}

/// A record that a transaction writes.
#[derive(Clone, Debug)]
pub struct Write {
    pub record: Record,
    /// The item that wrote it, and the field groups it wrote.
    pub by: Item,
    pub groups: u8,
}

/// What a transaction is about to commit.
#[derive(Clone, Debug, Default)]
pub struct Tx {
    pub writes: Vec<Write>,
    pub rows: Vec<What>,
    pub receipts: Vec<(Receipt, Id)>,
    pub held: Vec<(Id, Held)>,
    pub refused: Vec<(OpId, Id)>,
    /// Edits that are refused; for the ledger.
    pub refusals: Vec<OpId>,
    /// Values that were asked for where an equal one was stored, with that one and their group; for the ledger.
    pub equal: Vec<(OpId, OpId, usize)>,
    pub left: Vec<(usize, Option<i32>)>,
    /// The first number that was given, when it was.
    pub first: Option<Seq>,
    /// The epoch it begins, and the last number shared with the one before.
    pub fork: Option<(u32, Seq)>,
}

impl Tx {
    /// A record as the transaction sees it.
    pub fn record<'a>(&'a self, club: &'a Club, id: Id) -> Option<&'a Record> {
        let own = self.writes.iter().rev().find(|write| write.record.id == id).map(|write| &write.record);
        own.or_else(|| club.records.get(&id))
    }

    /// Whether a member sees a root, as the transaction sees it.
    pub fn sees(&self, club: &Club, member: usize, root: Id) -> bool {
        self.record(club, root).is_some_and(|root| club.sees(member, root))
    }

    /// Notes the write of a record and its row of the log.
    pub fn write(&mut self, record: Record, by: &Item, groups: u8, moved: Option<(Scopes, Scopes)>) {
        let what = match record.kind {
            Kind::Venue => What::Root(record.id, Some((super::words::CLUB, super::words::CLUB))),
            Kind::Session if matches!(by.act, Act::Replace { .. }) => What::Day(record.id),
            kind if kind.is_root() => What::Root(record.id, moved),
            _ => What::Child(record.id, record.root),
        };
        self.rows.push(what);
        self.writes.push(Write { record, by: by.clone(), groups });
    }

    /// Gives the numbers from `first` on to the rows and the records they speak of.
    pub fn number(&mut self, first: Seq) {
        self.first = Some(first);
        for (seq, what) in (first..).zip(&self.rows) {
            let (What::Root(id, _) | What::Day(id) | What::Child(id, _)) = what else { continue };
            for write in self.writes.iter_mut().filter(|write| write.record.id == *id) {
                write.record.rev = seq;
                each(write.groups).for_each(|group| write.record.group_rev[group] = seq);
            }
        }
        for (receipt, id) in &mut self.receipts {
            if let Some(write) = self.writes.iter().rev().find(|write| write.record.id == *id) {
                receipt.rev = write.record.rev;
            }
        }
    }

    /// The number of a record after the commit.
    pub fn rev(&self, id: Id, before: Seq) -> Seq {
        self.writes.iter().rev().find(|write| write.record.id == id).map_or(before, |write| write.record.rev)
    }

    /// Makes everything visible.
    pub fn commit(self, club: &mut Club, day: i32) {
        let first = self.first.unwrap_or(club.seq + 1);
        if let Some((epoch, shared)) = self.fork {
            club.epoch = epoch;
            club.forks.push((epoch, shared));
        }
        for (seq, what) in (first..).zip(&self.rows) {
            let at = club.log.partition_point(|row| row.seq <= seq);
            club.log.insert(at, Row { seq, what: *what, day });
            club.seq = club.seq.max(seq);
            match *what {
                What::Grant(member, scope) => club.grants.push(Grant { member, scope, from: seq, to: None }),
                What::Revoke(member, scope) => {
                    let open =
                        |grant: &&mut Grant| grant.member == member && grant.scope == scope && grant.to.is_none();
                    if let Some(grant) = club.grants.iter_mut().find(open) {
                        grant.to = Some(seq);
                    }
                }
                What::Root(..) | What::Day(..) | What::Child(..) => {}
            }
        }
        for write in self.writes {
            club.effects.entry(write.by.value).or_insert((0, day)).0 += 1;
            club.records.insert(write.record.id, write.record);
        }
        club.receipts.extend(self.receipts.into_iter().map(|(receipt, _)| (receipt.item.op, receipt)));
        for (id, held) in self.held {
            club.held.insert(id, held);
        }
        club.refused.extend(self.refused);
        club.refusals.extend(self.refusals.into_iter().map(|op| (op, day)));
        for (member, day) in self.left {
            club.left[member] = day;
        }
    }
}

/// The scopes of a root in some groups: an admin sees it as long as it is in any.
pub fn placed(groups: Scopes) -> Scopes {
    if groups & GROUPS == 0 { 0 } else { (groups & GROUPS) | ALL }
}

/// The single scopes of a set.
pub fn single(scopes: Scopes) -> impl Iterator<Item = Scopes> {
    EACH.into_iter().filter(move |one| scopes & one != 0)
}
