//! Receipts, the holding area and refused values, as rows.

use std::collections::HashMap;

use chrono::Utc;
use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::{ClubTx, Named, StoreError};

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
pub async fn claim(tx: &mut ClubTx, op_id: Uuid, digest: &[u8], record: Named) -> Result<Option<Given>, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        insert into op_receipt as x (club_id, op_id, digest, kind, entity_id, status, rev, at)
        values ($1, $2, $3, $4, $5, 0, 0, $6)
        on conflict (club_id, op_id) do nothing
        "#,
        club,
        op_id,
        digest,
        record.kind.as_str(),
        record.id,
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
    /// The id under which it is held and filed.
    pub id: Uuid,
    /// What was sent.
    pub data: Value,
    /// What an admin decided.
    pub outcome: Option<String>,
    /// Why, when rejected.
    pub note: Option<String>,
}

/// The id under which a fact is held when its own is taken by what its recorder must not learn of: the same each time,
/// and free to be filed under.
fn other_id(member: Uuid, id: Uuid) -> Uuid {
    Uuid::new_v5(&member, id.as_bytes())
}

/// The facts of a type among these ids that are, or were, in the holding area for the actor; what others recorded there is nobody
/// else's to learn of.
pub async fn held(tx: &mut ClubTx, kind: &str, ids: &[Uuid]) -> Result<HashMap<Uuid, Held>, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let own: HashMap<Uuid, Uuid> = ids.iter().flat_map(|id| [(other_id(member, *id), *id), (*id, *id)]).collect();
    let asked: Vec<Uuid> = own.keys().copied().collect();
    let rows = sqlx::query_as!(
        Held,
        r#"
        select id, data, outcome, note
        from held_item
        where club_id = $1 and member_id = $2 and kind = $3 and id = any ($4)
        "#,
        club,
        member,
        kind,
        &asked
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().filter_map(|row| Some((*own.get(&row.id)?, row))).collect())
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
    /// Whether its id is taken by a stored fact that its recorder must not learn of.
    pub taken: bool,
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

/// Puts a fact into the holding area, once; under another id when its own is taken there by somebody else's.
pub async fn hold(tx: &mut ClubTx, new: &NewHeld<'_>) -> Result<(), StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    if !new.taken && insert_held(tx, new, new.id).await? {
        return Ok(());
    }
    let own = sqlx::query_scalar!(
        r#"select exists (select from held_item where club_id = $1 and member_id = $2 and kind = $3 and id = $4) as "own!""#,
        club,
        member,
        new.kind,
        new.id
    );
    if own.fetch_one(tx.conn()).await? {
        return Ok(());
    }
    insert_held(tx, new, other_id(member, new.id)).await?;
    Ok(())
}

async fn insert_held(tx: &mut ClubTx, new: &NewHeld<'_>, id: Uuid) -> Result<bool, StoreError> {
    let (club, member, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let athlete = new.data.get("athlete_id").and_then(Value::as_str).and_then(|text| Uuid::try_parse(text).ok());
    let done = sqlx::query!(
        r#"
        insert into held_item as x
          (club_id, id, kind, op_id, member_id, device_id, athlete_id, data, reason, detail, skew_ms, received_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
        on conflict (club_id, kind, id) do nothing
        "#,
        club,
        id,
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
    Ok(done.rows_affected() == 1)
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

/// The facts of this phone and its member that are held because a record of this type was missing.
pub async fn waiting_for(tx: &mut ClubTx, device: Uuid, kind: &str, record: Uuid) -> Result<Vec<Waiting>, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let rows = sqlx::query_as!(
        Waiting,
        r#"
        select id, kind, data, skew_ms
        from held_item
        where club_id = $1 and outcome is null and member_id = $2 and device_id = $3 and reason = 'reference'
          and (lower($4::text) = lower(data ->> case
              when $5 in ('session', 'athlete', 'race_test') then $5 || '_id'
              when kind = $5 then 'supersedes'
            end)
            or ($5 = 'wellbeing_record' and kind = $5 and lower($4::text) = lower(data ->> 'clears')))
        order by id
        limit $6
        "#,
        club,
        member,
        device,
        record.to_string(),
        kind,
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

/// The version of a recorded fact of a type.
pub async fn rev(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<Option<i64>, StoreError> {
    let club = tx.club.0;
    let rev = sqlx::query_scalar!(
        r#"
        select t.rev as "rev!"
        from (
          select rev from runs where $3 = 'run' and club_id = $1 and id = $2
          union all
          select rev from assessments where $3 = 'assessment' and club_id = $1 and id = $2
          union all
          select rev from measurements where $3 = 'measurement' and club_id = $1 and id = $2 and deleted_at is null
          union all
          select rev from recommendations where $3 = 'decision' and club_id = $1 and id = $2
          union all
          select rev from race_results where $3 = 'race_result' and club_id = $1 and id = $2
          union all
          select rev from wellbeing_records where $3 = 'wellbeing_record' and club_id = $1 and id = $2
        ) t
        "#,
        club,
        id,
        kind
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(rev)
}
