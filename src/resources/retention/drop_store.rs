//! Deletes what is old: the rows go, and phones are told that each was deleted.

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::due_store::Table;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, GroupId, SessionId};

/// Sessions that one transaction deletes.
const SESSIONS: i64 = 20;

/// Deletes records of a table about one athlete.
pub async fn delete(tx: &mut ClubTx, table: Table, athlete: AthleteId, ids: &[Uuid]) -> Result<(), StoreError> {
    let club = tx.club.0;
    /// Deletes rows of a table whose changes have a kind.
    macro_rules! rows {
        ($table:tt, $kind:ident) => {{
            let changes: Vec<Change> = ids.iter().map(|id| Change::remove(Kind::$kind, *id).under(athlete)).collect();
            sqlx::query!("delete from " + $table + " where club_id = $1 and id = any ($2)", club, ids)
                .execute(tx.changing_all(changes))
                .await?;
        }};
    }
    match table {
        // Erased by those who know all of an athlete.
        Table::Athletes => {}
        Table::WellbeingRecords => rows!("wellbeing_records", WellbeingRecord),
        Table::Measurements => rows!("measurements", Measurement),
        Table::Assessments => rows!("assessments", Assessment),
        Table::Recommendations => rows!("recommendations", Recommendation),
        Table::Runs => rows!("runs", Run),
        Table::RaceResults => rows!("race_results", RaceResult),
    }
    Ok(())
}

/// How many sessions are older than a day: those in which nothing stands any more, and the others.
pub async fn count_sessions(tx: &mut ClubTx, before: NaiveDate) -> Result<(i64, i64), StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!(
        r#"
        select count(*) filter (where o.empty) as "due!", count(*) filter (where not o.empty) as "kept!"
        from (
          select not exists (
              select from runs r where r.club_id = $1 and r.session_id = s.id
            ) and not exists (
              select from assessments x where x.club_id = $1 and x.session_id = s.id
            ) and not exists (
              select from race_tests t
              join race_results r on r.club_id = $1 and r.race_test_id = t.id
              where t.club_id = $1 and t.session_id = s.id
            ) as empty
          from sessions s
          where s.club_id = $1 and s.held_on < $2 and s.deleted_at is null
        ) o
        "#,
        club,
        before
    )
    .fetch_one(tx.conn())
    .await?;
    Ok((row.due, row.kept))
}

/// The next sessions older than a day in which nothing stands any more, with their groups.
async fn empty_sessions(tx: &mut ClubTx, before: NaiveDate) -> Result<Vec<(SessionId, Vec<GroupId>)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select s.id,
          array(
            select g.scope_id from session_scope g where g.club_id = $1 and g.session_id = s.id order by g.scope_id
          ) as "groups!"
        from sessions s
        where s.club_id = $1 and s.held_on < $2 and s.deleted_at is null and not exists (
            select from runs r where r.club_id = $1 and r.session_id = s.id
          ) and not exists (
            select from assessments x where x.club_id = $1 and x.session_id = s.id
          ) and not exists (
            select from race_tests t
            join race_results r on r.club_id = $1 and r.race_test_id = t.id
            where t.club_id = $1 and t.session_id = s.id
          )
        order by s.held_on, s.id
        limit $3
        "#,
        club,
        before,
        SESSIONS
    )
    .fetch_all(tx.conn())
    .await?;
    let groups = |ids: Vec<Uuid>| ids.into_iter().map(GroupId).collect();
    Ok(rows.into_iter().map(|row| (SessionId(row.id), groups(row.groups))).collect())
}

/// Deletes who came to sessions and who was entered in their race tests.
async fn delete_people(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), StoreError> {
    let club = tx.club.0;
    let came =
        sqlx::query!("select id, athlete_id from attendance where club_id = $1 and session_id = any ($2)", club, ids)
            .fetch_all(tx.conn())
            .await?;
    let entered = sqlx::query!(
        r#"
        select e.id, e.athlete_id
        from race_entries e
        join race_tests t on t.club_id = $1 and t.id = e.race_test_id
        where e.club_id = $1 and t.session_id = any ($2)
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let came = came.into_iter().map(|row| Change::remove(Kind::Attendance, row.id).under(AthleteId(row.athlete_id)));
    sqlx::query!("delete from attendance where club_id = $1 and session_id = any ($2)", club, ids)
        .execute(tx.changing_all(came))
        .await?;
    let entered =
        entered.into_iter().map(|row| Change::remove(Kind::RaceEntry, row.id).under(AthleteId(row.athlete_id)));
    sqlx::query!(
        r#"
        delete from race_entries e
        where e.club_id = $1 and e.race_test_id = any (array(
          select t.id from race_tests t where t.club_id = $1 and t.session_id = any ($2)
        ))
        "#,
        club,
        ids
    )
    .execute(tx.changing_all(entered))
    .await?;
    Ok(())
}

/// Deletes some sessions in which nothing stands any more: who came, what was planned and entered goes, an empty stub stays so that
/// phones learn of it. How many.
pub async fn delete_sessions(tx: &mut ClubTx, before: NaiveDate) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let found = empty_sessions(tx, before).await?;
    tx.alone_all(found.iter().map(|(session, _)| session.0)).await?;
    // Whoever had one of them first may have put something into it.
    let found = if found.is_empty() { found } else { empty_sessions(tx, before).await? };
    let ids: Vec<Uuid> = found.iter().map(|(session, _)| session.0).collect();
    if ids.is_empty() {
        return Ok(0);
    }
    delete_people(tx, &ids).await?;
    // Phones drop these with the session.
    let gone = found.iter().map(|(id, groups)| Change::remove(Kind::Session, *id).scopes(ids_of(groups), Vec::new()));
    sqlx::query!(
        r#"
        update sessions
        set blocks = '[]', weather_note = null, note = null, deleted_at = $3, updated_at = $3
        where club_id = $1 and id = any ($2)
        "#,
        club,
        &ids,
        Utc::now()
    )
    .execute(tx.changing_all(gone))
    .await?;
    sqlx::query!("delete from race_tests where club_id = $1 and session_id = any ($2)", club, &ids)
        .execute(tx.unsynced())
        .await?;
    sqlx::query!("delete from lane_plans where club_id = $1 and session_id = any ($2)", club, &ids)
        .execute(tx.unsynced())
        .await?;
    grants::unplace_all(tx, found.iter().map(|(id, _)| *id)).await?;
    Ok(ids.len() as u64)
}
