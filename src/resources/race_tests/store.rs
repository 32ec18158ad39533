//! Rows of race tests.

use chrono::{NaiveDate, Utc};
use serde_json::Value;
use uuid::Uuid;

use super::entries_store::{Entrant, entry_changes};
use super::model::{Method, RaceTest, Specification, State};
use crate::compute::race::Course;
use crate::platform::db::{Change, ClubTx, Kind, Parts, StoreError};
use crate::platform::ids::{RaceTestId, SessionId};
use crate::platform::stored::Stored;
use crate::resources::advice::{length, mm};

/// A race test with what is stored beside it.
#[derive(Clone, Debug)]
pub struct Held {
    /// The race test.
    pub test: RaceTest,
    /// The day of its session.
    pub held_on: NaiveDate,
    /// What was asked of the heats; none before the draw.
    pub draw: Option<Value>,
}

/// A race test as it is stored.
pub type StoredTest = Stored<RaceTestId, Held>;

/// What a race test needs to know of its session.
#[derive(Clone, Debug)]
pub struct SessionInfo {
    /// The day.
    pub held_on: NaiveDate,
    /// Indoor or outdoor, by its venue.
    pub environment: Option<String>,
    /// Lanes of its venue.
    pub lanes: Option<i16>,
}

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    session_id: Uuid,
    held_on: NaiveDate,
    name: String,
    state: String,
    ruleset: Option<String>,
    event_code: Option<String>,
    environment: Option<String>,
    sex: Option<String>,
    age_group: Option<String>,
    race_distance_mm: i32,
    barriers: i16,
    height_mm: i32,
    approach_mm: i32,
    spacing_mm: i32,
    discounted: bool,
    timing_method: String,
    draw: Option<Value>,
}

fn corrupt() -> StoreError {
    StoreError::Corrupt("race test")
}

/// A course from its columns: race distance, height, approach, spacing in millimetres (mm), barriers.
pub fn course([distance, height, approach, spacing]: [i32; 4], barriers: i16) -> Result<Course, StoreError> {
    let length = |mm| length(mm, "race test");
    Ok(Course {
        race_distance: length(distance)?,
        barriers: u8::try_from(barriers).map_err(|_| corrupt())?,
        height: length(height)?,
        approach: length(approach)?,
        spacing: length(spacing)?,
    })
}

impl TryFrom<Row> for StoredTest {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let figures = [row.race_distance_mm, row.height_mm, row.approach_mm, row.spacing_mm];
        let test = RaceTest {
            session: SessionId(row.session_id),
            name: row.name,
            state: State::parse(&row.state).map_err(|_| corrupt())?,
            specification: Specification {
                ruleset: row.ruleset,
                event_code: row.event_code,
                environment: row.environment,
                sex: row.sex,
                age_group: row.age_group,
                course: course(figures, row.barriers)?,
                discounted: row.discounted,
            },
            timing: Method::parse(&row.timing_method).map_err(|_| corrupt())?,
        };
        Ok(Self { id: RaceTestId(row.id), rev: row.rev, value: Held { test, held_on: row.held_on, draw: row.draw } })
    }
}

/// The session, when the actor sees it.
pub async fn session(tx: &mut ClubTx, id: SessionId) -> Result<Option<SessionInfo>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let found = sqlx::query_as!(
        SessionInfo,
        r#"
        select x.held_on, v.environment as "environment?", v.lanes as "lanes?"
        from sessions x
        left join venues v on v.club_id = $1 and v.id = x.venue_id and v.deleted_at is null
        where x.club_id = $1 and x.id = $2 and x.deleted_at is null
          and ($3::uuid[] is null or exists (
            select from session_scope g
            where g.club_id = $1 and g.session_id = x.id and g.scope_id = any ($3)
          ))
        "#,
        club,
        id.0,
        groups.as_deref()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(found)
}

/// Inserts a race test; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: RaceTestId, test: &RaceTest) -> Result<bool, StoreError> {
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let (spec, course) = (&test.specification, test.specification.course);
    let done = sqlx::query!(
        r#"
        insert into race_tests as x
          (club_id, id, session_id, name, state, ruleset, event_code, environment, sex, age_group, race_distance_mm,
           barriers, height_mm, approach_mm, spacing_mm, discounted, timing_method, created_by, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $19)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        test.session.0,
        test.name,
        test.state.as_str(),
        spec.ruleset,
        spec.event_code,
        spec.environment,
        spec.sex,
        spec.age_group,
        mm(course.race_distance),
        i16::from(course.barriers),
        mm(course.height),
        mm(course.approach),
        mm(course.spacing),
        spec.discounted,
        test.timing.as_str(),
        actor,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, id).under(test.session)))
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Which race tests a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    /// Only of this session.
    pub session: Option<SessionId>,
    /// Of sessions from this day on.
    pub from: Option<NaiveDate>,
    /// Of sessions up to this day.
    pub to: Option<NaiveDate>,
}

