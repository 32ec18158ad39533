//! What stands in the lanes of plans: a run that names its lane need not say it again.

use std::collections::HashMap;

use uuid::Uuid;

use super::model::{LaneOf, Stands};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{LanePlanId, SessionId};

/// What stands in each lane of these plans, by session, lane and round; of plans whose session the actor sees.
pub async fn stands(tx: &mut ClubTx, plans: &[Uuid]) -> Result<HashMap<(SessionId, LaneOf), Stands>, StoreError> {
    if plans.is_empty() {
        return Ok(HashMap::new());
    }
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let rows = sqlx::query!(
        r#"
        select p.id, p.session_id, l.lane as "lane!", coalesce(l.round, 1::smallint) as "round!",
          l.barrier_kind as "barrier_kind!", l.height_m as "height_m!", l.spacing_m as "spacing_m!",
          l.approach_m as "approach_m!", l.barriers as "barriers!"
        from lane_plans p
        cross join lateral jsonb_to_recordset(p.plan -> 'lanes') as l (
          lane smallint, round smallint, barrier_kind text, height_m double precision, spacing_m double precision,
          approach_m double precision, barriers smallint)
        where p.club_id = $1 and p.id = any ($2) and p.deleted_at is null
          and ($3::uuid[] is null or exists (
            select from session_scope v
            where v.club_id = $1 and v.session_id = p.session_id and v.scope_id = any ($3)
          ))
        "#,
        club,
        plans,
        groups.as_deref()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let lane = LaneOf { plan: LanePlanId(row.id), lane: row.lane, round: row.round };
            let stands = Stands {
                barrier_kind: row.barrier_kind,
                height_m: row.height_m,
                spacing_m: row.spacing_m,
                approach_m: Some(row.approach_m),
                barriers: row.barriers,
            };
            ((SessionId(row.session_id), lane), stands)
        })
        .collect())
}
