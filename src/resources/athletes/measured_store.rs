//! Rows of measurements.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::model::{Filed, Measurement, MeasurementKind};
use crate::platform::db::{Change, ClubTx, Kind, Parts, StoreError};
use crate::platform::ids::{AthleteId, MeasurementId};
use crate::platform::people::origins;
use crate::platform::stored::Stored;

/// A measurement with its id and version.
pub type StoredMeasurement = Stored<MeasurementId, Filed>;

/// Inserts measurements of athletes that are there; false, and nothing worth committing, when an id is taken.
pub async fn insert(tx: &mut ClubTx, new: &[(AthleteId, MeasurementId, Filed)]) -> Result<bool, StoreError> {
    if new.is_empty() {
        return Ok(true);
    }
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let ids: Vec<Uuid> = new.iter().map(|(_, id, _)| id.0).collect();
    let athletes: Vec<Uuid> = new.iter().map(|(athlete, _, _)| athlete.0).collect();
    let kinds: Vec<String> = new.iter().map(|(_, _, one)| one.measurement.kind.as_str().to_owned()).collect();
    let values: Vec<i32> = new.iter().map(|(_, _, one)| one.measurement.milli).collect();
    let days: Vec<NaiveDate> = new.iter().map(|(_, _, one)| one.measurement.measured_on).collect();
    let confirmed: Vec<bool> = new.iter().map(|(_, _, one)| one.measurement.confirmed).collect();
    let implausible: Vec<bool> = new.iter().map(|(_, _, one)| one.implausible).collect();
    let changes: Vec<Change> =
        new.iter().map(|(athlete, id, _)| Change::put(Kind::Measurement, *id).under(*athlete)).collect();
    let done = sqlx::query!(
        r#"
        insert into measurements as x (
          club_id, id, athlete_id, kind, value_milli, measured_on, confirmed, implausible, created_at, recorded_by
        )
        select c.id, u.id, u.athlete_id, u.kind, u.value_milli, u.measured_on, u.confirmed, u.implausible, $9, $10
        from clubs c
        cross join unnest($2::uuid[], $3::uuid[], $4::text[], $5::integer[], $6::date[], $7::boolean[], $8::boolean[])
          as u (id, athlete_id, kind, value_milli, measured_on, confirmed, implausible)
        where c.id = $1
        on conflict (club_id, id) do nothing
        "#,
        club,
        &ids,
        &athletes,
        &kinds,
        &values,
        &days,
        &confirmed,
        &implausible,
        Utc::now(),
        actor
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(done.rows_affected() == u64::try_from(new.len()).unwrap_or(u64::MAX))
}

/// The measurements of athletes, latest first, by athlete.
pub async fn by_athlete(
    tx: &mut ClubTx,
    athletes: &[AthleteId],
) -> Result<HashMap<AthleteId, Vec<StoredMeasurement>>, StoreError> {
    let ids: Vec<Uuid> = athletes.iter().map(|id| id.0).collect();
    let mut list = Parts::new(
        tx,
        "select id, rev, athlete_id, kind, value_milli, measured_on, confirmed, implausible from measurements where club_id = $1 and \
         deleted_at is null",
    )?;
    list.with(" and athlete_id = any ((select ?::uuid[])::uuid[]) order by measured_on desc, id desc", ids)?;
    let mut found: HashMap<AthleteId, Vec<StoredMeasurement>> = HashMap::new();
    for row in list.all(tx).await? {
        let (athlete, one) = parse(row)?;
        found.entry(athlete).or_default().push(one);
    }
    Ok(found)
}

/// The measurements of these ids that are there, with their athletes.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<(AthleteId, StoredMeasurement)>, StoreError> {
    let mut list = Parts::new(
        tx,
        "select x.id, x.rev, x.athlete_id, x.kind, x.value_milli, x.measured_on, x.confirmed, x.implausible from ",
    )?;
    list.with("unnest((select ?::uuid[])::uuid[]) as i (one) cross join lateral (select * from measurements m ", ids)?;
    list.then("where m.club_id = $1 and m.id = i.one offset 0) x where x.deleted_at is null");
    list.all(tx).await?.into_iter().map(parse).collect()
}

/// A measurement that was deleted, with its athlete.
pub async fn deleted(tx: &mut ClubTx, id: MeasurementId) -> Result<Option<(AthleteId, StoredMeasurement)>, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query_as!(
        Row,
        r#"
        select id, rev, athlete_id, kind, value_milli, measured_on, confirmed, implausible
        from measurements
        where club_id = $1 and id = $2 and deleted_at is not null
        "#,
        club,
        id.0
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(parse).transpose()
}

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    athlete_id: Uuid,
    kind: String,
    value_milli: i32,
    measured_on: NaiveDate,
    confirmed: bool,
    implausible: bool,
}

fn parse(row: Row) -> Result<(AthleteId, StoredMeasurement), StoreError> {
    let Row { id, rev, athlete_id, value_milli: milli, measured_on, confirmed, implausible, .. } = row;
    let kind = MeasurementKind::parse(&row.kind).map_err(|_| StoreError::Corrupt("measurement"))?;
    let value = Filed { measurement: Measurement { kind, milli, measured_on, confirmed }, implausible };
    Ok((AthleteId(athlete_id), Stored { id: MeasurementId(id), rev, value }))
}

/// Whether a measurement of this id was there and is deleted.
pub async fn is_deleted(tx: &mut ClubTx, id: MeasurementId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let deleted = sqlx::query_scalar!(
        r#"
        select exists (
          select from measurements where club_id = $1 and id = $2 and deleted_at is not null
        ) as "deleted!"
        "#,
        club,
        id.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(deleted)
}

origins!("measurements", "recorded_by");

/// Deletes a measurement of an athlete.
pub async fn remove(tx: &mut ClubTx, athlete: AthleteId, id: MeasurementId) -> Result<(), StoreError> {
    remove_all(tx, &[(athlete, id)]).await
}

/// Deletes measurements of athletes.
pub async fn remove_all(tx: &mut ClubTx, those: &[(AthleteId, MeasurementId)]) -> Result<(), StoreError> {
    if those.is_empty() {
        return Ok(());
    }
    let club = tx.club.0;
    let ids: Vec<Uuid> = those.iter().map(|(_, id)| id.0).collect();
    let change = |(athlete, id): &(AthleteId, MeasurementId)| Change::remove(Kind::Measurement, *id).under(*athlete);
    let changes: Vec<Change> = those.iter().map(change).collect();
    sqlx::query!(
        "update measurements set deleted_at = $3 where club_id = $1 and id = any ((select $2::uuid[])::uuid[])",
        club,
        &ids,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}
