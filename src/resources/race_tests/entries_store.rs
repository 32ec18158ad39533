//! Rows of the entries of race tests.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use uuid::Uuid;

use super::readiness_shapes::{Looked, ReadinessView};
use super::store::StoredTest;
use crate::compute::decision::Surface;
use crate::compute::race::{Basis, Expected};
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, RaceEntryId, RaceTestId};
use crate::platform::people::People;
use crate::resources::advice::{self, Planned, UnusableView};

/// An athlete who is entered.
#[derive(Clone, Debug)]
pub struct Entrant {
    /// The entry.
    pub entry: RaceEntryId,
    /// The athlete.
    pub athlete: AthleteId,
    /// How the squad calls them; none when the actor does not see the athlete.
    pub name: Option<String>,
    /// The time expected at the draw.
    pub expected: Option<Expected>,
    /// Heat and lane, after the draw.
    pub place: Option<(i16, i16)>,
    /// Start after the first of the heat, milliseconds (ms).
    pub offset_ms: Option<i32>,
    /// Whether a coach entered the athlete although not ready.
    pub coach_accepts: bool,
    /// How ready the athlete was when last looked at, and what came since.
    pub readiness: Option<ReadinessView>,
    /// What on file could not be used then.
    pub unusable: Option<UnusableView>,
}

fn corrupt() -> StoreError {
    StoreError::Corrupt("race entry")
}

fn expected(ms: Option<i32>, sd: Option<i32>, basis: Option<String>) -> Result<Option<Expected>, StoreError> {
    let Some(((ms, sd), basis)) = ms.zip(sd).zip(basis) else { return Ok(None) };
    Ok(Some(Expected {
        time_ms: u32::try_from(ms).map_err(|_| corrupt())?,
        sd_ms: u32::try_from(sd).map_err(|_| corrupt())?,
        basis: Basis::from_word(&basis).ok_or_else(corrupt)?,
    }))
}

impl Entrant {
    /// Whether the actor sees the athlete.
    pub fn visible(&self) -> bool {
        self.name.is_some()
    }
}

/// What phones learn of entries: that they changed, or that they are no more. They are seen with their athlete.
pub fn entry_changes(entrants: &[Entrant], stays: impl Fn(&Entrant) -> bool) -> Vec<Change> {
    let change = |one: &Entrant| {
        let kind = Kind::RaceEntry;
        let change = if stays(one) { Change::put(kind, one.entry) } else { Change::remove(kind, one.entry) };
        change.under(one.athlete)
    };
    entrants.iter().map(change).collect()
}

/// An entry as it is stored.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The id.
    pub id: RaceEntryId,
    /// Number of the last change.
    pub rev: i64,
    /// The race test.
    pub test: RaceTestId,
    /// The athlete.
    pub athlete: AthleteId,
    /// The time expected at the draw.
    pub expected: Option<Expected>,
    /// Heat and lane, after the draw.
    pub place: Option<(i16, i16)>,
    /// Start after the first of the heat, milliseconds (ms).
    pub offset_ms: Option<i32>,
    /// Whether a coach entered the athlete although not ready.
    pub coach_accepts: bool,
    /// How ready the athlete was when last looked at, and what came since.
    pub readiness: Option<ReadinessView>,
    /// What on file could not be used then.
    pub unusable: Option<UnusableView>,
}

/// What an entry is for, by now.
#[derive(Clone, Copy, Debug)]
struct Race {
    test: RaceTestId,
    /// The day of its session.
    on: NaiveDate,
    /// What is wrong with its surface.
    surface: Option<Surface>,
}

/// What these entries are for.
async fn races(tx: &mut ClubTx, entries: &[Uuid]) -> Result<HashMap<Uuid, Race>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select e.id, e.race_test_id, s.held_on, s.surface
        from race_entries e
        join race_tests t on t.club_id = $1 and t.id = e.race_test_id
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where e.club_id = $1 and e.id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        entries
    )
    .fetch_all(tx.conn())
    .await?;
    let parsed = |word: &str| Surface::from_word(word).ok_or(StoreError::Corrupt("session"));
    rows.into_iter()
        .map(|row| {
            let surface = row.surface.as_deref().map(parsed).transpose()?;
            Ok((row.id, Race { test: RaceTestId(row.race_test_id), on: row.held_on, surface }))
        })
        .collect()
}

