//! The drain after a history, and the invariants that hold at rest.

use super::club::Club;
use super::laws::{ADMIN, Finding, author, lasting};
use super::phone::Phone;
use super::words::{Id, Item, Kind, OpId};
use super::world::World;

/// Rounds of all phones in which everything must have come to rest.
const SETTLED: usize = 6;

/// How the phones empty their outboxes at the end.
#[derive(Clone, Copy, Debug)]
pub struct Drain {
    /// Items of a push.
    pub push: usize,
    /// Changes of a page.
    pub limit: usize,
}

impl World {
    /// The last writer returns, the network loses what it holds, and phones follow their loop until nothing moves; the
    /// rounds it took.
    pub fn drain(&mut self, drain: Drain) -> usize {
        self.quiet(0);
        self.quiet(1);
        self.cut_all();
        for round in 1..=SETTLED {
            let mut moved = 0;
            for club in 0..2 {
                for at in 0..self.phones[club].len() {
                    moved += self.exchange(club, at, drain.push, drain.limit);
                }
            }
            if moved == 0 {
                return round;
            }
        }
        self.server.ledger.found("I11", || format!("no rest after {SETTLED} rounds"));
        SETTLED
    }

    /// What is wrong at rest.
    pub fn judge(&mut self) -> Option<Finding> {
        // An older copy knows nothing of what lost later.
        let restored = self.server.restored();
        for (at, (club, phones)) in self.server.clubs.iter().zip(&self.phones).enumerate() {
            let ledger = &mut self.server.ledger;
            for phone in phones {
                if let Some(detail) = replica(club, phone) {
                    ledger.found("I3", || format!("club {at}, phone {}: {detail}", phone.number));
                }
                if let Some(detail) = outbox(club, phone) {
                    ledger.found("I11", || format!("club {at}, phone {}: {detail}", phone.number));
                }
                if let Some(id) = phone.recorded.values().find(|fact| !kept(club, phone, fact)).map(|fact| fact.id) {
                    ledger.found("I1/I12", || format!("club {at}: the fact {id} of phone {} is lost", phone.number));
                }
                if let Some(op) = forgotten(club, phone).filter(|_| !restored) {
                    ledger.found("I7", || format!("club {at}: the value of {op} lost and was not kept"));
                }
                for item in phone.acked.values() {
                    if lasting(item).any(|group| !lasts(ledger, (at, club), phone, item, group)) {
                        ledger.found("I7", || format!("club {at}: the edit {} is gone without a trace", item.op));
                    }
                }
            }
            if let Some(detail) = numbers(club) {
                ledger.found("I9", || format!("club {at}: {detail}"));
            }
        }
        self.server.ledger.finding.clone()
    }
}

/// Where a phone's copy differs from what its member may see.
fn replica(club: &Club, phone: &Phone) -> Option<String> {
    for record in club.records.values() {
        let carried = phone.types & record.kind.bit() != 0 && !club.old(record, phone.history_from);
        let wanted = club.shows(phone.member, record) && carried;
        match phone.copies.get(&record.id) {
            Some(_) if !wanted => return Some(format!("{} should not be there", record.id)),
            Some(copy) if copy.rev != record.rev || copy.body != record.body() => {
                return Some(format!("{} is not as it is stored: {} instead of {}", record.id, copy.rev, record.rev));
            }
            None if wanted => return Some(format!("{} is missing", record.id)),
            _ => {}
        }
    }
    let strange = phone.copies.keys().find(|id| !club.records.contains_key(id));
    strange.map(|id| format!("{id} does not exist"))
}

/// What is left in an outbox although the member may push, or was parked although it must not be refused.
fn outbox(club: &Club, phone: &Phone) -> Option<String> {
    if club.left[phone.member].is_none() && !phone.outbox.is_empty() {
        return Some(format!("{} stays in the outbox", phone.outbox[0].op));
    }
    let refused = |(item, status): &&(Item, u16)| {
        let own = phone.recorded.get(&item.id).is_some_and(|fact| fact.value == item.value);
        // It was deleted after it was stored, perhaps in a life of the database that was lost.
        item.is_fact() && own && !item.poison && *status != 410
    };
    phone.parked.iter().find(refused).map(|(item, status)| format!("the fact {} was refused with {status}", item.id))
}

