//! Deleting an athlete: what is personal goes at once, wherever it was copied to.

use std::collections::BTreeSet;

use chrono::Utc;
use serde_json::Value;
use uuid::Uuid;

use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::exports;
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, GroupId, SessionId};

/// Deletes an athlete: the personal data go at once, an empty stub stays so that phones learn of it.
///
/// Runs, assessments and decisions stay as facts about nobody, without the free text beside them; measurements and what was
/// said of their health go. The transaction has the whole club to itself ([`ClubTx::alone_with_all`]): whatever somebody writes about
/// the athlete at the same moment has come and goes with the rest, or meets somebody who is gone.
pub async fn remove(tx: &mut ClubTx, id: AthleteId, groups: &[GroupId]) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update athletes
        set display_name = '', sex = null, birth_date = null, birth_year = null, preferred_lead_leg = null,
            approach_strides = null, restricted_until = null, consent_on = null, status = 'left', status_on = null,
            deleted_at = $3, updated_at = $3
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Athlete, id).scopes(ids_of(groups), Vec::new())))
    .await?;
    grants::unplace(tx, id).await?;
    // Phones drop these with the athlete, so they need no change numbers of their own.
    for personal in [
        sqlx::query!("delete from consents where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("delete from measurements where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("delete from wellbeing_records where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("update runs set note = null where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("update race_results set note = null where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("update assessments set note = null where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!(
            "update recommendations set reason = '' where club_id = $1 and athlete_id = $2 and reason is not null",
            club,
            id.0
        ),
        sqlx::query!(
            r#"
            update held_item
            set data = data - 'note' - 'reason', note = null
            where club_id = $1 and athlete_id = $2 and id = any (array(
              select h.id from held_item h
              where h.club_id = $1 and h.athlete_id = $2
              order by h.kind, h.id
              for no key update
            ))
            "#,
            club,
            id.0
        ),
        sqlx::query!(
            r#"
            delete from held_item
            where club_id = $1 and athlete_id = $2 and kind in ('measurement', 'wellbeing_record')
            "#,
            club,
            id.0
        ),
        // What a fact about them was refused with says why they could not run.
        sqlx::query!("delete from op_receipt where club_id = $1 and athlete_id = $2", club, id.0),
        sqlx::query!("delete from refused_edit where club_id = $1 and kind = 'athlete' and entity_id = $2", club, id.0),
    ] {
        personal.execute(tx.conn()).await?;
    }
    withdraw_from_races(tx, id).await?;
    leave_lane_plans(tx, id).await?;
    exports::withdraw(tx, id).await
}

/// The athletes who were erased.
pub async fn erased(tx: &mut ClubTx) -> Result<BTreeSet<Uuid>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!("select id from athletes where club_id = $1 and deleted_at is not null", club)
        .fetch_all(tx.conn())
        .await?;
    Ok(ids.into_iter().collect())
}

/// The groups of an athlete.
pub async fn groups(tx: &mut ClubTx, id: AthleteId) -> Result<Vec<GroupId>, StoreError> {
    let club = tx.club.0;
    let groups = sqlx::query_scalar!(
        r#"select scope_id as "scope_id!" from athlete_scope where club_id = $1 and athlete_id = $2 order by scope_id"#,
        club,
        id.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(groups.into_iter().map(GroupId).collect())
}

/// Erases an athlete of whom a restored copy does not know that they were erased: whoever is there goes as the first time, and
/// the id of somebody who is not there yet is used up, or a phone's journal would bring them back.
pub async fn erase_again(tx: &mut ClubTx, id: AthleteId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let groups = groups(tx, id).await?;
    sqlx::query!(
        r#"
        insert into athletes as x
          (club_id, id, display_name, experience, status, created_at, updated_at)
        values ($1, $2, '', 'novice', 'left', $3, $3)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    remove(tx, id, &groups).await
}

/// Takes the athlete's entries out of race tests; results stay as facts about nobody.
async fn withdraw_from_races(tx: &mut ClubTx, id: AthleteId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let entered = sqlx::query!(
        r#"
        select t.id, t.session_id
        from race_entries e
        join race_tests t on t.club_id = $1 and t.id = e.race_test_id and t.deleted_at is null
        where e.club_id = $1 and e.athlete_id = $2
        order by t.id
        for no key update of t
        "#,
        club,
        id.0
    )
    .fetch_all(tx.conn())
    .await?;
    let changes = entered.iter().map(|row| Change::put(Kind::RaceTest, row.id).under(SessionId(row.session_id)));
    sqlx::query!("delete from race_entries where club_id = $1 and athlete_id = $2", club, id.0)
        .execute(tx.changing_all(changes))
        .await?;
    Ok(())
}

/// Takes the athlete out of the lane plans that are kept, and of what was asked for them.
async fn leave_lane_plans(tx: &mut ClubTx, id: AthleteId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, session_id, request, plan
        from lane_plans
        where club_id = $1 and people @> array[$2::uuid]
        order by id
        for no key update
        "#,
        club,
        id.0
    )
    .fetch_all(tx.conn())
    .await?;
    for mut row in rows {
        forget(&mut row.request, id.0);
        forget(&mut row.plan, id.0);
        let change = Change::put(Kind::LanePlan, row.id).under(SessionId(row.session_id));
        sqlx::query!(
            r#"
            update lane_plans
            set request = $3, plan = $4, people = array_remove(people, $5)
            where club_id = $1 and id = $2
            "#,
            club,
            row.id,
            row.request,
            row.plan,
            id.0
        )
        .execute(tx.changing(change))
        .await?;
    }
    Ok(())
}

/// Takes out of every list what is about the athlete: the id, a pair with it, an object with it.
fn forget(value: &mut Value, id: Uuid) {
    let is = |value: &Value| value.as_str().and_then(|text| text.parse().ok()) == Some(id);
    match value {
        Value::Array(list) => {
            list.retain(|one| match one {
                Value::Object(fields) => !fields.get("athlete_id").is_some_and(is),
                Value::Array(pair) => !pair.iter().any(is),
                other => !is(other),
            });
            for one in list {
                forget(one, id);
            }
        }
        Value::Object(fields) => {
            for one in fields.values_mut() {
                forget(one, id);
            }
        }
        _ => {}
    }
}
