//! Measurements of an athlete over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};

use super::http::load;
use super::measured_store::{self, StoredMeasurement};
use super::model::{self, Filed};
use super::shapes::{MeasurementList, MeasurementView, NewMeasurement};
use crate::platform::access::{Permit, RosterWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind};
use crate::platform::ids::{AthleteId, MeasurementId};
use crate::platform::params::path_id;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch, Stored};

async fn all(tx: &mut ClubTx, athlete: AthleteId) -> Result<Vec<StoredMeasurement>, Problem> {
    Ok(measured_store::by_athlete(tx, &[athlete]).await?.remove(&athlete).unwrap_or_default())
}

/// Adds a measurement.
///
/// One that was deleted can be entered again with a new id, or with none. What cannot be at the age of the athlete is refused as
/// `implausible`; what can, but hardly ever is, as `confirm` until it is sent with `confirmed`.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/measurements", impl_for = create_measurement, tag = "athletes",
    responses(
        (status = 201, description = "Created", body = MeasurementView),
        (status = 200, description = "Was there already", body = MeasurementView)
    )
)]
async fn create_measurement(
    req: HttpRequest,
    permit: Permit<RosterWrite>,
    db: Data<Db>,
    body: Body<NewMeasurement>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let athlete = load(&mut tx, &req).await?;
    let sent = body.read()?;
    let (mut id, value) = sent.parse(athlete.id, tx.today().await?)?;
    // A phone's push is filed all the same, so that nothing from the track is lost; advice leaves it out.
    if let Some(fault) = athlete.value.doubt(&value) {
        return Err(Problem::invalid(vec![fault]));
    }
    // The id that follows from the content belongs to the one that was deleted: this is another one.
    while sent.id.is_none() && measured_store::is_deleted(&mut tx, id).await? {
        id = model::next_id(id);
    }
    tx.alone(id.0).await?;
    // Read again: somebody may have erased the athlete meanwhile.
    let athlete = load(&mut tx, &req).await?;
    let value = Filed { measurement: value, implausible: false };
    if !measured_store::insert(&mut tx, &[(athlete.id, id, value)]).await? {
        let found = all(&mut tx, athlete.id).await?.into_iter().find(|one| one.id == id).ok_or_else(Problem::gone)?;
        stored::same_or_conflict(&found.value.measurement, &value.measurement)?;
        return Ok(stored::created(&req, false, id, found.rev, &MeasurementView::from(&found)));
    }
    let rev = tx.commit().await?.of(Kind::Measurement, id, 0);
    Ok(stored::created(&req, true, id, rev, &MeasurementView::from(&Stored { id, rev, value })))
}

/// Lists the measurements of an athlete, latest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/measurements", impl_for = list_measurements, tag = "athletes",
    responses((status = 200, description = "The measurements", body = MeasurementList))
)]
async fn list_measurements(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let athlete = load(&mut tx, &req).await?;
    let items = all(&mut tx, athlete.id).await?.iter().map(MeasurementView::from).collect();
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(MeasurementList { items }))
}

/// Deletes a measurement that was wrong.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/measurements/{measurement_id}", impl_for = delete_measurement, tag = "athletes",
    responses((status = 204, description = "Deleted"))
)]
async fn delete_measurement(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<RosterWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let athlete = load(&mut tx, &req).await?;
    let id = MeasurementId(path_id(&req, "measurement_id", "measurement")?);
    let found = all(&mut tx, athlete.id).await?.into_iter().find(|one| one.id == id);
    let found = found.ok_or_else(|| Problem::not_found("measurement"))?;
    version.require::<SquadRead>(&tx, found.rev, &MeasurementView::from(&found))?;
    measured_store::remove(&mut tx, athlete.id, id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(create_measurement, list_measurements, delete_measurement);
