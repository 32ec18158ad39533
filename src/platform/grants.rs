//! What a member may see, kept as intervals of change numbers so that a phone's copy can follow.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::access::Role;
use super::db::{Change, ClubTx, Kind, StoreError};
use super::ids::{AccountId, GroupId};

/// Sets what a member sees: every member the club-wide records, an admin every group, others their groups.
///
/// # Errors
/// Database errors.
pub async fn set(
    tx: &mut ClubTx,
    member: AccountId,
    role: Role,
    groups: &[GroupId],
) -> Result<(), StoreError> {
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

async fn replace(
    tx: &mut ClubTx,
    member: AccountId,
    wanted: &BTreeSet<Uuid>,
) -> Result<(), StoreError> {
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
    for grant in active
        .iter()
        .filter(|grant| !wanted.contains(&grant.scope_id))
    {
        let change = Change::put(Kind::Revoke, grant.id)
            .under(member)
            .scopes(vec![grant.scope_id], Vec::new());
        sqlx::query!(
            "update scope_grant set revoked = true where club_id = $1 and id = $2",
            club,
            grant.id
        )
        .execute(tx.changing(change))
        .await?;
    }
    for scope in wanted {
        if active.iter().any(|grant| grant.scope_id == *scope) {
            continue;
        }
        let id = Uuid::now_v7();
        let change = Change::put(Kind::Grant, id)
            .under(member)
            .scopes(Vec::new(), vec![*scope]);
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
    Ok(())
}
