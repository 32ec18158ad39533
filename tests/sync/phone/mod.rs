//! A phone that follows `api-spec/sync-guide.md` and nothing else: its own store in SQLite, an outbox, a journal, the loop.
//!
//! `Phone::open(&Store)`, `record` / `replace` / `patch` / `delete` while offline, `sync(&mut link, now)` when there is a
//! network, `copy()` for what it shows. The network is a closure, so that a bad one can stand between. With
//! [`Phone::kill_after`] the program ends at any step; what is left is what the store holds when it is opened again.

mod flaw;
mod outbox;
mod pages;
mod push;
mod store;

use std::collections::BTreeMap;

use serde_json::Value;
use uuid::Uuid;

pub use flaw::Flaw;
pub use outbox::Parked;
pub use store::Store;

/// A request to `/v1/clubs/{club_id}/changes`.
#[derive(Clone, Debug)]
pub enum Request {
    /// `GET` with this query.
    Pull { query: String },
    /// `POST` of this JSON, packed with gzip when the flag is set.
    Push { body: Vec<u8>, gzip: bool },
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Reply {
    pub status: u16,
    pub body: Vec<u8>,
    /// The header `Date`, seconds since 1970; the phone's own clock may be anything.
    pub date: i64,
    /// The header `Retry-After`, seconds.
    pub retry_after: Option<u64>,
}

/// No answer: a time-out, a lost connection, a body that broke off.
#[derive(Clone, Copy, Debug)]
pub struct Lost;

/// The program ended; open the store again.
#[derive(Clone, Copy, Debug)]
pub struct Killed;

/// How a round of the loop ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Everything was handed in, or is parked or stuck, and everything was fetched.
    Done,
    /// Again after so many seconds.
    Later(u64),
    /// The access token must be refreshed.
    SignIn,
    /// No longer a member: the copy is gone, the outbox stays.
    Left,
    /// The app was revoked: everything is gone.
    Forgotten,
}

/// What a phone is set to.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Changes on a page.
    pub limit: usize,
    /// Items of a push, at most 500.
    pub batch: usize,
    /// Whether pushes are packed.
    pub gzip: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { limit: 500, batch: 500, gzip: false }
    }
}

/// The phone.
pub struct Phone {
    db: rusqlite::Connection,
    pub settings: Settings,
    /// Steps until the program ends.
    kill_after: Option<u32>,
    /// Time-outs in a row.
    failures: u32,
    /// What it does wrong on purpose.
    flaw: Option<Flaw>,
}

impl Phone {
    /// Opens the store, with whatever an earlier program left in it.
    pub fn open(store: &Store) -> Self {
        Self { db: store.connect(), settings: Settings::default(), kill_after: None, failures: 0, flaw: None }
    }

    /// Does something wrong from now on: whoever judges a phone must see it.
    #[allow(dead_code)] // the simulations want it right
    pub fn go_wrong(&mut self, flaw: Flaw) {
        self.flaw = Some(flaw);
    }

