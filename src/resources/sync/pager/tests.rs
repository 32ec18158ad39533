//! The pages against committed histories of an independent model, and against the whole histories of the model of the
//! protocol.

mod club;
#[path = "../../../../tests/simulation/dice.rs"]
#[allow(dead_code)] // other simulations draw more from them
mod dice;
#[path = "../../../../tests/sync/model/engine/mod.rs"]
mod engine;
mod model;

use std::collections::{BTreeMap, HashMap};

use serde_json::{Value, json};
use uuid::Uuid;

use self::club::{Club, Reading, id, root};
use self::engine::words::{ALL, CLUB, MEMBERS, Record, Scopes};
use super::super::model::Types;
use super::*;
use crate::resources::sync::places::Walk;

/// Histories and pages by `tests/oracle/visibility.py`.
const CASES: &str = include_str!("../../../../tests/oracle/visibility_cases.json");

/// The sources of tests never wait.
fn now<T>(future: impl Future<Output = T>) -> T {
    let mut context = std::task::Context::from_waker(std::task::Waker::noop());
    match std::pin::pin!(future).poll(&mut context) {
        std::task::Poll::Ready(value) => value,
        std::task::Poll::Pending => panic!("a source waits"),
    }
}

fn pull(club: &Club, member: u128, token: Option<Position>, types: Types, limits: Limits) -> Page {
    let head = club.head();
    let from = token.unwrap_or(Position { seq: head, sub: None, walk: Some(Walk { types, groups: 0, after: None }) });
    let wanted = Wanted { types, groups: None };
    now(page(&mut Reading { club, member }, &club.sight(member), &wanted, from, head, limits)).unwrap()
}

fn number(value: &Value) -> u128 {
    u128::from(value.as_u64().unwrap())
}

fn kind(value: &Value) -> Type {
    Type::parse(value.as_str().unwrap()).unwrap()
}

fn replay(club: &mut Club, event: &[Value]) {
    let scopes =
        |value: &Value| value.as_array().map(|list| list.iter().map(|scope| id(number(scope))).collect::<Vec<Uuid>>());
    match event[0].as_str().unwrap() {
        "root" => {
            let after = scopes(&event[4]);
            let alive = after.as_ref().is_none_or(|after| !after.is_empty());
            club.root(root(kind(&event[1]), number(&event[2])), after, alive);
        }
        "child" => {
            let kind = kind(&event[1]);
            let above = if kind == Type::Run { Type::Athlete } else { Type::Session };
            let child = (kind, id(number(&event[2])));
            club.child(child, root(above, number(&event[3])), event[4].as_bool().unwrap());
        }
        _ => club.toggle(number(&event[1]), id(number(&event[2]))),
    }
}

/// A page as the model writes it.
fn words(club: &Club, page: &Page) -> Value {
    let word = |item: &Item| {
        let n = item.id.as_u128() - 1;
        let (alive, rev) = if item.kind.is_root() {
            (true, club.roots[&RootId { id: item.id, kind: item.kind }].rev)
        } else {
            let (_, alive, rev) = club.children[&(item.kind, item.id)];
            (alive, rev)
        };
        let (word, rev) = match item.sent {
            Sent::Current if alive => ("put", rev),
            Sent::Current => ("deleted", rev),
            Sent::Removed(Reason::Changed, rev) => ("changed", rev),
            Sent::Removed(Reason::Deleted, rev) => ("deleted", rev),
        };
        json!([word, item.kind.as_str(), n, rev])
    };
    page.items.iter().map(word).collect()
}

#[test]
fn every_page_of_the_models_histories_is_the_models() {
    let histories: Vec<Vec<Value>> = serde_json::from_str(CASES).unwrap();
    let mut pages = 0;
    for (number_of, history) in histories.iter().enumerate() {
        let mut club = Club::default();
        let mut tokens: HashMap<u128, Position> = HashMap::new();
        for event in history {
            let event = event.as_array().unwrap();
            if event[0] != "pull" {
                replay(&mut club, event);
                continue;
            }
            let member = number(&event[1]);
            let items = usize::try_from(event[2].as_u64().unwrap()).unwrap();
            let token = tokens.get(&member).copied();
            let pulled = pull(&club, member, token, Types::all(), Limits { items, rows: 5_000 });
            assert_eq!(words(&club, &pulled), event[4], "history {number_of}");
            assert_eq!(Value::Bool(pulled.more), event[5], "history {number_of}");
            if event[3] == false {
                tokens.insert(member, pulled.next);
            }
            pages += 1;
        }
    }
    assert!(pages > 300, "only {pages} pages");
}

