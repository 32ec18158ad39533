//! Runs as phones carry them.

use uuid::Uuid;

pub use super::shapes::Fields;

use super::record;
use super::shapes::View;
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ops::{self, Fact};
use crate::platform::problem::Problem;
use crate::platform::record::Record;

pub use super::store::origins;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &View::from(one))).collect()
}

/// Files what phones recorded; one outcome for each, in order.
///
/// # Errors
/// Database errors.
pub async fn push(tx: &mut ClubTx, sent: &[Fields]) -> Result<Vec<Fact>, Problem> {
    let (items, decisions) = record::file(tx, sent, |_| String::new()).await?;
    Ok(ops::facts(items, &decisions))
}

/// Parses what is stored of these records as if it came with a request.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    let now = chrono::Utc::now();
    for one in store::by_ids(tx, ids).await? {
        View::from(&one).fields.parse(now, None)?;
    }
    Ok(())
}
