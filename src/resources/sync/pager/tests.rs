//! The pages against committed histories of an independent model, and the laws that hold for every history.

mod club;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use proptest::prelude::*;
use serde_json::{Value, json};
use uuid::Uuid;

use self::club::{Club, Reading, id};
use super::*;

/// Histories and pages by `tests/oracle/visibility.py`.
const CASES: &str = include_str!("../../../../tests/oracle/visibility_cases.json");

/// A phone's copy.
#[derive(Clone, Default)]
struct Phone {
    token: Option<Position>,
    roots: BTreeMap<Uuid, Seq>,
    children: BTreeMap<Uuid, Seq>,
    /// The highest number seen of each id: numbers never fall.
    highest: HashMap<Uuid, Seq>,
}

struct Pulled {
    page: Page,
    read: usize,
}

fn pull(club: &Club, member: u128, token: Option<Position>, types: Types, limits: Limits) -> Pulled {
    let head = club.head();
    let from = token.unwrap_or(Position { seq: head, sub: None, walk: Some(Walk { types, after: None }) });
    let mut source = Reading { club, member, read: 0 };
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    let sight = club.sight(member);
    let page = runtime.block_on(page(&mut source, &sight, types, from, head, limits)).unwrap();
    Pulled { page, read: source.read }
}

impl Phone {
    fn apply(&mut self, club: &Club, page: &Page) {
        for item in &page.items {
            let root = item.kind == Type::Athlete;
            let rev = match (root, item.sent) {
                (_, Sent::Removed(_, rev)) => rev,
                (true, Sent::Current) => club.roots[&item.id].rev,
                (false, Sent::Current) => club.children[&item.id].2,
            };
            let highest = self.highest.entry(item.id).or_default();
            assert!(rev >= *highest, "the number of a record fell");
            *highest = rev;
            match (root, item.sent) {
                (true, Sent::Current) => {
                    self.roots.insert(item.id, rev);
                }
                (true, Sent::Removed(..)) => {
                    self.roots.remove(&item.id);
                    self.children.retain(|id, _| club.children[id].0 != item.id);
                }
                (false, _) if club.children[&item.id].1 => {
                    self.children.insert(item.id, rev);
                }
                (false, _) => {
                    self.children.remove(&item.id);
                }
            }
        }
        self.token = Some(page.next);
    }
}

fn number(value: &Value) -> u128 {
    u128::from(value.as_u64().unwrap())
}

fn replay(club: &mut Club, event: &[Value]) {
    let scopes =
        |value: &Value| value.as_array().map(|list| list.iter().map(|scope| id(number(scope))).collect::<Vec<Uuid>>());
    match event[0].as_str().unwrap() {
        "root" => {
            let after = scopes(&event[3]);
            let alive = after.as_ref().is_none_or(|after| !after.is_empty());
            club.root(id(number(&event[1])), after, alive);
        }
        "child" => club.child(id(1000 + number(&event[1])), id(number(&event[2])), event[3].as_bool().unwrap()),
        _ => club.toggle(number(&event[1]), id(number(&event[2]))),
    }
}

/// A page as the model writes it.
fn words(club: &Club, page: &Page) -> Value {
    let word = |item: &Item| {
        let root = item.kind == Type::Athlete;
        let n = item.id.as_u128() - 1 - if root { 0 } else { 1000 };
        let (alive, rev) = if root {
            (true, club.roots[&item.id].rev)
        } else {
            (club.children[&item.id].1, club.children[&item.id].2)
        };
        let (word, rev) = match item.sent {
            Sent::Current if alive => ("put", rev),
            Sent::Current => ("deleted", rev),
            Sent::Removed(Reason::Changed, rev) => ("changed", rev),
            Sent::Removed(Reason::Deleted, rev) => ("deleted", rev),
        };
        json!([word, if root { "root" } else { "child" }, n, rev])
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
            assert_eq!(words(&club, &pulled.page), event[4], "history {number_of}");
            assert_eq!(Value::Bool(pulled.page.more), event[5], "history {number_of}");
            if event[3] == false {
                tokens.insert(member, pulled.page.next);
            }
            pages += 1;
        }
    }
    assert!(pages > 300, "only {pages} pages");
}

#[derive(Clone, Debug)]
enum Act {
    NewRoot(Vec<u8>),
    NewChild(usize),
    Change(usize, bool),
    Touch(usize),
    Move(usize, Vec<u8>),
    Delete(usize),
    Toggle(u8, u8),
    Pull(u8, usize, usize, bool),
}

fn act() -> impl Strategy<Value = Act> {
    let scopes = || prop::collection::vec(0_u8..3, 1..3);
    prop_oneof![
        3 => scopes().prop_map(Act::NewRoot),
        4 => (0_usize..50).prop_map(Act::NewChild),
        2 => (0_usize..50, any::<bool>()).prop_map(|(n, alive)| Act::Change(n, alive)),
        1 => (0_usize..50).prop_map(Act::Touch),
        3 => (0_usize..50, scopes()).prop_map(|(n, to)| Act::Move(n, to)),
        1 => (0_usize..50).prop_map(Act::Delete),
        4 => (0_u8..2, 0_u8..3).prop_map(|(who, scope)| Act::Toggle(who, scope)),
        6 => (0_u8..2, 1_usize..7, 1_usize..12, any::<bool>()).prop_map(|(who, n, rows, lost)| Act::Pull(who, n, rows, lost)),
    ]
}

