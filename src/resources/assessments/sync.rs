//! Assessments as phones carry them.

use uuid::Uuid;

pub use super::shapes::Fields;

use super::record;
use super::shapes::View;
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::grants;
use crate::platform::ids::AssessmentId;
use crate::platform::ops::{self, Fact};
use crate::platform::problem::Problem;
use crate::platform::record::Record;
use crate::platform::stored::Stored;

pub use super::store::origins;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    let view = |(id, (value, rev))| {
        Record::of(AssessmentId(id), rev, &View::from(&Stored { id: AssessmentId(id), rev, value }))
    };
    found.into_iter().map(view).collect()
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
    let found = store::by_ids(tx, ids).await?;
    let athletes: Vec<Uuid> = found.values().map(|(one, _)| one.athlete.0).collect();
    let erased = grants::erased(tx, &athletes).await?;
    for (one, _) in found.into_values() {
        // A note on a deleted athlete is gone, and may have been all that there was.
        if !(one.is_empty() && erased.contains(&one.athlete.0)) {
            one.parse(now)?;
        }
    }
    Ok(())
}
