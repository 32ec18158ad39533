//! Rows of race tests and their entries.

use chrono::{NaiveDate, Utc};
use serde_json::Value;
use uuid::Uuid;

use super::model::{Changeable, Method, RaceTest, Specification, State};
use crate::compute::race::{Basis, Course, Expected};
use crate::compute::units::Length;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, RaceTestId, SessionId};
use crate::platform::stored::Stored;

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

/// An athlete who is entered.
#[derive(Clone, Debug)]
pub struct Entrant {
    /// The athlete.
    pub athlete: AthleteId,
    /// How the squad calls them.
    pub display_name: String,
    /// Whether the actor sees the athlete.
    pub visible: bool,
    /// The time expected at the draw.
    pub expected: Option<Expected>,
    /// Heat and lane, after the draw.
    pub place: Option<(i16, i16)>,
    /// Start after the first of the heat, milliseconds (ms).
    pub offset_ms: Option<i32>,
}

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

/// Millimetres as the database keeps them.
pub fn mm(length: Length) -> i32 {
    i32::try_from(length.mm()).unwrap_or(i32::MAX)
}

/// A course from its columns: race distance, height, approach, spacing in millimetres (mm), barriers.
pub fn course([distance, height, approach, spacing]: [i32; 4], barriers: i16) -> Result<Course, StoreError> {
    let length = |mm: i32| u32::try_from(mm).map(Length::from_mm).map_err(|_| corrupt());
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
            select from root_scope g
            where g.club_id = $1 and g.root_id = x.id and g.scope_id = any ($3)
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
    /// Only this one.
    pub id: Option<RaceTestId>,
    /// Only of this session.
    pub session: Option<SessionId>,
    /// Of sessions from this day on.
    pub from: Option<NaiveDate>,
    /// Of sessions up to this day.
    pub to: Option<NaiveDate>,
}

/// The race tests of sessions that the actor sees, latest day first, after the day and id of `after`.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<(NaiveDate, Uuid)>,
    fetch: i64,
) -> Result<Vec<StoredTest>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    sqlx::query_as!(
        Row,
        r#"
        select t.id, t.rev, t.session_id, s.held_on, t.name, t.state, t.ruleset, t.event_code, t.environment, t.sex,
          t.age_group, t.race_distance_mm, t.barriers, t.height_mm, t.approach_mm, t.spacing_mm, t.discounted,
          t.timing_method, t.draw
        from race_tests t
        join sessions s on s.club_id = $1 and s.id = t.session_id and s.deleted_at is null
        where t.club_id = $1 and t.deleted_at is null
          and ($2::uuid[] is null or exists (
            select from root_scope v
            where v.club_id = $1 and v.root_id = t.session_id and v.scope_id = any ($2)
          ))
          and ($3::uuid is null or t.id = $3)
          and ($4::uuid is null or t.session_id = $4)
          and ($5::date is null or s.held_on >= $5)
          and ($6::date is null or s.held_on <= $6)
          and ($7::date is null or (s.held_on, t.id) < ($7, $8))
        order by s.held_on desc, t.id desc
        limit $9
        "#,
        club,
        groups.as_deref(),
        filter.id.map(|id| id.0),
        filter.session.map(|id| id.0),
        filter.from,
        filter.to,
        after.map(|(day, _)| day),
        after.map(|(_, id)| id),
        fetch
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// A race test, when the actor sees its session.
pub async fn find(tx: &mut ClubTx, id: RaceTestId) -> Result<Option<StoredTest>, StoreError> {
    Ok(page(tx, &Filter { id: Some(id), ..Filter::default() }, None, 1).await?.into_iter().next())
}

/// Saves the parts that can change.
pub async fn save(tx: &mut ClubTx, before: &StoredTest, parts: &Changeable) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update race_tests
        set name = $3, state = $4, timing_method = $5, updated_at = $6
        where club_id = $1 and id = $2
        "#,
        club,
        before.id.0,
        parts.name,
        parts.state.as_str(),
        parts.timing.as_str(),
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, before.id).under(before.value.test.session)))
    .await?;
    Ok(())
}

/// Deletes a race test in which nothing was recorded, with its entries.
pub async fn remove(tx: &mut ClubTx, before: &StoredTest) -> Result<(), StoreError> {
    let club = tx.club.0;
    let used = sqlx::query_scalar!(
        r#"select exists (select from race_results where club_id = $1 and race_test_id = $2) as "used!""#,
        club,
        before.id.0
    )
    .fetch_one(tx.conn())
    .await?;
    if used {
        return Err(StoreError::Conflict(
            "Results were recorded in this race test; it stays as their record.".to_owned(),
        ));
    }
    let session = before.value.test.session;
    sqlx::query!(
        "update race_tests set draw = null, deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        before.id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::RaceTest, before.id).under(session)))
    .await?;
    sqlx::query!("delete from race_entries where club_id = $1 and race_test_id = $2", club, before.id.0)
        .execute(tx.changing_all([]))
        .await?;
    Ok(())
}

/// Everybody who is entered, by heat, lane and id, seen by the actor or not.
pub async fn entrants(tx: &mut ClubTx, test: RaceTestId) -> Result<Vec<Entrant>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let rows = sqlx::query!(
        r#"
        select e.athlete_id, a.display_name, e.expected_ms, e.expected_sd_ms, e.expected_basis, e.heat, e.lane, e.offset_ms,
          ($3::uuid[] is null or exists (
            select from root_scope v
            where v.club_id = $1 and v.root_id = e.athlete_id and v.scope_id = any ($3)
          )) as "visible!"
        from race_entries e
        join athletes a on a.club_id = $1 and a.id = e.athlete_id and a.deleted_at is null
        where e.club_id = $1 and e.race_test_id = $2
        order by e.heat, e.lane, e.athlete_id
        "#,
        club,
        test.0,
        groups.as_deref()
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let expected = row.expected_ms.zip(row.expected_sd_ms).zip(row.expected_basis).map(|((ms, sd), basis)| {
                Ok::<_, StoreError>(Expected {
                    time_ms: u32::try_from(ms).map_err(|_| corrupt())?,
                    sd_ms: u32::try_from(sd).map_err(|_| corrupt())?,
                    basis: Basis::from_word(&basis).ok_or_else(corrupt)?,
                })
            });
            Ok(Entrant {
                athlete: AthleteId(row.athlete_id),
                display_name: row.display_name,
                visible: row.visible,
                expected: expected.transpose()?,
                place: row.heat.zip(row.lane),
                offset_ms: row.offset_ms,
            })
        })
        .collect()
}

