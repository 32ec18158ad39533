//! Who waits for news of a club: told after each commit of this instance, and by one look a second at the others'. Those
//! who wait are also told when their sign-in ends.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::{Notify, watch};
use uuid::Uuid;

use super::access;
use super::db::{Actor, Db, StoreError};
use super::ids::{AccountId, ClubId, DeviceId};

/// The last change number that was heard of.
pub type News = watch::Receiver<i64>;

static WATCHED: LazyLock<Mutex<HashMap<ClubId, watch::Sender<i64>>>> = LazyLock::new(Mutex::default);

fn watched() -> MutexGuard<'static, HashMap<ClubId, watch::Sender<i64>>> {
    WATCHED.lock().unwrap_or_else(PoisonError::into_inner)
}

static COUNTED: LazyLock<Mutex<HashMap<ClubId, Vec<Arc<AtomicU64>>>>> = LazyLock::new(Mutex::default);

fn counted() -> MutexGuard<'static, HashMap<ClubId, Vec<Arc<AtomicU64>>>> {
    COUNTED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Counts the commits of this instance to one club, from its making on.
#[derive(Debug)]
pub struct Commits {
    club: ClubId,
    count: Arc<AtomicU64>,
}

impl Commits {
    /// Begins to count.
    pub fn of(club: ClubId) -> Self {
        let count = Arc::new(AtomicU64::new(0));
        counted().entry(club).or_default().push(Arc::clone(&count));
        Self { club, count }
    }

    /// How many there were.
    pub fn count(&self) -> u64 {
        self.count.load(Ordering::Acquire)
    }
}

impl Drop for Commits {
    fn drop(&mut self) {
        let mut all = counted();
        if let Some(counts) = all.get_mut(&self.club) {
            counts.retain(|count| !Arc::ptr_eq(count, &self.count));
            if counts.is_empty() {
                all.remove(&self.club);
            }
        }
    }
}

/// Somebody who waits.
#[derive(Debug)]
struct Waiter {
    account: AccountId,
    device: DeviceId,
    told: Arc<Notify>,
}

static WAITERS: LazyLock<Mutex<HashMap<ClubId, Vec<Waiter>>>> = LazyLock::new(Mutex::default);

fn waiters() -> MutexGuard<'static, HashMap<ClubId, Vec<Waiter>>> {
    WAITERS.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Somebody's place among those who wait; it ends when dropped.
#[derive(Debug)]
pub struct Waiting {
    club: ClubId,
    told: Arc<Notify>,
}

impl Waiting {
    /// Notes who waits for news of a club, with which sign-in.
    pub fn begin(club: ClubId, account: AccountId, device: DeviceId) -> Self {
        let told = Arc::new(Notify::new());
        waiters().entry(club).or_default().push(Waiter { account, device, told: Arc::clone(&told) });
        Self { club, told }
    }

    /// Ends when a sign-in of the account has ended, perhaps this one: whoever waits asks again who they are.
    pub async fn doubted(&self) {
        self.told.notified().await;
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        let mut all = waiters();
        if let Some(some) = all.get_mut(&self.club) {
            some.retain(|one| !Arc::ptr_eq(&one.told, &self.told));
            if some.is_empty() {
                all.remove(&self.club);
            }
        }
    }
}

/// Tells those who wait with a sign-in of an account that one of its sign-ins has ended here.
pub fn sign_in_ended(account: AccountId) {
    for one in waiters().values().flatten().filter(|one| one.account == account) {
        one.told.notify_one();
    }
}

/// Tells everybody who waits or counts that something was committed to a club, which has reached a change number.
pub fn tell(club: ClubId, seq: i64) {
    for count in counted().get(&club).into_iter().flatten() {
        count.fetch_add(1, Ordering::AcqRel);
    }
    if let Some(sender) = watched().get(&club) {
        sender.send_if_modified(|latest| {
            let newer = seq > *latest;
            *latest = (*latest).max(seq);
            newer
        });
    }
}

/// Hears of the club's commits from now on.
pub fn watch(db: &Db, club: ClubId, account: AccountId) -> News {
    let mut all = watched();
    if let Some(sender) = all.get(&club) {
        return sender.subscribe();
    }
    let (sender, news) = watch::channel(0);
    all.insert(club, sender);
    tokio::spawn(look(db.clone(), club, Actor::unseeing(account)));
    news
}

/// Looks at the counter once a second while anybody waits.
async fn look(db: Db, club: ClubId, actor: Actor) {
    loop {
        tokio::time::sleep(Duration::from_secs(1)).await;
        {
            let mut all = watched();
            if all.get(&club).is_none_or(|sender| sender.receiver_count() == 0) {
                all.remove(&club);
                return;
            }
        }
        match read(&db, club, &actor).await {
            Ok(seq) => tell(club, seq),
            Err(error) => tracing::warn!(%error, "cannot look for news"),
        }
        if let Err(error) = look_at_sign_ins(&db, club).await {
            tracing::warn!(%error, "cannot look for sign-ins that ended");
        }
    }
}

/// Looks whether other instances ended the sign-in of somebody who waits here: one question for all of a club.
async fn look_at_sign_ins(db: &Db, club: ClubId) -> Result<(), StoreError> {
    let (accounts, devices): (Vec<Uuid>, Vec<Uuid>) =
        waiters().get(&club).into_iter().flatten().map(|one| (one.account.0, one.device.0)).unzip();
    if accounts.is_empty() {
        return Ok(());
    }
    let live = access::signed_in(db, &accounts, &devices).await?;
    let asked = |one: &&Waiter| devices.contains(&one.device.0) && !live.contains(&one.device);
    for one in waiters().get(&club).into_iter().flatten().filter(asked) {
        one.told.notify_one();
    }
    Ok(())
}

async fn read(db: &Db, club: ClubId, actor: &Actor) -> Result<i64, StoreError> {
    let mut tx = db.read(club, actor).await?;
    Ok(sqlx::query_scalar!("select seq from club_clock where club_id = $1", club.0).fetch_one(tx.conn()).await?)
}
