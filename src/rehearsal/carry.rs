//! What becomes of a push and of its items.

use std::collections::VecDeque;

use serde_json::{Value, json};
use uuid::Uuid;

use super::deeds::{Act, Place};
use super::rules;
use super::stage::{Answer, ItemPlay, PushPlay, Stage};

impl Stage {
    /// Answers a push of these items; `deeds` says what each of them is.
    pub(super) fn push(&mut self, items: &[Value], deeds: &[usize]) -> Answer {
        let too_many = self.most.is_some_and(|most| items.len() > most);
        if too_many || self.poison.is_some_and(|at| deeds.contains(&at)) {
            let status = if too_many { 413 } else { 400 };
            if let (1, Some(deed)) = (items.len(), deeds.first().and_then(|at| self.deeds.get_mut(*at))) {
                deed.place = Place::Parked;
            }
            // It goes on with fewer, in the same round.
            self.must_come_again(deeds, rules::HALVE);
            for at in deeds {
                self.deeds.get_mut(*at).into_iter().for_each(|deed| deed.asked = false);
            }
            self.round.most = (items.len() > 1).then(|| items.len().div_ceil(2));
            return Answer::Json(status, json!({"type": "/problems/malformed", "status": status}), None);
        }
        let play = self.pushes.pop_front();
        if let Some(PushPlay::Refused(status, kind, wait)) = play {
            return self.refuse(status, kind, wait);
        }
        let done = if let Some(PushPlay::Half(count)) = play { count } else { items.len() };
        let pairs = items.iter().zip(deeds).take(done);
        let results: Vec<Value> = pairs.map(|(item, deed)| self.carry_out(item, *deed)).collect();
        match play {
            Some(PushPlay::Cut(middle)) => {
                let body = json!({"results": results}).to_string().into_bytes();
                self.round.stopped = Some(rules::BROKEN_OFF);
                self.must_come_again(deeds, rules::AGAIN);
                Answer::BrokenOff(body[..if middle { body.len() / 2 } else { 0 }].to_vec())
            }
            Some(PushPlay::Half(_)) => {
                self.must_come_again(deeds, rules::LATER);
                self.refuse(503, "unavailable", 0)
            }
            _ => {
                for (result, deed) in results.iter().zip(deeds) {
                    self.file(result, *deed);
                }
                Answer::Json(200, json!({"results": results}), None)
            }
        }
    }

    /// What becomes of an item: as before, as the scene has it, or carried out.
    fn carry_out(&mut self, item: &Value, at: usize) -> Value {
        let op_id = item.get("op_id").cloned().unwrap_or_default();
        let known = op_id.as_str().unwrap_or_default().to_owned();
        if let Some(before) = self.receipts.get(&known) {
            let mut before = before.clone();
            before["replayed"] = json!(true);
            before["status"] = json!(200);
            return before;
        }
        if let Some(play) = self.items.get_mut(&at).and_then(VecDeque::pop_front) {
            return self.as_played(play, &op_id, at);
        }
        let Some(deed) = self.deeds.get(at).cloned() else { return Value::Null };
        let status = if deed.act == Act::Record { 201 } else { 200 };
        let rev = match deed.act {
            Act::Record => self.put(deed.key, item.get("data").cloned().unwrap_or_default()),
            Act::Change => {
                let mut fields = self.records.get(&deed.key).map(|(_, data)| data.clone()).unwrap_or_default();
                for (name, value) in deed.data.as_object().into_iter().flatten() {
                    fields[name] = value.clone();
                }
                self.put(deed.key, fields)
            }
            Act::Delete => self.remove(&deed.key, "deleted"),
        };
        let result = json!({"op_id": op_id, "status": status, "rev": rev});
        self.receipts.insert(known, result.clone());
        result
    }

    fn as_played(&mut self, play: ItemPlay, op_id: &Value, at: usize) -> Value {
        let problem = |kind: &str, status: u16| json!({"type": format!("/problems/{kind}"), "status": status, "detail": "As the scene has it."});
        match play {
            ItemPlay::Status(status) => {
                json!({"op_id": op_id, "status": status, "problem": problem("as-played", status)})
            }
            ItemPlay::Erased => {
                let mut problem = problem("gone", 410);
                problem["errors"] = json!([{"pointer": "/athlete_id", "code": "erased", "detail": "was deleted"}]);
                json!({"op_id": op_id, "status": 410, "problem": problem})
            }
            ItemPlay::Stale => {
                let key = self.deeds.get(at).map(|deed| deed.key.clone()).unwrap_or_default();
                let data = self.records.get(&key).map(|(_, data)| data.clone()).unwrap_or_default();
                let rev = self.put(key, data.clone());
                let current = json!({"rev": rev, "data": data});
                json!({"op_id": op_id, "status": 412, "current": current, "problem": problem("stale", 412)})
            }
        }
    }

    /// A result reaches the phone.
    fn file(&mut self, result: &Value, at: usize) {
        let now = self.now();
        let status = result.get("status").and_then(Value::as_u64).unwrap_or_default();
        let number = |value: Option<&Value>| value.and_then(Value::as_i64);
        let rev = number(result.get("rev"));
        let Some(deed) = self.deeds.get_mut(at) else { return };
        if result.pointer("/problem/errors/0/code").is_some_and(|code| code == "erased") {
            if let Some(athlete) =
                deed.data.get("athlete_id").and_then(Value::as_str).and_then(|id| Uuid::try_parse(id).ok())
            {
                self.erase(athlete);
            }
            return;
        }
        match status {
            200..=202 => {
                deed.place = Place::Journal(now);
                deed.led_to = rev;
            }
            424 | 429 => {
                deed.why = rules::STAYS;
                self.round.stuck = true;
            }
            _ => {
                deed.place = Place::Parked;
                deed.current = number(result.pointer("/current/rev"));
            }
        }
        let (done, Some(rev)) = (deed.clone(), rev) else { return };
        for later in self.deeds.iter_mut().filter(|later| later.place == Place::Outbox) {
            if later.act != Act::Record && done.speaks_for(later) && later.base.is_none_or(|base| base < rev) {
                later.base = Some(rev);
            }
        }
    }
}