    fn is(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    /// Ends the program at the `steps`-th step from now: before and after each request, within and around each local
    /// transaction.
    pub fn kill_after(&mut self, steps: u32) {
        self.kill_after = Some(steps);
    }

    /// One round: push until the outbox is empty or stuck, then pull until there is no more. `now` is the phone's clock
    /// (milliseconds since 1970), right or wrong.
    ///
    /// # Errors
    /// [`Killed`] when the program ended; the phone must be opened again.
    pub async fn sync(
        &mut self,
        link: &mut impl AsyncFnMut(Request) -> Result<Reply, Lost>,
        now: i64,
    ) -> Result<Outcome, Killed> {
        if self.is(Flaw::PullsFirst) {
            self.pull_all(link).await?;
        }
        let outcome = match self.push_all(link, now).await? {
            Outcome::Done => self.pull_all(link).await?,
            other => other,
        };
        if outcome == Outcome::Left && !self.is(Flaw::LeftKeepsCopy) {
            self.drop_club();
        }
        if outcome == Outcome::Forgotten {
            store::forget_all(&mut self.db);
        }
        self.failures = if matches!(outcome, Outcome::Later(_)) { self.failures + 1 } else { 0 };
        Ok(outcome)
    }

    /// They may hand in for 30 days, everything once more; there is nothing to show any more.
    fn drop_club(&mut self) {
        let tx = self.db.transaction().unwrap();
        if store::meta(&tx, "left").is_none() && self.flaw != Some(Flaw::LeftWithoutJournal) {
            outbox::replay(&tx);
        }
        store::set_meta(&tx, "left", Some("1"));
        store::drop_copy(&tx);
        tx.commit().unwrap();
    }

    /// Asks for these types only from now on; `None`: all. More of them are copied with the next pull; for fewer the
    /// copy begins afresh.
    pub fn carry(&mut self, types: Option<&[&str]>) {
        store::carry(&mut self.db, "types", types);
    }

    /// Carries these groups only from now on, beside what belongs to the whole club; `None`: everything. More of them are
    /// copied with the next pull; for fewer the copy begins afresh.
    pub fn carry_groups(&mut self, groups: Option<&[Uuid]>) {
        let groups: Option<Vec<String>> = groups.map(|groups| groups.iter().map(Uuid::to_string).collect());
        let groups: Option<Vec<&str>> = groups.as_ref().map(|groups| groups.iter().map(String::as_str).collect());
        store::carry(&mut self.db, "groups", groups.as_deref());
    }

    /// Keeps what is about this day or a later one only, from the full copy that begins with the next pull.
    pub fn keep_from(&mut self, day: chrono::NaiveDate) {
        store::set_meta(&self.db, "history_from", Some(&day.to_string()));
        store::forget_token(&self.db);
    }

    /// Every record that the phone shows, with its `data`, by type and id.
    pub fn copy(&self) -> BTreeMap<(String, Uuid), Value> {
        store::records(&self.db)
    }

    /// The ids of the records of a type that the phone shows.
    pub fn ids(&self, kind: &str) -> Vec<Uuid> {
        store::ids(&self.db, kind)
    }

    /// The data of one record.
    pub fn data(&self, kind: &str, id: Uuid) -> Option<Value> {
        store::record(&self.db, kind, id).map(|(_, data)| data)
    }

    /// The token of the last page.
    pub fn token(&self) -> Option<String> {
        store::meta(&self.db, "token")
    }

    /// Replaces the token, as a broken store or a curious person would.
    pub fn set_token(&mut self, token: &str) {
        store::set_meta(&self.db, "token", Some(token));
    }

    /// Counts a step, and ends the program when its time has come.
    fn step(&mut self) -> Result<(), Killed> {
        match &mut self.kill_after {
            Some(0) => Err(Killed),
            Some(left) => {
                *left -= 1;
                Ok(())
            }
            None => Ok(()),
        }
    }

    /// What to do about a refusal that came with a body.
    fn refused_as_a_whole(&self, reply: &Reply) -> Outcome {
        let body = serde_json::from_slice::<Value>(&reply.body).unwrap_or(Value::Null);
        if body["type"] == "/problems/app-revoked" && !self.is(Flaw::RevokedKeeps) {
            return Outcome::Forgotten;
        }
        self.give_up(reply.status, reply.retry_after)
    }

    /// What to do about an answer that is neither a page nor results.
    fn give_up(&self, status: u16, retry_after: Option<u64>) -> Outcome {
        if status == 401 && self.is(Flaw::SignedOutForgets) {
            self.db.execute("delete from outbox", []).unwrap();
        }
        match status {
            401 => Outcome::SignIn,
            403 | 404 => Outcome::Left,
            _ if self.is(Flaw::NoPatience) => Outcome::Later(1),
            _ => Outcome::Later(retry_after.unwrap_or_else(|| (2_u64 << self.failures.min(8)).min(300))),
        }
    }
}
