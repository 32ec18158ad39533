//! The rows that advice rests on.

use std::collections::HashMap;

use chrono::NaiveDate;
use uuid::Uuid;

use super::club_store::{own_age_groups, own_specs};
use super::fall_store::{self, Fall};
use super::lengths::length;
use super::policy::{PolicyFields, policy_of};
use super::wellbeing_store::{breaks, surfaces};
use super::word_store;
use crate::compute::advice::{RATING_DAYS, Record, RunRecord, Setting};
use crate::compute::day::Day;
use crate::compute::decision::{Rating, Ratings, Status, Stock};
use crate::compute::prior::Experience;
use crate::compute::specs::Birth;
use crate::compute::units::{BarrierKind, Sex};
use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::ids::{AthleteId, GroupId, SessionId};

/// An athlete with what is on file about them.
#[derive(Clone, Debug)]
pub struct Person {
    /// The id.
    pub id: AthleteId,
    /// How the squad calls them.
    pub display_name: String,
    /// What advice rests on.
    pub record: Record,
}

/// A date as the mathematics counts it.
pub fn day(date: NaiveDate) -> Result<Day, StoreError> {
    Day::from_days(date.to_epoch_days()).ok_or(StoreError::Corrupt("date"))
}

fn birth(date: Option<NaiveDate>, year: Option<i16>) -> Result<Birth, StoreError> {
    match (date, year) {
        (Some(date), _) => Ok(Birth::Date(day(date)?)),
        (None, Some(year)) => Ok(Birth::Year(i32::from(year))),
        (None, None) => Err(StoreError::Corrupt("athlete")),
    }
}

/// What holds for the whole club.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn setting(tx: &mut ClubTx) -> Result<Setting, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!("select ruleset, spacing_step_mm, policy from clubs where id = $1", club)
        .fetch_one(tx.conn())
        .await?;
    let fields: PolicyFields = serde_json::from_value(row.policy).map_err(|_| StoreError::Corrupt("club"))?;
    let policy = policy_of(&fields, length(row.spacing_step_mm, "club")?).map_err(|_| StoreError::Corrupt("club"))?;
    let start = fields.start.constants();
    let equipment = sqlx::query!(
        "select barrier_kind, heights_mm from equipment where club_id = $1 and deleted_at is null order by id",
        club
    )
    .fetch_all(tx.conn())
    .await?;
    let stock = equipment
        .into_iter()
        .map(|row| {
            let kind = BarrierKind::from_word(&row.barrier_kind).ok_or(StoreError::Corrupt("equipment"))?;
            let heights = row.heights_mm.into_iter().map(|mm| length(mm, "equipment")).collect::<Result<_, _>>()?;
            Ok(Stock { kind, heights })
        })
        .collect::<Result<_, StoreError>>()?;
    let (specs, age_groups) = (own_specs(tx).await?, own_age_groups(tx).await?);
    Ok(Setting { ruleset: row.ruleset, specs, age_groups, stock, policy, start })
}

/// The athletes that the actor sees, by name: those of `ids`, or all active and resting ones of a group. The surface is that of
/// their sessions of the day.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn load(
    tx: &mut ClubTx,
    ids: Option<&[AthleteId]>,
    group: Option<GroupId>,
    on: NaiveDate,
) -> Result<Vec<Person>, StoreError> {
    load_at(tx, ids, group, (on, None)).await
}

/// The athletes among these that the actor sees, by name, as they are in a session of a day.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn load_for_session(
    tx: &mut ClubTx,
    ids: &[AthleteId],
    session: SessionId,
    on: NaiveDate,
) -> Result<Vec<Person>, StoreError> {
    load_at(tx, Some(ids), None, (on, Some(session))).await
}

#[derive(sqlx::FromRow)]
struct AthleteRow {
    id: Uuid,
    display_name: String,
    sex: Option<String>,
    birth_date: Option<NaiveDate>,
    birth_year: Option<i16>,
    experience: String,
    status: String,
    approach_strides: Option<i16>,
}