/// A full page of the service and of the model, with where each goes on.
fn both(
    club: &engine::club::Club,
    (member, types, history_from): (usize, engine::words::Types, Option<i32>),
    (at, from): (&mut Position, &mut engine::pull::Position),
    limit: usize,
) -> bool {
    let view = engine::pull::View { club, member, types, history_from, flaw: None };
    let expected = view.slice(*from, limit, usize::MAX);
    let rows = club.log.last().map_or(0, |row| row.seq);
    let limits = Limits { items: limit, rows: 5_000 };
    let mut source = model::Reading { club, member, history_from, groups: None, read: 0 };
    let sight = model::sight(club, member);
    let carried = Wanted { types: model::types(types), groups: None };
    let page = now(page(&mut source, &sight, &carried, *at, rows, limits)).unwrap();
    let told: Vec<_> = page.items.iter().map(model::told).collect();
    let wanted: Vec<_> = expected.items.iter().map(|item| model::wanted(club, *item)).collect();
    assert_eq!(told, wanted);
    assert_eq!(page.more, expected.more);
    (*at, *from) = (page.next, expected.next);
    page.more
}

/// Whatever the phones of the model hold at any moment of a history, the service sends them what the model sends.
#[test]
fn every_page_is_that_of_the_models_histories() {
    let mut pages = 0;
    for seed in 0..600 {
        let mut world = engine::world::World::new(None);
        for (number_of, event) in engine::proof::history(seed).into_iter().enumerate() {
            world.happen(event);
            if number_of % 7 != 0 {
                continue;
            }
            for (club, phones) in world.server.clubs.iter().zip(&world.phones) {
                for phone in phones {
                    let walk = Some(engine::pull::Walk { types: phone.types, after: None });
                    let start = engine::pull::Position { seq: club.seq, sub: None, walk };
                    let from = phone.token.map_or(start, |token| token.position);
                    if from.seq > club.seq || from.seq + 1 < club.oldest {
                        continue;
                    }
                    let (mut at, mut from) = (model::position(club, &from), from);
                    let who = (phone.member, phone.types, phone.history_from);
                    while both(club, who, (&mut at, &mut from), 1 + number_of % 5) {
                        pages += 1;
                    }
                    pages += 1;
                }
            }
        }
    }
    assert!(pages > 100_000, "only {pages} pages");
}

/// A page that is cut for what it cost to read goes on where it stopped, and no page costs much more.
#[test]
fn short_and_costly_pages_add_up_to_a_long_one() {
    for seed in 0..300 {
        let mut world = engine::world::World::new(None);
        for event in engine::proof::history(seed) {
            world.happen(event);
        }
        let club = &world.server.clubs[0];
        for phone in &world.phones[0] {
            let Some(token) = phone.token.filter(|token| token.position.seq + 1 >= club.oldest) else { continue };
            let sight = model::sight(club, phone.member);
            let all = |limits: Limits| {
                let (mut at, mut told) = (model::position(club, &token.position), Vec::new());
                loop {
                    let (member, history_from) = (phone.member, phone.history_from);
                    let mut source = model::Reading { club, member, history_from, groups: None, read: 0 };
                    let wanted = Wanted { types: model::types(phone.types), groups: None };
                    let page = now(page(&mut source, &sight, &wanted, at, club.seq, limits)).unwrap();
                    // One read of each kind may go over the budget, none more.
                    let most = limits.rows.saturating_add(ROWS + ROOTS + limits.items);
                    assert!(source.read <= most, "{} rows read", source.read);
                    told.extend(page.items.iter().map(model::told));
                    if !page.more {
                        return told;
                    }
                    at = page.next;
                }
            };
            let long = all(Limits { items: 10_000, rows: 100_000 });
            assert_eq!(all(Limits { items: 1 + usize::try_from(seed % 4).unwrap(), rows: 3 }), long, "history {seed}");
        }
    }
}

/// A phone that carries some groups: what it keeps, by type and id, with the root of each.
#[derive(Default)]
struct Carrying {
    groups: Scopes,
    /// The life of the database that it last read from.
    life: u32,
    at: Option<Position>,
    copy: BTreeMap<(Type, Uuid), (Seq, RootId)>,
}

impl Carrying {
    /// Reads one page; whether there is more.
    fn read(&mut self, club: &engine::club::Club, member: usize, limit: usize) -> bool {
        let groups: Vec<Uuid> = engine::club::single(self.groups).map(model::scope).collect();
        let mut source = model::Reading { club, member, history_from: None, groups: Some(groups.clone()), read: 0 };
        let sight = source.sight();
        let wanted = Wanted { types: Types::all(), groups: Some(groups) };
        let walk = Some(Walk { types: Types::all(), groups: 0, after: None });
        let from = self.at.unwrap_or(Position { seq: club.seq, sub: None, walk });
        let limits = Limits { items: limit, rows: 5_000 };
        let page = now(page(&mut source, &sight, &wanted, from, club.seq, limits)).unwrap();
        for item in &page.items {
            let record = &club.records[&model::back(item.id)];
            let key = (item.kind, item.id);
            if item.sent == Sent::Current && record.alive {
                self.copy.insert(key, (record.rev, model::root(club, record.root)));
            } else {
                self.copy.remove(&key);
                self.copy.retain(|_, (_, root)| (root.kind, root.id) != key);
            }
        }
        self.at = Some(page.next);
        page.more
    }

