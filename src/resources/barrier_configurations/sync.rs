//! Barrier configurations as phones carry them.

use uuid::Uuid;

use super::model::Configuration;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::BarrierConfigurationId;
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

/// Edits of barrier configuration.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Configuration;
    type Fields = Fields;
    const WHAT: &'static str = "barrier configuration";

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Configuration)>, Problem> {
        Ok(store::find(tx, BarrierConfigurationId(id)).await?.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Configuration) -> Result<Fields, Problem> {
        Ok(Fields::from(value))
    }

    async fn parse(_: &mut ClubTx, fields: Fields, _: Option<&Configuration>) -> Result<Configuration, Problem> {
        Ok(fields.parse()?)
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Configuration) -> Result<bool, Problem> {
        Ok(store::insert(tx, BarrierConfigurationId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Configuration, _: &Configuration) -> Result<(), Problem> {
        Ok(store::save(tx, BarrierConfigurationId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, _: &Configuration) -> Result<(), Problem> {
        Ok(store::remove(tx, BarrierConfigurationId(id)).await?)
    }
}
