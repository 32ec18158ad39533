//! Rows of venues.

use super::model::Venue;
use crate::compute::specs::Environment;
use crate::platform::db::{ClubTx, StoreError, plain_store};
use crate::platform::ids::VenueId;
use crate::resources::advice::{length, mm};

plain_store! {
    Venue, VenueId, Venue, "venues" unique "venues_name";
    "name, environment, straight_mm, lanes, surface" = "$4, $5, $6, $7, $8";
    row => Venue {
        name: row.name,
        environment: Environment::from_word(&row.environment).ok_or(StoreError::Corrupt("venue"))?,
        straight: length(row.straight_mm, "venue")?,
        lanes: row.lanes,
        surface: row.surface,
    };
    value => value.name, value.environment.as_str(), mm(value.straight), value.lanes, value.surface;
    removable check_unused;
}

async fn check_unused(tx: &mut ClubTx, id: VenueId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let used = sqlx::query_scalar!(
        r#"
        select exists (
          select from sessions where club_id = $1 and venue_id = $2 and deleted_at is null
        ) as "used!"
        "#,
        club,
        id.0
    )
    .fetch_one(tx.conn())
    .await?;
    if used {
        return Err(StoreError::Conflict(
            "Sessions take place at this venue. Move them to another one first.".to_owned(),
        ));
    }
    Ok(())
}
