//! Which records are about a day before the first that a phone keeps, as rows.
//!
//! What was recorded or planned in a session is about its day: runs, attendances, lane plans, race tests with their
//! entries and results, and assessments that name one. The day of a session may change, and theirs with it. An
//! assessment without a session is about the day of its claimed time in UTC, a decision about its own.

use std::collections::HashSet;

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Type, Types};
use super::pager::{Child, Dated};
use super::places::RootId;
use super::store::ranked;
use crate::platform::db::{ClubTx, StoreError};

/// Those of these records that are there and about a day before `day`. That one was deleted is always told: it may have gone
/// just before its session moved, which takes back what is there alone.
pub async fn old(
    tx: &mut ClubTx,
    records: &[(Type, Uuid)],
    day: NaiveDate,
) -> Result<HashSet<(Type, Uuid)>, StoreError> {
    let club = tx.club.0;
    let ids: Vec<Uuid> = records.iter().map(|(_, id)| *id).collect();
    let rows = sqlx::query!(
        r#"
        select t.rank as "rank!", t.id as "id!"
        from (
          select 7::smallint as rank, p.id, p.session_id from attendance p
          where p.club_id = $1 and p.id = any ($2) and p.deleted_at is null
          union all
          select 8::smallint, l.id, l.session_id from lane_plans l
          where l.club_id = $1 and l.id = any ($2) and l.deleted_at is null
          union all
          select 9::smallint, r.id, r.session_id from runs r where r.club_id = $1 and r.id = any ($2)
          union all
          select 10::smallint, a.id, a.session_id from assessments a where a.club_id = $1 and a.id = any ($2)
          union all
          select 12::smallint, x.id, x.session_id from race_tests x
          where x.club_id = $1 and x.id = any ($2) and x.deleted_at is null
          union all
          select 13::smallint, e.id, x.session_id
          from race_entries e
          join race_tests x on x.club_id = $1 and x.id = e.race_test_id
          where e.club_id = $1 and e.id = any ($2)
          union all
          select 14::smallint, y.id, x.session_id
          from race_results y
          join race_tests x on x.club_id = $1 and x.id = y.race_test_id
          where y.club_id = $1 and y.id = any ($2)
        ) t
        join sessions s on s.club_id = $1 and s.id = t.session_id
        where s.held_on < $3
        union all
        select 10::smallint, a.id
        from assessments a
        where a.club_id = $1 and a.id = any ($2) and a.session_id is null
          and (a.assessed_at at time zone 'UTC')::date < $3
        union all
        select 11::smallint, d.id from recommendations d where d.club_id = $1 and d.id = any ($2) and d.on_date < $3
        "#,
        club,
        &ids,
        day
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter().map(|row| Ok((ranked(row.rank)?, row.id))).collect()
}

/// The live records of these types whose day is that of a session, by type and id, after `after`; with whether it lies
/// before `day`.
pub async fn dated(
    tx: &mut ClubTx,
    (session, types, day): (Uuid, Types, NaiveDate),
    after: Option<(Type, Uuid)>,
    limit: i64,
) -> Result<Vec<Dated>, StoreError> {
    let (club, ranks): (Uuid, Vec<i16>) = (tx.club.0, types.iter().map(Type::rank).collect());
    let (rank, id) = after.map_or((-1, Uuid::nil()), |(kind, id)| (kind.rank(), id));
    let rows = sqlx::query!(
        r#"
        select t.rank as "rank!", t.id as "id!", t.rev as "rev!", t.athlete_id, s.held_on < $7 as "old!"
        from (
          select 7::smallint as rank, p.id, p.rev, p.athlete_id from attendance p
          where p.club_id = $1 and p.session_id = $2 and p.deleted_at is null
          union all
          select 8::smallint, l.id, l.rev, null from lane_plans l
          where l.club_id = $1 and l.session_id = $2 and l.deleted_at is null
          union all
          select 9::smallint, r.id, r.rev, r.athlete_id from runs r where r.club_id = $1 and r.session_id = $2
          union all
          select 10::smallint, a.id, a.rev, a.athlete_id from assessments a where a.club_id = $1 and a.session_id = $2
          union all
          select 12::smallint, x.id, x.rev, null from race_tests x
          where x.club_id = $1 and x.session_id = $2 and x.deleted_at is null
          union all
          select 13::smallint, e.id, e.rev, e.athlete_id
          from race_tests x
          join race_entries e on e.club_id = $1 and e.race_test_id = x.id
          where x.club_id = $1 and x.session_id = $2 and x.deleted_at is null
          union all
          select 14::smallint, y.id, y.rev, y.athlete_id
          from race_tests x
          join race_results y on y.club_id = $1 and y.race_test_id = x.id
          where x.club_id = $1 and x.session_id = $2
        ) t
        join sessions s on s.club_id = $1 and s.id = $2
        where t.rank = any ($3) and (t.rank, t.id) > ($4, $5)
        order by t.rank, t.id
        limit $6
        "#,
        club,
        session,
        &ranks,
        rank,
        id,
        limit,
        day
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let above = row.athlete_id.map(|id| RootId { id, kind: Type::Athlete });
            let root = above.unwrap_or(RootId { id: session, kind: Type::Session });
            let child = Child { root, kind: ranked(row.rank)?, id: row.id };
            Ok(Dated { child, rev: row.rev, old: row.old })
        })
        .collect()
}
