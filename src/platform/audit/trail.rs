//! Rows of those who read or were refused, until they are stored: in memory, bounded, stored together every second.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use actix_web::web::Data;
use uuid::Uuid;

use super::row::{Act, Entry};
use super::store;
use crate::platform::db::{Db, StoreError};
use crate::platform::ids::{AccountId, ClubId};

/// Most rows that wait; what comes beyond is counted, and the count is a row.
const MOST: usize = 20_000;
/// Most different things that may be refused to one account until rows are stored; the same thing again is counted in its row.
const REFUSED_EACH: usize = 50;
/// Rows that one transaction stores.
const STEP: usize = 1_000;

/// Whose audit a row belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Whose {
    /// A club's.
    Club(ClubId),
    /// That of every club that an account belongs to.
    ClubsOf(AccountId),
}

/// What makes two refusals the same.
type Same = (Whose, Option<Uuid>, Option<Uuid>, String);

#[derive(Debug, Default)]
struct Waiting {
    rows: Vec<(Whose, Entry)>,
    /// Where in `rows` a refusal stands.
    refused: HashMap<Same, usize>,
    refused_of: HashMap<Option<Uuid>, usize>,
    lost: BTreeMap<Whose, i32>,
}

impl Waiting {
    fn note(&mut self, whose: Whose, entry: Entry) {
        if entry.act == Act::Refused {
            let same = (whose, entry.account, entry.app, entry.operation.clone());
            if let Some((_, row)) = self.refused.get(&same).and_then(|at| self.rows.get_mut(*at)) {
                row.times = row.times.saturating_add(entry.times);
                return;
            }
            let many = self.refused_of.entry(entry.account).or_default();
            if *many >= REFUSED_EACH {
                return;
            }
            *many += 1;
            if self.rows.len() < MOST {
                self.refused.insert(same, self.rows.len());
            }
        }
        if self.rows.len() < MOST {
            self.rows.push((whose, entry));
        } else {
            let lost = self.lost.entry(whose).or_default();
            *lost = lost.saturating_add(entry.times);
        }
    }
}

/// The rows that wait, of one instance of the service.
#[derive(Debug, Default)]
pub struct Trail(Mutex<Waiting>);

impl Trail {
    fn waiting(&self) -> MutexGuard<'_, Waiting> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes a row.
    pub fn note(&self, whose: Whose, entry: Entry) {
        self.waiting().note(whose, entry);
    }

    /// Takes all that wait, and what says how many were lost.
    fn take(&self) -> Vec<(Whose, Entry)> {
        let Waiting { mut rows, lost, .. } = std::mem::take(&mut *self.waiting());
        rows.extend(lost.into_iter().map(|(whose, times)| (whose, Entry::lost(times))));
        rows
    }

    /// Stores all that wait; what cannot be stored waits on. A club that somebody has for themselves for long keeps no other waiting.
    ///
    /// # Errors
    /// Database errors.
    pub async fn store(&self, db: &Db) -> Result<(), StoreError> {
        let mut clubs: BTreeMap<Whose, Vec<Entry>> = BTreeMap::new();
        for (whose, entry) in self.take() {
            clubs.entry(whose).or_default().push(entry);
        }
        let mut done = Ok(());
        for (whose, entries) in clubs {
            let mut stored = 0;
            if done
                .as_ref()
                .err()
                .is_none_or(|error| matches!(error, StoreError::Database(one) if StoreError::waited(one)))
            {
                let all = store_some(db, whose, &entries, &mut stored).await;
                done = all.and(done);
            }
            for entry in entries.into_iter().skip(stored) {
                self.note(whose, entry);
            }
        }
        done
    }

    /// Stores what waits, again and again.
    pub async fn store_often(trail: Data<Self>, db: Db, pause: Duration) {
        loop {
            tokio::time::sleep(pause).await;
            if let Err(error) = trail.store(&db).await {
                tracing::warn!(%error, "cannot store who read what; it is tried again");
            }
        }
    }
}

/// Stores rows, and counts those that are stored.
async fn store_some(db: &Db, whose: Whose, entries: &[Entry], stored: &mut usize) -> Result<(), StoreError> {
    let clubs = match whose {
        Whose::Club(club) => vec![club],
        Whose::ClubsOf(account) => store::clubs_of(db, account).await?,
    };
    for part in entries.chunks(STEP) {
        for club in &clubs {
            store::add(db, *club, part).await?;
        }
        *stored += part.len();
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn club(number: u128) -> Whose {
        Whose::Club(ClubId(Uuid::from_u128(number)))
    }

    fn refused(account: u128, operation: &str) -> Entry {
        let own = Entry { act: Act::Refused, operation: operation.to_owned(), ..Entry::lost(1) };
        Entry { account: Some(Uuid::from_u128(account)), ..own }
    }

    #[test]
    fn each_read_is_a_row_and_the_same_refusal_is_counted() {
        let trail = Trail::default();
        for _ in 0..3 {
            trail.note(club(1), Entry { act: Act::Read, ..Entry::lost(1) });
            trail.note(club(1), refused(1, "a"));
        }
        let rows: Vec<_> = trail.take().into_iter().map(|(_, entry)| (entry.act, entry.times)).collect();
        assert_eq!(rows, [(Act::Read, 1), (Act::Refused, 3), (Act::Read, 1), (Act::Read, 1)]);
        assert!(trail.take().is_empty());
    }

    #[test]
    fn whoever_is_refused_everywhere_fills_nothing() {
        let trail = Trail::default();
        for number in 0..1_000 {
            trail.note(club(number), refused(1, "a"));
        }
        trail.note(club(1), refused(2, "a"));
        assert_eq!(trail.take().len(), REFUSED_EACH + 1);
    }

    #[test]
    fn what_comes_beyond_the_bound_is_counted_for_each_club() {
        let trail = Trail::default();
        for number in 0..MOST {
            trail.note(club(number as u128 % 2), Entry { act: Act::Read, ..Entry::lost(1) });
        }
        for _ in 0..7 {
            trail.note(club(1), Entry { act: Act::Read, ..Entry::lost(1) });
        }
        let rows = trail.take();
        assert_eq!(rows.len(), MOST + 1);
        let lost: Vec<_> = rows.iter().filter(|(_, entry)| entry.act == Act::Lost).collect();
        assert!(matches!(lost.as_slice(), [(whose, entry)] if *whose == club(1) && entry.times == 7), "{lost:?}");
    }
}
