//! The change log and what it points at, as rows.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use uuid::Uuid;

use super::history_store;
use super::model::{Type, Types};
use super::pager::{Child, Dated, Row, Source, What};
use super::places::{Key, Place, RootId};
use super::roots_store;
use super::visibility::{self, Grant, Root, Seq, Sight};
use crate::platform::db::{ClubTx, Kind, REDATE, StoreError};

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

/// Numbers of records of a type that are deleted but stay as stubs; none of a type that leaves no stub.
pub async fn stubs(tx: &mut ClubTx, kind: Type, ids: &[Uuid]) -> Result<Vec<(Uuid, Seq)>, StoreError> {
    let club = tx.club.0;
    macro_rules! of {
        ($table:tt) => {
            sqlx::query_as!(Stub, "select id, rev from " + $table + " where club_id = $1 and id = any ($2)", club, ids)
                .fetch_all(tx.conn())
                .await?
        };
    }
    let rows = match kind {
        Type::Measurement => of!("measurements"),
        Type::Attendance => of!("attendance"),
        Type::LanePlan => of!("lane_plans"),
        Type::RaceTest => of!("race_tests"),
        Type::Group
        | Type::Venue
        | Type::Equipment
        | Type::BarrierConfiguration
        | Type::Athlete
        | Type::Session
        | Type::Run
        | Type::Assessment
        | Type::Decision
        | Type::RaceEntry
        | Type::RaceResult
        | Type::Club
        | Type::AgeGroup
        | Type::CompetitionSpec
        | Type::WellbeingRecord => Vec::new(),
    };
    Ok(rows.into_iter().map(|row| (row.id, row.rev)).collect())
}

struct Stub {
    id: Uuid,
    rev: Seq,
}

/// The number under which the queries of this file and of `roots_store.rs` write a type: one that is new does not compile
/// without it, and belongs into the queries that are named here.
const fn written(kind: Type) -> i16 {
    match kind {
        // Roots: `visible`, `touched` and `roots`.
        Type::Group => 0,
        Type::Venue => 1,
        Type::Equipment => 2,
        Type::BarrierConfiguration => 3,
        Type::Athlete => 4,
        Type::Session => 5,
        Type::Club => 15,
        Type::AgeGroup => 16,
        Type::CompetitionSpec => 17,
        // Below them: `children`.
        Type::Measurement => 6,
        Type::Attendance => 7,
        Type::LanePlan => 8,
        Type::Run => 9,
        Type::Assessment => 10,
        Type::Decision => 11,
        Type::RaceTest => 12,
        Type::RaceEntry => 13,
        Type::RaceResult => 14,
        Type::WellbeingRecord => 18,
    }
}

/// The numbers are the places of the types, which tokens hold too.
const _: () = {
    let mut at = 0;
    while at < Type::ALL.len() {
        assert!(written(Type::ALL[at]) == Type::ALL[at].rank());
        at += 1;
    }
};

/// The type of a rank that a query wrote.
pub fn ranked(rank: i16) -> Result<Type, StoreError> {
    Type::of_rank(rank).ok_or(StoreError::Corrupt("change"))
}

/// The log of the transaction's club as its actor may read it.
#[derive(Debug)]
pub struct Log<'a> {
    /// The transaction.
    pub tx: &'a mut ClubTx,
    /// The day from which recorded facts are sent.
    pub history_from: Option<NaiveDate>,
    /// The groups that the phone carries; all when absent.
    pub groups: Option<Vec<Uuid>>,
    /// The scopes that the actor sees of them.
    pub scopes: Vec<Uuid>,
    /// The last number of the log.
    pub head: Seq,
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

/// What the log calls members.
const MEMBER: &str = Kind::Member.as_str();

/// A row of the log.
struct LogRow {
    seq: Seq,
    kind: String,
    op: String,
    entity_id: Uuid,
    root_kind: String,
    root_id: Uuid,
    before_scopes: Option<Vec<Uuid>>,
    after_scopes: Option<Vec<Uuid>>,
}

fn count(limit: usize) -> i64 {
    i64::try_from(limit).unwrap_or(i64::MAX)
}

