//! What is counted.

use std::collections::BTreeMap;

use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;

use super::service::pack;
use crate::phone::Reply;

/// What can go wrong in the simulated network; each must have, over the seeds of a run together.
pub const FAULTS: [&str; 27] = [
    "answer cut",
    "answer dropped",
    "at the same time",
    "club settings changed",
    "clock jumped",
    "delayed 0 to 90 days",
    "duplicated",
    "edited token",
    "foreign token",
    "full copy forced",
    "grants changed",
    "killed",
    "late answer",
    "log compacted",
    "long foreign transaction",
    "member removed",
    "old token",
    "other groups",
    "other schema",
    "other types",
    "overloaded (429, 503)",
    "poison item",
    "reordered",
    "request cut",
    "request dropped",
    "role changed",
    "held fact decided",
];

/// Counts of one seed or many.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Figures {
    pub seeds: u64,
    /// Items done on phones.
    pub items: u64,
    /// Actions of admins.
    pub actions: u64,
    pub requests: u64,
    /// Commits that changed something, counted by the clubs' counters at the end.
    pub changes: i64,
    #[serde(deserialize_with = "known_faults")]
    pub faults: BTreeMap<&'static str, u64>,
    pub items_sent: u64,
    pub bytes_up: u64,
    pub changes_sent: u64,
    pub bytes_down: u64,
    /// Bytes of a sample, plain and packed.
    pub sample: (u64, u64),
    /// Runs alone in a push: items, bytes as they were sent, bytes packed.
    pub runs: (u64, u64, u64),
    /// Results by item status.
    pub statuses: BTreeMap<u16, u64>,
    /// Rounds of each phone until nothing changed any more.
    pub rounds: Vec<u32>,
    /// Facts stored or held at the end.
    pub facts: u64,
    pub records_compared: u64,
    /// Records of full copies compared with what the same member's own routes answer.
    pub routes_compared: u64,
    /// Items that edit or delete something.
    pub edits: u64,
    /// Notes that phones show about held facts.
    pub notes: u64,
}

fn known_faults<'de, D: Deserializer<'de>>(from: D) -> Result<BTreeMap<&'static str, u64>, D::Error> {
    let named = BTreeMap::<String, u64>::deserialize(from)?;
    let known = |name: &str| FAULTS.into_iter().find(|fault| *fault == name);
    named
        .into_iter()
        .map(|(name, count)| known(&name).map(|fault| (fault, count)).ok_or_else(|| serde::de::Error::custom(name)))
        .collect()
}

impl Figures {
    /// Whether at least a tenth of what was done were edits.
    pub fn has_edits(&self) -> bool {
        self.edits * 10 >= self.operations()
    }

    pub fn operations(&self) -> u64 {
        self.items + self.actions
    }

    pub fn fault(&mut self, kind: &'static str) {
        *self.faults.entry(kind).or_default() += 1;
    }

    pub fn up(&mut self, body: &[u8], sent: usize) {
        self.bytes_up += sent as u64;
        let Ok(push) = serde_json::from_slice::<Value>(body) else { return };
        let items = push["items"].as_array().map_or(&[][..], Vec::as_slice);
        self.items_sent += items.len() as u64;
        if items.len() >= 50 && items.iter().all(|item| item["type"] == "run") {
            self.runs.0 += items.len() as u64;
            self.runs.1 += body.len() as u64;
            self.runs.2 += pack(body).len() as u64;
        }
    }

    pub fn down(&mut self, reply: &Reply) {
        self.bytes_down += reply.body.len() as u64;
        // Every page is counted, a few are packed.
        if self.requests.is_multiple_of(20) && reply.body.len() > 10_000 {
            self.sample.0 += reply.body.len() as u64;
            self.sample.1 += pack(&reply.body).len() as u64;
        }
    }

    /// The faults that never happened.
    pub fn missing(&self) -> Vec<&'static str> {
        FAULTS.into_iter().filter(|kind| !self.faults.contains_key(kind)).collect()
    }

    pub fn add(&mut self, other: &Self) {
        self.seeds += other.seeds;
        self.items += other.items;
        self.actions += other.actions;
        self.requests += other.requests;
        self.changes += other.changes;
        self.items_sent += other.items_sent;
        self.bytes_up += other.bytes_up;
        self.changes_sent += other.changes_sent;
        self.bytes_down += other.bytes_down;
        self.sample = (self.sample.0 + other.sample.0, self.sample.1 + other.sample.1);
        self.runs = (self.runs.0 + other.runs.0, self.runs.1 + other.runs.1, self.runs.2 + other.runs.2);
        self.facts += other.facts;
        self.records_compared += other.records_compared;
        self.routes_compared += other.routes_compared;
        self.edits += other.edits;
        self.notes += other.notes;
        self.rounds.extend(&other.rounds);
        for (kind, count) in &other.faults {
            *self.faults.entry(kind).or_default() += count;
        }
        for (status, count) in &other.statuses {
            *self.statuses.entry(*status).or_default() += count;
        }
    }

    fn percentile(&self, share: f64) -> u32 {
        let mut rounds = self.rounds.clone();
        rounds.sort_unstable();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // an index
        let at = (share * rounds.len() as f64) as usize;
        rounds.get(at.min(rounds.len().saturating_sub(1))).copied().unwrap_or_default()
    }

    /// Lines of a table: name and figure.
    pub fn lines(&self) -> Vec<(String, String)> {
        let per = |bytes: u64, count: u64| format!("{:.0}", bytes as f64 / count.max(1) as f64);
        let (plain, packed) = self.sample;
        let down = self.bytes_down as f64 / self.changes_sent.max(1) as f64;
        let list = |pairs: Vec<String>| pairs.join(", ");
        vec![
            ("Seeds".into(), self.seeds.to_string()),
            (
                "Operations (items done on phones, of them edits, actions of admins)".into(),
                format!("{} ({}, {}, {})", self.operations(), self.items, self.edits, self.actions),
            ),
            ("Requests served".into(), self.requests.to_string()),
            ("Items received, repeats included".into(), self.items_sent.to_string()),
            (
                "Results by item status".into(),
                list(self.statuses.iter().map(|(status, count)| format!("{status}: {count}")).collect()),
            ),
            ("Changes committed (rows of the log)".into(), self.changes.to_string()),
            (
                "Faults by kind".into(),
                list(self.faults.iter().map(|(kind, count)| format!("{kind}: {count}")).collect()),
            ),
            ("Facts stored or held, each found once in the database".into(), self.facts.to_string()),
            ("Notes on phones about held facts".into(), self.notes.to_string()),
            (
                "Records of replicas compared with the database and a fresh copy".into(),
                self.records_compared.to_string(),
            ),
            ("Records of members compared with their own routes".into(), self.routes_compared.to_string()),
            ("Lost / duplicated / leaked / diverged".into(), "0 / 0 / 0 / 0 (the run stops at the first)".into()),
            ("Rounds to convergence p50 / p99".into(), format!("{} / {}", self.percentile(0.5), self.percentile(0.99))),
            (
                "Bytes per run up, plain / gzip".into(),
                format!("{} / {}", per(self.runs.1, self.runs.0), per(self.runs.2, self.runs.0)),
            ),
            (
                "Bytes per change down, plain / gzip".into(),
                format!("{down:.0} / {:.0}", down * packed as f64 / plain.max(1) as f64),
            ),
        ]
    }
}
