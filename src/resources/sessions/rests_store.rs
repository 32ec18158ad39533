//! What rests on a session: records that would be lost, or would lose their day, without it.

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::grants::ids_of;
use crate::platform::ids::{GroupId, SessionId};

/// Some groups leave a session, others stay.
#[derive(Clone, Copy, Debug)]
pub struct Leaving<'a> {
    /// Those that leave.
    pub out: &'a [GroupId],
    /// Those that stay.
    pub stay: &'a [GroupId],
}

/// What rests on a session, in words; with `leaving`, only of athletes who leave it with their groups.
pub async fn of(tx: &mut ClubTx, id: SessionId, leaving: Option<Leaving<'_>>) -> Result<Vec<String>, StoreError> {
    let club = tx.club.0;
    let (out, stay) = leaving.map(|groups| (ids_of(groups.out), ids_of(groups.stay))).unzip();
    let found = sqlx::query_scalar!(
        r#"
        select distinct t.what as "what!"
        from (
          select 'attendance' as what, p.athlete_id from attendance p
          where p.club_id = $1 and p.session_id = $2 and p.deleted_at is null
          union all
          select 'runs', r.athlete_id from runs r where r.club_id = $1 and r.session_id = $2
          union all
          select 'assessments', a.athlete_id from assessments a where a.club_id = $1 and a.session_id = $2
          union all
          select 'race tests', e.athlete_id
          from race_tests x
          left join race_entries e on e.club_id = $1 and e.race_test_id = x.id
          where x.club_id = $1 and x.session_id = $2 and x.deleted_at is null
          union all
          select 'race tests', y.athlete_id
          from race_tests x
          join race_results y on y.club_id = $1 and y.race_test_id = x.id
          where x.club_id = $1 and x.session_id = $2 and x.deleted_at is null
        ) t
        where $3::uuid[] is null or (
          exists (
            select from athlete_scope g where g.club_id = $1 and g.athlete_id = t.athlete_id and g.scope_id = any ($3))
          and not exists (
            select from athlete_scope k where k.club_id = $1 and k.athlete_id = t.athlete_id and k.scope_id = any ($4)))
        order by 1
        "#,
        club,
        id.0,
        out.as_deref(),
        stay.as_deref()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(found)
}
