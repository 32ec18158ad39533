//! One request, one connection, after its turn.
//!
//! A request that waits for a second connection while it holds its first can wait for ever: as many of them as the pool
//! has connections hold them all and wait for each other. So whoever holds one gets no other. A request that was let in before
//! and asks again, as a push does for each of its parts, waits behind others but is not refused: it would be done again from its
//! beginning.

use std::future::Future;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::StoreError;
use super::queue::{Place, Queue};
use crate::platform::lanes::Who;

/// How long after its last connection a request goes on; whoever was away for longer, as one that waits for news, comes anew.
const GOES_ON: Duration = Duration::from_secs(1);

/// What a request has of connections.
#[derive(Debug, Default)]
struct Had {
    held: u32,
    /// When it gave back its last one.
    last: Option<Instant>,
}

tokio::task_local! {
    static HAD: Arc<Mutex<Had>>;
}

fn open(had: &Mutex<Had>) -> MutexGuard<'_, Had> {
    had.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Carries out a request, which may hold one connection at a time. Chores outside a request are not watched.
pub async fn one_connection<F: Future>(request: F) -> F::Output {
    HAD.scope(Arc::default(), request).await
}

/// That a request holds a connection, until dropped.
#[derive(Debug)]
pub struct Hold {
    request: Option<Arc<Mutex<Had>>>,
    place: Option<Place>,
}

impl Hold {
    /// Notes that the request at work takes a connection.
    ///
    /// # Errors
    /// [`StoreError::SecondConnection`] when it holds one. In an optimised build that is only logged: there the request
    /// may be lucky.
    pub fn take() -> Result<Self, StoreError> {
        let Ok(request) = HAD.try_with(Arc::clone) else { return Ok(Self { request: None, place: None }) };
        let before = {
            let mut had = open(&request);
            had.held += 1;
            had.held - 1
        };
        let hold = Self { request: Some(request), place: None };
        if before > 0 {
            tracing::error!(request.id = crate::platform::telemetry::request_id(), "a second connection was asked for");
            if cfg!(debug_assertions) {
                return Err(StoreError::SecondConnection);
            }
        }
        Ok(hold)
    }

    /// Whether the request was let in a moment ago, or is none: a chore.
    pub fn goes_on(&self) -> bool {
        let lately = |had: &Mutex<Had>| open(had).last.is_some_and(|last| last.elapsed() < GOES_ON);
        self.request.as_deref().is_none_or(lately)
    }

    /// Waits for a place in a queue.
    ///
    /// # Errors
    /// [`StoreError::Busy`].
    pub async fn with(mut self, queue: &Arc<Queue>, named: Option<Who>) -> Result<Self, StoreError> {
        self.place = Some(queue.place(&self, named).await?);
        Ok(self)
    }

    /// Notes for the queue whether somebody is a member of a club.
    pub fn found(&self, who: Who, member: bool) {
        if let Some(place) = &self.place {
            place.found(who, member);
        }
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        if let Some(request) = &self.request {
            let mut had = open(request);
            had.held -= 1;
            if self.place.is_some() {
                had.last = Some(Instant::now());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_request_that_holds_a_connection_gets_no_other() {
        one_connection(async {
            let first = Hold::take();
            assert!(first.is_ok());
            assert!(matches!(Hold::take(), Err(StoreError::SecondConnection)));
            drop(first);
            assert!(Hold::take().is_ok());
        })
        .await;
        let (one, other) = (Hold::take(), Hold::take());
        assert!(one.is_ok() && other.is_ok(), "chores are not watched");
    }

    #[tokio::test]
    async fn a_request_goes_on_for_a_while_once_it_had_a_connection() {
        let queue = Queue::of(1);
        let again = |last: Option<Instant>| {
            HAD.with(|had| open(had).last = last);
            Hold::take().unwrap().goes_on()
        };
        one_connection(async {
            assert!(!Hold::take().unwrap().goes_on());
            drop(Hold::take().unwrap());
            assert!(HAD.with(|had| open(had).last.is_none()), "nobody let it in");
            drop(Hold::take().unwrap().with(&queue, None).await.unwrap());
            assert!(HAD.with(|had| open(had).last.is_some()));
            let now = Instant::now();
            assert!(again(now.checked_add(GOES_ON)));
            assert!(!again(now.checked_sub(2 * GOES_ON)), "it was away");
        })
        .await;
        assert!(Hold::take().unwrap().goes_on(), "a chore");
    }
}
