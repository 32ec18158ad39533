//! What phones are sent anew although nobody wrote it: what they see in it follows from something else.

use std::collections::BTreeMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::db::{Change, ClubTx, Kind, StoreError};
use super::ids::{AthleteId, SessionId};

/// Sends phones the entries of these athletes in race tests anew, from a day on: how ready they are is told with what came
/// since. Before the plans: race tests are locked first, as by a draw, then their entries, then plans.
///
/// # Errors
/// Database errors.
pub async fn entries(tx: &mut ClubTx, athletes: &[Uuid], from: NaiveDate) -> Result<(), StoreError> {
    let entries = entries_of(tx, athletes, from).await?;
    renew_entries(tx, &entries).await
}

/// The entries of these athletes that say how ready they are, in race tests from a day on.
async fn entries_of(tx: &mut ClubTx, athletes: &[Uuid], from: NaiveDate) -> Result<Vec<Uuid>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        r#"
        select e.id
        from race_entries e
        join race_tests t on t.club_id = $1 and t.id = e.race_test_id and t.deleted_at is null
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where e.club_id = $1 and e.athlete_id = any ((select $2::uuid[])::uuid[]) and e.readiness is not null
          and s.held_on >= $3
        "#,
        club,
        athletes,
        from
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids)
}

/// The entries in race tests of a session that say how ready somebody is.
async fn entries_in(tx: &mut ClubTx, session: SessionId) -> Result<Vec<Uuid>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        r#"
        select e.id
        from race_tests t
        join race_entries e on e.club_id = $1 and e.race_test_id = t.id and e.readiness is not null
        where t.club_id = $1 and t.session_id = $2 and t.deleted_at is null
        "#,
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids)
}

/// Sends these entries anew, locked in one order with their race tests.
async fn renew_entries(tx: &mut ClubTx, entries: &[Uuid]) -> Result<(), StoreError> {
    if entries.is_empty() {
        return Ok(());
    }
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select e.id, e.athlete_id
        from race_entries e
        join race_tests t on t.club_id = $1 and t.id = e.race_test_id
        where e.club_id = $1 and e.id = any ((select $2::uuid[])::uuid[])
        order by t.id, e.id
        for no key update of t, e
        "#,
        club,
        entries
    )
    .fetch_all(tx.conn())
    .await?;
    tx.changing_all(rows.into_iter().map(|row| Change::put(Kind::RaceEntry, row.id).under(AthleteId(row.athlete_id))));
    Ok(())
}

/// Sends phones whatever was made for a session anew, entries in race tests and lane plans: what suits whom no more is asked of its
/// day and its surface. When its day changed, also what was made for others from a day on, the earlier of both, and names somebody
/// who fell in it.
///
/// # Errors
/// Database errors.
pub async fn of_session(tx: &mut ClubTx, session: SessionId, moved: Option<NaiveDate>) -> Result<(), StoreError> {
    let mut entries = entries_in(tx, session).await?;
    let mut plans = plans_of_session(tx, session).await?;
    if let Some(from) = moved {
        let fallen = fallen(tx, session).await?;
        entries.extend(entries_of(tx, &fallen, from).await?);
        plans.extend(plans_of(tx, Some(&fallen), Some(from)).await?);
    }
    renew_entries(tx, &entries).await?;
    renew(tx, plans).await
}

/// Who fell in a session, in a run or a race, whatever was corrected since.
async fn fallen(tx: &mut ClubTx, session: SessionId) -> Result<Vec<Uuid>, StoreError> {
    let club = tx.club.0;
    let athletes = sqlx::query_scalar!(
        r#"
        select r.athlete_id as "athlete_id!" from runs r where r.club_id = $1 and r.session_id = $2 and r.fell
        union
        select x.athlete_id
        from race_tests t
        join race_results x on x.club_id = $1 and x.race_test_id = t.id and x.fell
        where t.club_id = $1 and t.session_id = $2
        "#,
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(athletes)
}

/// Sends phones the lane plans anew that name these athletes, or anybody, from a day on or of all days: what members see in a plan
/// changes with its people, although the plan does not. The new number also refuses an edit made on what was seen before:
/// whom its author did not see then would be taken for somebody they took out.
///
/// # Errors
/// Database errors.
pub async fn plans(tx: &mut ClubTx, athletes: Option<&[Uuid]>, from: Option<NaiveDate>) -> Result<(), StoreError> {
    let plans = plans_of(tx, athletes, from).await?;
    renew(tx, plans).await
}

/// Plans and their sessions.
type Plans = BTreeMap<Uuid, SessionId>;

async fn plans_of(tx: &mut ClubTx, athletes: Option<&[Uuid]>, from: Option<NaiveDate>) -> Result<Plans, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select p.id, p.session_id
        from lane_plans p
        join sessions s on s.club_id = $1 and s.id = p.session_id
        where p.club_id = $1 and p.deleted_at is null and p.people <> '{}' and ($2::uuid[] is null or p.people && $2)
          and ($3::date is null or s.held_on >= $3)
        order by p.id
        "#,
        club,
        athletes,
        from
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, SessionId(row.session_id))).collect())
}

async fn plans_of_session(tx: &mut ClubTx, session: SessionId) -> Result<Plans, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        "select id from lane_plans where club_id = $1 and session_id = $2 and deleted_at is null order by id",
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids.into_iter().map(|id| (id, session)).collect())
}

async fn renew(tx: &mut ClubTx, plans: Plans) -> Result<(), StoreError> {
    let club = tx.club.0;
    if plans.is_empty() {
        return Ok(());
    }
    let ids: Vec<Uuid> = plans.keys().copied().collect();
    let changes: Vec<Change> =
        plans.into_iter().map(|(id, session)| Change::put(Kind::LanePlan, id).under(session)).collect();
    sqlx::query!("update lane_plans set updated_at = $3 where club_id = $1 and id = any ($2)", club, &ids, Utc::now())
        .execute(tx.changing_all(changes))
        .await?;
    Ok(())
}