fn scope_ids(list: &[u8]) -> Vec<Uuid> {
    let set: BTreeSet<Uuid> = list.iter().map(|scope| id(u128::from(*scope))).collect();
    set.into_iter().collect()
}

fn perform(club: &mut Club, act: &Act) {
    let live: Vec<Uuid> = club.roots.iter().filter(|(_, root)| root.alive).map(|(id, _)| *id).collect();
    let pick = |n: usize| (!live.is_empty()).then(|| live[n % live.len()]);
    match act {
        Act::NewRoot(scopes) => {
            let next = id(club.roots.len() as u128);
            club.root(next, Some(scope_ids(scopes)), true);
        }
        Act::NewChild(n) => {
            let next = id(1000 + club.children.len() as u128);
            if let Some(root) = pick(*n) {
                club.child(next, root, true);
            }
        }
        Act::Change(n, alive) => {
            let all: Vec<(Uuid, Uuid)> = club
                .children
                .iter()
                .filter(|(_, (root, alive, _))| *alive && live.contains(root))
                .map(|(id, (root, ..))| (*id, *root))
                .collect();
            if let Some((child, root)) = all.get(n % all.len().max(1)) {
                club.child(*child, *root, *alive);
            }
        }
        Act::Touch(n) => {
            if let Some(root) = pick(*n) {
                club.root(root, None, true);
            }
        }
        Act::Move(n, to) => {
            if let Some(root) = pick(*n) {
                club.root(root, Some(scope_ids(to)), true);
            }
        }
        Act::Delete(n) => {
            if let Some(root) = pick(*n) {
                club.root(root, Some(Vec::new()), false);
            }
        }
        Act::Toggle(who, scope) => club.toggle(u128::from(*who), id(u128::from(*scope))),
        Act::Pull(..) => {}
    }
}

fn drain(club: &Club, member: u128, phone: &mut Phone, limits: Limits) {
    for _ in 0..10_000 {
        let pulled = pull(club, member, phone.token, Types::all(), limits);
        phone.apply(club, &pulled.page);
        if !pulled.page.more {
            return;
        }
    }
    panic!("the feed never ends");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn every_phone_ends_with_exactly_what_its_member_may_see(acts in prop::collection::vec(act(), 1..120)) {
        let mut club = Club::default();
        let mut phones: [Phone; 2] = [Phone::default(), Phone::default()];
        for act in &acts {
            perform(&mut club, act);
            if let Act::Pull(who, items, rows, lost) = act {
                let phone = &mut phones[usize::from(*who)];
                let limits = Limits { items: *items, rows: *rows };
                let pulled = pull(&club, u128::from(*who), phone.token, Types::all(), limits);
                // One read of each kind may go over the budget, none more.
                prop_assert!(pulled.read <= rows + ROWS + ROOTS + items, "{} rows read", pulled.read);
                let (roots, _) = club.truth(u128::from(*who));
                for item in &pulled.page.items {
                    let shown = item.sent == Sent::Current;
                    let root = if item.kind == Type::Athlete { item.id } else { club.children[&item.id].0 };
                    prop_assert!(!shown || roots.contains_key(&root), "a hidden record was sent");
                }
                if !lost {
                    phone.apply(&club, &pulled.page);
                }
            }
        }
        for (member, phone) in phones.iter_mut().enumerate() {
            let member = member as u128;
            drain(&club, member, phone, Limits { items: 3, rows: 7 });
            prop_assert_eq!((phone.roots.clone(), phone.children.clone()), club.truth(member));
            // A second phone with other page sizes ends the same.
            let mut other = Phone::default();
            drain(&club, member, &mut other, Limits { items: 500, rows: 5_000 });
            prop_assert_eq!((other.roots, other.children), club.truth(member));
        }
    }

    #[test]
    fn a_type_that_is_asked_for_later_is_copied_then(acts in prop::collection::vec(act(), 1..80), cut in 0_usize..80) {
        let mut club = Club::default();
        let mut phone = Phone::default();
        let few: Types = [Type::Athlete].into_iter().collect();
        for (at, act) in acts.iter().enumerate() {
            perform(&mut club, act);
            if matches!(act, Act::Pull(..)) && at < cut {
                let pulled = pull(&club, 0, phone.token, few, Limits { items: 2, rows: 50 });
                phone.apply(&club, &pulled.page);
            }
        }
        if let Some(token) = &mut phone.token {
            let added = Types::all().without(few);
            let walk = token.walk.map_or(Walk { types: added, after: None }, |_| Walk { types: Types::all(), after: None });
            token.walk = Some(walk);
        }
        drain(&club, 0, &mut phone, Limits { items: 3, rows: 50 });
        prop_assert_eq!((phone.roots, phone.children), club.truth(0));
    }
}
