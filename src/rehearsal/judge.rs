//! Compares what arrives with what the phone must send.

use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::deeds::{Act, Deed, Place};
use super::rules;
use super::stage::{Answer, Stage};

/// Bytes of a push as it is unpacked.
const BYTES: usize = 4 << 20;
/// Items of a push.
const ITEMS: usize = 500;

fn text<'a>(item: &'a Map<String, Value>, name: &str) -> &'a str {
    item.get(name).and_then(Value::as_str).unwrap_or_default()
}

/// An item in a few words.
fn words(item: &Map<String, Value>) -> String {
    format!("{} {} {}", text(item, "method"), text(item, "type"), text(item, "id"))
}

/// What somebody did, in a few words.
fn told(deed: &Deed) -> String {
    let verb = match deed.act {
        Act::Record => "recorded",
        Act::Change => "changed",
        Act::Delete => "deleted",
    };
    format!("the {} {} that was {verb}", deed.key.0, deed.key.1)
}

impl Stage {
    fn goes_on(&mut self, what: &str) {
        if let Some(rule) = self.round.stopped.take() {
            self.find(rule, format!("the phone goes on with a {what} in the same round instead of stopping"));
        }
    }

    /// Answers a pull.
    pub(super) fn hear_pull(&mut self, query: &[(String, String)]) -> Answer {
        self.goes_on("pull");
        let all = |name: &str| query.iter().find(|(one, _)| one == name).map(|(_, value)| value.clone());
        if !self.round.stuck {
            let waits = self.deeds.iter().find(|deed| deed.can_go() && !deed.asked);
            let waits = waits.map(|deed| (deed.why, format!("a pull comes before {} was handed in", told(deed))));
            if let Some((rule, seen)) = waits {
                self.find(rule, seen);
            }
        }
        let from = all("sync_token").or_else(|| all("since"));
        if from != self.mirror.token {
            let or = |token: Option<String>| token.unwrap_or_else(|| "no token".to_owned());
            let seen = format!("a pull names {} where {} is stored", or(from.clone()), or(self.mirror.token.clone()));
            let late = from.as_deref() == Some("st1.late");
            self.find(
                if late {
                    rules::FROM
                } else if from.is_some() {
                    rules::AFRESH
                } else {
                    rules::TOKEN
                },
                seen,
            );
        }
        let limit = all("limit").and_then(|limit| limit.parse().ok()).unwrap_or(500);
        self.pull(from.as_deref(), limit)
    }

    /// Answers a push.
    pub(super) fn hear_push(&mut self, body: &[u8]) -> Answer {
        self.goes_on("push");
        let Ok(push) = serde_json::from_slice::<Value>(body) else {
            self.find(rules::CONTENT, "a push is no JSON");
            return Answer::Json(400, json!({"type": "/problems/malformed", "status": 400}), None);
        };
        self.envelope(&push, body.len());
        let items = push.get("items").and_then(Value::as_array).cloned().unwrap_or_default();
        if let Some(most) = self.round.most.take().filter(|most| items.len() > *most) {
            self.find(
                rules::HALVE,
                format!("after a refused push the next has {} items, not {most} or fewer", items.len()),
            );
        }
        let mut deeds: Vec<usize> = Vec::new();
        for item in items.iter().map(|item| item.as_object().cloned().unwrap_or_default()) {
            let Some(at) = self.recognise(&item, &deeds) else {
                self.find(rules::ORDER, format!("nobody asked for {}", words(&item)));
                return Answer::Json(400, json!({"type": "/problems/malformed", "status": 400}), None);
            };
            self.judge(&item, at);
            deeds.push(at);
        }
        self.in_order(&deeds);
        for at in &deeds {
            self.deeds.get_mut(*at).into_iter().for_each(|deed| deed.asked = true);
        }
        self.push(&items, &deeds)
    }

    fn envelope(&mut self, push: &Value, bytes: usize) {
        let device = push.get("device_id").cloned().unwrap_or_default();
        if device.as_str().is_none_or(|id| Uuid::try_parse(id).is_err()) {
            self.find(rules::ENVELOPE, format!("device_id is {device}, no UUID"));
        }
        if self.device.as_ref().is_some_and(|known| *known != device) {
            self.find(rules::ENVELOPE, "device_id is another one than in the push before");
        }
        self.device = Some(device);
        let sent_at = push.get("sent_at").and_then(Value::as_str).unwrap_or_default();
        if chrono::DateTime::parse_from_rfc3339(sent_at).is_err() {
            self.find(rules::ENVELOPE, format!("sent_at is {sent_at:?}, no time such as 2026-11-25T08:00:02.120Z"));
        }
        if push.get("schema") != Some(&json!(1)) {
            self.find(rules::ENVELOPE, "schema is not 1");
        }
        let count = push.get("items").and_then(Value::as_array).map_or(0, Vec::len);
        if count > ITEMS || bytes > BYTES {
            self.find(rules::LIMITS, format!("a push has {count} items and {bytes} bytes"));
        }
    }

