//! Who waits for a connection, and as whom: before one is taken, in a queue that is short and fair.
//!
//! Whoever was found to be a member of a club on this worker waits as one of the club. Everybody else waits outside, which has
//! turns like one club, those of each address in their turn: strangers who name a club in a path fill no queue of its members, and
//! however many addresses they have, they take no more than a club does. Nothing of it asks the database.

use std::collections::HashSet;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::time::Instant;
use uuid::Uuid;

use super::{Hold, StoreError};
use crate::platform::lanes::{Lane, Rules, Turn, Who};
use crate::platform::telemetry;

/// The longest that a chore waits, and that a connection may take to come from the pool.
pub const PATIENCE: Duration = Duration::from_secs(5);
/// Members that are remembered; beyond that all are found again.
const MOST: usize = 20_000;
/// What those outside of clubs wait as.
const OUTSIDE: Uuid = Uuid::nil();

/// The queue before the connections of a worker.
#[derive(Debug)]
pub struct Queue {
    lane: Arc<Lane>,
    members: Mutex<HashSet<Who>>,
}

/// A connection's place in use; it ends when dropped.
#[derive(Debug)]
pub struct Place {
    queue: Arc<Queue>,
    _turn: Turn,
}

impl Place {
    /// Notes whether somebody is a member of a club.
    pub fn found(&self, who: Who, member: bool) {
        let mut members = self.queue.members();
        if !member {
            members.remove(&who);
        } else if !members.contains(&who) {
            if members.len() >= MOST {
                members.clear();
            }
            members.insert(who);
        }
    }
}

impl Queue {
    /// One before so many connections of chores and commands, which share them with nobody: one may need all of them.
    pub fn of(connections: u32) -> Arc<Self> {
        let connections = connections as usize;
        let rules = Rules { of_one: connections, ..Rules::of_connections(connections, PATIENCE) };
        Self::before(Lane::new("connections", 0, rules))
    }

    /// One whose turns a lane gives.
    pub fn before(lane: Arc<Lane>) -> Arc<Self> {
        Arc::new(Self { lane, members: Mutex::default() })
    }

    fn members(&self) -> MutexGuard<'_, HashSet<Who>> {
        self.members.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// As whom somebody at an address waits who names a club, or none.
    fn waits_as(&self, named: Option<Who>, address: Who) -> Who {
        match named {
            Some(who) if self.members().contains(&who) => who,
            _ => Who { club: OUTSIDE, ..address },
        }
    }

    /// Waits until a connection is free for whoever asks; `named` is the account and the club that it names.
    ///
    /// # Errors
    /// [`StoreError::Busy`], at once when too many wait or would for too long.
    pub async fn place(self: &Arc<Self>, hold: &Hold, named: Option<Who>) -> Result<Place, StoreError> {
        let who = self.waits_as(named, telemetry::stranger());
        let turn = if hold.goes_on() {
            self.lane.turn_again(who, Instant::now() + PATIENCE).await
        } else {
            self.lane.turn(who).await
        };
        let turn = turn.map_err(|_| StoreError::Busy)?;
        Ok(Place { queue: Arc::clone(self), _turn: turn })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::platform::db::one_connection;
    use crate::platform::lanes::Bounds;

    fn who(club: u128) -> Who {
        Who { club: Uuid::from_u128(club), account: Uuid::from_u128(club + 100) }
    }

    fn narrow() -> Arc<Queue> {
        Queue::before(Lane::new("test", 0, Rules::of(1, Bounds { account: 1, club: 1, all: 9 })))
    }

    async fn until_waiting(queue: &Queue, count: usize) {
        while queue.lane.waiting() != count {
            tokio::task::yield_now().await;
        }
    }

    /// A place as a request of its own, later on.
    fn later(queue: &Arc<Queue>) -> tokio::task::JoinHandle<Result<Place, StoreError>> {
        let queue = Arc::clone(queue);
        tokio::spawn(one_connection(async move { queue.place(&Hold::take()?, None).await }))
    }

    #[tokio::test]
    async fn a_member_waits_as_the_club_and_who_is_none_by_the_address() {
        let (queue, address) = (narrow(), who(7));
        let outside = Who { club: OUTSIDE, ..address };
        assert_eq!([queue.waits_as(None, address), queue.waits_as(Some(who(1)), address)], [outside, outside]);
        let place = later(&queue).await.unwrap().unwrap();
        place.found(who(1), true);
        assert_eq!([queue.waits_as(Some(who(1)), address), queue.waits_as(Some(who(2)), address)], [who(1), outside]);
        place.found(who(1), false);
        assert_eq!(queue.waits_as(Some(who(1)), address), outside, "whoever left the club waits no more as one of it");
        for other in 2..=20_002 {
            place.found(who(other), true);
        }
        assert!(queue.members().len() <= MOST);
    }

    #[tokio::test]
    async fn one_more_than_may_wait_is_refused_and_whoever_goes_on_is_not() {
        let queue = narrow();
        let inside = later(&queue).await.unwrap().unwrap();
        let waiting = later(&queue);
        until_waiting(&queue, 1).await;
        assert!(matches!(later(&queue).await.unwrap(), Err(StoreError::Busy)), "one of an address may wait");
        // Chores go on always.
        let chores = [(); 3].map(|()| {
            let queue = Arc::clone(&queue);
            tokio::spawn(async move { queue.place(&Hold::take()?, None).await.map(drop) })
        });
        until_waiting(&queue, 4).await;
        drop(inside);
        drop(waiting.await.unwrap().unwrap());
        for chore in chores {
            chore.await.unwrap().unwrap();
        }
    }
}
