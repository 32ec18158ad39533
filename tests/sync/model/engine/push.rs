//! What one item of a push does inside a transaction.

use super::club::{Club, Held, Receipt, Tx, What, placed, single};
use super::flaw::Flaw;
use super::words::{Act, CLUB, GROUPS, Id, Item, Kind, Outcome, Record, Scopes, Seq, VIEWER, each};

/// Who pushes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Admin,
    Member(usize),
}

/// One item before its transaction.
pub struct Case<'a> {
    pub club: &'a Club,
    pub tx: &'a mut Tx,
    pub who: Who,
    pub item: &'a Item,
    pub day: i32,
    /// Whether something the item needs comes later in the push, or failed in it.
    pub waits: bool,
    pub flaw: Option<Flaw>,
}

impl Case<'_> {
    fn is(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    /// The item as it is compared with a repetition.
    fn digest(&self) -> Item {
        self.item.digest(self.is(Flaw::ReceiptHoldsVersion))
    }

    fn record(&self, id: Id) -> Option<Record> {
        self.tx.record(self.club, id).cloned()
    }

    fn sees(&self, root: Id) -> bool {
        match self.who {
            Who::Admin => self.record(root).is_some_and(|root| root.alive),
            Who::Member(member) => self.tx.sees(self.club, member, root),
        }
    }

    /// Why the member may not do such things: left, or only reads.
    fn barred(&self) -> bool {
        matches!(self.who, Who::Member(member) if member == VIEWER || self.club.left[member].is_some())
    }

    /// Carries the item out; nothing is written when it is refused.
    pub fn run(&mut self) -> Outcome {
        match self.item.act {
            Act::See { member, wanted } => self.see(member, wanted),
            Act::Decide { to } => self.decide(to),
            Act::Fact { root } => self.fact(root),
            _ => self.edit(),
        }
    }

    fn see(&mut self, member: usize, wanted: Scopes) -> Outcome {
        let now = self.club.now(member);
        let ends = single(now & !wanted).map(|scope| What::Revoke(member, scope));
        let begins = single(wanted & !now).map(|scope| What::Grant(member, scope));
        self.tx.rows.extend(ends.chain(begins));
        self.tx.left.push((member, (wanted == 0).then_some(self.day)));
        Outcome::of(200)
    }

    /// An admin files a held fact below an athlete, or rejects it.
    fn decide(&mut self, to: Option<Id>) -> Outcome {
        let Some(held) = self.club.held.get(&self.item.id).filter(|held| held.outcome.is_none()) else {
            return Outcome::of(409);
        };
        let held = Held { outcome: Some(to.is_some()), ..held.clone() };
        if let Some(root) = to {
            if !self.sees(root) {
                return Outcome::of(422);
            }
            self.file(&held.item, root);
        }
        self.tx.held.push((self.item.id, held));
        Outcome::of(200)
    }

    fn file(&mut self, fact: &Item, root: Id) {
        let record = Record {
            kind: fact.kind,
            id: fact.id,
            root,
            rev: 0,
            alive: true,
            data: [fact.value, 0, 0],
            group_rev: [0; 3],
            scopes: 0,
            claimed: fact.claimed,
        };
        self.tx.write(record, fact, 0b001, None);
    }

    fn hold(&mut self) -> Outcome {
        if !self.is(Flaw::HeldDropped) {
            self.tx.held.push((self.item.id, Held { item: self.item.clone(), outcome: None }));
        }
        Outcome::of(202)
    }

    fn fact(&mut self, root: Id) -> Outcome {
        let item = self.item;
        if item.poison {
            return Outcome::of(422);
        }
        if let Some(held) = self.club.held.get(&item.id) {
            return match held.outcome {
                _ if held.item.digest(false) != item.digest(false) => Outcome::of(409),
                Some(true) => Outcome { rev: self.record(item.id).map_or(0, |one| one.rev), ..Outcome::of(200) },
                _ => Outcome::of(202),
            };
        }
        if let Some(record) = self.record(item.id) {
            let same = record.kind == item.kind && record.root == root && record.data[0] == item.value;
            return match record.alive {
                false => Outcome::of(410),
                true if same => Outcome { rev: record.rev, ..Outcome::of(200) },
                true if self.is(Flaw::FactReplaced) => {
                    self.file(item, root);
                    Outcome::of(200)
                }
                true => Outcome { current: Some((record.rev, record.body())), ..Outcome::of(409) },
            };
        }
        if self.barred() {
            return if self.is(Flaw::LeftRefused) { Outcome::of(403) } else { self.hold() };
        }
        if self.sees(root) && item.claimed <= self.day + 1 {
            self.file(item, root);
            return Outcome::of(201);
        }
        match (self.waits, self.is(Flaw::FactRefused)) {
            (true, _) => Outcome::of(424),
            (_, true) => Outcome::of(404),
            _ => self.hold(),
        }
    }

    /// An edit, under a receipt.
    fn edit(&mut self) -> Outcome {
        let item = self.item;
        let given = self.tx.receipts.iter().map(|(receipt, _)| receipt).find(|receipt| receipt.item.op == item.op);
        if let Some(given) = given.or_else(|| self.club.receipts.get(&item.op)) {
            let given = given.clone();
            return if given.item == self.digest() { self.answered(&given) } else { Outcome::of(409) };
        }
        let outcome = match item.act {
            _ if self.barred() => Outcome::of(403),
            _ if item.poison => Outcome::of(422),
            Act::Create { root, scopes } => self.create(root, scopes),
            Act::Attend { athlete, session } => self.attend(athlete, session),
            _ => self.change(),
        };
        // What waits is no refusal, and a merge that lost in part is judged anew.
        let merged = outcome.status == 409 && matches!(item.act, Act::Patch { .. });
        let refused = outcome.status >= 300 && outcome.status != 424 && !merged;
        if refused {
            self.tx.refusals.push(item.op);
        }
        if (outcome.status < 300 && !self.is(Flaw::NoReceipt)) || (refused && !self.is(Flaw::NoRefusal)) {
            let receipt = Receipt { item: self.digest(), status: outcome.status, rev: outcome.rev, day: self.day };
            self.tx.receipts.push((receipt, item.id));
        }
        if matches!(outcome.status, 409 | 410) && !item.creates() && !self.is(Flaw::RefusedForgotten) {
            self.tx.refused.push((item.op, item.id));
        }
        outcome
    }

    /// What an edit is answered that was carried out or refused before: with what is stored now beside it.
    fn answered(&self, given: &Receipt) -> Outcome {
        let stored = || self.record(self.item.id).map(|record| (record.rev, record.body()));
        match given.status {
            ..300 => Outcome { rev: given.rev, ..Outcome::of(200) },
            412 => Outcome { current: stored(), ..Outcome::of(412) },
            refused => Outcome::of(refused),
        }
    }

    fn create(&mut self, root: Id, groups: Scopes) -> Outcome {
        let item = self.item;
        if let Some(record) = self.record(item.id) {
            let same = record.data == [item.value; 3] || (item.kind != Kind::Athlete && record.data[0] == item.value);
            return match record.alive {
                false => Outcome::of(410),
                true if same => Outcome { rev: record.rev, ..Outcome::of(200) },
                true => Outcome::of(409),
            };
        }
        if !item.kind.is_root() && !self.sees(root) {
            return Outcome::of(if self.waits { 424 } else { 404 });
        }
        let scopes = match item.kind {
            Kind::Venue => CLUB,
            kind if kind.is_root() => placed(groups),
            _ => 0,
        };
        let own = match self.who {
            Who::Admin => GROUPS,
            Who::Member(member) => self.club.now(member),
        };
        if item.kind.is_root() && scopes & GROUPS & !own != 0 {
            return Outcome::of(403);
        }
        let data = if item.kind == Kind::Athlete { [item.value; 3] } else { [item.value, 0, 0] };
        let record = Record {
            kind: item.kind,
            id: item.id,
            root: if item.kind.is_root() { item.id } else { root },
            rev: 0,
            alive: true,
            data,
            group_rev: [0; 3],
            scopes,
            claimed: if item.kind == Kind::Session { item.day() } else { 0 },
        };
        self.tx.write(record, item, item.groups(), Some((0, scopes)));
        Outcome { applied: item.groups(), ..Outcome::of(201) }
    }

    /// Adds a pair; twice is once.
    fn attend(&mut self, athlete: Id, session: Id) -> Outcome {
        let item = self.item;
        if !self.sees(athlete) || !self.sees(session) {
            return Outcome::of(if self.waits { 424 } else { 404 });
        }
        let found = self.record(item.id);
        if let Some(record) = found.as_ref().filter(|one| one.alive && !self.is(Flaw::SetAddsTwice)) {
            if record.data[0] != item.value {
                self.tx.equal.push((item.value, record.data[0], 0));
            }
            return Outcome { rev: record.rev, ..Outcome::of(200) };
        }
        let group_rev = found.map_or([0; 3], |one| one.group_rev);
        let record = Record {
            kind: Kind::Attendance,
            id: item.id,
            root: athlete,
            rev: 0,
            alive: true,
            data: [item.value, 0, 0],
            group_rev,
            scopes: 0,
            claimed: 0,
        };
        self.tx.write(record, item, 0b001, None);
        Outcome { applied: 0b001, ..Outcome::of(201) }
    }

    /// An edit of a record that is there.
    fn change(&mut self) -> Outcome {
        let item = self.item;
        let Some(record) = self.record(item.id) else { return Outcome::of(404) };
        if !record.alive {
            return Outcome::of(410);
        }
        if !self.sees(record.root) {
            return Outcome::of(404);
        }
        if let Act::Patch { base, groups, scopes } = item.act {
            return self.merge(record, base, groups, scopes);
        }
        let Some(sent) = item.named().or_else(|| self.unconditional().then_some(record.rev)) else {
            return Outcome::of(428);
        };
        if sent != record.rev && !self.is(Flaw::MatchIgnored) && self.who != Who::Admin {
            return Outcome { current: Some((record.rev, record.body())), ..Outcome::of(412) };
        }
        let (before, rev) = (record.scopes, record.rev);
        if matches!(item.act, Act::Delete { .. }) {
            let data = if self.is(Flaw::StubKeepsData) { record.data } else { [0; 3] };
            let moved = record.kind.is_root().then_some((before, 0));
            self.tx.write(Record { alive: false, data, scopes: 0, claimed: 0, ..record }, item, 0b111, moved);
        } else {
            let claimed = if record.kind == Kind::Session { item.day() } else { record.claimed };
            self.tx.write(Record { data: [item.value, 0, 0], claimed, ..record }, item, 0b001, None);
        }
        Outcome { rev, applied: 0b001, ..Outcome::of(200) }
    }

    fn unconditional(&self) -> bool {
        self.who == Who::Admin || self.is(Flaw::MatchOptional)
    }

    /// Merges field groups: each applies when nobody changed it after the base.
    fn merge(&mut self, record: Record, base: Option<Seq>, groups: u8, scopes: Scopes) -> Outcome {
        let item = self.item;
        let Some(base) = base.or_else(|| self.unconditional().then_some(record.rev)) else {
            return Outcome::of(428);
        };
        let (mut after, mut applied, mut refused, mut written) = (record.clone(), 0, false, 0);
        for group in each(groups) {
            let same = if group == 2 { record.scopes == placed(scopes) } else { record.data[group] == item.value };
            let late = record.group_rev[group] > base + Seq::from(self.is(Flaw::BaseOffByOne));
            let late = if self.is(Flaw::ClockDecides) { record.claimed > item.claimed } else { late };
            if late && !same && self.who != Who::Admin && !self.is(Flaw::BaseIgnored) {
                refused = true;
                continue;
            }
            if group == 2 && self.hidden_move(record.scopes, placed(scopes)) {
                return Outcome::of(403);
            }
            applied |= 1 << group;
            if same && record.data[group] != item.value {
                self.tx.equal.push((item.value, record.data[group], group));
            }
            if !same {
                written |= 1 << group;
                after.data[group] = item.value;
                after.scopes = if group == 2 { placed(scopes) } else { after.scopes };
            }
        }
        if self.is(Flaw::ClockDecides) {
            after.claimed = item.claimed;
        }
        let rev = record.rev;
        if written != 0 {
            let moved = (written & 0b100 != 0).then_some((record.scopes, after.scopes));
            self.tx.write(after, item, written, moved);
        }
        let current = refused.then(|| (rev, record.body()));
        Outcome { rev, applied, current, ..Outcome::of(if refused { 409 } else { 200 }) }
    }

    /// Whether a move touches groups that are not the member's.
    fn hidden_move(&self, before: Scopes, after: Scopes) -> bool {
        let Who::Member(member) = self.who else { return false };
        (before ^ after) & GROUPS & !self.club.now(member) != 0
    }
}
