//! What the roster needs of the database beyond the athletes themselves.

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::GroupId;

/// Lets the club's roster imports take turns, so that two of the same file do not add everybody twice.
pub async fn queue_import(tx: &mut ClubTx) -> Result<(), StoreError> {
    tx.alone_in_club().await
}

/// Names and ids of the club's groups, for the roster and for checking what a client named.
pub async fn groups(tx: &mut ClubTx) -> Result<Vec<(GroupId, String)>, StoreError> {
    let club = tx.club.0;
    let rows =
        sqlx::query!("select id, name from groups where club_id = $1 and deleted_at is null order by name", club)
            .fetch_all(tx.conn())
            .await?;
    Ok(rows.into_iter().map(|row| (GroupId(row.id), row.name)).collect())
}
