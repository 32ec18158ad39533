//! Rows of lane plans, and what a plan is made from.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::model::Equipment;
use super::session_store;
use crate::compute::decision::Surface;
use crate::compute::units::BarrierKind;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, GroupId, LanePlanId, SessionId};
use crate::platform::page;
use crate::platform::people::People;
use crate::platform::stored::Stored;
use crate::resources::advice::length;

/// A plan as it is kept: what was asked and what was found, both as JSON, without names.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The session.
    pub session: SessionId,
    /// What was asked.
    pub request: serde_json::Value,
    /// What was found.
    pub content: serde_json::Value,
    /// Everybody whom the two name, sorted.
    pub people: Vec<AthleteId>,
}

/// A plan with id and version.
pub type StoredPlan = Stored<LanePlanId, Plan>;

struct Row {
    id: Uuid,
    rev: i64,
    session_id: Uuid,
    request: serde_json::Value,
    plan: serde_json::Value,
    people: Vec<Uuid>,
}

impl From<Row> for StoredPlan {
    fn from(row: Row) -> Self {
        let people = row.people.into_iter().map(AthleteId).collect();
        let value = Plan { session: SessionId(row.session_id), request: row.request, content: row.plan, people };
        Self { id: LanePlanId(row.id), rev: row.rev, value }
    }
}

/// Who attends a session, of the athletes that the actor sees.
pub async fn present(tx: &mut ClubTx, session: SessionId) -> Result<Vec<AthleteId>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        "select athlete_id from attendance where club_id = $1 and session_id = $2 and deleted_at is null",
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    let people = People::of(tx, ids.iter().copied().map(AthleteId)).await?;
    Ok(ids.into_iter().map(AthleteId).filter(|athlete| people.sees(*athlete)).collect())
}

/// Whether anybody's attendance is noted, seen by the actor or not.
pub async fn is_attended(tx: &mut ClubTx, session: SessionId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    Ok(sqlx::query_scalar!(
        r#"
        select exists (
          select from attendance where club_id = $1 and session_id = $2 and deleted_at is null
        ) as "is!"
        "#,
        club,
        session.0
    )
    .fetch_one(tx.conn())
    .await?)
}

/// The groups of a session that the actor sees.
pub async fn groups(tx: &mut ClubTx, session: SessionId) -> Result<Vec<GroupId>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        r#"select scope_id as "id!" from session_scope where club_id = $1 and session_id = $2 order by scope_id"#,
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids.into_iter().map(GroupId).filter(|group| tx.actor.sees(*group)).collect())
}

/// The club's barriers.
pub async fn equipment(tx: &mut ClubTx) -> Result<Vec<Equipment>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, barrier_kind, heights_mm, count
        from equipment
        where club_id = $1 and deleted_at is null
        order by id
        "#,
        club
    )
    .fetch_all(tx.conn())
    .await?;
    let corrupt = || StoreError::Corrupt("equipment");
    rows.into_iter()
        .map(|row| {
            let heights = row.heights_mm.into_iter().map(|mm| length(mm, "equipment"));
            Ok(Equipment {
                id: row.id,
                kind: BarrierKind::from_word(&row.barrier_kind).ok_or_else(corrupt)?,
                heights: heights.collect::<Result<_, _>>()?,
                count: u32::try_from(row.count).map_err(|_| corrupt())?,
            })
        })
        .collect()
}

fn ids_of(people: &[AthleteId]) -> Vec<Uuid> {
    people.iter().map(|athlete| athlete.0).collect()
}

