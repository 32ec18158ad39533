//! Who waits for whom, in one order; DEVELOPERS.md ("Locks") tells the whole of it.

use std::collections::BTreeSet;

use sqlx::{AssertSqlSafe, PgConnection};
use uuid::Uuid;

use super::{AccountTx, ClubTx, StoreError};
use crate::platform::ids::ClubId;

/// Most locks that a transaction takes one by one; one that needs more takes the club.
const MOST: usize = 256;

/// What a transaction has for itself.
#[derive(Debug, Default)]
pub(super) struct Locks {
    held: Held,
    /// Those taken since the last mark: going back to it gives them up.
    since_mark: Vec<i64>,
    first_since_mark: bool,
}

#[derive(Debug, Default)]
enum Held {
    /// Nothing.
    #[default]
    Nothing,
    /// These, and a share of the club.
    Some(BTreeSet<i64>),
    /// Every record of the club.
    Club,
}

impl Locks {
    /// Notes a place to go back to.
    pub(super) fn mark(&mut self) {
        self.since_mark.clear();
        self.first_since_mark = false;
    }

    /// Forgets what the database gave up in going back.
    pub(super) fn back(&mut self) {
        if self.first_since_mark {
            self.held = Held::Nothing;
        } else if let Held::Some(held) = &mut self.held {
            for key in &self.since_mark {
                held.remove(key);
            }
        }
        self.mark();
    }

    /// The statement that takes the whole club; none when it is taken.
    ///
    /// # Errors
    /// [`StoreError::PartTaken`] when a part of it was taken before.
    fn whole(&mut self, club: ClubId) -> Result<Option<String>, StoreError> {
        match self.held {
            Held::Club => Ok(None),
            Held::Some(_) => Err(StoreError::PartTaken),
            Held::Nothing => Ok(Some(self.take_whole(club))),
        }
    }

    fn take_whole(&mut self, club: ClubId) -> String {
        self.first_since_mark = true;
        self.held = Held::Club;
        format!("select pg_advisory_xact_lock({})", all(club))
    }

    /// The statements that take these as well.
    fn add(&mut self, club: ClubId, mut wanted: BTreeSet<i64>) -> Vec<String> {
        let mut parts = Vec::with_capacity(wanted.len() + 1);
        match &mut self.held {
            Held::Club => wanted.clear(),
            Held::Nothing if wanted.len() > MOST => return vec![self.take_whole(club)],
            Held::Nothing => {
                self.first_since_mark = true;
                parts.push(format!("select pg_advisory_xact_lock_shared({})", all(club)));
                self.held = Held::Some(wanted.clone());
            }
            Held::Some(held) => wanted.retain(|key| held.insert(*key)),
        }
        self.since_mark.extend(&wanted);
        parts.extend(wanted.iter().map(|key| format!("select pg_advisory_xact_lock({key})")));
        parts
    }
}

/// The number of a lock. Two records with one number only wait for each other.
fn key(club: ClubId, record: Uuid) -> i64 {
    Uuid::new_v5(&club.0, record.as_bytes()).as_u64_pair().0.cast_signed()
}

/// The number that stands for all records of a club.
fn all(club: ClubId) -> i64 {
    key(club, Uuid::max())
}

async fn take(conn: &mut PgConnection, parts: &[String]) -> Result<(), StoreError> {
    if parts.is_empty() {
        return Ok(());
    }
    // Numbers, so the text is safe. Each is a statement of its own, so they are taken in this order.
    sqlx::raw_sql(AssertSqlSafe(parts.join("; "))).execute(conn).await?;
    Ok(())
}

impl ClubTx {
    /// Waits until nobody else writes a record, and keeps others waiting until this transaction ends: what it reads of
    /// the record from here on is what it replaces or repeats.
    ///
    /// # Errors
    /// Database errors, among them that the other takes too long.
    pub async fn alone(&mut self, record: Uuid) -> Result<(), StoreError> {
        self.alone_all([record]).await
    }

