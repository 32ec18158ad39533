//! Training groups as phones carry them.

use uuid::Uuid;

use super::http::{Fields, View};
use super::model::Group;
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::GroupId;
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

/// Edits of group.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Group;
    type Fields = Fields;
    const WHAT: &'static str = "group";

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Group)>, Problem> {
        Ok(store::find(tx, GroupId(id)).await?.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Group) -> Result<Fields, Problem> {
        Ok(Fields::from(value))
    }

    async fn parse(_: &mut ClubTx, fields: Fields, _: Option<&Group>) -> Result<Group, Problem> {
        Ok(Group::try_from(fields)?)
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Group) -> Result<bool, Problem> {
        Ok(store::insert(tx, GroupId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Group, _: &Group) -> Result<(), Problem> {
        Ok(store::save(tx, GroupId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, _: &Group) -> Result<(), Problem> {
        Ok(store::remove(tx, GroupId(id)).await?)
    }
}
