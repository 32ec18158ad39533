//! Rows of venues.

use chrono::Utc;
use uuid::Uuid;

use super::model::Venue;
use crate::compute::specs::Environment;
use crate::compute::units::Length;
use crate::platform::db::{Change, ClubTx, Kind, StoreError, plain_reads};
use crate::platform::ids::VenueId;
use crate::platform::stored::Stored;

/// A venue as it is stored.
pub type StoredVenue = Stored<VenueId, Venue>;

struct Row {
    id: Uuid,
    rev: i64,
    name: String,
    environment: String,
    straight_mm: i32,
    lanes: i16,
    surface: Option<String>,
}

impl TryFrom<Row> for StoredVenue {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("venue");
        let value = Venue {
            name: row.name,
            environment: Environment::from_word(&row.environment).ok_or_else(corrupt)?,
            straight: u32::try_from(row.straight_mm).map(Length::from_mm).map_err(|_| corrupt())?,
            lanes: row.lanes,
            surface: row.surface,
        };
        Ok(Self { id: VenueId(row.id), rev: row.rev, value })
    }
}

/// Inserts a venue; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: VenueId, value: &Venue) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        insert into venues as x (club_id, id, name, environment, straight_mm, lanes, surface, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $8)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        value.name,
        value.environment.as_str(),
        i32::try_from(value.straight.mm()).unwrap_or(i32::MAX),
        value.lanes,
        value.surface,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Venue, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("venues_name"))?;
    Ok(done.rows_affected() == 1)
}

/// A venue.
pub async fn find(tx: &mut ClubTx, id: VenueId) -> Result<Option<StoredVenue>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop())
}

plain_reads!(StoredVenue, "name, environment, straight_mm, lanes, surface", "venues");

/// Saves a changed venue.
pub async fn save(tx: &mut ClubTx, id: VenueId, value: &Venue) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update venues
        set name = $3, environment = $4, straight_mm = $5, lanes = $6, surface = $7, updated_at = $8
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        value.name,
        value.environment.as_str(),
        i32::try_from(value.straight.mm()).unwrap_or(i32::MAX),
        value.lanes,
        value.surface,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Venue, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("venues_name"))?;
    Ok(())
}

/// Deletes a venue.
pub async fn remove(tx: &mut ClubTx, id: VenueId) -> Result<(), StoreError> {
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
    sqlx::query!(
        "update venues set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Venue, id)))
    .await?;
    Ok(())
}
