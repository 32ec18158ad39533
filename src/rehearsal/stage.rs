//! The server's side: what it holds, what it answers, and where a scene lets it fail.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};

use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::deeds::{Deed, Key, Place};
use super::mirror::{self, Mirror, key_of};
use super::report::Finding;
use super::rules;

/// What happens to an answer to a pull.
#[derive(Clone, Copy, Debug)]
pub(super) enum PullPlay {
    /// A page that answers another token comes instead.
    Late,
    /// An empty page, and more to come.
    Empty,
    /// The body breaks off, at its begin or in its middle.
    Cut(bool),
    /// A problem: status, type, `Retry-After`.
    Refused(u16, &'static str, u64),
}

/// What happens to a push.
#[derive(Clone, Copy, Debug)]
pub(super) enum PushPlay {
    /// It is carried out; the answer breaks off, at its begin or in its middle.
    Cut(bool),
    /// So many of its items are carried out, and then 503.
    Half(usize),
    /// Nothing is carried out: status, type, `Retry-After`.
    Refused(u16, &'static str, u64),
}

/// What an item is answered instead of being carried out.
#[derive(Clone, Copy, Debug)]
pub(super) enum ItemPlay {
    /// This status, with a problem.
    Status(u16),
    /// Another version is stored, which is this much newer.
    Stale,
    /// The athlete whom it is about was deleted.
    Erased,
}

/// An answer.
#[derive(Debug)]
pub(super) enum Answer {
    /// Status, body, `Retry-After`.
    Json(u16, Value, Option<u64>),
    /// This much of a body that is longer.
    BrokenOff(Vec<u8>),
}

/// Where a token stands: records of a full copy that are still to come, then the log.
#[derive(Clone, Debug, Default)]
struct Stand {
    rest: VecDeque<Key>,
    log: usize,
}

/// A row of the log.
#[derive(Clone, Debug)]
enum Row {
    Put(Key),
    Removed(Key, &'static str, i64),
}

/// What the phone did since it was told to hand in and fetch.
#[derive(Debug, Default)]
pub(super) struct Round {
    /// Why it must ask no more.
    pub stopped: Option<&'static str>,
    /// Whether the last page that arrived was the last.
    pub finished: bool,
    /// Whether items were answered so that they stay in the outbox.
    pub stuck: bool,
    /// The most items of the next push, after one that was refused as a whole.
    pub most: Option<usize>,
}

/// One scene under way.
#[derive(Debug, Default)]
pub(super) struct Stage {
    pub access: String,
    pub page: usize,
    /// What the header `Date` says, seconds since 1970; the real time when absent.
    pub date: Option<i64>,
    pub records: BTreeMap<Key, (i64, Value)>,
    order: Vec<Key>,
    seq: i64,
    log: Vec<Row>,
    stands: HashMap<String, Stand>,
    pub receipts: HashMap<String, Value>,
    pub pulls: VecDeque<PullPlay>,
    pub pushes: VecDeque<PushPlay>,
    pub items: BTreeMap<usize, VecDeque<ItemPlay>>,
    /// The deed whose item makes every push unreadable.
    pub poison: Option<usize>,
    /// The most items of a push.
    pub most: Option<usize>,
    pub mirror: Mirror,
    pub deeds: Vec<Deed>,
    pub device: Option<Value>,
    pub round: Round,
    /// Whether the phone was told that its member has left, and the journal is back.
    pub left: bool,
    pub findings: Vec<Finding>,
}

impl Stage {
    pub(super) fn find(&mut self, rule: &'static str, seen: impl Into<String>) {
        if self.findings.len() < 5 {
            self.findings.push(Finding { rule, seen: seen.into() });
        }
    }

    /// The time that answers say, seconds since 1970.
    pub(super) fn now(&self) -> i64 {
        self.date.unwrap_or_else(|| chrono::Utc::now().timestamp())
    }

    fn next(&mut self) -> i64 {
        self.seq += 1;
        self.seq
    }

    /// A service that holds nothing yet.
    pub(super) fn new(access: String, page: usize) -> Self {
        Self { access, page, ..Self::default() }
    }

    /// Stores a record as somebody else's phone would.
    pub(super) fn put(&mut self, key: Key, data: Value) -> i64 {
        let rev = self.next();
        self.order.retain(|one| *one != key);
        self.order.push(key.clone());
        self.log.push(Row::Put(key.clone()));
        self.records.insert(key, (rev, data));
        rev
    }

