//! At most two pushes at work for each club and instance; a few more wait their turn, first come first served.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};
use std::time::Duration;

use actix_web::http::header::RETRY_AFTER;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::platform::ids::ClubId;
use crate::platform::problem::{Code, Problem};

/// Pushes at work.
pub const AT_WORK: usize = 2;
/// Pushes that wait.
const WAITING: usize = 8;
/// The longest wait.
const WAIT: Duration = Duration::from_secs(10);

static SLOTS: LazyLock<Mutex<HashMap<ClubId, Arc<Semaphore>>>> = LazyLock::new(Mutex::default);

/// A turn; it ends when dropped.
#[derive(Debug)]
pub struct Turn {
    club: ClubId,
    slots: Arc<Semaphore>,
    permit: Option<OwnedSemaphorePermit>,
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.permit = None;
        let mut all = SLOTS.lock().unwrap_or_else(PoisonError::into_inner);
        // The map and this turn: nobody else works or waits.
        if Arc::strong_count(&self.slots) <= 2 {
            all.remove(&self.club);
        }
    }
}

/// Waits for a turn.
///
/// # Errors
/// 429 with `Retry-After` when too many wait, or for too long.
pub async fn turn(club: ClubId) -> Result<Turn, Problem> {
    let slots = {
        let mut all = SLOTS.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(all.entry(club).or_insert_with(|| Arc::new(Semaphore::new(AT_WORK))))
    };
    let busy = || {
        let detail = "2 pushes of this club are at work and others wait. Send the same items again in a moment.";
        Problem::new(Code::TooMany, detail).with_header(RETRY_AFTER, "2")
    };
    // Every turn, at work or waiting, holds the semaphore twice; the map and this call hold it once each.
    if Arc::strong_count(&slots) >= 2 + 2 * (AT_WORK + WAITING) {
        return Err(busy());
    }
    let mut turn = Turn { club, slots: Arc::clone(&slots), permit: None };
    let waited = tokio::time::timeout(WAIT, slots.acquire_owned()).await;
    turn.permit = waited.ok().and_then(Result::ok);
    if turn.permit.is_none() { Err(busy()) } else { Ok(turn) }
}
