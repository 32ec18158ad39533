//! Which roots a member sees, which ones a grant touches, and what lies below them, as rows.

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Type, Types};
use super::pager::Child;
use super::places::{Key, Part, Place, RootId};
use super::store::ranked;
use super::visibility::Seq;
use crate::platform::db::{ClubTx, StoreError};

/// Roots in order, after a place: `$1` is the club, `$2` and `$7` the place, `$3` whether everything is seen, `$4` whether the club's own
/// things are, `$5` the scopes, `$6` how many. Takes how its parts are put together, the part of athletes and sessions, and the values.
macro_rules! roots {
    ($tx:ident, $union:tt, $grouped:tt, $($value:expr),+) => {{
        let rows = sqlx::query!(
            r#"select t.id as "id!", t.rank as "rank!" from ("# + $grouped + " " + $union + r#"
              (select g.id, 0::smallint from groups g
               where g.club_id = $1 and g.deleted_at is null and g.id >= $2 and (g.id > $2 or 0 > $7)
                 and ($3 or g.id = any ($5)) order by g.id limit $6) "# + $union + r#"
              (select v.id, 1::smallint from venues v
               where v.club_id = $1 and v.deleted_at is null and v.id >= $2 and (v.id > $2 or 1 > $7) and $4
               order by v.id limit $6) "# + $union + r#"
              (select e.id, 2::smallint from equipment e
               where e.club_id = $1 and e.deleted_at is null and e.id >= $2 and (e.id > $2 or 2 > $7) and $4
               order by e.id limit $6) "# + $union + r#"
              (select b.id, 3::smallint from barrier_configurations b
               where b.club_id = $1 and b.deleted_at is null and b.id >= $2 and (b.id > $2 or 3 > $7) and $4
               order by b.id limit $6) "# + $union + r#"
              (select c.id, 15::smallint from clubs c where c.id = $1 and c.id >= $2 and (c.id > $2 or 15 > $7) and $4) "#
                + $union + r#"
              (select y.id, 16::smallint from age_groups y
               where y.club_id = $1 and y.deleted_at is null and y.id >= $2 and (y.id > $2 or 16 > $7) and $4
               order by y.id limit $6) "# + $union + r#"
              (select z.id, 17::smallint from competition_specs z
               where z.club_id = $1 and z.deleted_at is null and z.id >= $2 and (z.id > $2 or 17 > $7) and $4
               order by z.id limit $6)
            ) t
            order by t.id, t.rank
            limit $6"#,
            $($value),+
        )
        .fetch_all($tx.conn())
        .await?;
        rows.into_iter().map(|row| root(row.id, row.rank)).collect()
    }};
}

/// The live roots in these scopes, in order, after `after`.
pub async fn visible(tx: &mut ClubTx, scopes: &[Uuid], after: Place, limit: i64) -> Result<Vec<RootId>, StoreError> {
    let (club, everything) = (tx.club.0, scopes.contains(&Uuid::nil()));
    roots!(
        tx,
        "union all",
        r#"
          (select a.id, 4::smallint as rank from athletes a
           where a.club_id = $1 and a.deleted_at is null and a.id >= $2 and (a.id > $2 or 4 > $7::smallint)
             and ($3 or exists (select from athlete_scope s
               where s.club_id = $1 and s.athlete_id = a.id and s.scope_id = any ($5))) order by a.id limit $6)
          union all
          (select x.id, 5::smallint from sessions x
           where x.club_id = $1 and x.deleted_at is null and x.id >= $2 and (x.id > $2 or 5 > $7)
             and ($3 or exists (select from session_scope s
               where s.club_id = $1 and s.session_id = x.id and s.scope_id = any ($5))) order by x.id limit $6)
        "#,
        club,
        after.id,
        everything,
        scopes.contains(&club),
        scopes,
        limit,
        after.rank
    )
}

/// The roots that are in one of these scopes now or left it in a row after `since`, in order, after `after`.
pub async fn touched(
    tx: &mut ClubTx,
    (scopes, since): (&[Uuid], Seq),
    after: Place,
    limit: i64,
) -> Result<Vec<RootId>, StoreError> {
    let (club, everything) = (tx.club.0, scopes.contains(&Uuid::nil()));
    roots!(
        tx,
        "union",
        r#"
          (select s.root_id as id, (case s.kind when 'athlete' then 4 else 5 end)::smallint as rank
           from unnest($5::uuid[]) as w (id)
           cross join lateral (
             select x.root_id, x.kind from root_scope x
             where x.club_id = $1 and x.scope_id = w.id and x.root_id >= $2
               and (x.root_id > $2 or (case x.kind when 'athlete' then 4 else 5 end) > $7::smallint)
             order by x.root_id, x.kind limit $6
           ) s)
          union
          (select c.entity_id, (case c.kind when 'athlete' then 4 else 5 end)::smallint from club_change c
           where c.club_id = $1 and c.seq > $8 and c.before_scopes is not null and c.before_scopes && $5::uuid[]
             and c.kind in ('athlete', 'session') and c.entity_id >= $2
             and (c.entity_id > $2 or (case c.kind when 'athlete' then 4 else 5 end) > $7))
          union
          (select a.id, 4::smallint from athletes a
           where a.club_id = $1 and $3 and a.deleted_at is null and a.id >= $2 and (a.id > $2 or 4 > $7)
           order by a.id limit $6)
          union
          (select x.id, 5::smallint from sessions x
           where x.club_id = $1 and $3 and x.deleted_at is null and x.id >= $2 and (x.id > $2 or 5 > $7)
           order by x.id limit $6)
        "#,
        club,
        after.id,
        everything,
        scopes.contains(&club),
        scopes,
        limit,
        after.rank,
        since
    )
}

