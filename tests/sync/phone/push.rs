//! Pushing: the outbox in order, and what becomes of each item.

use chrono::DateTime;
use serde_json::{Value, json};
use uuid::Uuid;

use super::{Flaw, Killed, Lost, Outcome, Phone, Reply, Request, outbox, store};

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
            let Ok(reply) = link(self.request(&items, now)).await else {
                self.after_lost(&items);
                return Ok(self.give_up(0, None));
            };
            self.step()?;
            match reply.status {
                200 => {}
                429 | 503 if self.is(Flaw::GoesOn) => continue,
                400 | 413 | 415 if self.is(Flaw::NoHalves) => return Ok(Outcome::Done),
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
                status => {
                    if status == 503 {
                        self.after_lost(&items);
                    }
                    return Ok(self.refused_as_a_whole(&reply));
                }
            }
            let answer: Value = serde_json::from_slice(&reply.body).unwrap_or(Value::Null);
            let Some(results) = answer["results"].as_array() else {
                self.after_lost(&items);
                return Ok(self.give_up(0, None));
            };
            let before = self.waiting();
            self.settle(results, reply.date)?;
            self.step()?;
            if self.waiting() == before {
                return Ok(Outcome::Done);
            }
        }
    }

    /// What phones with certain flaws do about a push whose answer did not come.
    fn after_lost(&self, items: &[Value]) {
        match self.flaw {
            Some(Flaw::NewOperation) => outbox::rename_first(&self.db),
            Some(Flaw::ChangesItem) => outbox::change_first(&self.db),
            Some(Flaw::LostIsStored) => items.iter().for_each(|item| {
                outbox::take(&self.db, item["op_id"].as_str().unwrap());
            }),
            Some(Flaw::FirstAgain) => items.iter().skip(1).for_each(|item| {
                outbox::take(&self.db, item["op_id"].as_str().unwrap());
            }),
            _ => {}
        }
    }

    /// The first items that fit into one push.
    fn batch(&self, size: usize) -> Vec<Value> {
        let mut bytes = 0;
        let size = if self.is(Flaw::OnePush) { usize::MAX >> 1 } else { size };
        let mut items = outbox::first(&self.db, size, self.flaw);
        if self.is(Flaw::NewestFirst) {
            items.reverse();
        }
        let items = items.into_iter().map(|(_, item)| item);
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
        let device = store::meta(&self.db, "device").filter(|_| !self.is(Flaw::NewDevice));
        let device = device.unwrap_or_else(|| Uuid::now_v7().to_string());
        let body = json!({"device_id": device, "schema": 1, "sent_at": sent_at, "items": items});
        Request::Push { body: body.to_string().into_bytes(), gzip: self.settings.gzip }
    }

    /// Files each result. They are known by their operation: a late answer to an earlier push says nothing wrong.
    fn settle(&mut self, results: &[Value], date: i64) -> Result<(), Killed> {
        let mut kill = self.kill_after.take();
        let flaw = self.flaw;
        let date = if flaw == Some(Flaw::JournalByClock) { 0 } else { date };
        let tx = self.db.transaction().unwrap();
        for result in results {
            if kill == Some(0) {
                return Err(Killed);
            }
            kill = kill.map(|left| left - 1);
            let op_id = result["op_id"].as_str().unwrap_or_default();
            let status = u16::try_from(result["status"].as_u64().unwrap_or(0)).unwrap_or(0);
            let stays = match flaw {
                Some(Flaw::WaitingDropped) => status == 429,
                Some(Flaw::NoRoomParked) => status == 424,
                Some(Flaw::HeldAgain) => [202, 424, 429].contains(&status),
                Some(Flaw::RefusedAgain) => status >= 400,
                _ => [424, 429].contains(&status),
            };
            if stays {
                continue;
            }
            let Some((n, item)) = outbox::take(&tx, op_id) else { continue };
            if let (410, Some(athlete)) = (status, erased(&item, result))
                && flaw != Some(Flaw::ErasedStays)
            {
                outbox::erase(&tx, athlete);
                continue;
            }
            let rev = result["rev"].as_i64();
            match status {
                200 | 201 => outbox::confirm(&tx, (n, &item), rev, date, flaw),
                202 => {
                    outbox::confirm(&tx, (n, &item), None, date, flaw);
                    outbox::note(&tx, op_id, &result["problem"]);
                }
                _ => {
                    outbox::park(&tx, n, &item, status, result);
                    if let (409, Some(rev), Some(applied)) = (status, rev, result["applied"].as_array()) {
                        outbox::rebase_groups(&tx, &item, applied, rev, flaw);
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
