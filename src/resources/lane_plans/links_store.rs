//! What a club says of links.

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
