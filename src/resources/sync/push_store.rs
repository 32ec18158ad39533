//! Receipts, the holding area and refused values, as rows.

use std::collections::HashMap;

use chrono::Utc;
use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};

/// What an edit was answered before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// What was sent.
    pub digest: Vec<u8>,
    /// The status.
    pub status: u16,
    /// The version.
    pub rev: i64,
}

/// Claims an edit; the receipt when it was carried out before. Waits for one that is under way.
pub async fn claim(tx: &mut ClubTx, op_id: Uuid, digest: &[u8], entity: Uuid) -> Result<Option<Given>, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        insert into op_receipt as x (club_id, op_id, digest, entity_id, status, rev, at)
        values ($1, $2, $3, $4, 0, 0, $5)
        on conflict (club_id, op_id) do nothing
        "#,
        club,
        op_id,
        digest,
        entity,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    if done.rows_affected() == 1 {
        return Ok(None);
    }
    let row = sqlx::query!("select digest, status, rev from op_receipt where club_id = $1 and op_id = $2", club, op_id)
        .fetch_one(tx.conn())
        .await?;
    Ok(Some(Given { digest: row.digest, status: u16::try_from(row.status).unwrap_or(200), rev: row.rev }))
}

/// Gives a claim back: the edit was not carried out whole, and is judged anew when it is sent again.
pub async fn unclaim(tx: &mut ClubTx, op_id: Uuid) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!("delete from op_receipt where club_id = $1 and op_id = $2", club, op_id)
        .execute(tx.unsynced())
        .await?;
    Ok(())
}

/// A fact in the holding area.
#[derive(Clone, Debug)]
pub struct Held {
    /// Its type.
    pub kind: String,
    /// What was sent.
    pub data: Value,
    /// What an admin decided.
    pub outcome: Option<String>,
    /// Why, when rejected.
    pub note: Option<String>,
}

/// The facts among these ids that are, or were, in the holding area.
pub async fn held(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, Held>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        "select id, kind, data, outcome, note from held_item where club_id = $1 and id = any ($2)",
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let one = |kind, data, outcome, note| Held { kind, data, outcome, note };
    Ok(rows.into_iter().map(|row| (row.id, one(row.kind, row.data, row.outcome, row.note))).collect())
}

/// A fact on its way into the holding area.
#[derive(Debug)]
pub struct NewHeld<'a> {
    /// The fact.
    pub id: Uuid,
    /// Its type.
    pub kind: &'static str,
    /// The item.
    pub op_id: Uuid,
    /// The phone's own id.
    pub device: Uuid,
    /// What was sent.
    pub data: &'a Map<String, Value>,
    /// `role`, `scope`, `left`, `reference` or `clock`.
    pub reason: &'static str,
    /// The broken fields.
    pub detail: Value,
}

/// Most facts of one phone that wait for an admin: a coach's whole week without a record to belong to is about 2,000.
pub const HELD_PER_DEVICE: i64 = 2_000;
/// Most facts of one member that wait, from all phones.
pub const HELD_PER_MEMBER: i64 = 10_000;
/// The same for somebody who left the club: what they had recorded until then.
pub const HELD_PER_FORMER: i64 = 2_000;

/// Whether the holding area has room for one more fact of this phone and its member; `former` when they left the club.
///
/// Two pushes at the same moment may both find the last place.
pub async fn has_room(tx: &mut ClubTx, device: Uuid, former: bool) -> Result<bool, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let most = if former { HELD_PER_FORMER } else { HELD_PER_MEMBER };
    let full = sqlx::query_scalar!(
        r#"
        select exists (
          select from held_item
          where club_id = $1 and member_id = $2 and device_id = $3 and outcome is null
          offset $4
        ) or exists (
          select from held_item
          where club_id = $1 and member_id = $2 and outcome is null
          offset $5
        ) as "full!"
        "#,
        club,
        member,
        device,
        HELD_PER_DEVICE - 1,
        most - 1
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(!full)
}

/// Puts a fact into the holding area.
pub async fn hold(tx: &mut ClubTx, new: &NewHeld<'_>) -> Result<(), StoreError> {
    let (club, member, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let athlete = new.data.get("athlete_id").and_then(Value::as_str).and_then(|text| Uuid::try_parse(text).ok());
    sqlx::query!(
        r#"
        insert into held_item as x
          (club_id, id, kind, op_id, member_id, device_id, athlete_id, data, reason, detail, skew_ms, received_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
        on conflict (club_id, id) do nothing
        "#,
        club,
        new.id,
        new.kind,
        new.op_id,
        member,
        new.device,
        athlete,
        Value::Object(new.data.clone()),
        new.reason,
        new.detail,
        skew,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// A fact that waits for what it belongs to.
#[derive(Clone, Debug)]
pub struct Waiting {
    /// The fact.
    pub id: Uuid,
    /// Its type.
    pub kind: String,
    /// What was sent.
    pub data: Value,
    /// How far the phone's clock was ahead (ms).
    pub skew_ms: Option<i64>,
}

/// Most facts that one record releases.
const RELEASED: i64 = 500;

/// The facts of this phone and its member that are held because a record was missing.
pub async fn waiting_for(tx: &mut ClubTx, device: Uuid, record: Uuid) -> Result<Vec<Waiting>, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let rows = sqlx::query_as!(
        Waiting,
        r#"
        select id, kind, data, skew_ms
        from held_item
        where club_id = $1 and outcome is null and member_id = $2 and device_id = $3 and reason = 'reference'
          and lower($4::text) in (lower(data ->> 'session_id'), lower(data ->> 'athlete_id'),
            lower(data ->> 'race_test_id'), lower(data ->> 'supersedes'))
        order by id
        limit $5
        "#,
        club,
        member,
        device,
        record.to_string(),
        RELEASED
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Keeps the values of an edit that lost, once.
pub async fn keep_refused(
    tx: &mut ClubTx,
    (op_id, kind, entity): (Uuid, &str, Uuid),
    (reason, base_rev): (&str, Option<i64>),
    data: Value,
) -> Result<(), StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    sqlx::query!(
        r#"
        insert into refused_edit as x
          (club_id, op_id, kind, entity_id, member_id, reason, base_rev, data, received_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        on conflict (club_id, op_id) do nothing
        "#,
        club,
        op_id,
        kind,
        entity,
        member,
        reason,
        base_rev,
        data,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Whether a record was deleted, of whatever type.
pub async fn is_deleted(tx: &mut ClubTx, id: Uuid) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let found = sqlx::query_scalar!(
        r#"
        select exists (
          select from groups where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from venues where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from equipment where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from barrier_configurations where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from athletes where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from sessions where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from measurements where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from lane_plans where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from race_tests where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from age_groups where club_id = $1 and id = $2 and deleted_at is not null
          union all
          select from competition_specs where club_id = $1 and id = $2 and deleted_at is not null
        ) as "found!"
        "#,
        club,
        id
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(found)
}

/// The version of a recorded fact.
pub async fn rev(tx: &mut ClubTx, id: Uuid) -> Result<Option<i64>, StoreError> {
    let club = tx.club.0;
    let rev = sqlx::query_scalar!(
        r#"
        select t.rev as "rev!"
        from (
          select rev from runs where club_id = $1 and id = $2
          union all
          select rev from assessments where club_id = $1 and id = $2
          union all
          select rev from measurements where club_id = $1 and id = $2 and deleted_at is null
          union all
          select rev from recommendations where club_id = $1 and id = $2
          union all
          select rev from race_results where club_id = $1 and id = $2
        ) t
        "#,
        club,
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(rev)
}
