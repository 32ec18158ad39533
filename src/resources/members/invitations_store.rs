//! Rows of invitations.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::model::{Accepted, Assignment, Invitation};
use super::store::{admins, step_down};
use crate::platform::access::Role;
use crate::platform::chores::{self, STEP};
use crate::platform::db::{AccountTx, Actor, Change, ClubTx, Db, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, ClubId, GroupId, InvitationId};
use crate::platform::joining;
use crate::platform::page;
use crate::platform::token::Opaque;

/// How long an invitation is kept after it was taken, became void or expired, days.
const KEPT_DAYS: i64 = 30;

struct Row {
    id: Uuid,
    email: String,
    role: String,
    group_ids: Vec<Uuid>,
    expires_at: DateTime<Utc>,
    invited_by: Option<Uuid>,
    void: bool,
}

impl TryFrom<Row> for (InvitationId, Invitation) {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("invitation"))?;
        let groups = row.group_ids.into_iter().map(GroupId).collect();
        let invitation = Invitation {
            email: row.email,
            assignment: Assignment { role, groups },
            expires_at: row.expires_at,
            invited_by: row.invited_by.map(AccountId),
            void: row.void,
        };
        Ok((InvitationId(row.id), invitation))
    }
}

/// Stores an invitation.
pub async fn insert(
    tx: &mut ClubTx,
    id: InvitationId,
    invitation: &Invitation,
    token: &Opaque,
) -> Result<(), StoreError> {
    let club = tx.club.0;
    let groups: Vec<Uuid> = invitation.assignment.groups.iter().map(|group| group.0).collect();
    sqlx::query!(
        r#"
        insert into invitations as x
          (club_id, id, email, role, group_ids, token_hash, expires_at, created_at, invited_by)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        "#,
        club,
        id.0,
        invitation.email,
        invitation.assignment.role.as_str(),
        &groups,
        token.hash,
        invitation.expires_at,
        Utc::now(),
        invitation.invited_by.map(|admin| admin.0)
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// The invitations that were not taken and have not expired, by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<(InvitationId, Invitation)>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select i.id, i.email, i.role, i.group_ids, i.expires_at, i.invited_by,
          (i.voided_at is not null or m.id is null) as "void!"
        from invitations i
        left join members m
          on m.club_id = $1 and m.id = i.invited_by and m.role = 'admin' and m.deleted_at is null
        where i.club_id = $1 and i.accepted_at is null and i.expires_at > $4 and i.id >= $2
        order by i.id
        limit $3
        "#,
        club,
        page::from(after),
        fetch,
        Utc::now()
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// Withdraws an invitation that was not taken.
pub async fn remove(tx: &mut ClubTx, id: InvitationId) -> Result<(), StoreError> {
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

/// Makes the invitations void that an admin made who is none from here on; they stay so if the admin becomes one again.
pub async fn void(tx: &mut ClubTx, admin: AccountId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update invitations
        set voided_at = $3
        where club_id = $1 and invited_by = $2 and accepted_at is null and voided_at is null
        "#,
        club,
        admin.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Makes the open invitations of a member void that were made before this one, or all: an admin has said since what the member may, or
/// their place has ended. What was taken from somebody does not come back with an older mail.
pub async fn overtake(tx: &mut ClubTx, member: AccountId, before: Option<InvitationId>) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update invitations
        set voided_at = $3
        where club_id = $1 and id in (
          select i.id
          from invitations i
          join members m on m.club_id = $1 and m.id = $2 and m.email = i.email
          where i.club_id = $1 and i.id < $4 and i.accepted_at is null and i.voided_at is null
          order by i.id
          for no key update of i
        )
        "#,
        club,
        member.0,
        Utc::now(),
        before.map_or(Uuid::max(), |one| one.0)
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// The invitation of a token, if it is for this address, was not taken and has not expired.
async fn of_token(tx: &mut ClubTx, token: &Opaque, email: &str) -> Result<Option<InvitationId>, StoreError> {
    let club = tx.club.0;
    let id = sqlx::query_scalar!(
        r#"
        select id
        from invitations
        where club_id = $1 and (token_hash = $2 or mail_hash = $2) and email = $3 and accepted_at is null
          and expires_at > $4
        "#,
        club,
        token.hash,
        email,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(id.map(InvitationId))
}

/// The address that a secret was mailed to, if it is that of an invitation which can be taken: whoever has it reads its mail.
pub async fn mailed_to(db: &Db, token: &Opaque) -> Result<Option<String>, StoreError> {
    let club = ClubId(token.owner);
    let mut tx = db.read(club, &Actor::NOBODY).await?;
    let email = sqlx::query_scalar!(
        "select email from invitations where club_id = $1 and mail_hash = $2 and accepted_at is null and expires_at > $3",
        club.0,
        token.hash,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(email)
}

/// An invitation that is to be mailed, with the names in it.
#[derive(Debug)]
pub struct Post {
    /// To whom.
    pub email: String,
    /// The club's name.
    pub club: String,
    /// Who invites.
    pub inviter: String,
    /// Their account.
    pub invited_by: AccountId,
    /// Until when it stands.
    pub expires_at: DateTime<Utc>,
}

/// Keeps the hash of the secret that goes out with an invitation; none when it cannot be taken any more.
pub async fn post(db: &Db, (club, id): (ClubId, InvitationId), token: &Opaque) -> Result<Option<Post>, StoreError> {
    let mut tx = db.write(club, &Actor::NOBODY).await?;
    let found = sqlx::query!(
        r#"
        select i.email, i.expires_at, c.name, m.id as inviter_id, m.display_name
        from invitations i
        join clubs c on c.id = $1
        join members m on m.club_id = $1 and m.id = i.invited_by and m.role = 'admin' and m.deleted_at is null
        where i.club_id = $1 and i.id = $2 and i.accepted_at is null and i.voided_at is null and i.expires_at > $3
        "#,
        club.0,
        id.0,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = found else { return Ok(None) };
    sqlx::query!("update invitations set mail_hash = $3 where club_id = $1 and id = $2", club.0, id.0, token.hash)
        .execute(tx.unsynced())
        .await?;
    tx.commit().await?;
    Ok(Some(Post {
        email: row.email,
        club: row.name,
        inviter: row.display_name,
        invited_by: AccountId(row.inviter_id),
        expires_at: row.expires_at,
    }))
}

/// Marks an invitation as taken.
async fn take(tx: &mut ClubTx, id: InvitationId) -> Result<Option<Invitation>, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query_as!(
        Row,
        r#"
        update invitations
        set accepted_at = $3
        where club_id = $1 and id = $2 and accepted_at is null
        returning id, email, role, group_ids, expires_at, invited_by, voided_at is not null as "void!"
        "#,
        club,
        id.0,
        Utc::now()
    )
    .fetch_optional(tx.unsynced())
    .await?;
    row.map(|row| <(InvitationId, Invitation)>::try_from(row).map(|(_, invitation)| invitation)).transpose()
}

/// Ends what apps were let do by somebody who comes back: they are asked anew. Until then their apps may hand in what was recorded before
/// they left, as their phones may.
async fn disconnect(tx: &mut ClubTx, member: AccountId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update app_grants
        set revoked_at = $3
        where club_id = $1 and member_id = $2 and app_id in (
          select g.app_id
          from app_grants g
          where g.club_id = $1 and g.member_id = $2 and g.revoked_at is null
          order by g.app_id
          for no key update
        )
        "#,
        club,
        member.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Takes a place in a club and commits: the account's part of the transaction first, then the club's.
///
/// # Errors
/// [`StoreError::NotFound`] for a token that is unknown, used, expired or meant for another address.
pub async fn accept(mut account_tx: AccountTx, account: AccountId, token: &Opaque) -> Result<Accepted, StoreError> {
    let none = || StoreError::NotFound("open invitation for your e-mail address");
    let club = ClubId(token.owner);
    let person = sqlx::query!("select email, display_name from accounts where account_id = $1", account.0)
        .fetch_one(account_tx.conn())
        .await?;
    joining::join(&mut account_tx, account, club).await?;
    let mut tx = account_tx.enter_club(club, account).await?;
    let id = of_token(&mut tx, token, &person.email).await?.ok_or_else(none)?;
    // Before the invitation, as everywhere: an admin who steps down holds both in this order.
    let admins = admins(&mut tx).await?;
    let invitation = take(&mut tx, id).await?.ok_or_else(none)?;
    if invitation.void || !invitation.invited_by.is_some_and(|maker| admins.contains(&maker)) {
        return Ok(Accepted::Void);
    }
    let assignment = invitation.assignment;
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
    if assignment.role != Role::Admin {
        step_down(&mut tx, &admins, account).await?;
    }
    overtake(&mut tx, account, Some(id)).await?;
    disconnect(&mut tx, account).await?;
    grants::set(&mut tx, account, assignment.role, &assignment.groups).await?;
    tx.commit().await?;
    Ok(Accepted::Joined(club))
}

/// Drops invitations that can no longer be taken, club by club; how many.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::in_clubs(db, drop_old).await
}

async fn drop_old(tx: &mut ClubTx) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let before = Utc::now() - Duration::days(KEPT_DAYS);
    let done = sqlx::query!(
        r#"
        delete from invitations
        where club_id = $1 and id in (
          select x.id from invitations x
          where x.club_id = $1 and (x.expires_at < $2 or x.accepted_at < $2 or x.voided_at < $2)
          limit $3
        )
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected())
}