    /// Removes a record, with everything below it when `data` of others names it.
    pub(super) fn remove(&mut self, key: &Key, reason: &'static str) -> i64 {
        let rev = self.next();
        self.records.remove(key);
        let field = format!("{}_id", key.0);
        let below = |data: &Value| data.get(&field).and_then(Value::as_str) == Some(key.1.to_string().as_str());
        self.records.retain(|_, (_, data)| !below(data));
        self.order.retain(|one| self.records.contains_key(one));
        self.log.push(Row::Removed(key.clone(), reason, rev));
        rev
    }

    /// Sends a row again as it stands in the log, although nothing changed.
    pub(super) fn say_again(&mut self, key: Key) {
        self.log.push(Row::Put(key));
    }

    /// The service comes back from a copy that knows nothing of these: records and receipts.
    pub(super) fn forget(&mut self, deeds: &[usize]) {
        let gone: BTreeSet<Key> =
            deeds.iter().filter_map(|at| self.deeds.get(*at)).map(|one| one.key.clone()).collect();
        for at in deeds {
            let op_id = self.deeds.get(*at).and_then(|one| one.op_id().map(str::to_owned));
            self.receipts.remove(&op_id.unwrap_or_default());
        }
        self.records.retain(|key, _| !gone.contains(key));
        self.order.retain(|key| !gone.contains(key));
        self.log.retain(|row| !matches!(row, Row::Put(key) if gone.contains(key)));
        self.stands.clear();
        self.seq += 1 << 20;
    }

    fn token(&mut self, stand: Stand) -> String {
        let token = format!("st1.rehearsal-{}", self.stands.len() + 1);
        self.stands.insert(token.clone(), stand);
        token
    }

    fn change(&self, key: &Key) -> Option<Value> {
        let (rev, data) = self.records.get(key)?;
        Some(json!({"type": key.0, "id": key.1, "rev": rev, "data": data}))
    }

    /// The page that answers a token.
    fn page_from(&mut self, from: Option<&str>, limit: usize) -> Value {
        let known = from.and_then(|token| self.stands.get(token).cloned());
        let mut stand =
            known.unwrap_or_else(|| Stand { rest: self.order.iter().cloned().collect(), log: self.log.len() });
        let mut changes: Vec<Value> = Vec::new();
        while changes.len() < limit.min(self.page) {
            if let Some(key) = stand.rest.pop_front() {
                changes.extend(self.change(&key));
                continue;
            }
            let Some(row) = self.log.get(stand.log) else { break };
            stand.log += 1;
            match row {
                Row::Put(key) => changes.extend(self.change(key)),
                Row::Removed(key, reason, rev) => {
                    changes.push(json!({"type": key.0, "id": key.1, "rev": rev, "removed": {"reason": reason}}));
                }
            }
        }
        let more = !stand.rest.is_empty() || stand.log < self.log.len();
        let sync_token = self.token(stand);
        json!({"from": from, "sync_token": sync_token, "more": more, "changes": changes})
    }

    /// Answers a pull with this token.
    pub(super) fn pull(&mut self, from: Option<&str>, limit: usize) -> Answer {
        match self.pulls.pop_front() {
            None => {
                let page = self.page_from(from, limit);
                self.arrives(&page);
                Answer::Json(200, page, None)
            }
            Some(PullPlay::Empty) => {
                let stand = from.and_then(|token| self.stands.get(token).cloned());
                let stand =
                    stand.unwrap_or_else(|| Stand { rest: self.order.iter().cloned().collect(), log: self.log.len() });
                let sync_token = self.token(stand);
                let page = json!({"from": from, "sync_token": sync_token, "more": true, "changes": []});
                self.arrives(&page);
                Answer::Json(200, page, None)
            }
            Some(PullPlay::Late) => {
                let ghost =
                    json!({"type": "athlete", "id": Uuid::now_v7(), "rev": 1, "data": {"display_name": "Late"}});
                let page =
                    json!({"from": "st1.of-before", "sync_token": "st1.late", "more": false, "changes": [ghost]});
                Answer::Json(200, page, None)
            }
            Some(PullPlay::Cut(middle)) => {
                let page = self.page_from(from, limit).to_string().into_bytes();
                self.round.stopped = Some(rules::BROKEN_OFF);
                Answer::BrokenOff(page[..if middle { page.len() / 2 } else { 0 }].to_vec())
            }
            Some(PullPlay::Refused(status, kind, wait)) => self.refuse(status, kind, wait),
        }
    }

