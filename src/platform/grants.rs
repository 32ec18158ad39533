//! What a member may see, kept as intervals of change numbers so that a phone's copy can follow.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;
use uuid::Uuid;

use super::access::Role;
use super::db::{Change, ClubTx, Kind, Named, Parts, StoreError};
use super::fault::Fault;
use super::ids::{AccountId, GroupId};
use super::problem::{Code, Problem};
use super::renewals;

/// Sets what a member sees: every member the club-wide records, an admin every group, others their groups.
///
/// # Errors
/// Database errors.
pub async fn set(tx: &mut ClubTx, member: AccountId, role: Role, groups: &[GroupId]) -> Result<(), StoreError> {
    let club = tx.club.0;
    let mut wanted = BTreeSet::from([club]);
    match role {
        Role::Admin => {
            wanted.insert(Uuid::nil());
        }
        Role::Coach | Role::Viewer => wanted.extend(groups.iter().map(|group| group.0)),
    }
    replace(tx, member, &wanted).await
}

/// Ends everything a member sees.
///
/// # Errors
/// Database errors.
pub async fn end(tx: &mut ClubTx, member: AccountId) -> Result<(), StoreError> {
    replace(tx, member, &BTreeSet::new()).await
}

async fn replace(tx: &mut ClubTx, member: AccountId, wanted: &BTreeSet<Uuid>) -> Result<(), StoreError> {
    let club = tx.club.0;
    let active = sqlx::query!(
        r#"
        select id, scope_id
        from scope_grant
        where club_id = $1 and member_id = $2 and not revoked
        "#,
        club,
        member.0
    )
    .fetch_all(tx.conn())
    .await?;
    for grant in active.iter().filter(|grant| !wanted.contains(&grant.scope_id)) {
        let change = Change::put(Kind::Revoke, grant.id).under(member).scopes(vec![grant.scope_id], Vec::new());
        sqlx::query!("update scope_grant set revoked = true where club_id = $1 and id = $2", club, grant.id)
            .execute(tx.changing(change))
            .await?;
    }
    for scope in wanted {
        if active.iter().any(|grant| grant.scope_id == *scope) {
            continue;
        }
        let id = Uuid::now_v7();
        let change = Change::put(Kind::Grant, id).under(member).scopes(Vec::new(), vec![*scope]);
        sqlx::query!(
            r#"
            insert into scope_grant as x (club_id, id, member_id, scope_id)
            values ($1, $2, $3, $4)
            "#,
            club,
            id,
            member.0,
            scope
        )
        .execute(tx.changing(change))
        .await?;
    }
    // Who had nothing gets everything afresh, and who has nothing left drops it all.
    let before: BTreeSet<Uuid> = active.iter().map(|grant| grant.scope_id).collect();
    if before.is_empty() || wanted.is_empty() {
        return Ok(());
    }
    renew_plans_of(tx, &before.symmetric_difference(wanted).copied().collect::<Vec<_>>()).await
}

/// Sends phones the plans anew that name people of these scopes, because a member came to see them or no longer does.
async fn renew_plans_of(tx: &mut ClubTx, scopes: &[Uuid]) -> Result<(), StoreError> {
    if scopes.contains(&Uuid::nil()) {
        return renewals::plans(tx, None, None).await;
    }
    let club = tx.club.0;
    let athletes = sqlx::query_scalar!(
        r#"select athlete_id as "athlete_id!" from athlete_scope where club_id = $1 and scope_id = any ($2)"#,
        club,
        scopes
    )
    .fetch_all(tx.conn())
    .await?;
    renewals::plans(tx, Some(&athletes), None).await
}

/// The groups as plain ids.
pub fn ids_of(groups: &[GroupId]) -> Vec<Uuid> {
    groups.iter().map(|group| group.0).collect()
}

