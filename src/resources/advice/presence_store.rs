//! Who came to which sessions: read here for boards, progress, cards, proposals and lane plans alike.
//!
//! Whoever is on the list of a session or has a run in it that stands came to it, whatever its state says: that somebody was there is a
//! fact. Whoever is neither missed it, when it took place: when it was not cancelled and somebody came. That a session is marked as held
//! is no part of this; a coach who forgot it had the athletes there all the same.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::NaiveDate;
use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, SessionId};

/// The sessions of a group, and who was there.
#[derive(Debug, Default)]
pub struct Attendance {
    /// Sessions that are marked as held.
    pub held: BTreeSet<Uuid>,
    /// The day of each session to which somebody came.
    pub days: BTreeMap<Uuid, NaiveDate>,
    /// Those of them that were not cancelled: whoever did not come missed it.
    pub recorded: BTreeSet<Uuid>,
    /// The sessions to which each athlete came.
    pub present: HashMap<Uuid, BTreeSet<Uuid>>,
}

/// Who of these athletes was there when a group had sessions between two days, both included.
///
/// # Errors
/// Database errors.
pub async fn attendance(
    tx: &mut ClubTx,
    group: GroupId,
    athletes: &[Uuid],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Attendance, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select s.id as "session_id!", s.held_on, s.state, p.athlete_id as "athlete_id?"
        from sessions s
        join session_scope g on g.club_id = $1 and g.session_id = s.id and g.scope_id = $2
        left join lateral (
          select a.athlete_id
          from attendance a
          where a.club_id = $1 and a.session_id = s.id and a.deleted_at is null
          union
          select r.athlete_id
          from runs r
          where r.club_id = $1 and r.session_id = s.id and not r.void
            and not exists (
              select from runs later
              where later.club_id = $1 and later.supersedes = r.id
            )
        ) p on true
        where s.club_id = $1 and s.deleted_at is null and s.held_on >= $3 and s.held_on <= $4
        "#,
        club,
        group.0,
        from,
        to
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found = Attendance::default();
    for row in rows {
        if row.state == "held" {
            found.held.insert(row.session_id);
        }
        let Some(athlete) = row.athlete_id else { continue };
        found.days.insert(row.session_id, row.held_on);
        if row.state != "cancelled" {
            found.recorded.insert(row.session_id);
        }
        if athletes.contains(&athlete) {
            found.present.entry(athlete).or_default().insert(row.session_id);
        }
    }
    Ok(found)
}

/// A member of groups, and whether they come.
#[derive(Clone, Copy, Debug)]
pub struct Member {
    /// The athlete.
    pub athlete: AthleteId,
    /// The last session to which they came, when they missed each of the last [`MISSED`].
    pub missing_since: Option<NaiveDate>,
}

/// After so many sessions of their groups missed in a row nobody is expected (design choice).
const MISSED: i64 = 3;

/// The members of groups who have not left; who never came is new, and expected. Which sessions somebody missed is told by those of their own
/// groups alone. Whoever came to any of these groups since the first of them, also to a session that was cancelled, was there.
///
/// # Errors
/// Database errors.
#[allow(clippy::too_many_lines)] // one statement, and what its rows say
pub async fn members(
    tx: &mut ClubTx,
    but: SessionId,
    on: NaiveDate,
    groups: &[GroupId],
) -> Result<Vec<Member>, StoreError> {
    let club = tx.club.0;
    let groups = grants::ids_of(groups);
    let rows = sqlx::query!(
        r#"
        with latest as (
          select g.id as group_id, l.id, l.held_on
          from unnest($4::uuid[]) as g (id)
          cross join lateral (
            select s.id, s.held_on
            from sessions s
            where s.club_id = $1 and s.deleted_at is null and s.held_on <= $3 and s.id <> $2 and s.state <> 'cancelled'
              and exists (select from session_scope c where c.club_id = $1 and c.session_id = s.id and c.scope_id = g.id)
              and (
                exists (select from attendance t where t.club_id = $1 and t.session_id = s.id and t.deleted_at is null)
                or exists (
                  select from runs r
                  where r.club_id = $1 and r.session_id = s.id and not r.void
                    and not exists (select from runs later where later.club_id = $1 and later.supersedes = r.id)
                )
              )
            order by s.held_on desc, s.id desc
            limit $5
          ) l
        ), since as (
          select s.id, s.held_on
          from sessions s
          where s.club_id = $1 and s.deleted_at is null and s.held_on <= $3 and s.id <> $2
            and s.held_on >= (select min(l.held_on) from latest l)
            and exists (select from session_scope c where c.club_id = $1 and c.session_id = s.id and c.scope_id = any ($4))
        ), came as (
          select t.athlete_id, s.held_on
          from since s
          join attendance t on t.club_id = $1 and t.session_id = s.id and t.deleted_at is null
          union
          select r.athlete_id, s.held_on
          from since s
          join runs r on r.club_id = $1 and r.session_id = s.id and not r.void
            and not exists (select from runs later where later.club_id = $1 and later.supersedes = r.id)
        )
        select m.id,
          case when m.missed_from is not null
            and not exists (select from came c where c.athlete_id = m.id and c.held_on >= m.missed_from)
          then (
            select max(s.held_on)
            from (
              select p.session_id from attendance p where p.club_id = $1 and p.athlete_id = m.id and p.deleted_at is null
              union
              select r.session_id from runs r
              where r.club_id = $1 and r.athlete_id = m.id and not r.void
                and not exists (select from runs later where later.club_id = $1 and later.supersedes = r.id)
            ) t
            join sessions s on s.club_id = $1 and s.id = t.session_id and s.deleted_at is null and s.held_on <= $3
            where t.session_id <> $2
          ) end as last_seen_on
        from (
          select a.id,
            (
              select min(t.held_on)
              from (
                select distinct l.held_on, l.id
                from latest l
                join athlete_scope c on c.club_id = $1 and c.athlete_id = a.id and c.scope_id = l.group_id
                order by l.held_on desc, l.id desc
                limit $5
              ) t
              having count(*) = $5
            ) as missed_from
          from athletes a
          where a.club_id = $1 and a.deleted_at is null and a.status <> 'left'
            and exists (select from athlete_scope c where c.club_id = $1 and c.athlete_id = a.id and c.scope_id = any ($4))
          offset 0
        ) m
        order by m.id
        "#,
        club,
        but.0,
        on,
        &groups,
        MISSED
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| Member { athlete: AthleteId(row.id), missing_since: row.last_seen_on }).collect())
}
