//! Rows of members and invitations.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::model::{Assignment, Invitation, Member};
use crate::platform::access::Role;
use crate::platform::db::{AccountTx, Change, ClubTx, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, ClubId, GroupId, InvitationId};
use crate::platform::stored::Stored;
use crate::platform::token::Opaque;

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
        where m.club_id = $1 and m.deleted_at is null and ($2::uuid is null or m.id > $2)
        order by m.id
        limit $3
        "#,
        club,
        after,
        fetch,
        Uuid::nil()
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// Locks the admins, so that two of them cannot leave at once, and counts them without `leaving`.
async fn other_admins(tx: &mut ClubTx, leaving: AccountId) -> Result<usize, StoreError> {
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
    Ok(admins.iter().filter(|id| **id != leaving.0).count())
}

async fn keep_one_admin(tx: &mut ClubTx, leaving: AccountId) -> Result<(), StoreError> {
    if other_admins(tx, leaving).await? == 0 {
        return Err(StoreError::Conflict(
            "This is the last admin of the club. Make another member admin first.".to_owned(),
        ));
    }
    Ok(())
}

/// Gives a member another role or other groups.
pub async fn save(tx: &mut ClubTx, id: AccountId, assignment: &Assignment) -> Result<(), StoreError> {
    let club = tx.club.0;
    if assignment.role != Role::Admin {
        keep_one_admin(tx, id).await?;
    }
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
    keep_one_admin(tx, id).await?;
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

struct InvitationRow {
    id: Uuid,
    email: String,
    role: String,
    group_ids: Vec<Uuid>,
    expires_at: DateTime<Utc>,
}

impl TryFrom<InvitationRow> for (InvitationId, Invitation) {
    type Error = StoreError;

    fn try_from(row: InvitationRow) -> Result<Self, StoreError> {
        let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("invitation"))?;
        let groups = row.group_ids.into_iter().map(GroupId).collect();
        let assignment = Assignment { role, groups };
        Ok((InvitationId(row.id), Invitation { email: row.email, assignment, expires_at: row.expires_at }))
    }
}

/// Stores an invitation.
pub async fn insert_invitation(
    tx: &mut ClubTx,
    id: InvitationId,
    invitation: &Invitation,
    token: &Opaque,
) -> Result<(), StoreError> {
    let club = tx.club.0;
    let groups: Vec<Uuid> = invitation.assignment.groups.iter().map(|group| group.0).collect();
    sqlx::query!(
        r#"
        insert into invitations as x (club_id, id, email, role, group_ids, token_hash, expires_at, created_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        club,
        id.0,
        invitation.email,
        invitation.assignment.role.as_str(),
        &groups,
        token.hash,
        invitation.expires_at,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// The open invitations by id, after `after`.
pub async fn page_invitations(
    tx: &mut ClubTx,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<(InvitationId, Invitation)>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        InvitationRow,
        r#"
        select id, email, role, group_ids, expires_at
        from invitations
        where club_id = $1 and accepted_at is null and expires_at > $4 and ($2::uuid is null or id > $2)
        order by id
        limit $3
        "#,
        club,
        after,
        fetch,
        Utc::now()
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// Withdraws an open invitation.
pub async fn remove_invitation(tx: &mut ClubTx, id: InvitationId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let done =
        sqlx::query!("delete from invitations where club_id = $1 and id = $2 and accepted_at is null", club, id.0)
            .execute(tx.unsynced())
            .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::NotFound("open invitation"));
    }
    Ok(())
}

/// Takes a place in a club and commits: the account's part of the transaction first, then the club's.
///
/// # Errors
/// [`StoreError::NotFound`] for a token that is unknown, used, expired or meant for another address.
pub async fn accept(mut account_tx: AccountTx, account: AccountId, token: &Opaque) -> Result<ClubId, StoreError> {
    let club = ClubId(token.owner);
    let person = sqlx::query!("select email, display_name from accounts where account_id = $1", account.0)
        .fetch_one(account_tx.conn())
        .await?;
    sqlx::query!(
        r#"
        insert into account_club as x (account_id, club_id, joined_at)
        values ($1, $2, $3)
        on conflict (account_id, club_id) do nothing
        "#,
        account.0,
        club.0,
        Utc::now()
    )
    .execute(account_tx.conn())
    .await?;
    let mut tx = account_tx.enter_club(club, account).await?;
    let invitation = sqlx::query_as!(
        InvitationRow,
        r#"
        update invitations
        set accepted_at = $4
        where club_id = $1 and token_hash = $2 and email = $3 and accepted_at is null and expires_at > $4
        returning id, email, role, group_ids, expires_at
        "#,
        club.0,
        token.hash,
        person.email,
        Utc::now()
    )
    .fetch_optional(tx.unsynced())
    .await?
    .ok_or(StoreError::NotFound("open invitation for your e-mail address"))?;
    let (_, invitation) = <(InvitationId, Invitation)>::try_from(invitation)?;
    let assignment = invitation.assignment;
    if assignment.role != Role::Admin {
        keep_one_admin(&mut tx, account).await?;
    }
    sqlx::query!(
        r#"
        insert into members as x (club_id, id, role, display_name, email, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $6)
        on conflict (club_id, id) do update
        set role = excluded.role, display_name = excluded.display_name, email = excluded.email,
            updated_at = excluded.updated_at, deleted_at = null
        "#,
        club.0,
        account.0,
        assignment.role.as_str(),
        person.display_name,
        person.email,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Member, account)))
    .await?;
    grants::set(&mut tx, account, assignment.role, &assignment.groups).await?;
    tx.commit().await?;
    Ok(club)
}
