//! A phone that follows the guide.

use std::collections::BTreeMap;

use super::flaw::Flaw;
use super::laws::Ledger;
use super::pull::{Ask, Page, Refusal, Sent, Token};
use super::server::{Answer, Whole};
use super::words::{Act, Body, EVERY_TYPE, Id, Item, Kind, OpId, Outcome, Seq, Types, each, follow};

/// Days that an answered item stays in the journal.
const JOURNAL: i32 = 30;

/// A record on the phone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Copy {
    pub rev: Seq,
    pub body: Body,
    pub stale: bool,
}

/// An edit that lost.
#[derive(Clone, Copy, Debug)]
pub struct Lost {
    pub op: OpId,
    pub id: Id,
    pub status: u16,
}

#[derive(Clone, Debug)]
pub struct Phone {
    pub number: usize,
    pub member: usize,
    pub types: Types,
    pub history_from: Option<i32>,
    pub token: Option<Token>,
    pub copies: BTreeMap<Id, Copy>,
    /// A full copy is under way on top of stale records.
    restarting: bool,
    pub outbox: Vec<Item>,
    pub journal: Vec<(Item, i32)>,
    /// Items for the person to look at, with the status.
    pub parked: Vec<(Item, u16)>,
    /// Edits that lost and were shown.
    pub shown: Vec<Lost>,
    /// The version that an own edit of a field group led to, until the feed brings it.
    own: BTreeMap<(Id, usize), (Seq, OpId)>,
    pub waiting_push: Option<u32>,
    pub waiting_pull: Option<u32>,
    pub request: u32,
    counter: u32,
    /// How many days its clock is ahead.
    pub clock: i32,
    /// It was told that its member is none any more.
    pub gone: bool,
    /// The highest number seen of each record along the chain of tokens.
    highest: BTreeMap<Id, Seq>,
    /// Edits that were answered 200 or 201, and facts that were recorded; no part of the protocol.
    pub acked: BTreeMap<OpId, Item>,
    pub recorded: BTreeMap<Id, Item>,
    flaw: Option<Flaw>,
}

impl Phone {
    pub fn new(number: usize, member: usize, types: Types, flaw: Option<Flaw>) -> Self {
        Self {
            number,
            member,
            types,
            history_from: None,
            token: None,
            copies: BTreeMap::new(),
            restarting: false,
            outbox: Vec::new(),
            journal: Vec::new(),
            parked: Vec::new(),
            shown: Vec::new(),
            own: BTreeMap::new(),
            waiting_push: None,
            waiting_pull: None,
            request: 0,
            counter: 0,
            clock: 0,
            gone: false,
            highest: BTreeMap::new(),
            acked: BTreeMap::new(),
            recorded: BTreeMap::new(),
            flaw,
        }
    }

