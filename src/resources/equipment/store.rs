//! Rows of equipment.

use chrono::Utc;
use uuid::Uuid;

use super::model::Equipment;
use crate::compute::units::{BarrierKind, Length};
use crate::platform::db::{Change, ClubTx, Kind, StoreError, plain_reads};
use crate::platform::ids::EquipmentId;
use crate::platform::stored::Stored;

/// A stock of barriers as it is stored.
pub type StoredEquipment = Stored<EquipmentId, Equipment>;

struct Row {
    id: Uuid,
    rev: i64,
    barrier_kind: String,
    heights_mm: Vec<i32>,
    count: i16,
    note: Option<String>,
}

impl TryFrom<Row> for StoredEquipment {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("equipment");
        let heights = row.heights_mm.into_iter().map(|mm| u32::try_from(mm).map(Length::from_mm));
        let value = Equipment {
            kind: BarrierKind::from_word(&row.barrier_kind).ok_or_else(corrupt)?,
            heights: heights.collect::<Result<_, _>>().map_err(|_| corrupt())?,
            count: row.count,
            note: row.note,
        };
        Ok(Self { id: EquipmentId(row.id), rev: row.rev, value })
    }
}

fn heights(value: &Equipment) -> Vec<i32> {
    value.heights.iter().map(|height| i32::try_from(height.mm()).unwrap_or(i32::MAX)).collect()
}

/// Inserts a stock of barriers; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: EquipmentId, value: &Equipment) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        insert into equipment as x (club_id, id, barrier_kind, heights_mm, count, note, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $7)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        value.kind.as_str(),
        &heights(value),
        value.count,
        value.note,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Equipment, id)))
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A stock of barriers.
pub async fn find(tx: &mut ClubTx, id: EquipmentId) -> Result<Option<StoredEquipment>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop())
}

plain_reads!(StoredEquipment, "barrier_kind, heights_mm, count, note", "equipment");

/// Saves a changed equipment.
pub async fn save(tx: &mut ClubTx, id: EquipmentId, value: &Equipment) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update equipment
        set barrier_kind = $3, heights_mm = $4, count = $5, note = $6, updated_at = $7
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        value.kind.as_str(),
        &heights(value),
        value.count,
        value.note,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Equipment, id)))
    .await?;
    Ok(())
}

/// Deletes a stock of barriers.
pub async fn remove(tx: &mut ClubTx, id: EquipmentId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update equipment set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Equipment, id)))
    .await?;
    Ok(())
}
