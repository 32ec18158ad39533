//! Athletes and measurements as phones carry them: each measurement is a record of its own.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

use super::measured_store;
use super::model::{Filed, Measurement};
use super::shapes::{Fields, MeasurementView, NewMeasurement};
use super::store;
use crate::platform::body;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, MeasurementId};
use crate::platform::ops::{self, Done, Fact, Method, Op};
use crate::platform::people;
use crate::platform::problem::Problem;
use crate::platform::record::Record;

pub use super::measured_store::origins;

/// An athlete without measurements.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AthleteRecord)]
pub struct AthleteView {
    /// The id.
    id: AthleteId,
    /// Number of the last change.
    #[schema(minimum = 0, example = 42)]
    rev: i64,
    /// The athlete.
    #[serde(flatten)]
    fields: Fields,
}

/// A measurement with its athlete.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = MeasurementRecord)]
pub struct MeasuredView {
    /// The athlete.
    athlete_id: AthleteId,
    /// The measurement.
    #[serde(flatten)]
    measurement: MeasurementView,
}

/// The athletes of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    let view = |one: &crate::platform::stored::Stored<AthleteId, super::model::Athlete>| {
        Record::of(one.id, one.rev, &AthleteView { id: one.id, rev: one.rev, fields: Fields::from(&one.value) })
    };
    found.iter().map(view).collect()
}

/// The measurements of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull_measurements(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = measured_store::by_ids(tx, ids).await?;
    let view = |(athlete, one): &(AthleteId, measured_store::StoredMeasurement)| {
        let view = MeasuredView { athlete_id: *athlete, measurement: MeasurementView::from(one) };
        Record::of(one.id, one.rev, &view)
    };
    found.iter().map(view).collect()
}

/// A measurement as phones send it.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SentMeasurement {
    /// The athlete.
    athlete_id: AthleteId,
    /// What was measured.
    #[schema(value_type = super::model::MeasurementKind)]
    kind: String,
    /// Metres or seconds, as the kind says; not finer than 0.001.
    #[schema(minimum = 0.4, maximum = 20, example = 1.52)]
    value: f64,
    /// The day.
    #[schema(example = "2026-09-01")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    measured_on: chrono::NaiveDate,
    /// Somebody looked again, and the value is right: without it, one that hardly ever is at that age is filed as `implausible`.
    #[serde(default)]
    confirmed: bool,
}

/// Files a measurement that a phone recorded.
///
/// # Errors
/// Database errors.
pub async fn push_measurement(tx: &mut ClubTx, id: Uuid, data: &Map<String, Value>) -> Result<Fact, Problem> {
    let sent: SentMeasurement = match body::from_value(Value::Object(data.clone())) {
        Ok(sent) => sent,
        Err(problem) => return Ok(Fact::Refused(problem)),
    };
    let new = NewMeasurement {
        id: Some(MeasurementId(id)),
        kind: sent.kind,
        value: sent.value,
        measured_on: sent.measured_on,
        confirmed: sent.confirmed,
    };
    let (id, value) = match new.parse(sent.athlete_id, tx.today().await?) {
        Ok(parsed) => parsed,
        Err(faults) => return Ok(Fact::Refused(Problem::invalid(faults))),
    };
    // What is taken by a measurement that the actor must not learn of is judged like a new one.
    let hidden = is_hidden(tx, id).await?;
    if !hidden && let Some(known) = known_measurement(tx, sent.athlete_id, id, &value).await? {
        return Ok(known);
    }
    let Some(athlete) = store::find(tx, sent.athlete_id).await? else {
        let fault = Fault::at("/athlete_id", "unknown_id", "there is no such athlete in your groups");
        return Ok(Fact::Refused(Problem::invalid(vec![fault])));
    };
    if hidden {
        return Ok(Fact::Hidden);
    }
    // Nothing from the track is lost; advice leaves the doubtful out until somebody confirms it.
    let filed = Filed { measurement: value, implausible: athlete.value.doubt(&value).is_some() };
    if !measured_store::insert(tx, &[(sent.athlete_id, id, filed)]).await? {
        // The same push has come twice and the other one was faster.
        if is_hidden(tx, id).await? {
            return Ok(Fact::Hidden);
        }
        let known = known_measurement(tx, sent.athlete_id, id, &value).await?;
        return Ok(known.unwrap_or(Fact::Clash));
    }
    Ok(Fact::Stored(Done::now(201, 0)))
}

/// Whether an id is that of a measurement, there or deleted, that the actor must not learn of.
async fn is_hidden(tx: &mut ClubTx, id: MeasurementId) -> Result<bool, StoreError> {
    let origins = measured_store::origins(tx, &[id.0]).await?;
    Ok(!people::hidden(tx, &origins).await?.is_empty())
}

/// What a measurement is whose id is taken by one that is there, or was: the same again is answered as when it was stored.
async fn known_measurement(
    tx: &mut ClubTx,
    athlete: AthleteId,
    id: MeasurementId,
    value: &Measurement,
) -> Result<Option<Fact>, StoreError> {
    let there = measured_store::by_ids(tx, &[id.0]).await?.pop();
    let same = |(of, stored): &(AthleteId, measured_store::StoredMeasurement)| {
        of == &athlete && stored.value.measurement == *value
    };
    if let Some(found) = there {
        return Ok(Some(if same(&found) { Fact::Stored(Done::before(found.1.rev)) } else { Fact::Clash }));
    }
    let deleted = measured_store::deleted(tx, id).await?;
    Ok(deleted.map(
        |found| {
            if same(&found) { Fact::Stored(Done::before(found.1.rev)) } else { Fact::Refused(Problem::gone()) }
        },
    ))
}

/// Deletes a measurement that was wrong.
///
/// # Errors
/// Whatever refuses it.
pub async fn remove_measurement(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    let found = measured_store::by_ids(tx, &[op.id]).await?.pop();
    // Nobody is looked for when nothing was found, so that the answer takes as long as for one that is hidden.
    let athlete = found.as_ref().map_or(AthleteId(Uuid::nil()), |(athlete, _)| *athlete);
    let seen = store::find(tx, athlete).await?.is_some();
    let found = found.filter(|_| seen && op.method == Method::Delete);
    let (athlete, found) = found.ok_or_else(|| Problem::not_found("measurement"))?;
    ops::require(op, found.rev)?;
    measured_store::remove(tx, athlete, found.id).await?;
    Ok(Done::now(200, found.rev))
}

/// Parses what is stored of these records as if it came with a request.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    let today = tx.today().await?;
    for one in store::by_ids(tx, ids).await? {
        Fields::from(&one.value).parse(today)?;
    }
    Ok(())
}

/// The same for measurements.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck_measurements(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    let today = tx.today().await?;
    for (athlete, one) in measured_store::by_ids(tx, ids).await? {
        let MeasurementView { id, kind, value, measured_on, confirmed, .. } = MeasurementView::from(&one);
        NewMeasurement { id: Some(id), kind: kind.to_owned(), value, measured_on, confirmed }.parse(athlete, today)?;
    }
    Ok(())
}
