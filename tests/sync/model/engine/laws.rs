//! The invariants that are checked while a history runs.

use std::collections::HashMap;

use super::club::{Club, Tx, Write};
use super::pull::{BUDGET, Change, Sent, Slice};
use super::words::{Act, Id, Item, OpId, Outcome, Record, Seq, each};

/// A broken invariant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    pub law: &'static str,
    pub detail: String,
}

/// The one who made an operation: 15 is an admin, others are phones.
pub fn author(op: OpId) -> u32 {
    op >> 12
}

/// The author number of admins.
pub const ADMIN: u32 = 15;

/// What was written over what, and what was found.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// For each written value: the values it replaced, in whichever life of the database.
    replaced: HashMap<(usize, OpId, usize), Vec<OpId>>,
    /// For each value that was asked for where an equal one was stored: that one.
    equal: HashMap<(usize, OpId, usize), Vec<OpId>>,
    pub finding: Option<Finding>,
    pub commits: u64,
}

impl Ledger {
    /// Notes the first finding.
    pub fn found(&mut self, law: &'static str, detail: impl FnOnce() -> String) {
        if self.finding.is_none() {
            self.finding = Some(Finding { law, detail: detail() });
        }
    }

    /// Whether a value is another, or was replaced by it or by one that it replaced.
    pub fn led_to(&self, club: usize, group: usize, old: OpId, new: OpId) -> bool {
        let (mut open, mut known) = (vec![new], Vec::new());
        while let Some(value) = open.pop() {
            if value == old {
                return true;
            }
            if !known.contains(&value) {
                known.push(value);
                open.extend(self.replaced.get(&(club, value, group)).into_iter().flatten());
            }
        }
        false
    }

    /// Whether a value is still there, or was replaced by ones that had seen it; or one that was equal to it.
    pub fn lasts(&self, club: usize, group: usize, value: OpId, now: OpId) -> bool {
        let equal = self.equal.get(&(club, value, group)).into_iter().flatten();
        equal.chain([&value]).any(|value| self.led_to(club, group, *value, now))
    }

    /// Looks at a transaction just before it becomes visible.
    pub fn commit(&mut self, at: usize, club: &Club, tx: &Tx) {
        self.commits += 1;
        for (value, stored, group) in &tx.equal {
            self.equal.entry((at, *value, *group)).or_default().push(*stored);
        }
        for write in &tx.writes {
            if !write.record.alive && write.record.data != [0; 3] {
                self.found("I4", || format!("the stub of {} keeps data", write.record.id));
            }
            if club.refusals.contains_key(&write.by.op) {
                self.found("I2", || format!("{} was refused and then carried out", write.by.op));
            }
            if let Some(now) = club.records.get(&write.record.id) {
                self.overwrite(at, now, write);
            }
        }
    }

    fn overwrite(&mut self, at: usize, now: &Record, write: &Write) {
        let (next, id) = (&write.record, write.record.id);
        if now.kind.is_fact() && now.alive && next.alive && (now.body() != next.body()) {
            self.found("I8", || format!("the fact {id} was changed"));
        }
        for group in 0..3 {
            let (old, new) = (now.data[group], next.data[group]);
            if write.groups & (1 << group) == 0 {
                if old != new {
                    self.found("I7", || format!("{} took back group {group} of {id}", write.by.op));
                }
                continue;
            }
            if old != 0 && old != new && !self.had_seen(at, group, old, &write.by) {
                let op = write.by.op;
                self.found("I7", || format!("{op} replaced {old} in group {group} of {id} without having seen it"));
            }
            if new != 0 && new != old {
                self.replaced.entry((at, new, group)).or_default().push(old);
            }
        }
        if write.groups & 0b100 == 0 && now.scopes != next.scopes && next.alive {
            self.found("I7", || format!("{} took back the groups of {id}", write.by.op));
        }
    }

    fn had_seen(&self, at: usize, group: usize, old: OpId, by: &Item) -> bool {
        let own = |value: OpId| author(value) == author(by.op) && value < by.value;
        let own_equal = || {
            let mut known = self.equal.iter();
            known.any(|((club, value, of), stored)| (*club, *of) == (at, group) && own(*value) && stored.contains(&old))
        };
        author(by.op) == ADMIN || own(old) || self.led_to(at, group, old, by.saw[group]) || own_equal()
    }

    /// Looks at what an item is answered: not a refusal when it was stored before. One of several field groups may have
    /// been stored in part.
    pub fn answer(&mut self, club: &Club, item: &Item, outcome: &Outcome) {
        let refused = matches!(outcome.status, 409 | 412) && item.groups().count_ones() != 2;
        if refused && club.effects.contains_key(&item.value) {
            self.found("I2", || format!("{} was stored and then refused with {}", item.op, outcome.status));
        }
    }

    /// Looks at a club just after a commit.
    pub fn committed(&mut self, at: usize, club: &Club) {
        let twice = club.effects.iter().find(|(_, (count, _))| *count > 1);
        if let Some((op, _)) = twice {
            self.found("I2", || format!("{op} had its effect twice in club {at}"));
        }
    }

    /// Looks at a page at the time of the answer.
    pub fn page(&mut self, at: usize, club: &Club, member: usize, slice: &Slice, changes: &[Change]) {
        for change in changes {
            let record = &club.records[&change.id];
            if matches!(change.sent, Sent::Put(_)) && !club.shows(member, record) {
                self.found("I4", || format!("member {member} of club {at} was sent {}", change.id));
            }
        }
        if slice.read > BUDGET + slice.widest {
            self.found("I13", || format!("a page read {} rows", slice.read));
        }
    }

    /// Along a chain of tokens the number of a record never falls.
    pub fn number(&mut self, highest: &mut std::collections::BTreeMap<Id, Seq>, change: &Change) {
        let before = highest.entry(change.id).or_insert(change.rev);
        if change.rev < *before {
            self.found("I5", || format!("{} fell from {before} to {}", change.id, change.rev));
        }
        *before = change.rev.max(*before);
    }
}

/// The field groups of an edit whose value must be found again; none for facts, sets and deletions.
pub fn lasting(item: &Item) -> impl Iterator<Item = usize> {
    let groups = match item.act {
        Act::Patch { groups, .. } => groups,
        Act::Replace { .. } => 0b001,
        _ => 0,
    };
    each(groups)
}