/// Whether a recorded fact is in the database, the holding area or, where it cannot be handed in, on the phone.
fn kept(club: &Club, phone: &Phone, fact: &Item) -> bool {
    let stored = club.records.get(&fact.id).is_some_and(|record| !record.alive || record.data[0] == fact.value);
    let held = club.held.get(&fact.id).is_some_and(|held| held.item.value == fact.value);
    let left = club.left[phone.member].is_some();
    let shown = phone.parked.iter().any(|(item, status)| item.id == fact.id && *status == 410);
    let on_phone = phone.outbox.iter().chain(phone.journal.iter().map(|(item, _)| item).filter(|_| phone.gone));
    stored || held || shown || (left && on_phone.into_iter().any(|item| item.id == fact.id))
}

/// An edit of a record that is there whose value lost and was not kept.
fn forgotten(club: &Club, phone: &Phone) -> Option<OpId> {
    let alive = |id| club.records.get(&id).is_some_and(|record| record.alive);
    let mut lost = phone.shown.iter().filter(|lost| lost.status == 409 && alive(lost.id));
    lost.find(|lost| !club.refused.contains_key(&lost.op)).map(|lost| lost.op)
}

/// Whether an answered edit is in the record, was replaced by one that had seen it, or is listed somewhere.
fn lasts(ledger: &super::laws::Ledger, (at, club): (usize, &Club), phone: &Phone, item: &Item, group: usize) -> bool {
    let Some(record) = club.records.get(&item.id) else { return listed(club, phone, item) };
    !record.alive
        || ledger.lasts(at, group, item.value, record.data[group])
        || author(record.data[group]) == ADMIN
        || listed(club, phone, item)
}

fn listed(club: &Club, phone: &Phone, item: &Item) -> bool {
    let on_phone =
        phone.shown.iter().any(|lost| lost.op == item.op) || phone.parked.iter().any(|(one, _)| one.op == item.op);
    let waits = |id: Id| phone.outbox.iter().any(|one| one.id == id && one.op == item.op);
    on_phone
        || club.refused.contains_key(&item.op)
        || waits(item.id)
        || (club.left[phone.member].is_some() && phone.gone)
}

/// Where the numbers of a club's log have holes that no new epoch explains.
fn numbers(club: &Club) -> Option<String> {
    let first = club.log.first()?.seq;
    let bad = |pair: &[super::club::Row]| {
        let forked = club.forks.iter().any(|(_, shared)| *shared == pair[0].seq);
        pair[1].seq != pair[0].seq + 1 && !forked
    };
    if first != club.oldest && !club.forks.iter().any(|(_, shared)| *shared + 1 == club.oldest) {
        return Some(format!("the log begins at {first}, not at {}", club.oldest));
    }
    club.log.windows(2).find(|pair| bad(pair)).map(|pair| format!("a hole after {}", pair[0].seq))
}

/// What must be the same in two runs of one history: both clubs and the copies, with or without what clocks claim.
pub fn same(one: &World, two: &World, club: usize, clocks: bool) -> bool {
    let strip = |world: &World| {
        let mut state = world.server.clubs[club].clone();
        let copies = |phone: &Phone| {
            let mut copies = phone.copies.clone();
            if clocks && phone.history_from.is_some() {
                copies.retain(|_, copy| !matches!(copy.body.kind, Kind::Run | Kind::Plan));
            }
            copies
        };
        let mut phones: Vec<_> = world.phones[club].iter().map(copies).collect();
        if clocks {
            state.records.values_mut().for_each(|record| record.claimed = 0);
            state.held.values_mut().for_each(|held| held.item.claimed = 0);
            state.receipts.values_mut().for_each(|receipt| receipt.item.claimed = 0);
            phones.iter_mut().flat_map(|copies| copies.values_mut()).for_each(|copy| copy.body.claimed = 0);
        }
        (state, phones)
    };
    strip(one) == strip(two)
}
