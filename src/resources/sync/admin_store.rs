//! The holding area, as those who decide see it, and the devices.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids;

/// A fact in the holding area.
#[derive(Clone, Debug)]
pub struct HeldRow {
    /// The fact.
    pub id: Uuid,
    /// Its type.
    pub kind: String,
    /// Who recorded it.
    pub member: Uuid,
    /// What was sent.
    pub data: Value,
    /// Why it is held.
    pub reason: String,
    /// The broken fields.
    pub detail: Value,
    /// How far the phone's clock was ahead (ms).
    pub skew_ms: Option<i64>,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
    /// What was decided.
    pub outcome: Option<String>,
    /// When.
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was rejected or taken back.
    pub note: Option<String>,
    /// Who recorded the correction that stands, of a second one.
    pub rival: Option<Uuid>,
}

impl HeldRow {
    /// The id in a field of what was sent.
    pub fn names(&self, field: &str) -> Option<Uuid> {
        ids::named(self.data.as_object()?, field)
    }
}

/// Where a list of held facts goes on: the id and type of the last one.
pub type Place = (Uuid, String);

/// Facts of the holding area by id and type, after `after`.
pub async fn held(
    tx: &mut ClubTx,
    decided: bool,
    after: Option<Place>,
    fetch: i64,
) -> Result<Vec<HeldRow>, StoreError> {
    let club = tx.club.0;
    let (after_id, after_kind) = after.unzip();
    let rows = sqlx::query_as!(
        HeldRow,
        r#"
        select id, kind, member_id as member, data, reason, detail, skew_ms, received_at, outcome, decided_at, note,
          rival
        from held_item
        where club_id = $1
          and (outcome is not null) = $2
          and ($3::uuid is null or (id, kind) > ($3, $4))
        order by id, kind
        limit $5
        "#,
        club,
        decided,
        after_id,
        after_kind,
        fetch
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Facts of the holding area that the actor recorded, and second corrections of what they corrected of athletes whom they
/// see, by id and type, after `after`.
pub async fn own(tx: &mut ClubTx, decided: bool, after: Option<Place>, fetch: i64) -> Result<Vec<HeldRow>, StoreError> {
    let (club, member, groups) = (tx.club.0, tx.actor.account.0, tx.actor.group_ids());
    let (after_id, after_kind) = after.unzip();
    let rows = sqlx::query_as!(
        HeldRow,
        r#"
        select id, kind, member_id as member, data, reason, detail, skew_ms, received_at, outcome, decided_at, note,
          rival
        from held_item h
        where h.club_id = $1
          and (h.outcome is not null) = $2
          and ($3::uuid is null or (h.id, h.kind) > ($3, $4))
          and (h.member_id = $6 or (h.rival = $6 and ($7::uuid[] is null or exists (
            select from athlete_scope v
            where v.club_id = $1 and v.athlete_id = h.athlete_id and v.scope_id = any ($7)
          ))))
        order by h.id, h.kind
        limit $5
        "#,
        club,
        decided,
        after_id,
        after_kind,
        fetch,
        member,
        groups.as_deref()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// The facts of the holding area with an id, of one type when it is named.
pub async fn held_as(tx: &mut ClubTx, id: Uuid, kind: Option<&str>) -> Result<Vec<HeldRow>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        HeldRow,
        r#"
        select id, kind, member_id as member, data, reason, detail, skew_ms, received_at, outcome, decided_at, note,
          rival
        from held_item
        where club_id = $1 and id = $2 and ($3::text is null or kind = $3)
        order by kind
        "#,
        club,
        id,
        kind
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Writes down what somebody decided; false when somebody decided before.
pub async fn decide(
    tx: &mut ClubTx,
    (kind, id): (&str, Uuid),
    decider: Uuid,
    outcome: &str,
    note: Option<&str>,
) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        update held_item
        set outcome = $4, decided_by = $5, decided_at = $6, note = $7
        where club_id = $1 and kind = $2 and id = $3 and outcome is null
        "#,
        club,
        kind,
        id,
        outcome,
        decider,
        Utc::now(),
        note
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A value that lost against another edit.
#[derive(Clone, Debug)]
pub struct RefusedRow {
    /// The item.
    pub op_id: Uuid,
    /// The type of the record.
    pub kind: String,
    /// The record.
    pub entity_id: Uuid,
    /// Who sent it.
    pub member_id: Uuid,
    /// `conflict` or `deleted`.
    pub reason: String,
    /// The version it was made on.
    pub base_rev: Option<i64>,
    /// What was sent.
    pub data: Value,
    /// When.
    pub received_at: DateTime<Utc>,
}

/// The refused values by item, after `after`.
pub async fn refused(tx: &mut ClubTx, after: Option<Uuid>, fetch: i64) -> Result<Vec<RefusedRow>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        RefusedRow,
        r#"
        select op_id, kind, entity_id, member_id, reason, base_rev, data, received_at
        from refused_edit
        where club_id = $1 and ($2::uuid is null or op_id > $2)
        order by op_id
        limit $3
        "#,
        club,
        after,
        fetch
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// A device.
#[derive(Clone, Debug)]
pub struct DeviceRow {
    /// The sign-in.
    pub id: Uuid,
    /// Whose it is.
    pub member_id: Uuid,
    /// What the program calls itself.
    pub name: String,
    /// How far it has read.
    pub seq: i64,
    /// The club's counter.
    pub head: i64,
    /// When it last pulled.
    pub pulled_at: Option<DateTime<Utc>>,
    /// When it last pushed.
    pub pushed_at: Option<DateTime<Utc>>,
    /// How far its clock is ahead (ms).
    pub skew_ms: Option<i64>,
}

/// The devices by id, after `after`.
pub async fn devices(tx: &mut ClubTx, after: Option<Uuid>, fetch: i64) -> Result<Vec<DeviceRow>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        DeviceRow,
        r#"
        select d.id, d.member_id, d.name, d.seq, c.seq as head, d.pulled_at, d.pushed_at, d.skew_ms
        from sync_device d
        join club_clock c on c.club_id = $1
        where d.club_id = $1 and ($2::uuid is null or d.id > $2)
        order by d.id
        limit $3
        "#,
        club,
        after,
        fetch
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Refuses the device's tokens from now on; false when there is no such device.
pub async fn resync(tx: &mut ClubTx, id: Uuid) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done =
        sqlx::query!("update sync_device set generation = generation + 1 where club_id = $1 and id = $2", club, id)
            .execute(tx.unsynced())
            .await?;
    Ok(done.rows_affected() == 1)
}