/// What was found of entries, by entry, with what came since: of each its id, athlete, when they were entered, and what is stored,
/// none from before it was looked at. Whose record could not be used is looked at again by the next draw, whatever came.
async fn looked_at<'a>(
    tx: &mut ClubTx,
    looked: impl Iterator<Item = (Uuid, AthleteId, DateTime<Utc>, Option<&'a Value>)>,
) -> Result<HashMap<Uuid, Looked>, StoreError> {
    let (mut found, mut asked) = (HashMap::new(), Vec::new());
    for (entry, athlete, created_at, kept) in looked {
        let Some(one) = kept.map(Looked::stored).transpose()? else { continue };
        if let Looked::Ready(view) = &one {
            asked.push((entry, [athlete], view.looked_at.unwrap_or(created_at)));
        }
        found.insert(entry, one);
    }
    if asked.is_empty() {
        return Ok(found);
    }
    let entries: Vec<Uuid> = asked.iter().map(|(id, ..)| *id).collect();
    let races = races(tx, &entries).await?;
    let planned = asked.iter().filter_map(|(id, people, known_at)| {
        let Race { test, on, .. } = *races.get(id)?;
        Some(Planned { id: *id, people, on, known_at: *known_at, race: Some(test) })
    });
    for (entry, people) in advice::since(tx, &planned.collect::<Vec<_>>()).await? {
        let Some((Looked::Ready(view), race)) = found.get_mut(&entry).zip(races.get(&entry)) else { continue };
        for since in people.values() {
            view.overtake(since, race.surface);
        }
    }
    Ok(found)
}

/// The entries with these ids.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Entry>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, rev, race_test_id, athlete_id, expected_ms, expected_sd_ms, expected_basis, heat, lane, offset_ms,
          coach_accepts, readiness, created_at
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from race_entries r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let looked = rows.iter().map(|row| (row.id, AthleteId(row.athlete_id), row.created_at, row.readiness.as_ref()));
    let mut found = looked_at(tx, looked).await?;
    rows.into_iter()
        .map(|row| {
            let (readiness, unusable) = found.remove(&row.id).map_or((None, None), Looked::parts);
            Ok(Entry {
                id: RaceEntryId(row.id),
                rev: row.rev,
                test: RaceTestId(row.race_test_id),
                athlete: AthleteId(row.athlete_id),
                expected: expected(row.expected_ms, row.expected_sd_ms, row.expected_basis)?,
                place: row.heat.zip(row.lane),
                offset_ms: row.offset_ms,
                coach_accepts: row.coach_accepts,
                readiness,
                unusable,
            })
        })
        .collect()
}

/// Everybody who is entered, by heat, lane and id, seen by the actor or not.
///
/// Who is withheld from whom this is read for has a lane like anybody else: two athletes never share one.
pub async fn entrants(tx: &mut ClubTx, test: RaceTestId) -> Result<Vec<Entrant>, StoreError> {
    let (club, audience) = (tx.club.0, tx.audience());
    tx.see_as(None).await?;
    let rows = sqlx::query!(
        r#"
        select e.id, e.athlete_id, e.expected_ms, e.expected_sd_ms, e.expected_basis, e.heat, e.lane, e.offset_ms,
          e.coach_accepts, e.readiness, e.created_at
        from race_entries e
        join athletes a on a.club_id = $1 and a.id = e.athlete_id and a.deleted_at is null
        where e.club_id = $1 and e.race_test_id = $2
        order by e.heat, e.lane, e.athlete_id
        "#,
        club,
        test.0
    )
    .fetch_all(tx.conn())
    .await?;
    tx.see_as(audience).await?;
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let looked = rows.iter().map(|row| (row.id, AthleteId(row.athlete_id), row.created_at, row.readiness.as_ref()));
    let mut found = looked_at(tx, looked).await?;
    rows.into_iter()
        .map(|row| {
            let (readiness, unusable) = found.remove(&row.id).map_or((None, None), Looked::parts);
            Ok(Entrant {
                entry: RaceEntryId(row.id),
                athlete: AthleteId(row.athlete_id),
                name: people.name(AthleteId(row.athlete_id)).map(str::to_owned),
                expected: expected(row.expected_ms, row.expected_sd_ms, row.expected_basis)?,
                place: row.heat.zip(row.lane),
                offset_ms: row.offset_ms,
                coach_accepts: row.coach_accepts,
                readiness,
                unusable,
            })
        })
        .collect()
}

