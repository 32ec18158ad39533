//! Venues as phones carry them.

use uuid::Uuid;

use super::model::Venue;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::VenueId;
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

/// Edits of venue.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Venue;
    type Fields = Fields;
    const WHAT: &'static str = "venue";

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Venue)>, Problem> {
        Ok(store::find(tx, VenueId(id)).await?.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Venue) -> Result<Fields, Problem> {
        Ok(Fields::from(value))
    }

    async fn parse(_: &mut ClubTx, fields: Fields, _: Option<&Venue>) -> Result<Venue, Problem> {
        Ok(fields.parse()?)
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Venue) -> Result<bool, Problem> {
        Ok(store::insert(tx, VenueId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Venue, _: &Venue) -> Result<(), Problem> {
        Ok(store::save(tx, VenueId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, _: &Venue) -> Result<(), Problem> {
        Ok(store::remove(tx, VenueId(id)).await?)
    }
}
