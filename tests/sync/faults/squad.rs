//! One club whose people record on their phones, and what must be true of it in the end.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;

use super::data::{measured, pair, person, rating, run, session, text};
use crate::dice::Dice;
use crate::phone::{Lost, Outcome, Phone, Reply, Request, Store};
use crate::support::{Caller, PASSWORD, TestApp, eventually};

/// A recorded fact: type, id, what was recorded.
pub type Noted = (String, Uuid, Value);

/// A phone in somebody's hand.
pub struct Handset {
    pub phone: Phone,
    _store: Store,
    pub caller: Caller,
    dice: Dice,
    pub facts: Vec<Noted>,
    pub operations: usize,
    /// How often the service answered with each status.
    pub answers: BTreeMap<u16, usize>,
}

/// The club.
pub struct Squad {
    pub admin: Caller,
    people: Vec<Caller>,
    groups: Vec<String>,
    athletes: Vec<String>,
    sessions: Vec<String>,
    day: NaiveDate,
}

/// What was found in the end; all but `operations` must be 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Found {
    pub operations: usize,
    pub lost: usize,
    pub duplicated: usize,
    pub diverged: usize,
}

impl Found {
    /// Whether nothing is lost, there twice, or different.
    pub fn is_whole(self) -> bool {
        (self.lost, self.duplicated, self.diverged) == (0, 0, 0)
    }
}

impl Squad {
    /// An admin and two coaches of one group each.
    pub async fn make(app: &TestApp) -> Self {
        let admin = app.admin_of("North").await;
        let groups = vec![admin.group("Mine").await, admin.group("Other").await];
        let mut people = vec![admin.clone()];
        let (mut athletes, mut sessions) = (Vec::new(), Vec::new());
        let day = Utc::now().date_naive() - Duration::days(3);
        for group in &groups {
            people.push(admin.member(&format!("Coach {group}"), "coach", &[group]).await);
            for n in 0..3 {
                athletes.push(admin.post("/athletes", person(&format!("Athlete {n}"), group)).await.expect(201).id());
            }
            sessions.push(admin.post("/sessions", session(day, group)).await.expect(201).id());
        }
        Self { admin, people, groups, athletes, sessions, day }
    }

    /// So many phones, one for each person in turn, with a full copy.
    pub async fn phones(&self, seed: u64, count: usize) -> Vec<Handset> {
        let mut phones = Vec::new();
        for (at, caller) in self.people.iter().cycle().take(count).enumerate() {
            let mut handset = Handset::new(caller.clone(), Dice::of(&[seed, 7, at as u64]));
            handset.drain().await;
            phones.push(handset);
        }
        phones
    }

    /// The same people, before another instance of the service.
    pub fn before(&mut self, app: &TestApp, phones: &mut [Handset]) {
        let callers = self.people.iter_mut().chain(phones.iter_mut().map(|one| &mut one.caller));
        callers.chain([&mut self.admin]).for_each(|caller| caller.app = app.clone());
    }

    /// Something that happens at the track.
    pub fn record(&self, on: &mut Handset) {
        let mut group = on.dice.pick(2) as usize;
        let what = on.dice.pick(12);
        // Facts about athletes of others are held for the admin; edits of them are refused.
        if what > 8 && on.caller.account != self.admin.account {
            group = usize::from(on.caller.account == self.people[2].account);
        }
        let athlete = &self.athletes[3 * group + on.dice.pick(3) as usize];
        let held = &self.sessions[group];
        let id = Uuid::now_v7();
        on.operations += 1;
        let (kind, data) = match what {
            0..=5 => ("run", run(held, athlete, self.day)),
            6..=7 => ("assessment", rating(held, athlete, self.day)),
            8 => ("measurement", measured(athlete, self.day)),
            9 => {
                let leg = if on.dice.chance(0.5) { "left" } else { "right" };
                on.phone.patch("athlete", athlete.parse().unwrap(), json!({"preferred_lead_leg": leg}));
                return;
            }
            10 => {
                let data = json!({"session_id": held, "athlete_id": athlete});
                on.phone.record("attendance", pair(held, athlete).parse().unwrap(), data);
                return;
            }
            _ => {
                on.phone.record("session", id, session(self.day, &self.groups[group]));
                return;
            }
        };
        on.phone.record(kind, id, data.clone());
        on.facts.push((kind.to_owned(), id, data));
    }

    /// Lets every phone finish, then looks for what was lost, is there twice, or differs.
    pub async fn check(&self, pool: &PgPool, phones: &mut [Handset]) -> Found {
        // Twice: what one phone hands in last, the others have not fetched yet.
        for _ in 0..2 {
            for handset in phones.iter_mut() {
                handset.drain().await;
            }
        }
        let mut found = Found { operations: phones.iter().map(|one| one.operations).sum(), ..Found::default() };
        let facts: Vec<Noted> = phones.iter().flat_map(|one| one.facts.clone()).collect();
        (found.lost, found.duplicated) = self.compare(pool, &facts).await;
        for handset in phones.iter() {
            let mut fresh = Handset::new(handset.caller.clone(), Dice::of(&[0]));
            fresh.drain().await;
            let same = fresh.phone.copy() == handset.phone.copy();
            found.diverged += usize::from(!same);
        }
        found
    }