    fn is(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    /// A new operation.
    pub fn op(&mut self) -> OpId {
        self.counter += 1;
        (u32::try_from(self.number).unwrap() << 12) | self.counter
    }

    /// Puts something that the person did into the outbox.
    pub fn act(&mut self, kind: Kind, id: Option<Id>, act: Act, day: i32, poison: bool) {
        let op = self.op();
        let item =
            Item { op, value: op, kind, id: id.unwrap_or(op), act, saw: [0; 3], claimed: day + self.clock, poison };
        let item = self.based(item);
        if item.is_fact() && !poison && id.is_none() {
            self.recorded.insert(item.id, item.clone());
        }
        self.outbox.push(item);
    }

    /// Names the version that the person looked at, where the item names one.
    fn based(&self, mut item: Item) -> Item {
        let Some(copy) = self.copies.get(&item.id) else { return item };
        item.saw = copy.body.data;
        let own: Vec<_> = each(item.groups()).filter_map(|group| self.own.get(&(item.id, group))).collect();
        let newest = own.first().filter(|first| {
            own.len() == each(item.groups()).count() && own.iter().all(|one| one == *first) && first.0 > copy.rev
        });
        if item.named().is_some() {
            item.rename(newest.map_or(copy.rev, |own| own.0));
        }
        if let Some((_, op)) = newest {
            each(item.groups()).for_each(|group| item.saw[group] = *op);
        }
        item
    }

    fn ask_number(&mut self) -> u32 {
        self.request += 1;
        self.request
    }

    /// The first items of the outbox.
    pub fn ask_push(&mut self, size: usize) -> Option<(u32, Vec<Item>)> {
        if self.outbox.is_empty() {
            return None;
        }
        if self.is(Flaw::NewOpOnRetry) && self.waiting_push.is_some() {
            let op = self.op();
            self.outbox[0].op = op;
        }
        let number = self.ask_number();
        self.waiting_push = Some(number);
        Some((number, self.outbox.iter().take(size).cloned().collect()))
    }

    pub fn ask_pull(&mut self, limit: usize) -> (u32, Ask) {
        let number = self.ask_number();
        self.waiting_pull = Some(number);
        (number, Ask { token: self.token, types: self.types, history_from: self.history_from, limit })
    }

    /// Files the results of a push, one by one; `cut` of them when it is stopped in the middle.
    pub fn file(&mut self, number: u32, answer: Answer, day: i32, cut: usize) {
        if self.waiting_push != Some(number) && !self.is(Flaw::LateAck) {
            return;
        }
        self.waiting_push = None;
        match answer {
            Ok(results) => results.into_iter().take(cut).for_each(|(op, outcome)| self.result(op, &outcome, day)),
            Err(Whole::NotMember) => self.leave(),
            Err(Whole::Busy) => {}
        }
    }

    fn result(&mut self, op: OpId, outcome: &Outcome, day: i32) {
        let Some(at) = self.outbox.iter().position(|item| item.op == op) else { return };
        if outcome.status == 424 && !self.is(Flaw::DependentDropped) {
            return;
        }
        let item = self.outbox.remove(at);
        let all = self.is(Flaw::PhoneChainsAll);
        follow(self.outbox.iter_mut(), &item, outcome, all);
        let gone = matches!(item.act, Act::Delete { .. });
        let applied = if outcome.status < 202 && !gone { item.groups() } else { outcome.applied };
        each(applied).for_each(|group| {
            self.own.insert((item.id, group), (outcome.rev, item.value));
        });
        match outcome.status {
            200..=202 => {
                if outcome.status < 202 {
                    self.acked.insert(op, item.clone());
                }
                let day = if self.is(Flaw::JournalByClock) { day + self.clock } else { day };
                self.journal.push((item, day));
            }
            409 | 412 if !item.creates() => self.lost(&item, outcome),
            424 => {}
            status => self.parked.push((item, status)),
        }
    }

    /// An edit that lost: the person edits again on the stored version, or drops it.
    fn lost(&mut self, item: &Item, outcome: &Outcome) {
        self.shown.push(Lost { op: item.op, id: item.id, status: outcome.status });
        let Some((rev, body)) = outcome.current.filter(|_| !item.op.is_multiple_of(3)) else { return };
        let op = self.op();
        let mut again = Item { op, value: op, saw: body.data, ..item.clone() };
        again.rename(rev);
        if let Act::Patch { groups, .. } = &mut again.act {
            *groups &= !outcome.applied;
        }
        self.outbox.push(again);
    }

    fn leave(&mut self) {
        self.token = None;
        self.copies.clear();
        self.own.clear();
        self.restarting = false;
        self.highest.clear();
        if !self.gone {
            self.journal_back();
        }
        self.gone = true;
    }

    /// Puts the journal back into the outbox: the service may have lost what it answered.
    fn journal_back(&mut self) {
        if self.is(Flaw::JournalKept) {
            return;
        }
        let journal = std::mem::take(&mut self.journal);
        self.outbox.splice(0..0, journal.into_iter().map(|(item, _)| item));
        self.own.clear();
    }

    /// Applies a page and stores its token, in one transaction; `crash` stops the phone before that commits.
    pub fn apply(&mut self, number: u32, answer: Result<Page, Refusal>, crash: bool, ledger: &mut Ledger) {
        let expected = self.waiting_pull == Some(number);
        if expected {
            self.waiting_pull = None;
        }
        let page = match answer {
            Ok(page) => page,
            Err(_) if !expected => return,
            Err(Refusal::NotMember) => return self.leave(),
            Err(Refusal::Invalid | Refusal::Expired | Refusal::Diverged) => {
                self.token = None;
                self.copies.values_mut().for_each(|copy| copy.stale = true);
                self.restarting = true;
                self.highest.clear();
                return;
            }
        };
        if page.from != self.token && !self.is(Flaw::NoFromCheck) {
            return;
        }
        if crash {
            if self.is(Flaw::TokenApart) {
                self.token = Some(page.token);
            }
            return;
        }
        // What was answered before this page may be older than it: what is in the outbox is sent again.
        self.waiting_push = None;
        if page.from.is_none() {
            self.journal_back();
            self.gone = false;
        } else {
            let now = if self.is(Flaw::JournalByClock) { page.day + self.clock } else { page.day };
            self.journal.retain(|(_, day)| *day >= now - JOURNAL);
        }
        self.store(&page, ledger);
    }

    fn store(&mut self, page: &Page, ledger: &mut Ledger) {
        for change in &page.changes {
            ledger.number(&mut self.highest, change);
            match change.sent {
                Sent::Put(body) => {
                    self.copies.insert(change.id, Copy { rev: change.rev, body, stale: false });
                }
                Sent::Removed { .. } => {
                    self.copies.remove(&change.id);
                    if !self.is(Flaw::ChildrenStay) {
                        self.copies.retain(|_, copy| copy.body.root != change.id);
                    }
                }
            }
        }
        self.token = Some(page.token);
        if self.restarting && !page.more {
            self.restarting = false;
            if !self.is(Flaw::StaleStays) {
                self.copies.retain(|_, copy| !copy.stale);
            }
        }
    }

    /// The program ends and starts again: it knows what it stored, and waits for nothing.
    pub fn give_up(&mut self) {
        self.waiting_push = None;
        self.waiting_pull = None;
    }

    /// Asks for every type from now on.
    pub fn widen(&mut self) {
        self.types = EVERY_TYPE;
    }

    /// A fact of the journal with other content, as a broken phone would send it.
    pub fn clash(&mut self, n: usize) {
        let facts: Vec<&Item> = self.journal.iter().map(|(item, _)| item).filter(|item| item.is_fact()).collect();
        if facts.is_empty() {
            return;
        }
        let mut item = facts[n % facts.len()].clone();
        // From here on the service may keep either.
        self.recorded.remove(&item.id);
        item.op = self.op();
        item.value = item.op;
        self.outbox.push(item);
    }

    /// The records of some types that the phone knows.
    pub fn known(&self, kinds: &[Kind]) -> Vec<Id> {
        self.copies.iter().filter(|(_, copy)| kinds.contains(&copy.body.kind)).map(|(id, _)| *id).collect()
    }
}
