//! Receipts, held facts that wait for a record, and refused values, as rows.

use std::collections::HashMap;

use chrono::Utc;
use serde_json::Value;
use uuid::Uuid;

use crate::platform::db::{ClubTx, Named, StoreError};
use crate::platform::holding::HELD_PER_FORMER;

/// What an item was answered before.
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

/// Claims an edit, or a fact that is refused; the receipt when it was carried out or refused before. Waits for one that is under way.
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
    // Absent only when whoever had it gave it back at this moment, which fails as any lost row does.
    let known = given(tx, &[op_id]).await?.remove(&op_id);
    Ok(Some(known.ok_or(sqlx::Error::RowNotFound)?))
}

/// Gives a claim back: the edit was not carried out whole, and is judged anew when it is sent again.
pub async fn unclaim(tx: &mut ClubTx, op_id: Uuid) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!("delete from op_receipt where club_id = $1 and op_id = $2", club, op_id)
        .execute(tx.unsynced())
        .await?;
    Ok(())
}

/// What these operations were answered before, as far as they were.
pub async fn given(tx: &mut ClubTx, ops: &[Uuid]) -> Result<HashMap<Uuid, Given>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        "select op_id, digest, status, rev, answer from op_receipt where club_id = $1 and op_id = any ($2)",
        club,
        ops
    )
    .fetch_all(tx.conn())
    .await?;
    let given = rows.into_iter().map(|row| {
        let status = u16::try_from(row.status).unwrap_or(200);
        (row.op_id, Given { digest: row.digest, status, rev: row.rev, answer: row.answer })
    });
    Ok(given.collect())
}

/// Most refusals that are kept of somebody who left: as many as facts of theirs may be held.
const REFUSED_PER_FORMER: i64 = HELD_PER_FORMER;

/// Whether there is room for one more refusal of somebody who left, which it then takes. Counted once a transaction.
pub async fn take_room(tx: &mut ClubTx) -> Result<bool, StoreError> {
    let left = match tx.room_to_refuse {
        Some(left) => left,
        None => {
            let (club, member) = (tx.club.0, tx.actor.account.0);
            let room = sqlx::query_scalar!(
                r#"select $3 - count(*) as "room!" from op_receipt where club_id = $1 and former_id = $2"#,
                club,
                member,
                REFUSED_PER_FORMER
            );
            room.fetch_one(tx.conn()).await?
        }
    };
    tx.room_to_refuse = Some(left - 1);
    Ok(left > 0)
}

/// Why an item is refused, as it is kept.
#[derive(Debug)]
pub struct Refusal {
    /// The status.
    pub status: u16,
    /// The problem.
    pub answer: Value,
    /// Whom a fact is about: it goes with them.
    pub athlete: Option<Uuid>,
    /// Whether its sender had left the club.
    pub former: bool,
}

/// Writes down why a claimed item is refused.
pub async fn refuse(tx: &mut ClubTx, op_id: Uuid, refusal: Refusal) -> Result<(), StoreError> {
    let (club, former) = (tx.club.0, refusal.former.then_some(tx.actor.account.0));
    sqlx::query!(
        r#"
        update op_receipt
        set status = $3, answer = $4, athlete_id = $5, former_id = $6
        where club_id = $1 and op_id = $2
        "#,
        club,
        op_id,
        i16::try_from(refusal.status).unwrap_or(422),
        refusal.answer,
        refusal.athlete,
        former
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
