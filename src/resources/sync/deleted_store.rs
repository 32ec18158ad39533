//! Which deleted records a member may know of.

use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::grants;
use crate::platform::ids::AthleteId;
use crate::platform::people::People;

/// What a deleted record was seen with.
struct Stub {
    athlete: Option<Uuid>,
    session: Option<Uuid>,
    grouped: bool,
    recorded_by: Option<Uuid>,
}

/// The stub of a deleted record of a type.
async fn stub(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<Option<Stub>, StoreError> {
    let club = tx.club.0;
    let stub = sqlx::query_as!(
        Stub,
        r#"
        select t.athlete, t.session, t.grouped as "grouped!", t.recorded_by
        from (
          select 'venue' as kind, null::uuid as athlete, null::uuid as session, false as grouped, null::uuid as recorded_by
          from venues where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'equipment', null, null, false, null
          from equipment where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'barrier_configuration', null, null, false, null
          from barrier_configurations where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'age_group', null, null, false, null
          from age_groups where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'competition_spec', null, null, false, null
          from competition_specs where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'group', null, null, true, null
          from groups where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'athlete', null, null, true, null
          from athletes where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'session', null, null, true, null
          from sessions where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'measurement', athlete_id, null, false, recorded_by
          from measurements where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'lane_plan', null, session_id, false, null
          from lane_plans where club_id = $1 and id = $3 and deleted_at is not null
          union all
          select 'race_test', null, session_id, false, null
          from race_tests where club_id = $1 and id = $3 and deleted_at is not null
        ) t
        where t.kind = $2
        limit 1
        "#,
        club,
        kind,
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(stub)
}

/// Whether a record of a type was deleted and the actor saw it, or still sees what it belonged to. What was hidden from
/// them is as unknown as what never was.
pub async fn told(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<bool, StoreError> {
    let Some(stub) = stub(tx, kind, id).await? else { return Ok(false) };
    if tx.actor.groups.is_none() || stub.recorded_by == Some(tx.actor.account.0) {
        return Ok(true);
    }
    if let Some(athlete) = stub.athlete.map(AthleteId) {
        return Ok(People::of(tx, [athlete]).await?.sees(athlete));
    }
    if let Some(session) = stub.session {
        return Ok(!grants::visible_sessions(tx, &[session]).await?.is_empty());
    }
    Ok(!stub.grouped || saw(tx, kind, id).await?)
}

/// Whether the actor ever had a group of a record with groups when it was deleted: then the feed tells them as well.
async fn saw(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<bool, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let saw = sqlx::query_scalar!(
        r#"
        select exists (
          select from scope_grant g
          where g.club_id = $1 and g.member_id = $2
            and (g.scope_id = $4 or exists (
              select from club_change c
              where c.club_id = $1 and c.kind = $3 and c.entity_id = $4 and c.op = 'remove' and c.before_scopes is not null
                and (g.scope_id = any (c.before_scopes) or g.scope_id = '00000000-0000-0000-0000-000000000000')
            ))
        ) as "saw!"
        "#,
        club,
        member,
        kind,
        id
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(saw)
}
