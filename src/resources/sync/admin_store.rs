//! The holding area, as those who decide see it, and the devices.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::{ids, page};

/// A fact in the holding area.
#[derive(Clone, Debug, sqlx::FromRow)]
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

/// The facts of the holding area that were decided on, or that were not; `$1` is the club.
macro_rules! select {
    () => {
        "select id, kind, member_id as member, data, reason, detail, skew_ms, received_at, outcome, decided_at, note, rival \
         from held_item h where h.club_id = $1"
    };
}

/// Narrows them to those decided on or not, behind a place, of athletes who are not withheld.
fn narrow(list: &mut Parts, decided: bool, after: Option<&Place>, withheld: &[Uuid]) -> Result<(), StoreError> {
    list.then(if decided { " and h.outcome is not null" } else { " and h.outcome is null" });
    if !withheld.is_empty() {
        let others = " and (h.athlete_id is null or h.athlete_id <> all ((select ?::uuid[])::uuid[]))";
        list.with(others, withheld.to_vec())?;
    }
    if let Some((id, kind)) = after {
        list.with(" and (h.id, h.kind) > (?", *id)?;
        list.with(", ?)", kind.clone())?;
    }
    Ok(())
}

/// Facts of the holding area by id and type, after `after`.
pub async fn held(
    tx: &mut ClubTx,
    decided: bool,
    after: Option<Place>,
    fetch: i64,
) -> Result<Vec<HeldRow>, StoreError> {
    let withheld = tx.withheld().await?;
    let mut list = Parts::new(tx, select!())?;
    narrow(&mut list, decided, after.as_ref(), &withheld)?;
    list.first(tx, "id, kind", fetch).await
}

/// Facts of the holding area that the actor recorded, and second corrections of what they corrected of athletes whom they
/// see, by id and type, after `after`: along both at once.
pub async fn own(tx: &mut ClubTx, decided: bool, after: Option<Place>, fetch: i64) -> Result<Vec<HeldRow>, StoreError> {
    let (member, withheld) = (tx.actor.account.0, tx.withheld().await?);
    let mut list = Parts::new(tx, concat!("select * from ((", select!()))?;
    list.with(" and h.member_id = ?", member)?;
    narrow(&mut list, decided, after.as_ref(), &withheld)?;
    // Each arm ends by itself: the server takes an index in order for that, and not for a list that is merged later.
    list.then(concat!(" order by h.id, h.kind limit 201) union all (", select!()));
    list.with(" and h.rival = ? and h.member_id <> h.rival", member)?;
    narrow(&mut list, decided, after.as_ref(), &withheld)?;
    if let Some(groups) = tx.actor.group_ids() {
        let seen = " and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = h.athlete_id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    list.then(" order by h.id, h.kind limit 201)) own");
    list.first(tx, "id, kind", fetch).await
}

/// The facts of the holding area with an id, of one type when it is named, of athletes who are not withheld.
pub async fn held_as(tx: &mut ClubTx, id: Uuid, kind: Option<&str>) -> Result<Vec<HeldRow>, StoreError> {
    let (club, withheld) = (tx.club.0, tx.withheld().await?);
    let rows = sqlx::query_as!(
        HeldRow,
        r#"
        select id, kind, member_id as member, data, reason, detail, skew_ms, received_at, outcome, decided_at, note,
          rival
        from held_item
        where club_id = $1 and id = $2 and ($3::text is null or kind = $3)
          and (athlete_id is null or athlete_id <> all ($4))
        order by kind
        "#,
        club,
        id,
        kind,
        &withheld
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

/// The refused values by item, after `after`, of athletes who are not withheld.
pub async fn refused(tx: &mut ClubTx, after: Option<Uuid>, fetch: i64) -> Result<Vec<RefusedRow>, StoreError> {
    let club = tx.club.0;
    let withheld: Vec<String> = tx.withheld().await?.iter().map(Uuid::to_string).collect();
    let rows = sqlx::query_as!(
        RefusedRow,
        r#"
        select op_id, kind, entity_id, member_id, reason, base_rev, data, received_at
        from refused_edit
        where club_id = $1 and op_id >= $2
          and not (kind = 'athlete' and entity_id::text = any ($4))
          and not coalesce(lower(data ->> 'athlete_id') = any ($4), false)
        order by op_id
        limit $3
        "#,
        club,
        page::from(after),
        fetch,
        &withheld
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
        where d.club_id = $1 and d.id >= $2
        order by d.id
        limit $3
        "#,
        club,
        page::from(after),
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
