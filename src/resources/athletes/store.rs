//! Rows of athletes and measurements.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::merge::{self, GroupRevs};
use super::model::{Athlete, Birth, Experience, Leg, Measurement, MeasurementKind, NewAthlete, Status};
use crate::compute::units::Sex;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};
use crate::platform::stored::Stored;

/// A measurement with its id and version.
pub type StoredMeasurement = Stored<MeasurementId, Measurement>;

struct Row {
    id: Uuid,
    rev: i64,
    display_name: String,
    sex: Option<String>,
    birth_date: Option<NaiveDate>,
    birth_year: Option<i16>,
    preferred_lead_leg: Option<String>,
    experience: String,
    status: String,
    restricted_until: Option<NaiveDate>,
    consent_on: Option<NaiveDate>,
    groups: Vec<Uuid>,
}

impl TryFrom<Row> for Stored<AthleteId, Athlete> {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("athlete");
        let birth = match (row.birth_date, row.birth_year) {
            (Some(date), None) => Birth::Date(date),
            (None, Some(year)) => Birth::Year(year),
            _ => return Err(corrupt()),
        };
        let leg = row.preferred_lead_leg.as_deref().map(Leg::parse).transpose().map_err(|_| corrupt())?;
        Ok(Self {
            id: AthleteId(row.id),
            rev: row.rev,
            value: Athlete {
                display_name: row.display_name,
                sex: row.sex.as_deref().and_then(Sex::from_word).ok_or_else(corrupt)?,
                birth,
                groups: row.groups.into_iter().map(GroupId).collect(),
                preferred_lead_leg: leg,
                experience: Experience::parse(&row.experience).map_err(|_| corrupt())?,
                status: Status::parse(&row.status).map_err(|_| corrupt())?,
                restricted_until: row.restricted_until,
                consent_on: row.consent_on,
            },
        })
    }
}

/// Which athletes a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    /// Only this group's.
    pub group: Option<GroupId>,
    /// Only those of this status.
    pub status: Option<Status>,
    /// Only those whose name contains this, ignoring case.
    pub name: Option<String>,
}

/// Inserts athletes with their groups and measurements; false, and nothing worth committing, when an id is taken.
///
/// # Errors
/// [`StoreError::Conflict`] when the id of a measurement is taken.
pub async fn insert(tx: &mut ClubTx, new: &[NewAthlete]) -> Result<bool, StoreError> {
    if !insert_rows(tx, new).await? {
        return Ok(false);
    }
    grants::place(tx, new.iter().map(|one| (one.id.0, one.athlete.groups.as_slice()))).await?;
    let measurements: Vec<(AthleteId, MeasurementId, Measurement)> = new
        .iter()
        .flat_map(|one| one.measurements.iter().map(|(id, measurement)| (one.id, *id, *measurement)))
        .collect();
    if !insert_measurements(tx, &measurements).await? {
        return Err(StoreError::Conflict("The id of a measurement is already used. Send a new one.".to_owned()));
    }
    Ok(true)
}

async fn insert_rows(tx: &mut ClubTx, new: &[NewAthlete]) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let changes: Vec<Change> = new
        .iter()
        .map(|one| Change::put(Kind::Athlete, one.id).scopes(Vec::new(), ids_of(&one.athlete.groups)))
        .collect();
    let column = |pick: fn(&Athlete) -> String| new.iter().map(|one| pick(&one.athlete)).collect::<Vec<_>>();
    let dates: Vec<Option<NaiveDate>> = new.iter().map(|one| birth_date(&one.athlete)).collect();
    let years: Vec<Option<i16>> = new.iter().map(|one| birth_year(&one.athlete)).collect();
    let legs: Vec<Option<String>> =
        new.iter().map(|one| one.athlete.preferred_lead_leg.map(|leg| leg.as_str().to_owned())).collect();
    let restricted: Vec<Option<NaiveDate>> = new.iter().map(|one| one.athlete.restricted_until).collect();
    let consents: Vec<Option<NaiveDate>> = new.iter().map(|one| one.athlete.consent_on).collect();
    let ids: Vec<Uuid> = new.iter().map(|one| one.id.0).collect();
    let done = sqlx::query!(
        r#"
        insert into athletes as x
          (club_id, id, display_name, sex, birth_date, birth_year, preferred_lead_leg, experience, status,
           restricted_until, consent_on, created_at, updated_at,
           name_rev, birth_rev, contact_rev, technique_rev, status_rev, groups_rev)
        select c.id, u.id, u.display_name, u.sex, u.birth_date, u.birth_year, u.leg, u.experience, u.status,
          u.restricted_until, u.consent_on, $12, $12, -1, -1, -1, -1, -1, -1
        from clubs c
        cross join unnest($2::uuid[], $3::text[], $4::text[], $5::date[], $6::smallint[], $7::text[], $8::text[],
          $9::text[], $10::date[], $11::date[])
          as u (id, display_name, sex, birth_date, birth_year, leg, experience, status, restricted_until, consent_on)
        where c.id = $1
        on conflict (club_id, id) do nothing
        "#,
        club,
        &ids,
        &column(|athlete| athlete.display_name.clone()),
        &column(|athlete| athlete.sex.as_str().to_owned()),
        &dates as &[Option<NaiveDate>],
        &years as &[Option<i16>],
        &legs as &[Option<String>],
        &column(|athlete| athlete.experience.as_str().to_owned()),
        &column(|athlete| athlete.status.as_str().to_owned()),
        &restricted as &[Option<NaiveDate>],
        &consents as &[Option<NaiveDate>],
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(done.rows_affected() == count(new))
}

