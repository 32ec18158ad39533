//! Pulling: pages and their tokens.

use serde::Deserialize;
use serde_json::Value;

use super::store::Name;
use super::{Flaw, Killed, Lost, Outcome, Phone, Reply, Request, outbox, store};

#[derive(Deserialize)]
struct Page<'a> {
    from: Option<String>,
    sync_token: String,
    more: bool,
    #[serde(borrow)]
    changes: Vec<Change<'a>>,
}

#[derive(Deserialize)]
struct Change<'a> {
    #[serde(rename = "type")]
    kind: &'a str,
    id: &'a str,
    rev: i64,
    data: Option<Value>,
    removed: Option<Removed<'a>>,
}

#[derive(Deserialize)]
struct Removed<'a> {
    reason: &'a str,
}

/// The record that a record belongs to.
fn parent<'a>(kind: &str, data: &'a Value) -> Option<Name<'a>> {
    match kind {
        "run" | "assessment" | "measurement" | "decision" | "attendance" | "race_entry" | "race_result"
        | "wellbeing_record" => data["athlete_id"].as_str().map(|id| ("athlete", id)),
        "lane_plan" | "race_test" => data["session_id"].as_str().map(|id| ("session", id)),
        _ => None,
    }
}

impl Phone {
    pub(super) async fn pull_all(
        &mut self,
        link: &mut impl AsyncFnMut(Request) -> Result<Reply, Lost>,
    ) -> Result<Outcome, Killed> {
        let mut ignored = 0;
        loop {
            self.step()?;
            let query = self.query();
            let Ok(reply) = link(Request::Pull { query }).await else {
                return Ok(if self.is(Flaw::CutIsEmpty) { Outcome::Done } else { self.give_up(0, None) });
            };
            self.step()?;
            match reply.status {
                200 => {}
                400 | 410 => {
                    if !self.refused(&reply)? {
                        return Ok(self.give_up(reply.status, None));
                    }
                    continue;
                }
                _ => return Ok(self.refused_as_a_whole(&reply)),
            }
            // A body that broke off is a lost connection.
            let Ok(page) = serde_json::from_slice::<Page>(&reply.body) else { return Ok(self.give_up(0, None)) };
            if page.from != self.token() && !self.is(Flaw::AppliesLatePage) && !self.is(Flaw::NoToken) {
                // A late answer. A network that only sends such is as good as none.
                ignored += 1;
                if ignored > 3 {
                    return Ok(self.give_up(0, None));
                }
                continue;
            }
            self.apply(&page, reply.date)?;
            self.step()?;
            if !page.more || self.is(Flaw::OnePage) {
                return Ok(Outcome::Done);
            }
        }
    }

    fn query(&self) -> String {
        let wish = |name: &str| store::meta(&self.db, name).map(|text| format!("&{name}={text}")).unwrap_or_default();
        let (types, groups) = (wish("types"), wish("groups"));
        // A token remembers the day, which is said for a full copy.
        let from = match self.token().filter(|_| !self.is(Flaw::NoToken)) {
            Some(token) => format!("&sync_token={token}"),
            None => wish("history_from"),
        };
        format!("schema=1&limit={}{types}{groups}{from}", self.settings.limit)
    }

    /// Rule 5; whether the token was refused, so that pulling goes on from the start.
    fn refused(&mut self, reply: &Reply) -> Result<bool, Killed> {
        #[derive(Deserialize)]
        struct Problem {
            #[serde(rename = "type")]
            kind: String,
        }
        let Ok(problem) = serde_json::from_slice::<Problem>(&reply.body) else { return Ok(false) };
        let word = problem.kind.rsplit('/').next().unwrap_or_default();
        if !matches!(word, "sync-token-invalid" | "sync-token-expired" | "history-diverged") {
            return Ok(false);
        }
        let kill = self.kill_after.take();
        let flaw = self.flaw;
        let tx = self.db.transaction().unwrap();
        if flaw == Some(Flaw::AfreshForgets) {
            tx.execute("delete from outbox", []).unwrap();
        }
        store::forget_token(&tx);
        if kill == Some(0) {
            return Err(Killed);
        }
        tx.commit().unwrap();
        self.kill_after = kill.map(|left| left - 1);
        Ok(true)
    }

    /// Applies a page and stores its token, or does neither.
    fn apply(&mut self, page: &Page, date: i64) -> Result<(), Killed> {
        let mut kill = self.kill_after.take();
        let flaw = self.flaw;
        let tx = self.db.transaction().unwrap();
        store::set_meta(&tx, "left", None);
        match flaw {
            Some(Flaw::JournalStays) => {}
            Some(Flaw::JournalBehind) if page.from.is_none() => outbox::replay_behind(&tx),
            _ if page.from.is_none() => outbox::replay(&tx),
            _ => outbox::expire(&tx, date),
        }
        for change in &page.changes {
            if kill == Some(0) {
                return Err(Killed);
            }
            kill = kill.map(|left| left - 1);
            let rev = change.rev;
            store::rose(&tx, (change.kind, change.id), rev);
            let name = (change.kind, change.id);
            match &change.data {
                Some(_) if flaw == Some(Flaw::FirstIsGood) && store::has(&tx, name) => {}
                Some(data) => {
                    let mut data = data.clone();
                    if flaw == Some(Flaw::KnownMembersOnly) {
                        data.as_object_mut().unwrap().retain(|member, _| member != "shoe");
                    }
                    store::put(&tx, name, parent(change.kind, &data), rev, &data.to_string());
                }
                None => {
                    store::remove(&tx, name, flaw);
                    let deleted = change.removed.as_ref().is_some_and(|one| one.reason == "deleted");
                    if change.kind == "athlete" && deleted && flaw != Some(Flaw::ErasedStays) {
                        outbox::erase(&tx, change.id);
                    }
                }
            }
        }
        if !page.more && flaw != Some(Flaw::StaleStays) {
            tx.execute("delete from record where stale = 1", []).unwrap();
        }
        store::set_meta(&tx, "token", Some(&page.sync_token));
        if kill == Some(0) {
            return Err(Killed);
        }
        tx.commit().unwrap();
        self.kill_after = kill.map(|left| left - 1);
        Ok(())
    }
}
