//! Rows of members.

use chrono::Utc;
use uuid::Uuid;

use super::invitations_store;
use super::model::{Assignment, Member};
use crate::platform::access::Role;
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, GroupId};
use crate::platform::page;
use crate::platform::stored::Stored;

struct Row {
    id: Uuid,
    rev: i64,
    role: String,
    display_name: String,
    email: String,
    groups: Vec<Uuid>,
}

impl TryFrom<Row> for Stored<AccountId, Member> {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("member"))?;
        let groups = row.groups.into_iter().map(GroupId).collect();
        let assignment = Assignment { role, groups };
        let value = Member { display_name: row.display_name, email: row.email, assignment };
        Ok(Self { id: AccountId(row.id), rev: row.rev, value })
    }
}

/// A member.
pub async fn find(tx: &mut ClubTx, id: AccountId) -> Result<Stored<AccountId, Member>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select m.id, m.rev, m.role, m.display_name, m.email,
          array(
            select g.scope_id from scope_grant g
            where g.club_id = $1 and g.member_id = m.id and not g.revoked
              and g.scope_id <> $1 and g.scope_id <> $3
            order by g.scope_id
          ) as "groups!"
        from members m
        where m.club_id = $1 and m.id = $2 and m.deleted_at is null
        "#,
        club,
        id.0,
        Uuid::nil()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(StoreError::NotFound("member"))?
    .try_into()
}

/// The members by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<Stored<AccountId, Member>>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select m.id, m.rev, m.role, m.display_name, m.email,
          array(
            select g.scope_id from scope_grant g
            where g.club_id = $1 and g.member_id = m.id and not g.revoked
              and g.scope_id <> $1 and g.scope_id <> $4
            order by g.scope_id
          ) as "groups!"
        from members m
        where m.club_id = $1 and m.deleted_at is null and m.id >= $2
        order by m.id
        limit $3
        "#,
        club,
        page::from(after),
        fetch,
        Uuid::nil()
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// The admins, locked until the transaction ends, so that two of them cannot leave at once and none is made nobody while an
/// invitation of theirs is taken.
pub async fn admins(tx: &mut ClubTx) -> Result<Vec<AccountId>, StoreError> {
    let club = tx.club.0;
    let admins = sqlx::query_scalar!(
        r#"
        select id from members
        where club_id = $1 and role = 'admin' and deleted_at is null
        order by id
        for update
        "#,
        club
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(admins.into_iter().map(AccountId).collect())
}

/// Lets a member be no admin from here on: another one must be there, and the invitations that they made are void.
///
/// # Errors
/// A conflict when it is the last admin among these.
pub async fn step_down(tx: &mut ClubTx, admins: &[AccountId], member: AccountId) -> Result<(), StoreError> {
    if admins.iter().all(|admin| *admin == member) {
        return Err(StoreError::Conflict(
            "This is the last admin of the club. Make another member admin first.".to_owned(),
        ));
    }
    if admins.contains(&member) {
        invitations_store::void(tx, member).await?;
    }
    Ok(())
}

/// Gives a member another role or other groups. What they were invited to before is overtaken.
pub async fn save(tx: &mut ClubTx, id: AccountId, assignment: &Assignment) -> Result<(), StoreError> {
    let club = tx.club.0;
    if assignment.role != Role::Admin {
        let admins = admins(tx).await?;
        step_down(tx, &admins, id).await?;
    }
    invitations_store::overtake(tx, id, None).await?;
    sqlx::query!(
        "update members set role = $3, updated_at = $4 where club_id = $1 and id = $2",
        club,
        id.0,
        assignment.role.as_str(),
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Member, id)))
    .await?;
    grants::set(tx, id, assignment.role, &assignment.groups).await
}

/// Removes a member; what they recorded stays.
pub async fn remove(tx: &mut ClubTx, id: AccountId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let admins = admins(tx).await?;
    step_down(tx, &admins, id).await?;
    invitations_store::overtake(tx, id, None).await?;
    grants::end(tx, id).await?;
    sqlx::query!(
        "update members set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Member, id)))
    .await?;
    sqlx::query!("delete from account_club where club_id = $1 and account_id = $2", club, id.0)
        .execute(tx.conn())
        .await?;
    Ok(())
}