/// The athletes among `ids` that the actor sees, with the last day of a restriction.
pub async fn visible(tx: &mut ClubTx, ids: &[AthleteId]) -> Result<Vec<(AthleteId, Option<NaiveDate>)>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let ids: Vec<Uuid> = ids.iter().map(|id| id.0).collect();
    let rows = sqlx::query!(
        r#"
        select a.id, a.restricted_until
        from athletes a
        where a.club_id = $1 and a.id = any ($2) and a.deleted_at is null
          and ($3::uuid[] is null or exists (
            select from root_scope v
            where v.club_id = $1 and v.root_id = a.id and v.scope_id = any ($3)
          ))
        "#,
        club,
        &ids,
        groups.as_deref()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (AthleteId(row.id), row.restricted_until)).collect())
}

/// Enters and withdraws athletes; the heats are taken back.
pub async fn set_entries(
    tx: &mut ClubTx,
    test: &StoredTest,
    came: &[AthleteId],
    gone: &[AthleteId],
) -> Result<(), StoreError> {
    let (club, now) = (tx.club.0, Utc::now());
    let plain = |ids: &[AthleteId]| -> Vec<Uuid> { ids.iter().map(|id| id.0).collect() };
    sqlx::query!(
        "update race_tests set draw = null, updated_at = $3 where club_id = $1 and id = $2",
        club,
        test.id.0,
        now
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, test.id).under(test.value.test.session)))
    .await?;
    // Entries are part of their race test, whose change is noted above.
    sqlx::query!(
        "delete from race_entries where club_id = $1 and race_test_id = $2 and athlete_id = any ($3)",
        club,
        test.id.0,
        &plain(gone)
    )
    .execute(tx.changing_all([]))
    .await?;
    sqlx::query!(
        r#"
        update race_entries
        set heat = null, lane = null, offset_ms = null, expected_ms = null, expected_sd_ms = null, expected_basis = null
        where club_id = $1 and race_test_id = $2
        "#,
        club,
        test.id.0
    )
    .execute(tx.changing_all([]))
    .await?;
    sqlx::query!(
        r#"
        insert into race_entries as x (club_id, race_test_id, athlete_id, created_at)
        select c.id, $2, u.athlete_id, $4
        from clubs c
        cross join unnest($3::uuid[]) as u (athlete_id)
        where c.id = $1
        on conflict (club_id, race_test_id, athlete_id) do nothing
        "#,
        club,
        test.id.0,
        &plain(came),
        now
    )
    .execute(tx.changing_all([]))
    .await?;
    Ok(())
}

/// Stores a draw: what was asked, and where everybody runs.
pub async fn place(tx: &mut ClubTx, test: &StoredTest, draw: &Value, placed: &[Entrant]) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update race_tests set draw = $3, updated_at = $4 where club_id = $1 and id = $2",
        club,
        test.id.0,
        draw,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, test.id).under(test.value.test.session)))
    .await?;
    let rows: Vec<Value> = placed
        .iter()
        .map(|one| {
            serde_json::json!({
                "athlete_id": one.athlete,
                "expected_ms": one.expected.map(|expected| expected.time_ms),
                "expected_sd_ms": one.expected.map(|expected| expected.sd_ms),
                "expected_basis": one.expected.map_or("unknown", |expected| expected.basis.as_str()),
                "heat": one.place.map(|(heat, _)| heat),
                "lane": one.place.map(|(_, lane)| lane),
                "offset_ms": one.offset_ms,
            })
        })
        .collect();
    sqlx::query!(
        r#"
        update race_entries x
        set heat = u.heat, lane = u.lane, offset_ms = u.offset_ms, expected_ms = u.expected_ms,
            expected_sd_ms = u.expected_sd_ms, expected_basis = u.expected_basis
        from jsonb_to_recordset($3::jsonb) as u (
          athlete_id uuid, expected_ms integer, expected_sd_ms integer, expected_basis text, heat smallint, lane smallint,
          offset_ms integer)
        where x.club_id = $1 and x.race_test_id = $2 and x.athlete_id = u.athlete_id
        "#,
        club,
        test.id.0,
        Value::Array(rows)
    )
    .execute(tx.changing_all([]))
    .await?;
    Ok(())
}