/// Where an athlete runs by a draw.
#[derive(Clone, Debug)]
pub struct Placed {
    /// The athlete.
    pub athlete: AthleteId,
    /// The expected time.
    pub expected: Option<Expected>,
    /// Heat and lane; none for who rests.
    pub place: Option<(i16, i16)>,
    /// Start after the first of the heat, milliseconds (ms).
    pub offset_ms: Option<i32>,
    /// What was found when the athlete was looked at, as JSON.
    pub readiness: Value,
}

/// An athlete to be entered.
#[derive(Clone, Debug)]
pub struct Entering {
    /// The athlete.
    pub athlete: AthleteId,
    /// Whether a coach enters the athlete although not ready.
    pub coach_accepts: bool,
    /// What was found when the athlete was looked at, as JSON.
    pub readiness: Value,
}

/// Enters and withdraws athletes; the heats are taken back.
pub async fn set_entries(
    tx: &mut ClubTx,
    test: &StoredTest,
    before: &[Entrant],
    came: &[Entering],
    gone: &[AthleteId],
) -> Result<(), StoreError> {
    let (club, now) = (tx.club.0, Utc::now());
    let gone_ids: Vec<Uuid> = gone.iter().map(|id| id.0).collect();
    sqlx::query!(
        "update race_tests set draw = null, updated_at = $3 where club_id = $1 and id = $2",
        club,
        test.id.0,
        now
    )
    .execute(tx.changing(Change::put(Kind::RaceTest, test.id).under(test.value.test.session)))
    .await?;
    let (left, stay): (Vec<Entrant>, _) = before.iter().cloned().partition(|one| gone.contains(&one.athlete));
    sqlx::query!(
        "delete from race_entries where club_id = $1 and race_test_id = $2 and athlete_id = any ($3)",
        club,
        test.id.0,
        &gone_ids
    )
    .execute(tx.changing_all(entry_changes(&left, |_| false)))
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
    .execute(tx.changing_all(if test.value.draw.is_some() { entry_changes(&stay, |_| true) } else { Vec::new() }))
    .await?;
    let ids: Vec<Uuid> = came.iter().map(|_| RaceEntryId::new().0).collect();
    let athletes: Vec<Uuid> = came.iter().map(|one| one.athlete.0).collect();
    let accepted: Vec<bool> = came.iter().map(|one| one.coach_accepts).collect();
    let readiness: Vec<Value> = came.iter().map(|one| one.readiness.clone()).collect();
    let entered = ids.iter().zip(came).map(|(id, one)| Change::put(Kind::RaceEntry, *id).under(one.athlete));
    sqlx::query!(
        r#"
        insert into race_entries as x (club_id, race_test_id, id, athlete_id, created_at, coach_accepts, readiness)
        select c.id, $2, u.id, u.athlete_id, $5, u.coach_accepts, u.readiness
        from clubs c
        cross join unnest($3::uuid[], $4::uuid[], $6::boolean[], $7::jsonb[])
          as u (id, athlete_id, coach_accepts, readiness)
        where c.id = $1
        on conflict (club_id, race_test_id, athlete_id) do nothing
        "#,
        club,
        test.id.0,
        &ids,
        &athletes,
        now,
        &accepted,
        &readiness
    )
    .execute(tx.changing_all(entered))
    .await?;
    Ok(())
}

/// Stores a draw: what was asked, and where everybody who is entered runs.
pub async fn place(
    tx: &mut ClubTx,
    test: &StoredTest,
    entrants: &[Entrant],
    draw: &Value,
    placed: &[Placed],
) -> Result<(), StoreError> {
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
                "readiness": one.readiness,
            })
        })
        .collect();
    sqlx::query!(
        r#"
        update race_entries x
        set heat = u.heat, lane = u.lane, offset_ms = u.offset_ms, expected_ms = u.expected_ms,
            expected_sd_ms = u.expected_sd_ms, expected_basis = u.expected_basis, readiness = u.readiness
        from jsonb_to_recordset($3::jsonb) as u (
          athlete_id uuid, expected_ms integer, expected_sd_ms integer, expected_basis text, heat smallint, lane smallint,
          offset_ms integer, readiness jsonb)
        where x.club_id = $1 and x.race_test_id = $2 and x.athlete_id = u.athlete_id
        "#,
        club,
        test.id.0,
        Value::Array(rows)
    )
    .execute(tx.changing_all(entry_changes(entrants, |_| true)))
    .await?;
    Ok(())
}
