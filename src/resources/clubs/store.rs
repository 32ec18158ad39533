//! The club's row.

use chrono::Utc;

use super::model::Settings;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::ClubId;
use crate::platform::print_units::PrintUnits;
use crate::platform::stored::Stored;
use crate::resources::advice::{length, mm};

/// The club as it is stored.
pub async fn find(tx: &mut ClubTx) -> Result<Stored<ClubId, Settings>, StoreError> {
    let club = tx.club;
    let row = sqlx::query!(
        "select rev, name, time_zone, ruleset, spacing_step_mm, print_units, policy, helper_links from clubs where id = $1",
        club.0
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(StoreError::NotFound("club"))?;
    let corrupt = || StoreError::Corrupt("club");
    let value = Settings {
        name: row.name,
        time_zone: row.time_zone.parse().map_err(|_| corrupt())?,
        ruleset: row.ruleset,
        spacing_step: length(row.spacing_step_mm, "club")?,
        print_units: PrintUnits::parse(&row.print_units).map_err(|_| corrupt())?,
        policy: serde_json::from_value(row.policy).map_err(|_| corrupt())?,
        helper_links: row.helper_links,
    };
    Ok(Stored { id: club, rev: row.rev, value })
}

/// Saves changed settings.
pub async fn save(tx: &mut ClubTx, value: &Settings) -> Result<(), StoreError> {
    let club = tx.club;
    sqlx::query!(
        r#"
        update clubs
        set name = $2, time_zone = $3, ruleset = $4, spacing_step_mm = $5, policy = $6, helper_links = $7,
          print_units = $8, updated_at = $9
        where id = $1
        "#,
        club.0,
        value.name,
        value.time_zone.name(),
        value.ruleset,
        mm(value.spacing_step),
        serde_json::to_value(&value.policy).map_err(|_| StoreError::Corrupt("club"))?,
        value.helper_links,
        value.print_units.as_str(),
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Club, club)))
    .await?;
    Ok(())
}