fn count<T>(rows: &[T]) -> u64 {
    u64::try_from(rows.len()).unwrap_or(u64::MAX)
}

fn birth_date(athlete: &Athlete) -> Option<NaiveDate> {
    match athlete.birth {
        Birth::Date(date) => Some(date),
        Birth::Year(_) => None,
    }
}

fn birth_year(athlete: &Athlete) -> Option<i16> {
    match athlete.birth {
        Birth::Date(_) => None,
        Birth::Year(year) => Some(year),
    }
}

/// Inserts measurements of athletes that are there; false, and nothing worth committing, when an id is taken.
pub async fn insert_measurements(
    tx: &mut ClubTx,
    new: &[(AthleteId, MeasurementId, Measurement)],
) -> Result<bool, StoreError> {
    if new.is_empty() {
        return Ok(true);
    }
    let club = tx.club.0;
    let ids: Vec<Uuid> = new.iter().map(|(_, id, _)| id.0).collect();
    let athletes: Vec<Uuid> = new.iter().map(|(athlete, _, _)| athlete.0).collect();
    let kinds: Vec<String> = new.iter().map(|(_, _, one)| one.kind.as_str().to_owned()).collect();
    let values: Vec<i32> = new.iter().map(|(_, _, one)| one.milli).collect();
    let days: Vec<NaiveDate> = new.iter().map(|(_, _, one)| one.measured_on).collect();
    let changes: Vec<Change> =
        new.iter().map(|(athlete, id, _)| Change::put(Kind::Measurement, *id).under(*athlete)).collect();
    let done = sqlx::query!(
        r#"
        insert into measurements as x (club_id, id, athlete_id, kind, value_milli, measured_on, created_at)
        select c.id, u.id, u.athlete_id, u.kind, u.value_milli, u.measured_on, $7
        from clubs c
        cross join unnest($2::uuid[], $3::uuid[], $4::text[], $5::integer[], $6::date[])
          as u (id, athlete_id, kind, value_milli, measured_on)
        where c.id = $1
        on conflict (club_id, id) do nothing
        "#,
        club,
        &ids,
        &athletes,
        &kinds,
        &values,
        &days,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(done.rows_affected() == count(new))
}

/// An athlete, when the actor sees one of their groups.
pub async fn find(tx: &mut ClubTx, id: AthleteId) -> Result<Option<Stored<AthleteId, Athlete>>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    Ok(found.filter(|athlete| athlete.value.groups.iter().any(|group| tx.actor.sees(*group))))
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select a.id, a.rev, a.display_name, a.sex, a.birth_date, a.birth_year, a.preferred_lead_leg, a.experience,
          a.status, a.restricted_until, a.consent_on,
          array(
            select s.scope_id from root_scope s
            where s.club_id = $1 and s.root_id = a.id
            order by s.scope_id
          ) as "groups!"
        from athletes a
        where a.club_id = $1 and a.id = any ($2) and a.deleted_at is null
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// The athletes that the actor sees, by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    sqlx::query_as!(
        Row,
        r#"
        select a.id, a.rev, a.display_name, a.sex, a.birth_date, a.birth_year, a.preferred_lead_leg, a.experience,
          a.status, a.restricted_until, a.consent_on,
          array(
            select s.scope_id from root_scope s
            where s.club_id = $1 and s.root_id = a.id
            order by s.scope_id
          ) as "groups!"
        from athletes a
        where a.club_id = $1 and a.deleted_at is null
          and ($2::uuid[] is null or exists (
            select from root_scope v
            where v.club_id = $1 and v.root_id = a.id and v.scope_id = any ($2)
          ))
          and ($3::uuid is null or exists (
            select from root_scope g
            where g.club_id = $1 and g.root_id = a.id and g.scope_id = $3
          ))
          and ($4::text is null or a.status = $4)
          and ($5::text is null or strpos(lower(a.display_name), lower($5)) > 0)
          and ($6::uuid is null or a.id > $6)
        order by a.id
        limit $7
        "#,
        club,
        groups.as_deref(),
        filter.group.map(|group| group.0),
        filter.status.map(Status::as_str),
        filter.name,
        after,
        fetch
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// The measurements of athletes, latest first, by athlete.
pub async fn measurements(
    tx: &mut ClubTx,
    athletes: &[AthleteId],
) -> Result<HashMap<AthleteId, Vec<StoredMeasurement>>, StoreError> {
    let ids: Vec<Uuid> = athletes.iter().map(|id| id.0).collect();
    let mut found: HashMap<AthleteId, Vec<StoredMeasurement>> = HashMap::new();
    for (athlete, one) in measurements_where(tx, Some(&ids), None).await? {
        found.entry(athlete).or_default().push(one);
    }
    Ok(found)
}

/// The measurements of these ids that are there, with their athletes.
pub async fn measurements_by_ids(
    tx: &mut ClubTx,
    ids: &[Uuid],
) -> Result<Vec<(AthleteId, StoredMeasurement)>, StoreError> {
    measurements_where(tx, None, Some(ids)).await
}

async fn measurements_where(
    tx: &mut ClubTx,
    athletes: Option<&[Uuid]>,
    ids: Option<&[Uuid]>,
) -> Result<Vec<(AthleteId, StoredMeasurement)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, rev, athlete_id, kind, value_milli, measured_on
        from measurements
        where club_id = $1 and deleted_at is null
          and ($2::uuid[] is null or athlete_id = any ($2))
          and ($3::uuid[] is null or id = any ($3))
        order by measured_on desc, id desc
        "#,
        club,
        athletes,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let parse = |row: (Uuid, i64, Uuid, String, i32, NaiveDate)| {
        let (id, rev, athlete, kind, milli, measured_on) = row;
        let kind = MeasurementKind::parse(&kind).map_err(|_| StoreError::Corrupt("measurement"))?;
        let value = Measurement { kind, milli, measured_on };
        Ok((AthleteId(athlete), Stored { id: MeasurementId(id), rev, value }))
    };
    rows.into_iter()
        .map(|row| parse((row.id, row.rev, row.athlete_id, row.kind, row.value_milli, row.measured_on)))
        .collect()
}

