//! Changes that are numbered before the commit, because there are more of them than memory should hold.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::{ClubTx, StoreError, changes};

/// Changes that wait for their numbers together.
const TOGETHER: usize = 10_000;
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

fn name(all: &mut BTreeSet<Uuid>, some: Vec<Uuid>) {
    let room = NAMED.saturating_sub(all.len());
    all.extend(some.into_iter().take(room));
}

impl ClubTx {
    /// Numbers the changes that were noted, once there are many. From then on nobody else gets a number in the club until this
    /// ends: only for a transaction that has the whole club to itself ([`ClubTx::alone_with_all`]) and goes back to no mark.
    ///
    /// # Errors
    /// Database errors.
    pub async fn number_many(&mut self) -> Result<(), StoreError> {
        if self.changes.len() < TOGETHER {
            return Ok(());
        }
        let revs = changes::number(&mut self.tx, (self.club, self.life), &self.changes).await?;
        self.early.last = revs.last();
        let (records, athletes) = changes::named(&self.changes);
        name(&mut self.early.records, records);
        name(&mut self.early.athletes, athletes);
        self.changes.clear();
        // They are written, and noted.
        self.unsynced = true;
        Ok(())
    }

    /// The records that the transaction changed, and the athletes whom they are or belong to.
    pub(super) fn named(&mut self) -> (Vec<Uuid>, Vec<Uuid>) {
        let (records, athletes) = changes::named(&self.changes);
        name(&mut self.early.records, records);
        name(&mut self.early.athletes, athletes);
        let each = |all: &mut BTreeSet<Uuid>| std::mem::take(all).into_iter().collect();
        (each(&mut self.early.records), each(&mut self.early.athletes))
    }
}
