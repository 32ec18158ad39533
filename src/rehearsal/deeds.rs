//! What the person did on the phone, and what the phone must have made of it.

use serde_json::{Map, Value};
use uuid::Uuid;

use super::rules;
use crate::resources::athletes::merge::GROUPS;

/// Type and id of a record.
pub(super) type Key = (String, Uuid);

/// What somebody does to a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Act {
    /// Records or creates it.
    Record,
    /// Changes some fields.
    Change,
    /// Deletes it.
    Delete,
}

/// Where an item is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// In the outbox.
    Outbox,
    /// In the journal, since this time of the service (seconds since 1970).
    Journal(i64),
    /// Set aside for the person.
    Parked,
    /// Given up: another item takes its place.
    Gone,
    /// Dropped with the athlete whom it is about.
    Erased,
}

/// One thing done, as one item of the outbox.
#[derive(Clone, Debug)]
pub(super) struct Deed {
    pub act: Act,
    pub key: Key,
    pub data: Value,
    pub place: Place,
    /// The version it must name, when that is known.
    pub base: Option<i64>,
    /// The version that it led to.
    pub led_to: Option<i64>,
    /// The item as it arrived first.
    pub first: Option<Map<String, Value>>,
    /// Whether it arrived since the round began.
    pub asked: bool,
    /// The version to send it again on, as a refusal told.
    pub current: Option<i64>,
    /// The rule that the phone breaks when it does not hand this in.
    pub why: &'static str,
}

impl Deed {
    pub(super) fn new(act: Act, key: Key, data: Value, base: Option<i64>) -> Self {
        let (place, asked) = (Place::Outbox, false);
        Self { act, key, data, place, base, led_to: None, first: None, asked, current: None, why: rules::LOOP }
    }

    /// Its operation, once it has arrived.
    pub(super) fn op_id(&self) -> Option<&str> {
        self.first.as_ref()?.get("op_id")?.as_str()
    }

    /// Where an item names the version it was made on.
    pub(super) fn version_field(&self) -> Option<&'static str> {
        match (self.act, self.key.0.as_str()) {
            (Act::Record, _) => None,
            (Act::Change, "athlete") => Some("base_rev"),
            _ => Some("if_match"),
        }
    }

    /// Whether it can be handed in: what it edits is there.
    pub(super) fn can_go(&self) -> bool {
        self.place == Place::Outbox && (self.act == Act::Record || self.base.is_some())
    }

    fn groups(&self) -> Vec<&'static str> {
        let touched = |fields: &[&str]| fields.iter().any(|field| self.data.get(field).is_some());
        GROUPS.iter().filter(|(_, fields)| touched(fields)).map(|(group, _)| *group).collect()
    }

    /// Whether the version that it led to is one that `later` has seen: of athletes only within the same field groups.
    pub(super) fn speaks_for(&self, later: &Self) -> bool {
        self.key == later.key
            && (self.act == Act::Record
                || self.key.0 != "athlete"
                || (later.act == Act::Change && later.groups().iter().all(|group| self.groups().contains(group))))
    }

    /// The fields of a change by field groups, as a phone must send them; of anything else the whole.
    pub(super) fn parts(key: &Key, data: &Value) -> Vec<Value> {
        if key.0 != "athlete" {
            return vec![data.clone()];
        }
        let fields = |wanted: &[&str]| {
            let all = data.as_object().into_iter().flatten();
            all.filter(|(name, _)| wanted.contains(&name.as_str()))
                .map(|(name, value)| (name.clone(), value.clone()))
                .collect::<Map<_, _>>()
        };
        let parts = GROUPS.iter().map(|(_, wanted)| fields(wanted)).filter(|part| !part.is_empty());
        parts.map(Value::Object).collect()
    }
}
