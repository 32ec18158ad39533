//! What a page holds: the log read strictly in order, each row expanded for one member by brute force.

use std::hash::{DefaultHasher, Hash, Hasher};

use super::club::{Club, Row, What};
use super::flaw::Flaw;
use super::words::{Body, Id, Kind, Record, Seq, Types};

/// Rows that one page may read.
pub const BUDGET: usize = 14;

/// A place among everything that one row, or a full copy, expands to: root, part (reset, root, child, dated), type, id.
pub type Key = (Id, u8, u8, Id);

/// A full copy of some types under way, and the last place that was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Walk {
    pub types: Types,
    pub after: Option<Key>,
}

/// How far a phone has read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Position {
    pub seq: Seq,
    pub sub: Option<Key>,
    pub walk: Option<Walk>,
}

/// The token of a page. Which club and member it belongs to stands only in its seal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Token {
    pub epoch: u32,
    pub position: Position,
    pub types: Types,
    pub history_from: Option<i32>,
    pub seal: u64,
}

/// A question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ask {
    pub token: Option<Token>,
    pub types: Types,
    pub history_from: Option<i32>,
    pub limit: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sent {
    Put(Body),
    Removed { deleted: bool },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    pub kind: Kind,
    pub id: Id,
    pub rev: Seq,
    pub sent: Sent,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    pub from: Option<Token>,
    pub token: Token,
    pub more: bool,
    pub changes: Vec<Change>,
    /// The day by the server's clock.
    pub day: i32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    NotMember,
    Invalid,
    Expired,
    Diverged,
}

/// One thing to send.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Emit {
    Current,
    Removed { deleted: bool },
}

/// What a page needs to know.
pub struct View<'a> {
    pub club: &'a Club,
    pub member: usize,
    pub types: Types,
    pub history_from: Option<i32>,
    pub flaw: Option<Flaw>,
}

/// A page before its token is written.
pub struct Slice {
    pub items: Vec<(Kind, Id, Emit)>,
    pub next: Position,
    pub more: bool,
    /// Rows that were read, and the most that a single row cost.
    pub read: usize,
    pub widest: usize,
}

/// The seal of a token for a member of a club.
pub fn seal(token: &Token, club: usize, member: usize, flaw: Option<Flaw>) -> u64 {
    let mut hasher = DefaultHasher::new();
    Token { seal: 0, ..*token }.hash(&mut hasher);
    if flaw != Some(Flaw::TokenAnyClub) {
        club.hash(&mut hasher);
    }
    if flaw != Some(Flaw::TokenAnyMember) {
        member.hash(&mut hasher);
    }
    hasher.finish()
}

type Steps = Vec<(Key, Kind, Id, Emit)>;

