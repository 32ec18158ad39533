//! The change log and what it points at, as rows.

use std::collections::HashMap;

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Type, Types};
use super::pager::{Child, Key, Part, Row, Source, What};
use super::visibility::{Grant, Root, Seq, Sight};
use crate::platform::db::{ClubTx, StoreError};

/// Everything the actor sees and ever saw.
pub async fn sight(tx: &mut ClubTx) -> Result<Sight, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let rows = sqlx::query!(
        r#"
        select scope_id, from_seq as "from!", case when revoked then to_seq end as "to?"
        from scope_grant
        where club_id = $1 and member_id = $2 and from_seq is not null
        order by from_seq
        "#,
        club,
        member
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(Sight(rows.into_iter().map(|row| Grant { scope: row.scope_id, from: row.from, to: row.to }).collect()))
}

/// Numbers of records that are deleted but stay as stubs.
pub async fn stubs(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, Seq>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select id as "id!", rev as "rev!" from measurements where club_id = $1 and id = any ($2)
        union all
        select id, rev from attendance where club_id = $1 and id = any ($2)
        union all
        select id, rev from lane_plans where club_id = $1 and id = any ($2)
        union all
        select id, rev from race_tests where club_id = $1 and id = any ($2)
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.rev)).collect())
}

/// The log of the transaction's club as its actor may read it.
#[derive(Debug)]
pub struct Log<'a> {
    /// The transaction.
    pub tx: &'a mut ClubTx,
    /// The day from which recorded facts are sent.
    pub history_from: Option<NaiveDate>,
    /// The scopes that the actor sees.
    pub scopes: Vec<Uuid>,
}

/// The scopes that a root has besides its groups.
fn scopes_of(kind: Type, id: Uuid, club: Uuid, mut groups: Vec<Uuid>) -> Vec<Uuid> {
    match kind {
        Type::Group => vec![id, Uuid::nil()],
        Type::Athlete | Type::Session => {
            groups.push(Uuid::nil());
            groups
        }
        _ => vec![club],
    }
}

/// The scopes before or after a move; a root in no group at all is not there.
fn moved(groups: Vec<Uuid>) -> Vec<Uuid> {
    if groups.is_empty() { groups } else { [groups, vec![Uuid::nil()]].concat() }
}

fn count(limit: usize) -> i64 {
    i64::try_from(limit).unwrap_or(i64::MAX)
}