    /// How many facts are not stored as they were recorded, and how many have more or less than one effect.
    async fn compare(&self, pool: &PgPool, facts: &[Noted]) -> (usize, usize) {
        let mut all = Handset::new(self.admin.clone(), Dice::of(&[0]));
        all.drain().await;
        let copy = all.phone.copy();
        let mut tx = pool.begin().await.unwrap();
        let enter = format!("set local app.club_id = '{}'", self.admin.club);
        sqlx::raw_sql(AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        let effects =
            "select id, 0::bigint, 'held' from held_item union all select entity_id, seq, kind from club_change";
        let rows: Vec<(Uuid, i64, String)> = sqlx::query_as(effects).fetch_all(&mut *tx).await.unwrap();
        gapless(rows.iter().map(|(_, seq, _)| *seq).filter(|seq| *seq > 0).collect());
        let (mut logged, mut held): (HashMap<Uuid, usize>, HashSet<Uuid>) = (HashMap::new(), HashSet::new());
        for (id, _, kind) in rows {
            if kind == "held" {
                held.insert(id);
            } else {
                *logged.entry(id).or_default() += 1;
            }
        }
        let stored = |(kind, id, data): &&Noted| copy.get(&(kind.clone(), *id)).is_some_and(|one| holds(one, data));
        let lost = facts.iter().filter(|fact| !stored(fact) && !held.contains(&fact.1)).count();
        let effects = |(_, id, _): &&Noted| logged.get(id).copied().unwrap_or(0) + usize::from(held.contains(id));
        (lost, facts.iter().filter(|fact| effects(fact) > 1).count())
    }
}

/// Fails when a number of the log is missing; a restored club jumps once, by more than 2 to the power of 20.
fn gapless(mut seqs: Vec<i64>) {
    seqs.sort_unstable();
    let holes: Vec<_> = seqs.windows(2).filter(|pair| pair[1] - pair[0] != 1 && pair[1] - pair[0] <= 1 << 20).collect();
    assert!(holes.is_empty(), "the log has holes: {holes:?}");
}

/// Whether a stored record says what was recorded; times may be written in another way.
fn holds(stored: &Value, recorded: &Value) -> bool {
    match (stored, recorded) {
        (Value::Object(stored), Value::Object(recorded)) => {
            recorded.iter().all(|(name, value)| stored.get(name).is_some_and(|one| holds(one, value)))
        }
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::String(a), Value::String(b)) => {
            let time = |text: &str| DateTime::parse_from_rfc3339(text).ok();
            a == b || (time(a).is_some() && time(a) == time(b))
        }
        (a, b) => a == b,
    }
}

impl Handset {
    fn new(caller: Caller, dice: Dice) -> Self {
        let store = Store::memory(&Uuid::new_v4().to_string());
        let phone = Phone::open(&store);
        let (facts, answers) = (Vec::new(), BTreeMap::new());
        Self { phone, _store: store, caller, dice, facts, operations: 0, answers }
    }

    /// One round of the loop of the guide.
    pub async fn round(&mut self) -> Outcome {
        let (caller, answers) = (&self.caller, &mut self.answers);
        let mut link = async |request: Request| {
            let reply = carry(caller, request).await;
            *answers.entry(reply.status).or_default() += 1;
            Ok::<Reply, Lost>(reply)
        };
        let outcome = self.phone.sync(&mut link, Utc::now().timestamp_millis()).await.unwrap();
        if outcome == Outcome::SignIn {
            self.sign_in().await;
        }
        outcome
    }

    async fn sign_in(&mut self) {
        let body = json!({"email": self.caller.email, "password": PASSWORD});
        let answer = self.caller.app.post("/v1/auth/sign-in", body).await;
        // The database may be away at this moment too.
        if answer.status == 200 {
            self.caller.token = text(&answer.body, "access_token");
        }
    }

    /// Rounds until there is nothing left to do.
    pub async fn drain(&mut self) {
        eventually("the outbox is empty", async || self.round().await == Outcome::Done && self.phone.waiting() == 0)
            .await;
        self.look();
    }

    /// Only an edit that lost against another one may wait for its person.
    fn look(&self) {
        for parked in self.phone.parked() {
            let edit = parked.item["method"] == "PATCH" && parked.status == 409;
            assert!(edit, "{} was answered {}", parked.item, parked.answer);
        }
        let odd = self.answers.keys().find(|status| !matches!(**status, 200 | 401 | 410 | 429 | 503));
        assert!(odd.is_none(), "{:?}", self.answers);
    }
}

async fn carry(caller: &Caller, request: Request) -> Reply {
    let (method, path, body) = match request {
        Request::Pull { query } => (Method::GET, caller.path(&format!("/changes?{query}")), None),
        Request::Push { body, .. } => (Method::POST, caller.path("/changes"), Some(body)),
    };
    let token = format!("Bearer {}", caller.token);
    let headers = [("authorization", token.as_str()), ("content-type", "application/json")];
    let answer = caller.app.send(method, &path, &headers, body).await;
    let retry_after = answer.header("retry-after").parse().ok();
    Reply { status: answer.status, body: answer.bytes, date: Utc::now().timestamp(), retry_after }
}