/// The race tests of sessions that the actor sees: what a list and one of them have in common.
fn seen(tx: &ClubTx) -> Result<Parts, StoreError> {
    let mut list = Parts::new(
        tx,
        "select t.id, t.rev, t.session_id, s.held_on, t.name, t.state, t.ruleset, t.event_code, t.environment, t.sex, \
         t.age_group, t.race_distance_mm, t.barriers, t.height_mm, t.approach_mm, t.spacing_mm, t.discounted, \
         t.timing_method, t.draw from race_tests t join sessions s on s.club_id = $1 and s.id = t.session_id and \
         s.deleted_at is null where t.club_id = $1 and t.deleted_at is null",
    )?;
    if let Some(groups) = tx.actor.group_ids() {
        let seen = " and exists (select from session_scope v where v.club_id = $1 and v.session_id = t.session_id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    Ok(list)
}

/// The race tests of sessions that the actor sees, latest day first, after the day and id of `after`.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<(NaiveDate, Uuid)>,
    fetch: i64,
) -> Result<Vec<StoredTest>, StoreError> {
    let mut list = seen(tx)?;
    if let Some(session) = filter.session {
        list.with(" and t.session_id = ?", session.0)?;
    }
    if let Some(from) = filter.from {
        list.with(" and s.held_on >= ?", from)?;
    }
    if let Some(to) = filter.to {
        list.with(" and s.held_on <= ?", to)?;
    }
    if let Some((day, id)) = after {
        list.with(" and (s.held_on, t.id) < (?", day)?;
        list.with(", ?)", id)?;
    }
    list.first::<Row>(tx, "held_on desc, id desc", fetch).await?.into_iter().map(TryInto::try_into).collect()
}

/// A race test, when the actor sees its session.
pub async fn find(tx: &mut ClubTx, id: RaceTestId) -> Result<Option<StoredTest>, StoreError> {
    let mut list = seen(tx)?;
    list.with(" and t.id = ?", id.0)?;
    list.all::<Row>(tx).await?.pop().map(TryInto::try_into).transpose()
}

/// Race tests with these ids, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<StoredTest>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select t.id, t.rev, t.session_id, s.held_on, t.name, t.state, t.ruleset, t.event_code, t.environment, t.sex,
          t.age_group, t.race_distance_mm, t.barriers, t.height_mm, t.approach_mm, t.spacing_mm, t.discounted,
          t.timing_method, t.draw
        from race_tests t
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where t.club_id = $1 and t.id = any ((select $2::uuid[])::uuid[]) and t.deleted_at is null
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

/// Saves the parts that can change.
pub async fn save(tx: &mut ClubTx, id: RaceTestId, test: &RaceTest) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update race_tests
        set name = $3, state = $4, timing_method = $5, updated_at = $6
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        test.name,
        test.state.as_str(),
        test.timing.as_str(),
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, id).under(test.session)))
    .await?;
    Ok(())
}

/// Deletes a race test in which nothing was recorded, with its entries.
pub async fn remove(
    tx: &mut ClubTx,
    id: RaceTestId,
    session: SessionId,
    entrants: &[Entrant],
) -> Result<(), StoreError> {
    let club = tx.club.0;
    let used = sqlx::query_scalar!(
        r#"select exists (select from race_results where club_id = $1 and race_test_id = $2) as "used!""#,
        club,
        id.0
    )
    .fetch_one(tx.conn())
    .await?;
    if used {
        return Err(StoreError::Conflict(
            "Results were recorded in this race test; it stays as their record.".to_owned(),
        ));
    }
    sqlx::query!(
        "update race_tests set draw = null, deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::RaceTest, id).under(session)))
    .await?;
    sqlx::query!("delete from race_entries where club_id = $1 and race_test_id = $2", club, id.0)
        .execute(tx.changing_all(entry_changes(entrants, |_| false)))
        .await?;
    Ok(())
}
