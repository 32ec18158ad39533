//! What the roster needs of the database beyond the athletes themselves.

use std::collections::HashMap;

use uuid::Uuid;

use super::measured_store;
use super::model::{self, Filed, NewAthlete};
use super::roster::{Known, Wanted};
use super::roster_change::Change;
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};

/// Lets the club's roster imports take turns, so that two of the same file do not add everybody twice.
pub async fn queue_import(tx: &mut ClubTx) -> Result<(), StoreError> {
    tx.alone_in_club().await
}

/// Names and ids of the club's groups, for the roster and for checking what a client named.
pub async fn groups(tx: &mut ClubTx) -> Result<Vec<(GroupId, String)>, StoreError> {
    let club = tx.club.0;
    let rows =
        sqlx::query!("select id, name from groups where club_id = $1 and deleted_at is null order by name", club)
            .fetch_all(tx.conn())
            .await?;
    Ok(rows.into_iter().map(|row| (GroupId(row.id), row.name)).collect())
}

/// Those of these athletes who are in the club.
pub async fn known(tx: &mut ClubTx, ids: &[AthleteId]) -> Result<HashMap<AthleteId, Known>, StoreError> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let plain: Vec<Uuid> = ids.iter().map(|id| id.0).collect();
    let revs = store::group_revs_of(tx, &plain).await?;
    let mut measured = measured_store::by_athlete(tx, ids).await?;
    let known = store::by_ids(tx, &plain).await?.into_iter().filter_map(|stored| {
        let (id, revs) = (stored.id, *revs.get(&stored.id)?);
        Some((id, Known { stored, revs, measured: measured.remove(&id).unwrap_or_default() }))
    });
    Ok(known.collect())
}

/// Writes what rows ask for.
///
/// # Errors
/// [`StoreError::Conflict`] when somebody takes one of the new ids at this moment.
pub async fn write(tx: &mut ClubTx, rows: Vec<Wanted>) -> Result<(), StoreError> {
    let taken =
        || StoreError::Conflict("Somebody wrote one of the rows at this moment. Send the file again.".to_owned());
    let (mut new, mut changes): (Vec<NewAthlete>, Vec<Change>) = (Vec::new(), Vec::new());
    for row in rows {
        match row {
            Wanted::New(one) => new.push(one),
            Wanted::Change(one) => changes.push(one),
            Wanted::Conflict(_) => {}
        }
    }
    if !new.is_empty() && !store::insert(tx, &new).await? {
        return Err(taken());
    }
    let edits: Vec<store::Edit<'_>> =
        changes.iter().filter(|one| one.before != one.after).map(|one| (one.id, &one.before, &one.after)).collect();
    if !edits.is_empty() {
        store::save_all(tx, &edits).await?;
    }
    let replaced: Vec<(AthleteId, MeasurementId)> =
        changes.iter().flat_map(|one| one.replaced.iter().map(|had| (one.id, had.id))).collect();
    measured_store::remove_all(tx, &replaced).await?;
    let mut added: Vec<(AthleteId, MeasurementId, Filed)> = Vec::new();
    for one in &changes {
        for measurement in &one.added {
            let filed = Filed { measurement: *measurement, implausible: false };
            added.push((one.id, model::derived_id(one.id, measurement), filed));
        }
    }
    // The id that follows from the content belongs to one that was deleted, or that advice leaves out: this is another one.
    loop {
        let ids: Vec<Uuid> = added.iter().map(|(_, id, _)| id.0).collect();
        let there = measured_store::origins(tx, &ids).await?;
        if there.is_empty() {
            break;
        }
        for (_, id, _) in added.iter_mut().filter(|(_, id, _)| there.iter().any(|one| one.id == id.0)) {
            *id = model::next_id(*id);
        }
    }
    if measured_store::insert(tx, &added).await? { Ok(()) } else { Err(taken()) }
}
