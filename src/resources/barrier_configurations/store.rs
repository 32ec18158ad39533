//! Rows of barrier configurations.

use chrono::Utc;
use uuid::Uuid;

use super::model::Configuration;
use crate::compute::units::{BarrierKind, Length};
use crate::platform::db::{Change, ClubTx, Kind, StoreError, plain_reads};
use crate::platform::ids::BarrierConfigurationId;
use crate::platform::stored::Stored;

/// A barrier configuration as it is stored.
pub type StoredConfiguration = Stored<BarrierConfigurationId, Configuration>;

struct Row {
    id: Uuid,
    rev: i64,
    name: String,
    barrier_kind: String,
    height_mm: i32,
    spacing_mm: i32,
    approach_mm: i32,
    barriers: i16,
}

impl TryFrom<Row> for StoredConfiguration {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("barrier configuration");
        let length = |mm: i32| u32::try_from(mm).map(Length::from_mm).map_err(|_| corrupt());
        let value = Configuration {
            name: row.name,
            kind: BarrierKind::from_word(&row.barrier_kind).ok_or_else(corrupt)?,
            height: length(row.height_mm)?,
            spacing: length(row.spacing_mm)?,
            approach: length(row.approach_mm)?,
            barriers: row.barriers,
        };
        Ok(Self { id: BarrierConfigurationId(row.id), rev: row.rev, value })
    }
}

fn mm(length: Length) -> i32 {
    i32::try_from(length.mm()).unwrap_or(i32::MAX)
}

/// Inserts a barrier configuration; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: BarrierConfigurationId, value: &Configuration) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        insert into barrier_configurations as x (club_id, id, name, barrier_kind, height_mm, spacing_mm, approach_mm, barriers, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $9)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        value.name,
        value.kind.as_str(),
        mm(value.height),
        mm(value.spacing),
        mm(value.approach),
        value.barriers,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::BarrierConfiguration, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("barrier_configurations_name"))?;
    Ok(done.rows_affected() == 1)
}

/// A barrier configuration.
pub async fn find(tx: &mut ClubTx, id: BarrierConfigurationId) -> Result<Option<StoredConfiguration>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop())
}

plain_reads!(
    StoredConfiguration,
    "name, barrier_kind, height_mm, spacing_mm, approach_mm, barriers",
    "barrier_configurations"
);

/// Saves a changed barrier configuration.
pub async fn save(tx: &mut ClubTx, id: BarrierConfigurationId, value: &Configuration) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update barrier_configurations
        set name = $3, barrier_kind = $4, height_mm = $5, spacing_mm = $6, approach_mm = $7, barriers = $8, updated_at = $9
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        value.name,
        value.kind.as_str(),
        mm(value.height),
        mm(value.spacing),
        mm(value.approach),
        value.barriers,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::BarrierConfiguration, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("barrier_configurations_name"))?;
    Ok(())
}

/// Deletes a barrier configuration.
pub async fn remove(tx: &mut ClubTx, id: BarrierConfigurationId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update barrier_configurations set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::BarrierConfiguration, id)))
    .await?;
    Ok(())
}