impl Source for Log<'_> {
    type Error = StoreError;

    async fn rows(&mut self, after: Seq, limit: usize) -> Result<Vec<Row>, StoreError> {
        let (club, member) = (self.tx.club.0, self.tx.actor.account.0);
        let rows = sqlx::query!(
            r#"
            select seq, kind, entity_id, root_id, before_scopes, after_scopes
            from club_change
            where club_id = $1 and seq > $2
            order by seq
            limit $3
            "#,
            club,
            after,
            count(limit)
        )
        .fetch_all(self.tx.conn())
        .await?;
        let what = |row: (String, Uuid, Uuid, Option<Vec<Uuid>>, Option<Vec<Uuid>>)| {
            let (word, id, root, before, after) = row;
            match (word.as_str(), Type::of_kind(&word)) {
                ("grant", _) if root == member => after.and_then(|list| list.first().copied()).map(What::Grant),
                ("revoke", _) if root == member => before.and_then(|list| list.first().copied()).map(What::Revoke),
                (_, Some(Type::Athlete | Type::Session)) => {
                    Some(What::Root(id, before.zip(after).map(|(before, after)| (moved(before), moved(after)))))
                }
                (_, Some(kind)) if kind.is_root() => {
                    let scopes = scopes_of(kind, id, club, Vec::new());
                    Some(What::Root(id, Some((scopes.clone(), scopes))))
                }
                (_, Some(kind)) => Some(What::Child(kind, id, root)),
                _ => None,
            }
            .unwrap_or(What::Other)
        };
        Ok(rows
            .into_iter()
            .map(|row| Row {
                seq: row.seq,
                what: what((row.kind, row.entity_id, row.root_id, row.before_scopes, row.after_scopes)),
            })
            .collect())
    }

    async fn roots(&mut self, ids: &[Uuid]) -> Result<HashMap<Uuid, Root>, StoreError> {
        let club = self.tx.club.0;
        let rows = sqlx::query!(
            r#"
            select 0::smallint as "rank!", id as "id!", rev as "rev!", deleted_at is null as "alive!"
            from groups where club_id = $1 and id = any ($2)
            union all
            select 1::smallint, id, rev, deleted_at is null from venues where club_id = $1 and id = any ($2)
            union all
            select 2::smallint, id, rev, deleted_at is null from equipment where club_id = $1 and id = any ($2)
            union all
            select 3::smallint, id, rev, deleted_at is null
            from barrier_configurations where club_id = $1 and id = any ($2)
            union all
            select 4::smallint, id, rev, deleted_at is null from athletes where club_id = $1 and id = any ($2)
            union all
            select 5::smallint, id, rev, deleted_at is null from sessions where club_id = $1 and id = any ($2)
            union all
            select 15::smallint, id, rev, true from clubs where id = $1 and id = any ($2)
            union all
            select 16::smallint, id, rev, deleted_at is null from age_groups where club_id = $1 and id = any ($2)
            union all
            select 17::smallint, id, rev, deleted_at is null
            from competition_specs where club_id = $1 and id = any ($2)
            "#,
            club,
            ids
        )
        .fetch_all(self.tx.conn())
        .await?;
        let placed = sqlx::query!(
            "select root_id, scope_id from root_scope where club_id = $1 and root_id = any ($2)",
            club,
            ids
        )
        .fetch_all(self.tx.conn())
        .await?;
        let mut groups: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
        for row in placed {
            groups.entry(row.root_id).or_default().push(row.scope_id);
        }
        rows.into_iter()
            .map(|row| {
                let kind = Type::of_rank(row.rank).ok_or(StoreError::Corrupt("change"))?;
                let scopes = scopes_of(kind, row.id, club, groups.remove(&row.id).unwrap_or_default());
                Ok((row.id, Root { kind, rev: row.rev, alive: row.alive, scopes }))
            })
            .collect()
    }

    async fn visible(&mut self, after: Option<Uuid>, limit: usize) -> Result<Vec<Uuid>, StoreError> {
        let club = self.tx.club.0;
        let everything = self.scopes.contains(&Uuid::nil());
        let club_wide = self.scopes.contains(&club);
        let ids = sqlx::query_scalar!(
            r#"
            select t.id as "id!" from (
              (select g.id from groups g
               where g.club_id = $1 and g.deleted_at is null and g.id > $2 and ($3 or g.id = any ($5))
               order by g.id limit $6)
              union all
              (select v.id from venues v where v.club_id = $1 and v.deleted_at is null and v.id > $2 and $4
               order by v.id limit $6)
              union all
              (select e.id from equipment e where e.club_id = $1 and e.deleted_at is null and e.id > $2 and $4
               order by e.id limit $6)
              union all
              (select b.id from barrier_configurations b
               where b.club_id = $1 and b.deleted_at is null and b.id > $2 and $4
               order by b.id limit $6)
              union all
              (select a.id from athletes a
               where a.club_id = $1 and a.deleted_at is null and a.id > $2 and ($3 or exists (
                 select from root_scope s where s.club_id = $1 and s.root_id = a.id and s.scope_id = any ($5)))
               order by a.id limit $6)
              union all
              (select x.id from sessions x
               where x.club_id = $1 and x.deleted_at is null and x.id > $2 and ($3 or exists (
                 select from root_scope s where s.club_id = $1 and s.root_id = x.id and s.scope_id = any ($5)))
               order by x.id limit $6)
              union all
              (select c.id from clubs c where c.id = $1 and c.id > $2 and $4)
              union all
              (select y.id from age_groups y where y.club_id = $1 and y.deleted_at is null and y.id > $2 and $4
               order by y.id limit $6)
              union all
              (select z.id from competition_specs z
               where z.club_id = $1 and z.deleted_at is null and z.id > $2 and $4
               order by z.id limit $6)
            ) t
            order by t.id
            limit $6
            "#,
            club,
            after.unwrap_or_default(),
            everything,
            club_wide,
            &self.scopes,
            count(limit)
        )
        .fetch_all(self.tx.conn())
        .await?;
        Ok(ids)
    }

    async fn touched(
        &mut self,
        scope: Uuid,
        since: Seq,
        after: Option<Uuid>,
        limit: usize,
    ) -> Result<Vec<Uuid>, StoreError> {
        let club = self.tx.club.0;
        let ids = sqlx::query_scalar!(
            r#"
            select t.id as "id!" from (
              (select s.root_id as id from root_scope s where s.club_id = $1 and s.scope_id = $2 and s.root_id > $4
               order by s.root_id limit $6)
              union
              (select c.root_id from club_change c
               where c.club_id = $1 and c.seq > $3 and c.before_scopes is not null and c.before_scopes @> array[$2]
                 and c.kind in ('athlete', 'session') and c.root_id > $4)
              union
              (select g.id from groups g
               where g.club_id = $1 and (g.id = $2 or $5) and g.deleted_at is null and g.id > $4
               order by g.id limit $6)
              union
              (select a.id from athletes a where a.club_id = $1 and $5 and a.deleted_at is null and a.id > $4
               order by a.id limit $6)
              union
              (select x.id from sessions x where x.club_id = $1 and $5 and x.deleted_at is null and x.id > $4
               order by x.id limit $6)
              union
              (select v.id from venues v where v.club_id = $1 and $2 = $1 and v.deleted_at is null and v.id > $4
               order by v.id limit $6)
              union
              (select e.id from equipment e where e.club_id = $1 and $2 = $1 and e.deleted_at is null and e.id > $4
               order by e.id limit $6)
              union
              (select b.id from barrier_configurations b
               where b.club_id = $1 and $2 = $1 and b.deleted_at is null and b.id > $4
               order by b.id limit $6)
              union
              select c.id from clubs c where c.id = $1 and $2 = $1 and c.id > $4
              union
              (select y.id from age_groups y where y.club_id = $1 and $2 = $1 and y.deleted_at is null and y.id > $4
               order by y.id limit $6)
              union
              (select z.id from competition_specs z
               where z.club_id = $1 and $2 = $1 and z.deleted_at is null and z.id > $4
               order by z.id limit $6)
            ) t
            order by t.id
            limit $6
            "#,
            club,
            scope,
            since,
            after.unwrap_or_default(),
            scope.is_nil(),
            count(limit)
        )
        .fetch_all(self.tx.conn())
        .await?;
        Ok(ids)
    }

    async fn children(
        &mut self,
        roots: &[Uuid],
        types: Types,
        after: Option<Key>,
        limit: usize,
    ) -> Result<Vec<Child>, StoreError> {
        let club = self.tx.club.0;
        let ranks: Vec<i16> = types.iter().map(Type::rank).collect();
        let (root, rank, id) = past(after);
        let rows = sqlx::query!(
            r#"
            select r.root_id as "root!", c.rank as "rank!", c.id as "id!"
            from (select u.root_id from unnest($2::uuid[]) as u (root_id) order by u.root_id) r
            cross join lateral (
              select 6::smallint as rank, m.id from measurements m
              where m.club_id = $1 and m.athlete_id = r.root_id and m.deleted_at is null
              union all
              select 7::smallint, t.id from attendance t
              where t.club_id = $1 and t.athlete_id = r.root_id and t.deleted_at is null
                and ($8::date is null or t.created_at >= $8::date)
              union all
              select 8::smallint, l.id from lane_plans l
              where l.club_id = $1 and l.session_id = r.root_id and l.deleted_at is null
                and ($8::date is null or l.created_at >= $8::date)
              union all
              (select 9::smallint, x.id from runs x
               where x.club_id = $1 and x.athlete_id = r.root_id and ($8::date is null or x.run_at >= $8::date)
                 and x.id > case when r.root_id = $4 and 9::smallint = $5 then $6
                   else '00000000-0000-0000-0000-000000000000'::uuid end
               order by x.id limit $7)
              union all
              select 10::smallint, a.id from assessments a
              where a.club_id = $1 and a.athlete_id = r.root_id and ($8::date is null or a.assessed_at >= $8::date)
              union all
              select 11::smallint, d.id from recommendations d
              where d.club_id = $1 and d.athlete_id = r.root_id and ($8::date is null or d.on_date >= $8)
              union all
              select 12::smallint, x.id from race_tests x
              where x.club_id = $1 and x.session_id = r.root_id and x.deleted_at is null
                and ($8::date is null or x.created_at >= $8::date)
              union all
              select 13::smallint, e.id from race_entries e
              where e.club_id = $1 and e.athlete_id = r.root_id and ($8::date is null or e.created_at >= $8::date)
              union all
              select 14::smallint, y.id from race_results y
              where y.club_id = $1 and y.athlete_id = r.root_id and ($8::date is null or y.created_at >= $8::date)
            ) c
            where c.rank = any ($3) and (r.root_id, c.rank, c.id) > ($4, $5, $6)
            order by r.root_id, c.rank, c.id
            limit $7
            "#,
            club,
            roots,
            &ranks,
            root,
            rank,
            id,
            count(limit),
            self.history_from
        )
        .fetch_all(self.tx.conn())
        .await?;
        rows.into_iter().map(|row| child(row.root, row.rank, row.id)).collect()
    }
}

/// The child after which a page goes on, as the columns that order them.
fn past(after: Option<Key>) -> (Uuid, i16, Uuid) {
    match after {
        None => (Uuid::nil(), -1, Uuid::nil()),
        Some(Key { root, part: Part::Child(kind, id) }) => (root, kind.rank(), id),
        Some(Key { root, .. }) => (root, -1, Uuid::nil()),
    }
}

fn child(root: Uuid, rank: i16, id: Uuid) -> Result<Child, StoreError> {
    let kind = Type::of_rank(rank).ok_or(StoreError::Corrupt("change"))?;
    Ok(Child { root, kind, id })
}