async fn load_at(
    tx: &mut ClubTx,
    ids: Option<&[AthleteId]>,
    group: Option<GroupId>,
    (on, session): (NaiveDate, Option<SessionId>),
) -> Result<Vec<Person>, StoreError> {
    let mut list = Parts::new(
        tx,
        "select a.id, a.display_name, a.sex, a.birth_date, a.birth_year, a.experience, a.status, a.approach_strides from athletes a \
         where a.club_id = $1 and a.deleted_at is null",
    )?;
    if let Some(ids) = ids {
        let ids: Vec<Uuid> = ids.iter().map(|id| id.0).collect();
        list.with(" and a.id = any ((select ?::uuid[])::uuid[])", ids)?;
    }
    if let Some(group) = group {
        let of_group = " and a.status <> 'left' and a.id = any (array(select g.athlete_id from athlete_scope g \
                        where g.club_id = $1 and g.scope_id = ?))";
        list.with(of_group, group.0)?;
    }
    if let Some(groups) = tx.actor.group_ids() {
        let seen = " and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = a.id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    list.then(" order by lower(a.display_name), a.id");
    let rows: Vec<AthleteRow> = list.all(tx).await?;
    let found: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut measured = measurements(tx, &found, on).await?;
    let mut ran = runs(tx, &found, on).await?;
    let mut rated = ratings(tx, &found, on).await?;
    let fallen = fall_store::falls(tx, &found, on).await?;
    let fell: HashMap<Uuid, Fall> =
        fallen.iter().filter_map(|(athlete, falls)| Some((*athlete, fall_store::last(falls)?))).collect();
    let mut said = word_store::words(tx, &found, on, &fell).await?;
    let (mut rested, underfoot) = (breaks(tx, &found, on).await?, surfaces(tx, &found, on, session).await?);
    rows.into_iter()
        .map(|row| {
            let corrupt = || StoreError::Corrupt("athlete");
            let mut latest = measured.remove(&row.id).unwrap_or_default();
            let mut value = |kind: &str| latest.remove(kind);
            let record = Record {
                sex: row.sex.as_deref().and_then(Sex::from_word).ok_or_else(corrupt)?,
                birth: birth(row.birth_date, row.birth_year)?,
                experience: if row.experience == "trained" { Experience::Trained } else { Experience::Novice },
                stature_m: value("stature_m"),
                leg_length_m: value("leg_length_m"),
                sprint_30m_s: value("sprint_30m_s"),
                sprint_50m_s: value("sprint_50m_s"),
                approach_strides: row.approach_strides.map(u8::try_from).transpose().map_err(|_| corrupt())?,
                status: Status::from_word(&row.status).ok_or_else(corrupt)?,
                breaks: rested.remove(&row.id).unwrap_or_default(),
                surface: underfoot.get(&row.id).copied(),
                ratings: rated.remove(&row.id).unwrap_or_default(),
                clearance: fell.get(&row.id).copied().map(Fall::clearance).unwrap_or_default(),
                word: said.remove(&row.id),
                runs: ran.remove(&row.id).unwrap_or_default(),
            };
            Ok(Person { id: AthleteId(row.id), display_name: row.display_name, record })
        })
        .collect()
}

/// The latest measurement of each kind up to a day, in metres or seconds, but for those that wait to be confirmed.
async fn measurements(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
) -> Result<HashMap<Uuid, HashMap<String, f64>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select distinct on (m.athlete_id, m.kind) m.athlete_id, m.kind, m.value_milli
        from measurements m
        where m.club_id = $1 and m.athlete_id = any ((select $2::uuid[])::uuid[]) and m.measured_on <= $3 and m.deleted_at is null
           and not m.implausible
        order by m.athlete_id, m.kind, m.measured_on desc, m.id desc
        "#,
        club,
        athletes,
        on
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, HashMap<String, f64>> = HashMap::new();
    for row in rows {
        found.entry(row.athlete_id).or_default().insert(row.kind, f64::from(row.value_milli) / 1_000.0);
    }
    Ok(found)
}

/// The runs that stand (neither corrected nor withdrawn) of sessions up to a day.
async fn runs(tx: &mut ClubTx, athletes: &[Uuid], on: NaiveDate) -> Result<HashMap<Uuid, Vec<RunRecord>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select r.athlete_id, s.held_on, r.barrier_kind, r.height_mm, r.spacing_mm, r.barriers, r.held, r.over_reached,
          r.crowded, r.broken, r.hits, r.fell
        from runs r
        join sessions s on s.club_id = $1 and s.id = r.session_id
        where r.club_id = $1 and r.athlete_id = any ((select $2::uuid[])::uuid[]) and s.held_on <= $3 and not r.void
          and not exists (
            select from runs later
            where later.club_id = $1 and later.supersedes = r.id
          )
        order by r.athlete_id, s.held_on, r.id
        "#,
        club,
        athletes,
        on
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<RunRecord>> = HashMap::new();
    for row in rows {
        let count = |value: i16| u16::try_from(value).map_err(|_| StoreError::Corrupt("run"));
        let run = RunRecord {
            day: day(row.held_on)?.days(),
            barrier_kind: BarrierKind::from_word(&row.barrier_kind).ok_or(StoreError::Corrupt("run"))?,
            height: length(row.height_mm, "run")?,
            spacing: length(row.spacing_mm, "run")?,
            barriers: count(row.barriers)?,
            held: count(row.held)?,
            over_reached: count(row.over_reached)?,
            crowded: count(row.crowded)?,
            broken: count(row.broken)?,
            hits: count(row.hits)?,
            fell: row.fell,
        };
        found.entry(row.athlete_id).or_default().push(run);
    }
    Ok(found)
}

/// The latest rating of each criterion within the rating window, by the days of the club.
async fn ratings(tx: &mut ClubTx, athletes: &[Uuid], on: NaiveDate) -> Result<HashMap<Uuid, Ratings>, StoreError> {
    let club = tx.club.0;
    let (from, end) = tx.span(on - chrono::Duration::days(i64::from(RATING_DAYS)), on).await?;
    let rows = sqlx::query!(
        r#"
        select x.athlete_id, x.lead_leg, x.trail_leg, x.walkover, x.take_off, x.landing, x.posture, x.rhythm, x.arms
        from assessments x
        where x.club_id = $1 and x.athlete_id = any ((select $2::uuid[])::uuid[]) and not x.void
          and x.assessed_at >= $3 and x.assessed_at < $4
          and not exists (
            select from assessments later
            where later.club_id = $1 and later.supersedes = x.id
          )
        order by x.athlete_id, x.assessed_at, x.id
        "#,
        club,
        athletes,
        from,
        end
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Ratings> = HashMap::new();
    for row in rows {
        let seen = found.entry(row.athlete_id).or_default();
        // Rows come oldest first, so a later rating replaces an earlier one.
        let take = |slot: &mut Option<Rating>, level: Option<i16>| {
            if let Some(rating) = level.and_then(|level| u8::try_from(level).ok()).and_then(Rating::from_level) {
                *slot = Some(rating);
            }
        };
        take(&mut seen.lead_leg, row.lead_leg);
        take(&mut seen.trail_leg, row.trail_leg);
        take(&mut seen.walkover, row.walkover);
        take(&mut seen.take_off, row.take_off);
        take(&mut seen.landing, row.landing);
        take(&mut seen.posture, row.posture);
        take(&mut seen.rhythm, row.rhythm);
        take(&mut seen.arms, row.arms);
    }
    Ok(found)
}