    /// A page reaches the phone.
    fn arrives(&mut self, page: &Value) {
        if page.get("from") == Some(&Value::Null) && self.mirror.token.is_none() {
            self.journal_back();
        }
        if self.mirror.apply(page) {
            mirror::erased(page).for_each(|athlete| self.erase(athlete));
        }
        self.round.finished = page.get("more") == Some(&Value::Bool(false));
        if page.get("from") != Some(&Value::Null) {
            let now = self.now();
            let old = |place: Place| matches!(place, Place::Journal(at) if at < now - 30 * 86_400);
            self.deeds.iter_mut().filter(|one| old(one.place)).for_each(|one| one.place = Place::Gone);
        }
    }

    /// The phone learnt that an athlete was erased: whatever it keeps about them is to go.
    pub(super) fn erase(&mut self, athlete: Uuid) {
        let id = athlete.to_string();
        let about = |deed: &&mut Deed| {
            (deed.key.0 == "athlete" && deed.key.1 == athlete)
                || deed.data.get("athlete_id").and_then(Value::as_str) == Some(id.as_str())
        };
        self.deeds.iter_mut().filter(about).for_each(|deed| deed.place = Place::Erased);
    }

    fn journal_back(&mut self) {
        let why = if self.date.is_some() { rules::MONTH } else { rules::JOURNAL };
        for deed in &mut self.deeds {
            if matches!(deed.place, Place::Journal(_)) {
                deed.place = Place::Outbox;
                // They are due in the next round.
                deed.asked = true;
                deed.why = why;
            }
        }
    }

    /// Notes what the phone breaks when it does not hand these in again.
    pub(super) fn must_come_again(&mut self, deeds: &[usize], why: &'static str) {
        for at in deeds {
            self.deeds.get_mut(*at).into_iter().for_each(|deed| deed.why = why);
        }
    }

    /// Refuses a request as a whole.
    pub(super) fn refuse(&mut self, status: u16, kind: &'static str, wait: u64) -> Answer {
        match status {
            400 | 410 => self.mirror.afresh(),
            401 if kind == "app-revoked" => {
                self.round.stopped = Some(rules::FORGET);
                self.mirror.drop_all();
                self.deeds.iter_mut().for_each(|deed| deed.place = Place::Gone);
            }
            401 => self.round.stopped = Some(rules::SIGN_IN),
            403 | 404 => {
                self.round.stopped = Some(rules::LEFT);
                if !self.left {
                    self.journal_back();
                }
                self.left = true;
                self.mirror.drop_all();
            }
            _ => self.round.stopped = Some(rules::STOP),
        }
        let problem = json!({"type": format!("/problems/{kind}"), "title": kind, "status": status, "detail": "As the scene has it.",
            "instance": Uuid::now_v7()});
        Answer::Json(status, problem, (wait > 0).then_some(wait))
    }

    /// The version that an edit of a record must name when it is made now.
    pub(super) fn base_of(&self, deed: &Deed) -> Option<i64> {
        let shown = self.mirror.copy.get(&deed.key).map(|shown| shown.rev);
        let own = self.deeds.iter().filter(|done| matches!(done.place, Place::Journal(_)) && done.speaks_for(deed));
        own.filter_map(|done| done.led_to).chain(shown).max()
    }

    /// The records that the phone must show, as the answer to `show` has them.
    pub(super) fn shown(&self) -> BTreeMap<Key, Value> {
        self.mirror.copy.iter().map(|(key, shown)| (key.clone(), shown.data.clone())).collect()
    }

    /// Reads the records that the phone says it shows.
    pub(super) fn read_shown(list: &[Value]) -> BTreeMap<Key, Value> {
        let one = |record: &Value| Some((key_of(record)?, record.get("data").cloned().unwrap_or_default()));
        list.iter().filter_map(one).collect()
    }

    /// An item's fields but the version that it names.
    pub(super) fn without_version(item: &Map<String, Value>) -> Map<String, Value> {
        let versions = ["if_match", "base_rev"];
        let kept = item.iter().filter(|(name, _)| !versions.contains(&name.as_str()));
        kept.map(|(name, value)| (name.clone(), value.clone())).collect()
    }
}
