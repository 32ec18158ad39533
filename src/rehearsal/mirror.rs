//! What the phone must show by now: the pages that it was sent, applied by the rules.

use std::collections::BTreeMap;

use serde_json::Value;
use uuid::Uuid;

use super::deeds::Key;

/// A record on the phone.
#[derive(Clone, Debug)]
pub(super) struct Shown {
    pub rev: i64,
    pub data: Value,
    stale: bool,
}

/// The copy of the phone.
#[derive(Debug, Default)]
pub(super) struct Mirror {
    pub copy: BTreeMap<Key, Shown>,
    pub token: Option<String>,
}

/// What a record belongs to.
fn parent((kind, _): &Key, data: &Value) -> Option<Key> {
    let above = match kind.as_str() {
        "run" | "assessment" | "measurement" | "decision" | "attendance" | "race_entry" | "race_result"
        | "wellbeing_record" => "athlete",
        "lane_plan" | "race_test" => "session",
        _ => return None,
    };
    let id = data.get(format!("{above}_id"))?.as_str()?;
    Some((above.to_owned(), Uuid::try_parse(id).ok()?))
}

/// The record that a change is about.
pub(super) fn key_of(change: &Value) -> Option<Key> {
    let id = Uuid::try_parse(change.get("id")?.as_str()?).ok()?;
    Some((change.get("type")?.as_str()?.to_owned(), id))
}

/// The athletes of whom a page says that they were deleted.
pub(super) fn erased(page: &Value) -> impl Iterator<Item = Uuid> {
    let changes = page.get("changes").and_then(Value::as_array).into_iter().flatten();
    let deleted = changes.filter(|change| change.pointer("/removed/reason").is_some_and(|reason| reason == "deleted"));
    deleted.filter_map(key_of).filter(|(kind, _)| kind == "athlete").map(|(_, id)| id)
}

impl Mirror {
    /// Applies a page, unless it is a late answer; whether it was applied.
    pub(super) fn apply(&mut self, page: &Value) -> bool {
        if page.get("from").and_then(Value::as_str) != self.token.as_deref() {
            return false;
        }
        for change in page.get("changes").and_then(Value::as_array).into_iter().flatten() {
            let Some(key) = key_of(change) else { continue };
            let rev = change.get("rev").and_then(Value::as_i64).unwrap_or_default();
            match change.get("data") {
                Some(data) => {
                    self.copy.insert(key, Shown { rev, data: data.clone(), stale: false });
                }
                None => {
                    self.copy.remove(&key);
                    self.copy.retain(|child, shown| parent(child, &shown.data).as_ref() != Some(&key));
                }
            }
        }
        self.token = page.get("sync_token").and_then(Value::as_str).map(str::to_owned);
        if page.get("more") == Some(&Value::Bool(false)) {
            self.copy.retain(|_, shown| !shown.stale);
        }
        true
    }

    /// The token was refused: everything is stale until a full copy has named it.
    pub(super) fn afresh(&mut self) {
        self.token = None;
        self.copy.values_mut().for_each(|shown| shown.stale = true);
    }

    /// The copy is gone.
    pub(super) fn drop_all(&mut self) {
        self.token = None;
        self.copy.clear();
    }
}