    /// Which deed an item is: by its operation, else the first alike that has not arrived yet.
    fn recognise(&self, item: &Map<String, Value>, taken: &[usize]) -> Option<usize> {
        let op_id = text(item, "op_id");
        let known = self.deeds.iter().position(|deed| deed.op_id() == Some(op_id));
        let alike = |deed: &Deed| {
            let method = match deed.act {
                Act::Record => text(item, "method") == "PUT" && text(item, "if_none_match") == "*",
                Act::Change => matches!(text(item, "method"), "PATCH" | "PUT") && item.get("if_none_match").is_none(),
                Act::Delete => text(item, "method") == "DELETE",
            };
            method && text(item, "type") == deed.key.0 && text(item, "id").eq_ignore_ascii_case(&deed.key.1.to_string())
        };
        let new = |(at, deed): &(usize, &Deed)| deed.first.is_none() && alike(deed) && !taken.contains(at);
        let sent = |(at, deed): &(usize, &Deed)| alike(deed) && !taken.contains(at);
        let all = || self.deeds.iter().enumerate();
        known.or_else(|| all().find(new).map(|(at, _)| at)).or_else(|| all().find(sent).map(|(at, _)| at))
    }

    fn judge(&mut self, item: &Map<String, Value>, at: usize) {
        let Some(deed) = self.deeds.get(at).cloned() else { return };
        if Uuid::try_parse(text(item, "op_id")).is_err() {
            self.find(rules::ORDER, format!("{} has no op_id that is a UUID", words(item)));
        }
        match &deed.first {
            None => {
                self.content(item, &deed);
                self.deeds.get_mut(at).into_iter().for_each(|deed| deed.first = Some(item.clone()));
            }
            Some(first) if text(first, "op_id") != text(item, "op_id") => {
                self.find(rules::ORDER, format!("{} comes again with another op_id", words(item)));
            }
            Some(first) if Self::without_version(first) != Self::without_version(item) => {
                self.find(rules::AGAIN, format!("{} comes again with other content", words(item)));
            }
            Some(_) => {}
        }
        match deed.place {
            Place::Outbox => {}
            Place::Journal(_) => {
                let rule = if deed.led_to.is_some() { rules::CONFIRMED } else { rules::HELD };
                self.find(rule, format!("{} comes again after it was answered 2xx", words(item)));
            }
            Place::Parked => self.find(rules::PARK, format!("{} comes again although it was refused", words(item))),
            Place::Erased => {
                self.find(rules::ERASED, format!("{} comes although its athlete was erased", words(item)));
            }
            Place::Gone => self.find(rules::INSIST, format!("{} comes again under its old op_id", words(item))),
        }
        let Some(field) = deed.version_field() else { return };
        let named = item.get(field).and_then(|rev| rev.as_i64().or_else(|| rev.as_str()?.parse().ok()));
        if deed.base.is_none() {
            self.find(rules::WAITS, format!("{} comes together with what creates its record", words(item)));
        } else if named != deed.base {
            let or = |rev: Option<i64>| rev.map_or("none".to_owned(), |rev| rev.to_string());
            let seen = format!("{field} of {} is {}, not {}", words(item), or(named), or(deed.base));
            self.find(if deed.current.is_some() { rules::INSIST } else { rules::NAMES }, seen);
        }
    }

    /// What an item says, the first time that it comes.
    fn content(&mut self, item: &Map<String, Value>, deed: &Deed) {
        let nothing = Value::Null;
        let data = item.get("data").unwrap_or(&nothing);
        let mut said = data.as_object().cloned().unwrap_or_default();
        said.retain(|name, _| name != "id" && name != "rev");
        let wanted = deed.data.as_object().cloned().unwrap_or_default();
        let has = wanted.iter().all(|(name, value)| said.get(name) == Some(value));
        let whole = deed.act != Act::Record || said.len() == wanted.len();
        if !has || !whole {
            self.find(rules::CONTENT, format!("data of {} is {data}, not {}", words(item), deed.data));
        }
        let patch = text(item, "method") == "PATCH";
        if patch && deed.key.0 == "athlete" && said.len() > wanted.len() {
            self.find(rules::GROUPS, format!("{} has fields of several field groups: {data}", words(item)));
        }
    }

    /// Items come in the order they happened, and none is left out.
    fn in_order(&mut self, deeds: &[usize]) {
        if !deeds.is_sorted_by(|one, next| one < next) {
            self.find(rules::ORDER, "items of a push do not stand in the order they happened");
        }
        let last = deeds.iter().max().copied().unwrap_or_default();
        let left_out =
            |(at, deed): (usize, &Deed)| (at < last && deed.can_go() && !deeds.contains(&at)).then(|| told(deed));
        let missing = self.deeds.iter().enumerate().find_map(left_out);
        if let Some(deed) = missing {
            self.find(rules::ORDER, format!("{deed} is left out of a push of later items"));
        }
    }
}
