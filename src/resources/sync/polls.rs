//! Answers a phone that is up to date without reading its page again.
//!
//! Phones poll far more often than anything changes. A request whose answer would have been empty is remembered for a
//! minute; while the head of the log stays where it was, its answer stays the same. What a member may see is part of the
//! log, so a removed member or a revoked grant moves the head like any other change, and the request is then judged in
//! full. What is not in the log is looked up with the head: whether the sign-in was ended, and whether an admin forced a
//! full copy.
//!
//! The look is shared by all phones of the club. It is taken when a poll finds the last one older than a second, and
//! after every commit of this instance. So what other instances do reaches a poll within a second. Until then a poll
//! says "nothing new", as it would have a moment earlier: it gives no record, moves no token, and the next one finds it.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use chrono::Utc;

use super::devices_store::{self as store, Head, Phone};
use super::pager::Wanted;
use crate::platform::db::Db;
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::news::Commits;
use crate::platform::token::sha256;

/// How old the last look at a club may be.
const FRESH: Duration = Duration::from_secs(1);
/// How long a request is remembered; in between its device is not noted as reading.
const REMEMBERED: Duration = Duration::from_mins(1);

/// A request that was found up to date.
type Request = Vec<u8>;

/// A map that drops what is over whenever it has doubled.
#[derive(Debug)]
struct Shelf<K, V> {
    all: HashMap<K, V>,
    full: usize,
}

impl<K, V> Default for Shelf<K, V> {
    fn default() -> Self {
        Self { all: HashMap::new(), full: 64 }
    }
}

impl<K: Eq + Hash, V> Shelf<K, V> {
    fn put(&mut self, key: K, value: V, lives: impl Fn(&V) -> bool) {
        if self.all.len() >= self.full {
            self.all.retain(|_, value| lives(value));
            self.full = (2 * self.all.len()).max(64);
        }
        self.all.insert(key, value);
    }
}

/// What an instance remembers of polls.
#[derive(Debug, Default)]
pub struct Polls(Mutex<Shelf<ClubId, Arc<Club>>>);

/// What is remembered of a club.
#[derive(Debug)]
pub struct Club {
    id: ClubId,
    commits: Commits,
    look: tokio::sync::Mutex<Option<Look>>,
    asking: Mutex<Shelf<Request, Asking>>,
}

/// What the database said of a club; no head when it did not answer.
#[derive(Clone, Copy, Debug)]
struct Look {
    at: Instant,
    commits: u64,
    head: Option<Head>,
}

/// A phone that was up to date at a head of the log.
#[derive(Clone, Copy, Debug)]
struct Asking {
    phone: Phone,
    head: Head,
    until: Instant,
}

fn open<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What makes two requests of a club the same: the access token, with it the member, and where and what is read.
pub fn request(access: &str, token: &str, wanted: &Wanted) -> Request {
    sha256(format!("{access} {token} {} {:?}", wanted.types.bits(), wanted.groups).as_bytes())
}

impl Polls {
    /// The memory of a club, for a request that is judged in full.
    pub fn club(&self, id: ClubId) -> Arc<Club> {
        let mut clubs = open(&self.0);
        if let Some(club) = clubs.all.get(&id) {
            return Arc::clone(club);
        }
        let commits = Commits::of(id);
        let club = Arc::new(Club { id, commits, look: tokio::sync::Mutex::default(), asking: Mutex::default() });
        clubs.put(id, Arc::clone(&club), |club| Arc::strong_count(club) > 1 || club.is_asked());
        club
    }

    /// Whose request it is, when it is known that there is nothing to answer to it.
    pub async fn nothing_new(&self, db: &Db, club: ClubId, request: &Request) -> Option<AccountId> {
        let club = open(&self.0).all.get(&club).map(Arc::clone)?;
        let known = club.asked(request)?;
        // The look may forget the phone.
        let same = club.head(db).await == Some(known.head) && club.asked(request).is_some();
        same.then_some(known.phone.account)
    }
}

impl Club {
    /// Remembers that a request is up to date at a head, as long as its access token holds.
    pub fn remember(&self, request: Request, phone: Phone, head: Head, expires: i64) {
        let left = Duration::from_secs(u64::try_from(expires - Utc::now().timestamp()).unwrap_or(0));
        let now = Instant::now();
        let asking = Asking { phone, head, until: now + left.min(REMEMBERED) };
        open(&self.asking).put(request, asking, |known| known.until > now);
    }

    fn asked(&self, request: &Request) -> Option<Asking> {
        open(&self.asking).all.get(request).copied().filter(|known| known.until > Instant::now())
    }

    fn is_asked(&self) -> bool {
        let now = Instant::now();
        open(&self.asking).all.values().any(|known| known.until > now)
    }

    /// The head of the log, looked up when the last look is too old; none when the database does not answer.
    async fn head(&self, db: &Db) -> Option<Head> {
        // Held over the look: of all who poll, one looks and the others wait for it.
        let mut last = self.look.lock().await;
        let (at, commits) = (Instant::now(), self.commits.count());
        if let Some(look) = *last
            && look.commits == commits
            && at - look.at < FRESH
        {
            return look.head;
        }
        let phones: HashSet<Phone> = {
            let asking = open(&self.asking);
            asking.all.values().filter(|known| known.until > at).map(|known| known.phone).collect()
        };
        let head = match store::look(db, self.id, &phones).await {
            Ok((head, live)) => {
                let ended = |phone: &Phone| phones.contains(phone) && !live.contains(phone);
                open(&self.asking).all.retain(|_, known| !ended(&known.phone));
                Some(head)
            }
            Err(error) => {
                tracing::warn!(%error, "cannot look at the head of the log");
                None
            }
        };
        *last = Some(Look { at, commits, head });
        head
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shelf_stays_as_small_as_what_lives() {
        let mut shelf = Shelf::default();
        for at in 0..10_000 {
            shelf.put(at, at, |kept| kept + 100 > at);
        }
        assert!((100..=200).contains(&shelf.all.len()), "{}", shelf.all.len());
        assert!((9_900..10_000).all(|at| shelf.all.contains_key(&at)));
    }
}
