//! The club and its settings as phones carry them: read only.

use super::http::View;
use super::{ending_store, store};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::record::Record;

/// The club.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx) -> Result<Vec<Record>, StoreError> {
    let found = store::find(tx).await?;
    let deletes_at = ending_store::due_at(tx).await?;
    Ok(vec![Record::of(found.id, found.rev, &View::new(&found, deletes_at))?])
}
