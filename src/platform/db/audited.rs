//! Who changed what stands in the transaction of the change.

use super::{ClubTx, StoreError};
use crate::platform::audit;

impl ClubTx {
    /// Writes down who changed what, in the club's turn: last, because the others of the club wait for it.
    pub(super) async fn audit(&mut self) -> Result<(), StoreError> {
        if self.changes.is_empty() && !self.unsynced {
            return Ok(());
        }
        let (records, athletes) = self.named();
        let Some(entry) = audit::written(self.actor.account, self.chore, records, athletes) else { return Ok(()) };
        if self.changes.is_empty() && !audit::take_turn(&mut self.tx, self.club).await? {
            return Ok(());
        }
        audit::append(&mut self.tx, self.club, &[entry]).await
    }
}