impl View<'_> {
    fn is(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    fn reset(root: &Record) -> (Key, Kind, Id, Emit) {
        ((root.id, 0, 0, 0), root.kind, root.id, Emit::Removed { deleted: false })
    }

    fn itself(root: &Record, emit: Emit) -> (Key, Kind, Id, Emit) {
        ((root.id, 1, 0, 0), root.kind, root.id, emit)
    }

    /// A root and the live records below it that a full copy sends.
    fn whole(&self, root: &Record, steps: &mut Steps) {
        steps.push(Self::itself(root, Emit::Current));
        for child in self.club.below(root.id) {
            if self.club.old(child, self.history_from) {
                continue;
            }
            steps.push(((root.id, 2, child.kind as u8, child.id), child.kind, child.id, Emit::Current));
        }
    }

    fn afresh(&self, root: &Record, steps: &mut Steps) {
        if !self.is(Flaw::NoReset) {
            steps.push(Self::reset(root));
        }
        self.whole(root, steps);
    }

    /// Everything that a row means to the member, in order.
    pub fn expand(&self, row: &Row) -> Steps {
        let mut steps = Vec::new();
        match row.what {
            What::Child(id, root) => {
                let seen = self.club.records.get(&root).filter(|root| self.club.sees(self.member, root));
                if let (Some(root), Some(child)) = (seen, self.club.records.get(&id))
                    && (self.is(Flaw::LateSent) || !self.club.old(child, self.history_from))
                {
                    steps.push(((root.id, 2, child.kind as u8, id), child.kind, id, Emit::Current));
                }
            }
            What::Day(id) => {
                self.expand_root(row.seq, id, None, &mut steps);
                if self.history_from.is_some() && !self.is(Flaw::DayMovesAlone) {
                    self.expand_day(id, &mut steps);
                }
            }
            What::Root(id, moved) => self.expand_root(row.seq, id, moved, &mut steps),
            What::Grant(member, scope) if member == self.member && !self.is(Flaw::NoGrantRow) => {
                for root in self.touched(scope, row.seq, !self.is(Flaw::GrantIgnoresLeft)) {
                    if self.club.sees(self.member, root) {
                        self.afresh(root, &mut steps);
                    }
                }
            }
            What::Revoke(member, scope) if member == self.member && !self.is(Flaw::NoRevokeRow) => {
                for root in self.touched(scope, row.seq, true) {
                    if !self.club.sees(self.member, root) {
                        steps.push(Self::itself(root, Emit::Removed { deleted: false }));
                    }
                }
            }
            What::Grant(..) | What::Revoke(..) => {}
        }
        steps
    }

    fn expand_root(&self, at: Seq, id: Id, moved: Option<(u8, u8)>, steps: &mut Steps) {
        let Some(root) = self.club.records.get(&id) else { return };
        let Some((before, after)) = moved else {
            if self.club.sees(self.member, root) {
                steps.push(Self::itself(root, Emit::Current));
            }
            return;
        };
        if self.club.sees(self.member, root) {
            let then =
                if self.is(Flaw::NowForThen) { self.club.now(self.member) } else { self.club.at(self.member, at) };
            if before & then == 0 && after & then != 0 && !self.is(Flaw::NoEntry) {
                self.afresh(root, steps);
            } else {
                steps.push(Self::itself(root, Emit::Current));
            }
            return;
        }
        let ever = if self.is(Flaw::NowForEver) { self.club.now(self.member) } else { self.club.ever(self.member) };
        if before & ever != 0 && !(root.alive && self.is(Flaw::NoMovedOut)) {
            steps.push(Self::itself(root, Emit::Removed { deleted: !root.alive }));
        }
    }

    /// What has the day of a session: anew, or taken back where it has become too old.
    fn expand_day(&self, id: Id, steps: &mut Steps) {
        if !self.club.records.get(&id).is_some_and(|session| self.club.sees(self.member, session)) {
            return;
        }
        for child in self.club.below(id) {
            let old = self.club.old(child, self.history_from);
            let emit = if old { Emit::Removed { deleted: false } } else { Emit::Current };
            steps.push(((id, 3, child.kind as u8, child.id), child.kind, child.id, emit));
        }
    }

    /// The live roots in a scope, or that left it after a row.
    fn touched(&self, scope: u8, at: Seq, with_left: bool) -> Vec<&Record> {
        let left = |id: Id| {
            let moved =
                |row: &Row| matches!(row.what, What::Root(one, Some((before, _))) if one == id && before & scope != 0);
            with_left && self.club.rows_after(at).iter().any(moved)
        };
        let roots = self.club.records.values().filter(|one| one.kind.is_root() && one.alive);
        roots.filter(|root| root.scopes & scope != 0 || left(root.id)).collect()
    }

    /// The next page after a position.
    pub fn slice(&self, from: Position, limit: usize, budget: usize) -> Slice {
        let mut slice = Slice { items: Vec::new(), next: from, more: false, read: 0, widest: 0 };
        slice.more = self.walk(&mut slice, limit, budget) || self.log(&mut slice, limit, budget);
        slice
    }

    /// Sends steps until the page is full; whether it is.
    fn send(slice: &mut Slice, steps: Steps, types: Types, limit: usize, budget: usize) -> bool {
        slice.widest = slice.widest.max(steps.len() + 1);
        for (key, kind, id, emit) in steps {
            let last = slice.next.walk.as_mut().map_or(&mut slice.next.sub, |walk| &mut walk.after);
            if last.is_some_and(|last| key <= last) {
                continue;
            }
            *last = Some(key);
            slice.read += 1;
            // What lies below a removed root goes with it, whichever types the phone carries.
            if types & kind.bit() != 0 || (kind.is_root() && emit != Emit::Current) {
                slice.items.push((kind, id, emit));
            }
            if slice.items.len() >= limit || slice.read >= budget {
                return true;
            }
        }
        false
    }

    fn walk(&self, slice: &mut Slice, limit: usize, budget: usize) -> bool {
        let Some(walk) = slice.next.walk else { return false };
        let from = walk.after.map_or(0, |key| key.0);
        for root in self.club.records.range(from..).map(|(_, one)| one) {
            if root.id != root.root || !self.club.sees(self.member, root) {
                continue;
            }
            let mut steps = Vec::new();
            self.whole(root, &mut steps);
            if Self::send(slice, steps, walk.types, limit, budget) {
                return true;
            }
        }
        slice.next.walk = None;
        if self.is(Flaw::WalkFromEnd) {
            slice.next.seq = self.club.seq;
        }
        slice.items.len() >= limit || slice.read >= budget
    }

    fn log(&self, slice: &mut Slice, limit: usize, budget: usize) -> bool {
        let budget = if self.is(Flaw::BudgetIgnored) { usize::MAX } else { budget };
        let head = self.club.log.last().map_or(0, |row| row.seq);
        for row in self.club.rows_after(slice.next.seq) {
            slice.read += 1;
            if Self::send(slice, self.expand(row), self.types, limit, budget) {
                if self.is(Flaw::RowCutLost) {
                    (slice.next.seq, slice.next.sub) = (row.seq, None);
                }
                return true;
            }
            (slice.next.seq, slice.next.sub) = (row.seq, None);
            if row.seq < head && (slice.items.len() >= limit || slice.read >= budget) {
                return true;
            }
        }
        false
    }

    /// The changes of a page.
    pub fn fill(&self, items: &[(Kind, Id, Emit)]) -> Vec<Change> {
        let one = |&(kind, id, emit): &(Kind, Id, Emit)| {
            let record = self.club.records.get(&id)?;
            let sent = match emit {
                Emit::Current if record.alive || self.is(Flaw::ReadsDeleted) => Sent::Put(record.body()),
                Emit::Current => Sent::Removed { deleted: true },
                Emit::Removed { deleted } => Sent::Removed { deleted },
            };
            Some(Change { kind, id, rev: record.rev, sent })
        };
        items.iter().filter_map(one).collect()
    }
}
