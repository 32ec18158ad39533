//! What a club says of links, and who makes them.

use std::collections::HashMap;

use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};

/// Whether a club's coaches may make links, and when its day ends.
#[derive(Clone, Copy, Debug)]
pub struct Club {
    /// Whether they may.
    pub helper_links: bool,
    /// Decides when today ends.
    pub time_zone: chrono_tz::Tz,
}

/// What the club says of links.
pub async fn club(tx: &mut ClubTx) -> Result<Club, StoreError> {
    let club = tx.club.0;
    let row =
        sqlx::query!("select helper_links, time_zone from clubs where id = $1", club).fetch_one(tx.conn()).await?;
    let time_zone = row.time_zone.parse().map_err(|_| StoreError::Corrupt("club"))?;
    Ok(Club { helper_links: row.helper_links, time_zone })
}

/// How members are called, who is in the club or was.
pub async fn names(tx: &mut ClubTx, members: &[Uuid]) -> Result<HashMap<Uuid, String>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!("select id, display_name from members where club_id = $1 and id = any ($2)", club, members)
        .fetch_all(tx.conn())
        .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.display_name)).collect())
}