    /// Asks for more groups, from where it stands.
    fn widen(&mut self, added: Scopes) {
        let before = self.groups;
        self.groups |= added;
        let places = (0..).zip(engine::club::single(self.groups));
        let bits = places.filter(|(_, group)| before & group == 0).fold(0, |bits, (at, _)| bits | 1_u32 << at);
        let at = self.at.as_mut().unwrap();
        let under_way = at.walk.is_some();
        let groups = if under_way { 0 } else { bits };
        at.walk = Some(Walk { types: Types::all(), groups, after: None }).filter(|_| bits != 0 || under_way);
    }
}

/// Of who is withheld it is told that they go, where they changed themselves; of what lies below them nothing, whether it is new or would
/// come with a grant.
#[test]
fn of_what_lies_below_somebody_withheld_nothing_is_told() {
    let (mut club, athlete) = (Club::default(), root(Type::Athlete, 0));
    let limits = Limits { items: 100, rows: 5_000 };
    club.toggle(0, id(0));
    club.root(athlete, Some(vec![id(0)]), true);
    club.child((Type::Run, id(1)), athlete, true);
    let copied = pull(&club, 0, None, Types::all(), limits);
    assert_eq!(copied.items.len(), 2);
    club.child((Type::WellbeingRecord, id(2)), athlete, true);
    club.root(athlete, None, true);
    club.toggle(0, id(0));
    club.toggle(0, id(0));
    let known = club.roots.get_mut(&athlete).unwrap();
    known.withheld = true;
    let goes = (athlete.id, Sent::Removed(Reason::Changed, known.rev));
    let told = pull(&club, 0, Some(copied.next), Types::all(), limits).items;
    assert_eq!(told.iter().map(|item| (item.id, item.sent)).collect::<Vec<_>>(), [goes]);
}

/// Whatever groups a phone asks for, and whenever it asks for more, it ends with what a fresh copy of them holds: what
/// its member sees of them, and nothing else.
#[test]
fn a_phone_of_some_groups_follows_them_and_takes_more() {
    let (mut compared, mut widened) = (0, 0);
    for seed in 0..400_u32 {
        let mut world = engine::world::World::new(None);
        let mut phones: Vec<Carrying> = (0..MEMBERS).map(|_| Carrying::default()).collect();
        for (number_of, event) in (0_u32..).zip(engine::proof::history(seed.into())) {
            world.happen(event);
            let club = &world.server.clubs[0];
            for (member, phone) in phones.iter_mut().enumerate() {
                if phone.at.is_none() {
                    phone.groups = 1 << ((seed as usize + member) % 3);
                }
                let life = club.epoch.max(world.server.life);
                if phone.life != life || phone.at.is_some_and(|at| at.seq + 1 < club.oldest) {
                    *phone = Carrying { groups: phone.groups, life, ..Carrying::default() };
                }
                if phone.at.is_some() && (number_of + seed) % 29 == 7 {
                    phone.widen(1 << ((seed / 3) % 3));
                    widened += 1;
                }
                if (number_of + seed) % 5 == 0 {
                    phone.read(club, member, 3);
                }
            }
        }
        let club = &world.server.clubs[0];
        for (member, phone) in phones.iter_mut().enumerate() {
            while phone.read(club, member, 4) {}
            let mut fresh = Carrying { groups: phone.groups, ..Carrying::default() };
            while fresh.read(club, member, 50) {}
            assert_eq!(phone.copy, fresh.copy, "history {seed}, member {member}");
            let own = engine::club::single(club.now(member)).filter(|one| one & (ALL | CLUB | phone.groups) != 0);
            let all = own.fold(0, |all, one| all | if one == ALL { phone.groups } else { one });
            let shown = |one: &&Record| one.alive && club.records[&one.root].alive;
            let seen = club.records.values().filter(shown).filter(|one| club.records[&one.root].scopes & all != 0);
            assert_eq!(fresh.copy.len(), seen.count(), "history {seed}, member {member}");
            compared += fresh.copy.len();
        }
    }
    assert!(compared > 2_000 && widened > 1_000, "{compared} {widened}");
}
