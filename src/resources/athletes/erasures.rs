//! Erases again who was erased after a copy of the database was made.

use std::path::Path;

use uuid::Uuid;

use super::erase_store as store;
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::erasures;
use crate::platform::ids::AthleteId;

/// Erases an athlete as when an admin deletes them, in a transaction that has the whole club to itself.
///
/// # Errors
/// Database errors.
pub async fn erase(tx: &mut ClubTx, athlete: AthleteId) -> Result<(), StoreError> {
    let groups = store::groups(tx, athlete).await?;
    store::remove(tx, athlete, &groups).await
}

/// Brings a database and the list of erasures outside it together: whom the list names is erased here, whoever is erased
/// here is in the list. How many were erased.
///
/// # Errors
/// When the database or the file cannot be used; nobody must be served before it could.
pub async fn settle(db: &Db, file: &Path) -> Result<usize, std::io::Error> {
    let mut listed = erasures::read(file)?;
    let failed = |error: StoreError| std::io::Error::other(format!("the list of erasures cannot be applied: {error}"));
    let (mut missing, mut count) = (Vec::new(), 0);
    for club in db.clubs().await.map_err(failed)? {
        let mut wanted = listed.remove(&club).unwrap_or_default();
        // That says that the club itself is gone.
        wanted.remove(&club.0);
        let mut tx = db.write(club, &Actor::SERVICE).await.map_err(failed)?;
        let known = store::erased(&mut tx).await.map_err(failed)?;
        missing.extend(known.iter().filter(|athlete| !wanted.contains(athlete)).map(|athlete| (club, *athlete)));
        let mut again: Vec<Uuid> = wanted.into_iter().filter(|athlete| !known.contains(athlete)).collect();
        if !again.is_empty() {
            tx.alone_with_all().await.map_err(failed)?;
            // Another instance that starts at this moment may have been faster.
            let known = store::erased(&mut tx).await.map_err(failed)?;
            again.retain(|athlete| !known.contains(athlete));
            for athlete in &again {
                store::erase_again(&mut tx, AthleteId(*athlete)).await.map_err(failed)?;
            }
            tx.commit().await.map_err(failed)?;
            count += again.len();
        }
    }
    erasures::add(file, &missing)?;
    Ok(count)
}
