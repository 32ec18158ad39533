//! Who was erased is noted outside the database.

use uuid::Uuid;

use super::{Actor, Change, ClubTx, Db, StoreError};
use crate::platform::erasures;
use crate::platform::grants;
use crate::platform::ids::ClubId;

/// Those among these athletes who are erased, once whatever was under way in the club has ended: a commit whose answer was lost
/// may still go on.
async fn gone(db: &Db, club: ClubId, athletes: &[Uuid]) -> Result<Vec<Uuid>, StoreError> {
    let mut tx: ClubTx = db.write(club, &Actor::SERVICE).await?;
    tx.alone_with_all().await?;
    grants::erased(&mut tx, athletes).await
}

/// Notes whom a commit erased. Whoever cannot be noted is when the service starts next.
///
/// A commit whose answer was lost may have happened or not: the database is asked, because whoever is noted is erased with the
/// next start, also somebody whom it still has.
pub(super) async fn note(db: &Db, club: ClubId, changes: &[Change], committed: bool) {
    let erased: Vec<Uuid> = changes.iter().filter_map(Change::erased).collect();
    let Some(file) = db.erasures.clone().filter(|_| !erased.is_empty()) else { return };
    let erased = if committed { Ok(erased) } else { gone(db, club, &erased).await };
    let lines = erased.map(|erased| erased.into_iter().map(|athlete| (club, athlete)).collect::<Vec<_>>());
    let noted = match lines {
        Ok(lines) => tokio::task::spawn_blocking(move || erasures::add(&file, &lines)).await,
        Err(error) => Ok(Err(std::io::Error::other(error))),
    };
    if let Err(error) = noted.map_err(std::io::Error::other).and_then(|noted| noted) {
        tracing::error!(%error, "cannot note an erasure outside the database: see LANEWRIGHT_ERASURES");
    }
}