/// What was found in the latest plan of each session of the four weeks before a day, the latest session first; a session that was
/// cancelled served nobody.
pub async fn lately(tx: &mut ClubTx, before: NaiveDate) -> Result<Vec<serde_json::Value>, StoreError> {
    let (club, from) = (tx.club.0, before - chrono::Duration::days(28));
    Ok(sqlx::query_scalar!(
        r#"
        select p.plan
        from lane_plans p
        join sessions s on s.club_id = $1 and s.id = p.session_id and s.deleted_at is null and s.state <> 'cancelled'
        where p.club_id = $1 and p.deleted_at is null and s.held_on >= $2 and s.held_on < $3
          and not exists (
            select from lane_plans later
            where later.club_id = $1 and later.session_id = p.session_id and later.deleted_at is null
              and (later.created_at, later.id) > (p.created_at, p.id)
          )
        order by s.held_on desc, p.id
        limit 60
        "#,
        club,
        from,
        before
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Inserts a plan, which heeds what was on file at a moment; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: LanePlanId, plan: &Plan, known_at: DateTime<Utc>) -> Result<bool, StoreError> {
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let done = sqlx::query!(
        r#"
        insert into lane_plans as x
          (club_id, id, session_id, request, plan, people, created_by, created_at, updated_at, known_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $8, $9)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        plan.session.0,
        plan.request,
        plan.content,
        &ids_of(&plan.people),
        actor,
        Utc::now(),
        known_at
    )
    .execute(tx.changing(Change::put(Kind::LanePlan, id).under(plan.session)))
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A plan of a session.
pub async fn find(tx: &mut ClubTx, session: SessionId, id: LanePlanId) -> Result<Option<StoredPlan>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop().filter(|plan| plan.value.session == session))
}

/// For what these plans were made.
#[derive(Clone, Copy, Debug)]
pub struct Made {
    /// The day of the session.
    pub on: NaiveDate,
    /// What is wrong with its surface by now.
    pub surface: Option<Surface>,
    /// The moment up to which the plan heeds what is on file.
    pub known_at: DateTime<Utc>,
}

/// For what these plans were made.
pub async fn made(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, Made>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select p.id, s.held_on, s.surface, coalesce(p.known_at, p.created_at) as "known_at!"
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from lane_plans r where r.club_id = $1 and r.id = i.one offset 0) p
        cross join lateral (select * from sessions r where r.club_id = $1 and r.id = p.session_id offset 0) s
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let word = |word: &str| Surface::from_word(word).ok_or(StoreError::Corrupt("session"));
    rows.into_iter()
        .map(|row| {
            let surface = row.surface.as_deref().map(word).transpose()?;
            Ok((row.id, Made { on: row.held_on, surface, known_at: row.known_at }))
        })
        .collect()
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<StoredPlan>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, session_id, request, plan, people
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from lane_plans r where r.club_id = $1 and r.id = i.one offset 0) x
        where x.deleted_at is null
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// A plan with its version, when the actor sees its session.
pub async fn seen(tx: &mut ClubTx, id: LanePlanId) -> Result<Option<StoredPlan>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    // A session is looked for when nothing was found too, so that the answer takes as long as for a plan that is hidden.
    let of = found.as_ref().map_or(SessionId(Uuid::nil()), |plan| plan.value.session);
    let seen = session_store::session(tx, of).await?.is_some();
    Ok(found.filter(|_| seen))
}

/// A plan of any session that the actor sees.
pub async fn find_anywhere(tx: &mut ClubTx, id: LanePlanId) -> Result<Option<Plan>, StoreError> {
    Ok(seen(tx, id).await?.map(|found| found.value))
}

/// The plans of a session, by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    session: SessionId,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<StoredPlan>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, session_id, request, plan, people
        from lane_plans
        where club_id = $1 and session_id = $2 and deleted_at is null and id >= $3
        order by id
        limit $4
        "#,
        club,
        session.0,
        page::from(after),
        fetch
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// Saves a changed plan, which heeds what was on file at a moment.
pub async fn save(tx: &mut ClubTx, id: LanePlanId, plan: &Plan, known_at: DateTime<Utc>) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update lane_plans
        set request = $3, plan = $4, people = $5, updated_at = $6, known_at = $7
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        plan.request,
        plan.content,
        &ids_of(&plan.people),
        Utc::now(),
        known_at
    )
    .execute(tx.changing(Change::put(Kind::LanePlan, id).under(plan.session)))
    .await?;
    Ok(())
}

/// Deletes a plan; what it says of athletes goes at once.
pub async fn remove(tx: &mut ClubTx, session: SessionId, id: LanePlanId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update lane_plans
        set request = '{}', plan = '{}', people = '{}', deleted_at = $3, updated_at = $3
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::LanePlan, id).under(session)))
    .await?;
    Ok(())
}
