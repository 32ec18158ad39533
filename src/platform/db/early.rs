//! Changes that are numbered before their rows are written, because there are more of them than memory should hold: rows that carry
//! their numbers from the beginning are written once.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::{Change, ClubTx, StoreError, changes};

/// Most athletes, and most other records, that the audit names of one transaction.
const NAMED: usize = 100_000;

/// What was numbered before the commit.
#[derive(Debug, Default)]
pub(super) struct Early {
    /// The highest number.
    pub(super) last: i64,
    records: BTreeSet<Uuid>,
    athletes: BTreeSet<Uuid>,
}

impl Early {
    /// Notes for the audit what changes.
    fn name(&mut self, changes: &[Change]) {
        let (records, athletes) = changes::named(changes);
        for (all, some) in [(&mut self.records, records), (&mut self.athletes, athletes)] {
            let room = NAMED.saturating_sub(all.len());
            all.extend(some.into_iter().take(room));
        }
    }
}

impl ClubTx {
    /// Numbers changes whose rows the caller writes next, each with its number, which are given in the order of the changes. From then
    /// on nobody else gets a number in the club until this ends: only for a transaction that has the whole club to itself
    /// ([`ClubTx::alone_with_all`]), creates what it numbers and goes back to no mark.
    ///
    /// # Errors
    /// Database errors.
    pub async fn announce(&mut self, changes: &[Change]) -> Result<Vec<i64>, StoreError> {
        if changes.is_empty() {
            return Ok(Vec::new());
        }
        let numbers = changes::announce(&mut self.tx, (self.club, self.life), changes).await?;
        self.early.last = numbers.last().copied().unwrap_or(self.early.last);
        self.early.name(changes);
        // They are noted.
        self.unsynced = true;
        Ok(numbers)
    }

    /// The records that the transaction changed, and the athletes whom they are or belong to.
    pub(super) fn named(&mut self) -> (Vec<Uuid>, Vec<Uuid>) {
        self.early.name(&self.changes);
        let each = |all: &mut BTreeSet<Uuid>| std::mem::take(all).into_iter().collect();
        (each(&mut self.early.records), each(&mut self.early.athletes))
    }
}