/// The live records of these types below these roots, by root, type and id, after `after`; of those that are about a day,
/// as [`super::history_store`] has it, those from a day on.
#[allow(clippy::too_many_lines)] // one statement, with an arm for each type
pub async fn children(
    tx: &mut ClubTx,
    (roots, types, history_from): (&[RootId], Types, Option<NaiveDate>),
    after: Option<Key>,
    limit: i64,
) -> Result<Vec<Child>, StoreError> {
    let (club, ranks): (Uuid, Vec<i16>) = (tx.club.0, types.iter().map(Type::rank).collect());
    let (ids, kinds): (Vec<Uuid>, Vec<i16>) = roots.iter().map(|root| (root.id, root.kind.rank())).unzip();
    let (above, rank, id) = past(after);
    let rows = sqlx::query!(
        r#"
        with recent as (
          select s.id from sessions s where s.club_id = $1 and s.held_on >= $8::date
        ), recent_tests as (
          select x.id from race_tests x where x.club_id = $1 and x.session_id in (select id from recent)
        )
        select r.root_id as "root!", r.root_rank as "root_rank!", c.rank as "rank!", c.id as "id!"
        from (
          select u.root_id, u.root_rank, case u.root_rank when 4 then u.root_id end as athlete,
            case u.root_rank when 5 then u.root_id end as session
          from unnest($2::uuid[], $9::smallint[]) as u (root_id, root_rank) order by u.root_id, u.root_rank
        ) r
        cross join lateral (
          select 6::smallint as rank, m.id from measurements m
          where m.club_id = $1 and m.athlete_id = r.athlete and m.deleted_at is null
          union all
          select 7::smallint, t.id from attendance t
          where t.club_id = $1 and t.athlete_id = r.athlete and t.deleted_at is null
            and ($8::date is null or t.session_id in (select id from recent))
          union all
          select 8::smallint, l.id from lane_plans l
          where l.club_id = $1 and l.session_id = r.session and l.deleted_at is null
            and ($8::date is null or l.session_id in (select id from recent))
          union all
          (select 9::smallint, x.id from runs x
           where x.club_id = $1 and x.athlete_id = r.athlete
             and ($8::date is null or x.session_id in (select id from recent))
             and x.id > case when r.athlete = $4 and 4::smallint = $10 and 9::smallint = $5 then $6
               else '00000000-0000-0000-0000-000000000000'::uuid end
           order by x.id limit $7)
          union all
          select 10::smallint, a.id from assessments a
          where a.club_id = $1 and a.athlete_id = r.athlete
            and ($8::date is null or a.session_id in (select id from recent)
              or (a.session_id is null and (a.assessed_at at time zone 'UTC')::date >= $8))
          union all
          select 11::smallint, d.id from recommendations d
          where d.club_id = $1 and d.athlete_id = r.athlete and ($8::date is null or d.on_date >= $8)
          union all
          select 12::smallint, x.id from race_tests x
          where x.club_id = $1 and x.session_id = r.session and x.deleted_at is null
            and ($8::date is null or x.session_id in (select id from recent))
          union all
          select 13::smallint, e.id from race_entries e
          where e.club_id = $1 and e.athlete_id = r.athlete
            and ($8::date is null or e.race_test_id in (select id from recent_tests))
          union all
          select 14::smallint, y.id from race_results y
          where y.club_id = $1 and y.athlete_id = r.athlete
            and ($8::date is null or y.race_test_id in (select id from recent_tests))
          union all
          select 18::smallint, w.id from wellbeing_records w
          where w.club_id = $1 and w.athlete_id = r.athlete
        ) c
        where c.rank = any ($3) and (r.root_id, r.root_rank, c.rank, c.id) > ($4, $10, $5, $6)
        order by r.root_id, r.root_rank, c.rank, c.id
        limit $7
        "#,
        club,
        &ids,
        &ranks,
        above.id,
        rank,
        id,
        limit,
        history_from,
        &kinds,
        above.rank
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| Ok(Child { root: root(row.root, row.root_rank)?, kind: ranked(row.rank)?, id: row.id }))
        .collect()
}

/// A root as a query writes it.
fn root(id: Uuid, rank: i16) -> Result<RootId, StoreError> {
    Ok(RootId { id, kind: ranked(rank)? })
}

/// The child after which a page goes on, as the columns that order them.
fn past(after: Option<Key>) -> (Place, i16, Uuid) {
    match after {
        None => (Place::START, -1, Uuid::nil()),
        Some(Key { root, part: Part::Child(kind, id) }) => (Place::past(root), kind.rank(), id),
        Some(Key { root, part: Part::Dated(..) }) => (Place::past(root), i16::MAX, Uuid::max()),
        Some(Key { root, .. }) => (Place::past(root), -1, Uuid::nil()),
    }
}
