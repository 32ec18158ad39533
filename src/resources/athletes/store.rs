//! Rows of athletes and measurements.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::consent::Entered;
use super::consent_store;
use super::measured_store;
use super::merge::{self, GroupRevs};
use super::model::{Athlete, Birth, Experience, Filed, Leg, NewAthlete, Status};
use super::status_store;
use crate::compute::units::Sex;
use crate::platform::db::{Change, ClubTx, Kind, Parts, StoreError};
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, ConsentId, GroupId, MeasurementId};
use crate::platform::page;
use crate::platform::renewals;
use crate::platform::stored::Stored;

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    display_name: String,
    sex: Option<String>,
    birth_date: Option<NaiveDate>,
    birth_year: Option<i16>,
    preferred_lead_leg: Option<String>,
    approach_strides: Option<i16>,
    experience: String,
    status: String,
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
        let strides = row.approach_strides.map(u8::try_from).transpose().map_err(|_| corrupt())?;
        Ok(Self {
            id: AthleteId(row.id),
            rev: row.rev,
            value: Athlete {
                display_name: row.display_name,
                sex: row.sex.as_deref().and_then(Sex::from_word).ok_or_else(corrupt)?,
                birth,
                groups: row.groups.into_iter().map(GroupId).collect(),
                preferred_lead_leg: leg,
                approach_strides: strides,
                experience: Experience::parse(&row.experience).map_err(|_| corrupt())?,
                status: Status::parse(&row.status).map_err(|_| corrupt())?,
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
/// [`StoreError::Conflict`] when the id of a measurement is taken, [`StoreError::Invalid`] when an app enters a consent.
pub async fn insert(tx: &mut ClubTx, new: &[NewAthlete]) -> Result<bool, StoreError> {
    if !insert_rows(tx, new).await? {
        return Ok(false);
    }
    in_person(tx, new.iter().map(|one| (None, one.athlete.consent_on)))?;
    grants::place(tx, new.iter().map(|one| (one.id, one.athlete.groups.as_slice()))).await?;
    // A new athlete with a doubtful measurement was refused.
    let filed = |measurement| Filed { measurement, implausible: false };
    let measurements: Vec<(AthleteId, MeasurementId, Filed)> = new
        .iter()
        .flat_map(|one| one.measurements.iter().map(|(id, measurement)| (one.id, *id, filed(*measurement))))
        .collect();
    if !measured_store::insert(tx, &measurements).await? {
        return Err(StoreError::Conflict("The id of a measurement is already used. Send a new one.".to_owned()));
    }
    let consents: Vec<_> = new.iter().filter_map(|one| Some((one.id, one.athlete.consent_on?))).collect();
    consent_store::entered(tx, &consents).await?;
    Ok(true)
}

/// Checks that who may not record consents enters none with athletes: each as it was and as it is from now on.
fn in_person(
    tx: &ClubTx,
    mut entered: impl Iterator<Item = (Option<NaiveDate>, Option<NaiveDate>)>,
) -> Result<(), StoreError> {
    let audience = tx.audience();
    entered
        .try_for_each(|(before, after)| Entered(after).in_person(Entered(before), audience))
        .map_err(|fault| StoreError::Invalid(vec![fault]))
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
    let strides: Vec<Option<i16>> = new.iter().map(|one| one.athlete.approach_strides.map(i16::from)).collect();
    let consents: Vec<Option<NaiveDate>> = new.iter().map(|one| one.athlete.consent_on).collect();
    let ids: Vec<Uuid> = new.iter().map(|one| one.id.0).collect();
    let done = sqlx::query!(
        r#"
        insert into athletes as x
          (club_id, id, display_name, sex, birth_date, birth_year, preferred_lead_leg, experience, status,
           consent_on, approach_strides, created_at, updated_at,
           name_rev, birth_rev, contact_rev, technique_rev, status_rev, groups_rev)
        select c.id, u.id, u.display_name, u.sex, u.birth_date, u.birth_year, u.leg, u.experience, u.status,
          u.consent_on, u.strides, $12, $12, -1, -1, -1, -1, -1, -1
        from clubs c
        cross join unnest($2::uuid[], $3::text[], $4::text[], $5::date[], $6::smallint[], $7::text[], $8::text[],
          $9::text[], $10::date[], $11::smallint[])
          as u (id, display_name, sex, birth_date, birth_year, leg, experience, status, consent_on, strides)
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
        &consents as &[Option<NaiveDate>],
        &strides as &[Option<i16>],
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

/// An athlete, when the actor sees one of their groups.
pub async fn find(tx: &mut ClubTx, id: AthleteId) -> Result<Option<Stored<AthleteId, Athlete>>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    Ok(found.filter(|athlete| tx.actor.sees_any(&athlete.value.groups)))
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select a.id, a.rev, a.display_name, a.sex, a.birth_date, a.birth_year, a.preferred_lead_leg, a.approach_strides,
          a.experience, a.status, a.consent_on,
          array(
            select s.scope_id from athlete_scope s
            where s.club_id = $1 and s.athlete_id = a.id
            order by s.scope_id
          ) as "groups!"
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from athletes r where r.club_id = $1 and r.id = i.one offset 0) a
        where a.deleted_at is null
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

/// The columns of a [`Row`].
macro_rules! select {
    ($id:literal, $from:literal) => {
        concat!(
            "select ",
            $id,
            ", a.rev, a.display_name, a.sex, a.birth_date, a.birth_year, a.preferred_lead_leg, a.approach_strides, \
             a.experience, a.status, a.consent_on, array(select s.scope_id from athlete_scope s where s.club_id = $1 and \
             s.athlete_id = a.id order by s.scope_id) as groups from ",
            $from
        )
    };
}

/// The athletes that the actor sees, by id, after `after`: along the ids of the club, or of the groups.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let (along, groups) = match (filter.group, tx.actor.group_ids()) {
        (Some(group), seen) => (Some(vec![group.0]), seen),
        (None, Some(seen)) => (Some(seen), None),
        (None, None) => (None, None),
    };
    let mut list = if let Some(along) = along {
        let along_them = "(select distinct v.athlete_id from unnest((select ?::uuid[])::uuid[]) as s (id) cross join lateral \
                          (select w.athlete_id from athlete_scope w where w.club_id = $1 and w.scope_id = s.id";
        let mut list = Parts::new(tx, select!("g.athlete_id as id", ""))?;
        list.with(along_them, along)?;
        list.with(" and w.athlete_id >= ? offset 0) v", page::from(after))?;
        list.then(
            " order by v.athlete_id offset 0) g cross join lateral (select x.* from athletes x where x.club_id = $1 and \
             x.id = g.athlete_id and x.deleted_at is null offset 0) a where true",
        );
        list
    } else {
        let mut list = Parts::new(tx, select!("a.id", "athletes a where a.club_id = $1 and a.deleted_at is null"))?;
        list.with(" and a.id >= ?", page::from(after))?;
        list
    };
    if let Some(groups) = groups {
        let seen = " and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = a.id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    if let Some(status) = filter.status {
        list.with(" and a.status = ?", status.as_str())?;
    }
    if let Some(name) = &filter.name {
        list.with(" and strpos(lower(a.display_name), lower(?)) > 0", name.clone())?;
    }
    list.first::<Row>(tx, "id", fetch).await?.into_iter().map(TryInto::try_into).collect()
}

/// Everybody of the club, by id.
pub async fn everyone(tx: &mut ClubTx) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let list =
        Parts::new(tx, select!("a.id", "athletes a where a.club_id = $1 and a.deleted_at is null order by a.id"))?;
    list.all::<Row>(tx).await?.into_iter().map(TryInto::try_into).collect()
}

/// An athlete that changes: who, as they were, as they are from now on.
pub type Edit<'a> = (AthleteId, &'a Athlete, &'a Athlete);

/// Saves a changed athlete; the field groups that differ from `before` take the number of this change.
///
/// # Errors
/// [`StoreError::Invalid`] when an app changes a consent.
pub async fn save(tx: &mut ClubTx, id: AthleteId, athlete: &Athlete, before: &Athlete) -> Result<(), StoreError> {
    save_all(tx, &[(id, before, athlete)]).await
}

/// Saves changed athletes, each as [`save`] does.
#[allow(clippy::too_many_lines)] // one column after another
pub async fn save_all(tx: &mut ClubTx, edits: &[Edit<'_>]) -> Result<(), StoreError> {
    in_person(tx, edits.iter().map(|(_, before, after)| (before.consent_on, after.consent_on)))?;
    let club = tx.club.0;
    let touched: Vec<[bool; 6]> = edits.iter().map(|(_, before, after)| merge::touched(before, after)).collect();
    let flags = |group: usize| touched.iter().map(|one| one.get(group) == Some(&true)).collect::<Vec<bool>>();
    let [name, birth, contact, technique, status, moved] = [0, 1, 2, 3, 4, 5].map(flags);
    let change = |((id, before, after), moved): (&Edit<'_>, &bool)| {
        let change = Change::put(Kind::Athlete, *id);
        if *moved { change.scopes(ids_of(&before.groups), ids_of(&after.groups)) } else { change }
    };
    let changes: Vec<Change> = edits.iter().zip(&moved).map(change).collect();
    let ids: Vec<Uuid> = edits.iter().map(|(id, ..)| id.0).collect();
    if ids.len() > 1 {
        sqlx::query_scalar!(
            "select id from athletes where club_id = $1 and id = any ((select $2::uuid[])::uuid[]) order by id for no key update",
            club,
            &ids
        )
        .fetch_all(tx.conn())
        .await?;
    }
    let column = |pick: fn(&Athlete) -> String| edits.iter().map(|(.., one)| pick(one)).collect::<Vec<_>>();
    let dates: Vec<Option<NaiveDate>> = edits.iter().map(|(.., one)| birth_date(one)).collect();
    let years: Vec<Option<i16>> = edits.iter().map(|(.., one)| birth_year(one)).collect();
    let leg = |one: &Athlete| one.preferred_lead_leg.map(|leg| leg.as_str().to_owned());
    let legs: Vec<Option<String>> = edits.iter().map(|(.., one)| leg(one)).collect();
    let strides: Vec<Option<i16>> = edits.iter().map(|(.., one)| one.approach_strides.map(i16::from)).collect();
    let consents: Vec<Option<NaiveDate>> = edits.iter().map(|(.., one)| one.consent_on).collect();
    sqlx::query!(
        r#"
        update athletes x
        set display_name = u.display_name, sex = u.sex, birth_date = u.birth_date, birth_year = u.birth_year,
            preferred_lead_leg = u.leg, experience = u.experience, status = u.status, consent_on = u.consent_on,
            approach_strides = u.strides, updated_at = $18,
            name_rev = case when u.name then -1 else x.name_rev end,
            birth_rev = case when u.birth then -1 else x.birth_rev end,
            contact_rev = case when u.contact then -1 else x.contact_rev end,
            technique_rev = case when u.technique then -1 else x.technique_rev end,
            status_rev = case when u.state then -1 else x.status_rev end,
            groups_rev = case when u.moved then -1 else x.groups_rev end
        from unnest((select $2::uuid[])::uuid[], $3::text[], $4::text[], $5::date[], $6::smallint[], $7::text[],
          $8::text[], $9::text[], $10::date[], $11::smallint[], $12::boolean[], $13::boolean[], $14::boolean[],
          $15::boolean[], $16::boolean[], $17::boolean[])
          as u (id, display_name, sex, birth_date, birth_year, leg, experience, status, consent_on, strides, name,
            birth, contact, technique, state, moved)
        where x.club_id = $1 and x.id = u.id
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
        &consents as &[Option<NaiveDate>],
        &strides as &[Option<i16>],
        &name,
        &birth,
        &contact,
        &technique,
        &status,
        &moved,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    let those = |flags: &[bool]| {
        edits.iter().zip(flags).filter(|(_, flag)| **flag).map(|(edit, _)| *edit).collect::<Vec<Edit<'_>>>()
    };
    let elsewhere = those(&moved);
    if !elsewhere.is_empty() {
        grants::unplace_all(tx, elsewhere.iter().map(|(id, ..)| *id)).await?;
        grants::place(tx, elsewhere.iter().map(|(id, _, after)| (*id, after.groups.as_slice()))).await?;
    }
    if contact.contains(&true) {
        let today = tx.today().await?;
        let said: Vec<_> = those(&contact)
            .into_iter()
            .map(|(id, _, after)| {
                (ConsentId::new(), (id, after.groups.as_slice()), Entered(after.consent_on).said(today))
            })
            .collect();
        consent_store::record_all(tx, &said).await?;
    }
    let changed: Vec<Uuid> = those(&status).iter().map(|(id, ..)| id.0).collect();
    if !changed.is_empty() {
        status_store::changed(tx, &changed).await?;
    }
    let seen: Vec<bool> = name.iter().zip(&moved).map(|(name, moved)| *name || *moved).collect();
    let renamed: Vec<Uuid> = those(&seen).iter().map(|(id, ..)| id.0).collect();
    if !renamed.is_empty() {
        renewals::plans(tx, Some(&renamed), None).await?;
    }
    Ok(())
}

/// Number of the last change of each field group.
pub async fn group_revs(tx: &mut ClubTx, id: AthleteId) -> Result<GroupRevs, StoreError> {
    let found = group_revs_of(tx, &[id.0]).await?;
    found.get(&id).copied().ok_or(StoreError::NotFound("athlete"))
}

/// The same for several athletes.
pub async fn group_revs_of(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<AthleteId, GroupRevs>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, name_rev, birth_rev, contact_rev, technique_rev, status_rev, groups_rev
        from athletes
        where club_id = $1 and id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let revs = rows.into_iter().map(|row| {
        let revs = [row.name_rev, row.birth_rev, row.contact_rev, row.technique_rev, row.status_rev, row.groups_rev];
        (AthleteId(row.id), revs)
    });
    Ok(revs.collect())
}
