//! Receipts, held facts that wait for a record, and refused values, as rows.

use chrono::Utc;
use serde_json::Value;
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
    /// Why it was refused.
    pub answer: Option<Value>,
}

/// Claims an edit; the receipt when it was carried out or refused before. Waits for one that is under way.
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
    let row = sqlx::query!(
        "select digest, status, rev, answer from op_receipt where club_id = $1 and op_id = $2",
        club,
        op_id
    )
    .fetch_one(tx.conn())
    .await?;
    let status = u16::try_from(row.status).unwrap_or(200);
    Ok(Some(Given { digest: row.digest, status, rev: row.rev, answer: row.answer }))
}

/// Gives a claim back: the edit was not carried out whole, and is judged anew when it is sent again.
pub async fn unclaim(tx: &mut ClubTx, op_id: Uuid) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!("delete from op_receipt where club_id = $1 and op_id = $2", club, op_id)
        .execute(tx.unsynced())
        .await?;
    Ok(())
}

/// Writes down why a claimed edit is refused.
pub async fn refuse(tx: &mut ClubTx, op_id: Uuid, status: u16, answer: Value) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update op_receipt set status = $3, answer = $4 where club_id = $1 and op_id = $2",
        club,
        op_id,
        i16::try_from(status).unwrap_or(422),
        answer
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

/// The version of a recorded fact of a type; of a deleted one that of its deletion.
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
          select rev from measurements where $3 = 'measurement' and club_id = $1 and id = $2
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
