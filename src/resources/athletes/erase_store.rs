//! Deleting an athlete: what is personal goes at once, wherever it was copied to.

use chrono::Utc;
use serde_json::Value;
use uuid::Uuid;

use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, GroupId};

/// What stands in a kept lane plan instead of a deleted athlete's name.
const NOBODY: &str = "(deleted)";

/// Deletes an athlete: the personal data go at once, an empty stub stays so that phones learn of it.
///
/// Runs, assessments and decisions stay as facts about nobody, without the free text beside them.
pub async fn remove(tx: &mut ClubTx, id: AthleteId, groups: &[GroupId]) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update athletes
        set display_name = '', sex = null, birth_date = null, birth_year = null, preferred_lead_leg = null,
            restricted_until = null, consent_on = null, status = 'left', deleted_at = $3, updated_at = $3
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Athlete, id).scopes(ids_of(groups), Vec::new())))
    .await?;
    grants::unplace(tx, id.0).await?;
    // Phones drop these with the athlete, so they need no change numbers of their own.
    for personal in [
        sqlx::query!("delete from measurements where club_id = $1 and athlete_id = $2", club, id.0),
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
            set data = data - 'note'
            where club_id = $1 and id = any (array(
              select h.id from held_item h
              where h.club_id = $1 and h.athlete_id = $2
              order by h.id
              for no key update
            ))
            "#,
            club,
            id.0
        ),
        sqlx::query!("delete from refused_edit where club_id = $1 and entity_id = $2", club, id.0),
    ] {
        personal.execute(tx.conn()).await?;
    }
    withdraw_from_races(tx, id).await?;
    blank_lane_plans(tx, id).await
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
    let changes = entered.iter().map(|row| Change::put(Kind::RaceTest, row.id).under(row.session_id));
    sqlx::query!("delete from race_entries where club_id = $1 and athlete_id = $2", club, id.0)
        .execute(tx.changing_all(changes))
        .await?;
    Ok(())
}

/// Takes the athlete's name out of the lane plans that are kept.
async fn blank_lane_plans(tx: &mut ClubTx, id: AthleteId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id, session_id, plan
        from lane_plans
        where club_id = $1 and strpos(plan::text, $2) > 0
        order by id
        for no key update
        "#,
        club,
        id.to_string()
    )
    .fetch_all(tx.conn())
    .await?;
    for mut row in rows {
        blank(&mut row.plan, id.0);
        let change = Change::put(Kind::LanePlan, row.id).under(row.session_id);
        sqlx::query!("update lane_plans set plan = $3 where club_id = $1 and id = $2", club, row.id, row.plan)
            .execute(tx.changing(change))
            .await?;
    }
    Ok(())
}

/// Blanks the name and the words beside it in every entry of the athlete.
fn blank(value: &mut Value, id: Uuid) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(|one| blank(one, id)),
        Value::Object(fields) => {
            if fields.get("athlete_id").and_then(Value::as_str).and_then(|text| text.parse().ok()) == Some(id) {
                for (name, words) in [("display_name", NOBODY), ("explanation", "")] {
                    if let Some(text) = fields.get_mut(name) {
                        *text = words.into();
                    }
                }
            }
            fields.values_mut().for_each(|one| blank(one, id));
        }
        _ => {}
    }
}