/// Puts roots (athletes, sessions) into groups; the change of the root itself is noted by its own store.
///
/// # Errors
/// Database errors.
pub async fn place<'a>(
    tx: &mut ClubTx,
    roots: impl IntoIterator<Item = (impl Into<Named>, &'a [GroupId])>,
) -> Result<(), StoreError> {
    let club = tx.club.0;
    let (mut kinds, mut ids, mut scopes) = (Vec::new(), Vec::new(), Vec::new());
    for (root, groups) in roots {
        let root: Named = root.into();
        kinds.extend(groups.iter().map(|_| root.kind.as_str().to_owned()));
        ids.extend(groups.iter().map(|_| root.id));
        scopes.extend(groups.iter().map(|group| group.0));
    }
    sqlx::query!(
        r#"
        insert into root_scope as x (club_id, kind, root_id, scope_id)
        select c.id, u.kind, u.root_id, u.scope_id
        from clubs c
        cross join unnest($2::text[], $3::uuid[], $4::uuid[]) as u (kind, root_id, scope_id)
        where c.id = $1
        "#,
        club,
        &kinds,
        &ids,
        &scopes
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Takes a root out of all its groups.
///
/// # Errors
/// Database errors.
pub async fn unplace(tx: &mut ClubTx, root: impl Into<Named>) -> Result<(), StoreError> {
    unplace_all(tx, [root]).await
}

/// Takes roots out of all their groups.
///
/// # Errors
/// Database errors.
pub async fn unplace_all(tx: &mut ClubTx, roots: impl IntoIterator<Item = impl Into<Named>>) -> Result<(), StoreError> {
    let club = tx.club.0;
    let roots = roots.into_iter().map(Into::into).map(|root: Named| (root.kind.as_str().to_owned(), root.id));
    let (kinds, ids): (Vec<String>, Vec<Uuid>) = roots.unzip();
    sqlx::query!(
        r#"
        delete from root_scope x
        using unnest((select $2::text[])::text[], $3::uuid[]) as u (kind, root_id)
        where x.club_id = $1 and x.kind = u.kind and x.root_id = u.root_id
        "#,
        club,
        &kinds,
        &ids
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Whether an athlete or a session is in a group, or a member assigned to it.
///
/// # Errors
/// Database errors.
pub async fn occupied(tx: &mut ClubTx, group: GroupId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let found = sqlx::query_scalar!(
        r#"select exists (select from root_scope where club_id = $1 and scope_id = $2)
          or exists (select from scope_grant where club_id = $1 and scope_id = $2 and not revoked) as "found!""#,
        club,
        group.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(found)
}

/// Checks the groups that a body names: one that the caller does not see is as unknown as one that is not there.
///
/// # Errors
/// 422 at `pointer`.
pub async fn require(tx: &mut ClubTx, groups: &[GroupId], pointer: &str) -> Result<(), Problem> {
    let club = tx.club.0;
    let wanted = ids_of(groups);
    let found = sqlx::query_scalar!(
        r#"
        select x.id
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from groups r where r.club_id = $1 and r.id = i.one offset 0) x
        where x.deleted_at is null
        "#,
        club,
        &wanted
    )
    .fetch_all(tx.conn())
    .await
    .map_err(StoreError::from)?;
    let missing: Vec<Fault> = groups
        .iter()
        .filter(|group| !found.contains(&group.0) || !tx.actor.sees(**group))
        .map(|id| Fault::at(pointer, "unknown_id", format!("there is no group {id} among yours")))
        .collect();
    if missing.is_empty() { Ok(()) } else { Err(Problem::invalid(missing)) }
}

/// Checks that the caller is assigned to groups that a record has, which they were shown with it.
///
/// # Errors
/// 403 for the first to which they are not.
pub fn require_assigned(tx: &ClubTx, groups: &[GroupId]) -> Result<(), Problem> {
    match groups.iter().find(|group| !tx.actor.sees(**group)) {
        None => Ok(()),
        Some(group) => {
            Err(Problem::new(Code::Forbidden, format!("You are not assigned to the group {group}. Ask a club admin.")))
        }
    }
}

/// Checks the groups that a record gains and loses.
///
/// # Errors
/// Those of [`require`] and [`require_assigned`].
pub async fn require_moved(tx: &mut ClubTx, before: &[GroupId], after: &[GroupId], at: &str) -> Result<(), Problem> {
    let missing = |from: &[GroupId], list: &[GroupId]| -> Vec<GroupId> {
        from.iter().copied().filter(|group| !list.contains(group)).collect()
    };
    require(tx, &missing(after, before), at).await?;
    require_assigned(tx, &missing(before, after))
}

/// Checks that everybody for whom something shared is there is of the actor's groups: only then is it theirs to take away.
///
/// # Errors
/// 403 otherwise; `what` is what it is called.
pub fn require_all(tx: &ClubTx, groups: &[GroupId], what: &str) -> Result<(), Problem> {
    if groups.iter().all(|group| tx.actor.sees(*group)) { Ok(()) } else { Err(others_rest_on(what)) }
}

/// The same for something that is there for athletes; deleted ones count no more.
///
/// # Errors
/// 403 when the actor does not see one of them; database errors.
pub async fn require_people(tx: &mut ClubTx, athletes: &[Uuid], what: &str) -> Result<(), Problem> {
    let (seen, erased) = (visible_athletes(tx, athletes).await?, erased(tx, athletes).await?);
    let theirs = |id: &Uuid| seen.contains_key(id) || erased.contains(id);
    if athletes.iter().all(theirs) { Ok(()) } else { Err(others_rest_on(what)) }
}

fn others_rest_on(what: &str) -> Problem {
    let detail = format!(
        "This {what} is also there for a group that is not yours. Take your own group or athletes out of it, or ask a club admin."
    );
    Problem::new(Code::Forbidden, detail)
}

/// The deleted ones among these athletes.
///
/// # Errors
/// Database errors.
pub async fn erased(tx: &mut ClubTx, athletes: &[Uuid]) -> Result<Vec<Uuid>, StoreError> {
    if athletes.is_empty() {
        return Ok(Vec::new());
    }
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        r#"
        select x.id
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from athletes r where r.club_id = $1 and r.id = i.one offset 0) x
        where x.deleted_at is not null
        "#,
        club,
        athletes
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids)
}

/// An athlete whom the actor sees.
#[derive(Clone, Debug)]
pub struct SeenAthlete {
    /// How the squad calls them.
    pub display_name: String,
}

/// The athletes among these that the actor sees.
///
/// # Errors
/// Database errors.
pub async fn visible_athletes(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, SeenAthlete>, StoreError> {
    let mut list = Parts::new(tx, "select a.id, a.display_name from ")?;
    // One by one: to a server that has not counted the table, reading all of it would look as cheap.
    list.with(
        "unnest((select ?::uuid[])::uuid[]) as i (id) cross join lateral (select x.id, x.display_name from ",
        ids,
    )?;
    list.then("athletes x where x.club_id = $1 and x.id = i.id and x.deleted_at is null offset 0) a where true");
    if let Some(groups) = tx.actor.group_ids() {
        let seen = " and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = a.id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    let rows: Vec<(Uuid, String)> = list.all(tx).await?;
    Ok(rows.into_iter().map(|(id, display_name)| (id, SeenAthlete { display_name })).collect())
}

/// All athletes of the actor's groups; none when the actor sees every group.
///
/// # Errors
/// Database errors.
pub async fn seen_athletes(tx: &mut ClubTx) -> Result<Vec<Uuid>, StoreError> {
    let groups = tx.actor.group_ids().unwrap_or_default();
    let mut list = Parts::new(tx, "select distinct v.athlete_id from ")?;
    list.with("unnest((select ?::uuid[])::uuid[]) as s (id) cross join lateral (select w.athlete_id from ", groups)?;
    list.then(
        "athlete_scope w where w.club_id = $1 and w.scope_id = s.id offset 0) v where exists (select from athletes a where \
         a.club_id = $1 and a.id = v.athlete_id and a.deleted_at is null offset 0)",
    );
    let rows: Vec<(Uuid,)> = list.all(tx).await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// The sessions among these that the actor sees, with their day.
///
/// # Errors
/// Database errors.
pub async fn visible_sessions(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, NaiveDate>, StoreError> {
    let mut list = Parts::new(tx, "select a.id, a.held_on from ")?;
    // One by one, as athletes are.
    list.with("unnest((select ?::uuid[])::uuid[]) as i (id) cross join lateral (select x.id, x.held_on from ", ids)?;
    list.then("sessions x where x.club_id = $1 and x.id = i.id and x.deleted_at is null offset 0) a where true");
    if let Some(groups) = tx.actor.group_ids() {
        let seen = " and exists (select from session_scope v where v.club_id = $1 and v.session_id = a.id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        list.with(seen, groups)?;
    }
    let rows: Vec<(Uuid, NaiveDate)> = list.all(tx).await?;
    Ok(rows.into_iter().collect())
}
