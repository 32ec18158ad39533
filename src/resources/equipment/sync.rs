//! Stocks of barriers as phones carry them.

use uuid::Uuid;

use super::model::Equipment;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::EquipmentId;
use crate::platform::ops::Editable;
use crate::platform::problem::Problem;
use crate::platform::record::Record;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &View::from(one))).collect()
}

/// Edits of equipment.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Equipment;
    type Fields = Fields;
    const WHAT: &'static str = "equipment";

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Equipment)>, Problem> {
        Ok(store::find(tx, EquipmentId(id)).await?.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Equipment) -> Result<Fields, Problem> {
        Ok(Fields::from(value))
    }

    async fn parse(_: &mut ClubTx, fields: Fields, _: Option<&Equipment>) -> Result<Equipment, Problem> {
        Ok(fields.parse()?)
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Equipment) -> Result<bool, Problem> {
        Ok(store::insert(tx, EquipmentId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Equipment, _: &Equipment) -> Result<(), Problem> {
        Ok(store::save(tx, EquipmentId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, _: &Equipment) -> Result<(), Problem> {
        Ok(store::remove(tx, EquipmentId(id)).await?)
    }
}