impl Source for Log<'_> {
    type Error = StoreError;

    async fn rows(&mut self, after: Seq, limit: usize) -> Result<Vec<Row>, StoreError> {
        let (club, member) = (self.tx.club.0, self.tx.actor.account.0);
        let rows = sqlx::query_as!(
            LogRow,
            r#"
            select seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes
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
        let groups = self.groups.as_deref();
        let what =
            |(word, id): (&str, Uuid), root: (&str, Uuid), before: Option<Vec<Uuid>>, after: Option<Vec<Uuid>>| {
                let carried = |scopes: Option<Vec<Uuid>>| {
                    let scope = scopes.and_then(|list| list.first().copied())?;
                    let scopes =
                        groups.map_or_else(|| vec![scope], |groups| visibility::remaining(scope, groups, club));
                    Some(scopes).filter(|scopes| !scopes.is_empty())
                };
                let root_of =
                    |(word, id)| Type::of_kind(word).filter(|kind| kind.is_root()).map(|kind| RootId { id, kind });
                match (word, Type::of_kind(word)) {
                    ("grant", _) if root == (MEMBER, member) => carried(after).map(What::Grant),
                    ("revoke", _) if root == (MEMBER, member) => carried(before).map(What::Revoke),
                    (_, Some(kind @ (Type::Athlete | Type::Session))) => {
                        let moved = before.zip(after).map(|(before, after)| (moved(before), moved(after)));
                        Some(What::Root(RootId { id, kind }, moved))
                    }
                    (_, Some(kind)) if kind.is_root() => {
                        let scopes = scopes_of(kind, id, club, Vec::new());
                        Some(What::Root(RootId { id, kind }, Some((scopes.clone(), scopes))))
                    }
                    (_, Some(kind)) => root_of(root).map(|root| What::Child(kind, id, root)),
                    _ => None,
                }
                .unwrap_or(What::Other)
            };
        let dates = self.history_from.is_some();
        let row = |row: LogRow| Row {
            seq: row.seq,
            redated: dates && row.op == REDATE,
            what: what((&row.kind, row.entity_id), (&row.root_kind, row.root_id), row.before_scopes, row.after_scopes),
        };
        Ok(rows.into_iter().map(row).collect())
    }

    #[allow(clippy::too_many_lines)] // one statement, with an arm for each type
    async fn roots(&mut self, wanted: &[RootId]) -> Result<HashMap<RootId, Root>, StoreError> {
        let club = self.tx.club.0;
        // Also what has one of the ids and is of another type: it is found under its own name and asked for by nobody.
        let ids: Vec<Uuid> = wanted.iter().map(|root| root.id).collect();
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
            &ids
        )
        .fetch_all(self.tx.conn())
        .await?;
        let (kinds, rooted): (Vec<String>, Vec<Uuid>) = wanted
            .iter()
            .filter(|root| matches!(root.kind, Type::Athlete | Type::Session))
            .map(|root| (root.kind.kind().as_str().to_owned(), root.id))
            .unzip();
        // Each root by its key: of two lists side by side the planner reads all scopes of a club whose neighbours are small.
        let placed = sqlx::query!(
            r#"
            select u.kind as "kind!", u.id as "root_id!", s.scope_id
            from unnest($2::text[], $3::uuid[]) as u (kind, id)
            cross join lateral (
              select x.scope_id from root_scope x
              where x.club_id = $1 and x.kind = u.kind and x.root_id = u.id
              order by x.scope_id
            ) s
            "#,
            club,
            &kinds,
            &rooted
        )
        .fetch_all(self.tx.conn())
        .await?;
        let mut groups: HashMap<RootId, Vec<Uuid>> = HashMap::new();
        for row in placed {
            let kind = Type::of_kind(&row.kind).ok_or(StoreError::Corrupt("scope"))?;
            groups.entry(RootId { id: row.root_id, kind }).or_default().push(row.scope_id);
        }
        let mut found = HashMap::with_capacity(wanted.len());
        for row in rows {
            let root = RootId { id: row.id, kind: ranked(row.rank)? };
            let scopes = scopes_of(root.kind, root.id, club, groups.remove(&root).unwrap_or_default());
            found.insert(root, Root { rev: row.rev, alive: row.alive, scopes, withheld: false });
        }
        if self.tx.audience().is_some() {
            // Who is withheld stands in the log all the same: whoever has a copy of them is told to drop it, under a number
            // that is none of their own and no lower; once they are seen again their own is higher.
            let withheld = wanted.iter().filter(|root| root.kind == Type::Athlete);
            for root in withheld {
                let scopes = scopes_of(root.kind, root.id, club, groups.remove(root).unwrap_or_default());
                found.entry(*root).or_insert(Root { rev: self.head, alive: true, scopes, withheld: true });
            }
        }
        Ok(found)
    }

    async fn visible(&mut self, after: Place, limit: usize) -> Result<Vec<RootId>, StoreError> {
        roots_store::visible(self.tx, &self.scopes, after, count(limit)).await
    }

    async fn touched(
        &mut self,
        scopes: &[Uuid],
        since: Seq,
        after: Place,
        limit: usize,
    ) -> Result<Vec<RootId>, StoreError> {
        roots_store::touched(self.tx, (scopes, since), after, count(limit)).await
    }

    async fn children(
        &mut self,
        roots: &[RootId],
        types: Types,
        after: Option<Key>,
        limit: usize,
    ) -> Result<Vec<Child>, StoreError> {
        roots_store::children(self.tx, (roots, types, self.history_from), after, count(limit)).await
    }

    async fn old(&mut self, records: &[(Type, Uuid)]) -> Result<HashSet<(Type, Uuid)>, StoreError> {
        match self.history_from {
            Some(day) if !records.is_empty() => history_store::old(self.tx, records, day).await,
            _ => Ok(HashSet::new()),
        }
    }

    async fn dated(
        &mut self,
        session: Uuid,
        types: Types,
        after: Option<(Type, Uuid)>,
        limit: usize,
    ) -> Result<Vec<Dated>, StoreError> {
        let Some(day) = self.history_from else { return Ok(Vec::new()) };
        history_store::dated(self.tx, (session, types, day), after, limit).await
    }
}