/// The number of the last change to any measurement of an athlete, deleted ones included; 0 without any.
pub async fn last_measurement_rev(tx: &mut ClubTx, athlete: AthleteId) -> Result<i64, StoreError> {
    let club = tx.club.0;
    let rev = sqlx::query_scalar!(
        r#"select coalesce(max(rev), 0) as "rev!" from measurements where club_id = $1 and athlete_id = $2"#,
        club,
        athlete.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(rev)
}

/// Saves a changed athlete; the field groups that differ from `before` take the number of this change.
pub async fn save(tx: &mut ClubTx, id: AthleteId, athlete: &Athlete, before: &Athlete) -> Result<(), StoreError> {
    let club = tx.club.0;
    let mut change = Change::put(Kind::Athlete, id);
    let [name, birth, contact, technique, status, moved] = merge::touched(before, athlete);
    if moved {
        change = change.scopes(ids_of(&before.groups), ids_of(&athlete.groups));
    }
    sqlx::query!(
        r#"
        update athletes
        set display_name = $3, sex = $4, birth_date = $5, birth_year = $6, preferred_lead_leg = $7, experience = $8,
            status = $9, restricted_until = $10, consent_on = $11, updated_at = $12,
            name_rev = case when $13 then -1 else name_rev end,
            birth_rev = case when $14 then -1 else birth_rev end,
            contact_rev = case when $15 then -1 else contact_rev end,
            technique_rev = case when $16 then -1 else technique_rev end,
            status_rev = case when $17 then -1 else status_rev end,
            groups_rev = case when $18 then -1 else groups_rev end
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        athlete.display_name,
        athlete.sex.as_str(),
        birth_date(athlete),
        birth_year(athlete),
        athlete.preferred_lead_leg.map(Leg::as_str),
        athlete.experience.as_str(),
        athlete.status.as_str(),
        athlete.restricted_until,
        athlete.consent_on,
        Utc::now(),
        name,
        birth,
        contact,
        technique,
        status,
        moved
    )
    .execute(tx.changing(change))
    .await?;
    if moved {
        grants::unplace(tx, id.0).await?;
        grants::place(tx, [(id.0, athlete.groups.as_slice())]).await?;
    }
    Ok(())
}

/// Number of the last change of each field group.
pub async fn group_revs(tx: &mut ClubTx, id: AthleteId) -> Result<GroupRevs, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!(
        r#"
        select name_rev, birth_rev, contact_rev, technique_rev, status_rev, groups_rev
        from athletes
        where club_id = $1 and id = $2
        "#,
        club,
        id.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok([row.name_rev, row.birth_rev, row.contact_rev, row.technique_rev, row.status_rev, row.groups_rev])
}

/// Deletes a measurement of an athlete.
pub async fn remove_measurement(tx: &mut ClubTx, athlete: AthleteId, id: MeasurementId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!("update measurements set deleted_at = $3 where club_id = $1 and id = $2", club, id.0, Utc::now())
        .execute(tx.changing(Change::remove(Kind::Measurement, id).under(athlete)))
        .await?;
    Ok(())
}
