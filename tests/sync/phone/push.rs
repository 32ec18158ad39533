//! Pushing: the outbox in order, and what becomes of each item.

use chrono::DateTime;
use serde_json::{Value, json};

use super::{Killed, Lost, Outcome, Phone, Reply, Request, outbox, store};

/// The most bytes of a push as it is sent; some room is left for the envelope.
const BYTES: usize = 1_000_000;

/// The athlete of whom the service says that they were deleted, so that nothing about them is kept.
fn erased<'a>(item: &'a Value, result: &Value) -> Option<&'a str> {
    let mut errors = result["problem"]["errors"].as_array().into_iter().flatten();
    errors.any(|error| error["code"] == "erased").then(|| item["data"]["athlete_id"].as_str()).flatten()
}

impl Phone {
    pub(super) async fn push_all(
        &mut self,
        link: &mut impl AsyncFnMut(Request) -> Result<Reply, Lost>,
        now: i64,
    ) -> Result<Outcome, Killed> {
        let mut size = self.settings.batch;
        loop {
            self.step()?;
            let items = self.batch(size);
            if items.is_empty() {
                return Ok(Outcome::Done);
            }
            let Ok(reply) = link(self.request(&items, now)).await else { return Ok(self.give_up(0, None)) };
            self.step()?;
            match reply.status {
                200 => {}
                // Nothing was stored: one of the items makes the whole unreadable or too large.
                400 | 413 | 415 if items.len() > 1 => {
                    size = items.len().div_ceil(2);
                    continue;
                }
                400 | 413 | 415 => {
                    let answer = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
                    self.settle(&[json!({"op_id": items[0]["op_id"], "status": reply.status, "problem": answer})], 0)?;
                    size = self.settings.batch;
                    continue;
                }
                status => return Ok(self.give_up(status, reply.retry_after)),
            }
            let answer: Value = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
            let Some(results) = answer["results"].as_array() else { return Ok(self.give_up(0, None)) };
            let before = self.waiting();
            self.settle(results, reply.date)?;
            self.step()?;
            if self.waiting() == before {
                return Ok(Outcome::Done);
            }
        }
    }

    /// The first items that fit into one push.
    fn batch(&self, size: usize) -> Vec<Value> {
        let mut bytes = 0;
        let items = outbox::first(&self.db, size).into_iter().map(|(_, item)| item);
        items
            .enumerate()
            .take_while(|(at, item)| {
                bytes += item.to_string().len() + 1;
                *at == 0 || bytes <= BYTES
            })
            .map(|(_, item)| item)
            .collect()
    }

    fn request(&self, items: &[Value], now: i64) -> Request {
        let sent_at = DateTime::from_timestamp_millis(now).unwrap_or_default();
        let device = store::meta(&self.db, "device");
        let body = json!({"device_id": device, "schema": 1, "sent_at": sent_at, "items": items});
        Request::Push { body: body.to_string().into_bytes(), gzip: self.settings.gzip }
    }

    /// Files each result. They are known by their operation: a late answer to an earlier push says nothing wrong.
    fn settle(&mut self, results: &[Value], date: i64) -> Result<(), Killed> {
        let mut kill = self.kill_after.take();
        let tx = self.db.transaction().unwrap();
        for result in results {
            if kill == Some(0) {
                return Err(Killed);
            }
            kill = kill.map(|left| left - 1);
            let op_id = result["op_id"].as_str().unwrap_or_default();
            let status = u16::try_from(result["status"].as_u64().unwrap_or(0)).unwrap_or(0);
            if [424, 429].contains(&status) {
                continue;
            }
            let Some((n, item)) = outbox::take(&tx, op_id) else { continue };
            if let (410, Some(athlete)) = (status, erased(&item, result)) {
                outbox::erase(&tx, athlete);
                continue;
            }
            let rev = result["rev"].as_str().and_then(|rev| rev.parse().ok());
            match status {
                200 | 201 => outbox::confirm(&tx, n, &item, rev, date),
                202 => {
                    outbox::confirm(&tx, n, &item, None, date);
                    outbox::note(&tx, op_id, &result["problem"]);
                }
                _ => {
                    outbox::park(&tx, n, &item, status, result);
                    if let (409, Some(rev), Some(applied)) = (status, rev, result["applied"].as_array()) {
                        outbox::rebase_groups(&tx, &item, applied, rev);
                    }
                }
            }
        }
        if kill == Some(0) {
            return Err(Killed);
        }
        tx.commit().unwrap();
        self.kill_after = kill.map(|left| left - 1);
        Ok(())
    }
}