    /// The same for several records, whether they are there or not, in the order that is the same for everybody.
    ///
    /// # Errors
    /// Database errors, among them that another takes too long.
    pub async fn alone_all(&mut self, records: impl IntoIterator<Item = Uuid>) -> Result<(), StoreError> {
        let club = self.club;
        let parts = self.locks.add(club, records.into_iter().map(|record| key(club, record)).collect());
        take(&mut self.tx, &parts).await
    }

    /// Waits for the club's own turn, after the records: for what is checked against all others of its kind (days that
    /// must not overlap, a roster that must not be imported twice).
    ///
    /// # Errors
    /// Database errors, among them that another takes too long.
    pub async fn alone_in_club(&mut self) -> Result<(), StoreError> {
        self.alone(self.club.0).await
    }
}

impl ClubTx {
    /// Waits until nobody else writes anything of the club, and keeps all others waiting: for what fills it. Taken before any
    /// other of these.
    ///
    /// # Errors
    /// [`StoreError::PartTaken`] after any other; database errors, among them that another takes too long.
    pub async fn alone_with_all(&mut self) -> Result<(), StoreError> {
        let part = self.locks.whole(self.club)?;
        take(&mut self.tx, part.as_slice()).await
    }
}

impl AccountTx {
    /// Waits until nobody else writes a record of a club, as [`ClubTx::alone`] does, before the transaction enters it.
    ///
    /// # Errors
    /// Database errors, among them that the other takes too long.
    pub async fn alone(&mut self, club: ClubId, record: Uuid) -> Result<(), StoreError> {
        let share = format!("select pg_advisory_xact_lock_shared({})", all(club));
        take(self.conn(), &[share, format!("select pg_advisory_xact_lock({})", key(club, record))]).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(numbers: impl IntoIterator<Item = i64>) -> BTreeSet<i64> {
        numbers.into_iter().collect()
    }

    fn taken(statements: &[String]) -> Vec<i64> {
        let number = |text: &String| text.split(['(', ')']).nth(1).and_then(|number| number.parse().ok());
        statements.iter().filter(|text| !text.contains("shared")).filter_map(number).collect()
    }

    #[test]
    fn locks_are_taken_once_and_in_order() {
        let (club, mut locks) = (ClubId::new(), Locks::default());
        assert_eq!(taken(&locks.add(club, keys([3, -1, 2]))), [-1, 2, 3]);
        assert_eq!(taken(&locks.add(club, keys([2, 5, 4]))), [4, 5]);
        assert!(locks.add(club, keys([5])).is_empty());
    }

    #[test]
    fn going_back_gives_up_what_was_taken_since() {
        let (club, mut locks) = (ClubId::new(), Locks::default());
        locks.add(club, keys([1]));
        locks.mark();
        locks.add(club, keys([2]));
        locks.back();
        assert_eq!(taken(&locks.add(club, keys([1, 2]))), [2]);
        let mut locks = Locks::default();
        locks.mark();
        locks.add(club, keys([1]));
        locks.back();
        let again = locks.add(club, keys([1]));
        assert_eq!(again.len(), 2, "with a share of the club: {again:?}");
    }

    #[test]
    fn the_whole_club_is_taken_first_or_not_at_all() {
        let (club, mut locks) = (ClubId::new(), Locks::default());
        assert!(locks.whole(club).unwrap().is_some());
        assert!(locks.whole(club).unwrap().is_none(), "it is taken");
        assert!(locks.add(club, keys([1])).is_empty());
        let mut locks = Locks::default();
        locks.mark();
        locks.add(club, keys([1]));
        assert!(matches!(locks.whole(club), Err(StoreError::PartTaken)));
        locks.back();
        assert!(locks.whole(club).unwrap().is_some(), "what was taken was given up");
    }

    #[test]
    fn many_records_take_the_club_which_holds_them_all() {
        let (club, mut locks) = (ClubId::new(), Locks::default());
        assert_eq!(taken(&locks.add(club, keys(0..=256))), [all(club)]);
        assert!(locks.add(club, keys([7, 1_000])).is_empty());
        let mut locks = Locks::default();
        locks.add(club, keys([1]));
        assert_eq!(locks.add(club, keys(0..=256)).len(), 256, "whoever has a share never asks for the whole");
    }
}
