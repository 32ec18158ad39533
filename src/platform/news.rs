//! Who waits for news of a club: told after each commit of this instance, and by one look a second at the others'.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::watch;

use super::db::{Actor, Db, StoreError};
use super::ids::ClubId;

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
pub fn watch(db: &Db, club: ClubId, actor: &Actor) -> News {
    let mut all = watched();
    if let Some(sender) = all.get(&club) {
        return sender.subscribe();
    }
    let (sender, news) = watch::channel(0);
    all.insert(club, sender);
    tokio::spawn(look(db.clone(), club, actor.clone()));
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
    }
}

async fn read(db: &Db, club: ClubId, actor: &Actor) -> Result<i64, StoreError> {
    let mut tx = db.read(club, actor).await?;
    Ok(sqlx::query_scalar!("select seq from club_clock where club_id = $1", club.0).fetch_one(tx.conn()).await?)
}
