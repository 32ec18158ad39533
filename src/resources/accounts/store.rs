//! Rows of accounts, devices and refresh tokens, and the founding of a club.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::model::{NewAccount, NewClub};
use crate::platform::access::Role;
use crate::platform::db::{AccountTx, Change, Db, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, ClubId, DeviceId};
use crate::platform::token::{Opaque, REFRESH_SECONDS};

/// An account as it is stored.
#[derive(Debug)]
pub struct Account {
    /// The id.
    pub id: AccountId,
    /// The address it signs in with.
    pub email: String,
    /// How the person is called.
    pub display_name: String,
    /// Argon2id hash of the password.
    pub password_hash: String,
}

/// One sign-in.
#[derive(Debug)]
pub struct Device {
    /// The id.
    pub id: Uuid,
    /// The name the app gave.
    pub name: String,
    /// When it signed in.
    pub created_at: DateTime<Utc>,
    /// When it last refreshed.
    pub last_used_at: DateTime<Utc>,
}

/// What became of a refresh token.
#[derive(Debug, PartialEq, Eq)]
pub enum Refreshed {
    /// It was good and is now used up; the sign-in goes on.
    Rotated(AccountId, DeviceId),
    /// It was used before, so someone holds a copy: the whole sign-in is ended.
    Reused,
    /// Unknown, expired, or of an ended sign-in.
    Refused,
}

/// Inserts an account.
///
/// # Errors
/// A conflict when the address has an account.
pub async fn insert(tx: &mut AccountTx, account: &NewAccount, password_hash: &str) -> Result<AccountId, StoreError> {
    let id = AccountId::new();
    let taken = sqlx::query!(
        "insert into login_emails as x (email, account_id) values ($1, $2) on conflict (email) do nothing",
        account.email,
        id.0
    )
    .execute(tx.conn())
    .await?;
    if taken.rows_affected() == 0 {
        return Err(StoreError::Conflict("This e-mail address has an account. Sign in instead.".into()));
    }
    sqlx::query!(
        r#"
        insert into accounts (account_id, email, display_name, password_hash, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $5)
        "#,
        id.0,
        account.email,
        account.display_name,
        password_hash,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// The account of an address.
pub async fn find_by_email(tx: &mut AccountTx, email: &str) -> Result<Option<Account>, StoreError> {
    let id = sqlx::query_scalar!("select account_id from login_emails where email = $1", email)
        .fetch_optional(tx.conn())
        .await?;
    match id {
        Some(id) => find(tx, AccountId(id)).await,
        None => Ok(None),
    }
}

/// An account.
pub async fn find(tx: &mut AccountTx, id: AccountId) -> Result<Option<Account>, StoreError> {
    let row = sqlx::query!("select email, display_name, password_hash from accounts where account_id = $1", id.0)
        .fetch_optional(tx.conn())
        .await?;
    Ok(row.map(|row| Account {
        id,
        email: row.email,
        display_name: row.display_name,
        password_hash: row.password_hash,
    }))
}

/// Stores a new password hash.
pub async fn save_password(tx: &mut AccountTx, id: AccountId, hash: &str) -> Result<(), StoreError> {
    sqlx::query!(
        "update accounts set password_hash = $2, updated_at = $3 where account_id = $1",
        id.0,
        hash,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Begins a sign-in.
pub async fn insert_device(tx: &mut AccountTx, account: AccountId, name: &str) -> Result<DeviceId, StoreError> {
    let id = DeviceId::new();
    sqlx::query!(
        r#"
        insert into devices (account_id, id, name, created_at, last_used_at)
        values ($1, $2, $3, $4, $4)
        "#,
        account.0,
        id.0,
        name,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// Stores a refresh token of a sign-in.
pub async fn insert_refresh(
    tx: &mut AccountTx,
    account: AccountId,
    device: DeviceId,
    token: &Opaque,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"
        insert into refresh_tokens (account_id, token_hash, device_id, issued_at, expires_at)
        values ($1, $2, $3, $4, $5)
        "#,
        account.0,
        token.hash,
        device.0,
        now,
        now + Duration::seconds(REFRESH_SECONDS)
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Uses up a refresh token.
pub async fn use_refresh(tx: &mut AccountTx, token: &Opaque, now: DateTime<Utc>) -> Result<Refreshed, StoreError> {
    let account = AccountId(token.owner);
    let row = sqlx::query!(
        r#"
        select t.device_id, t.used_at, t.expires_at, d.revoked_at
        from refresh_tokens t
        join devices d on d.account_id = $1 and d.id = t.device_id
        where t.account_id = $1 and t.token_hash = $2
        for update of t, d
        "#,
        account.0,
        token.hash
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else {
        return Ok(Refreshed::Refused);
    };
    let device = DeviceId(row.device_id);
    if row.used_at.is_some() {
        end_device(tx, account, device).await?;
        return Ok(Refreshed::Reused);
    }
    if row.revoked_at.is_some() || row.expires_at <= now {
        return Ok(Refreshed::Refused);
    }
    sqlx::query!(
        "update refresh_tokens set used_at = $3 where account_id = $1 and token_hash = $2",
        account.0,
        token.hash,
        now
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!("update devices set last_used_at = $3 where account_id = $1 and id = $2", account.0, device.0, now)
        .execute(tx.conn())
        .await?;
    Ok(Refreshed::Rotated(account, device))
}

/// The sign-in that a refresh token belongs to.
pub async fn device_of(tx: &mut AccountTx, token: &Opaque) -> Result<Option<DeviceId>, StoreError> {
    let id = sqlx::query_scalar!(
        "select device_id from refresh_tokens where account_id = $1 and token_hash = $2",
        token.owner,
        token.hash
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(id.map(DeviceId))
}

/// Ends a sign-in with all its tokens; false when there is none.
pub async fn end_device(tx: &mut AccountTx, account: AccountId, device: DeviceId) -> Result<bool, StoreError> {
    tx.ends_sign_in(account);
    let done = sqlx::query!(
        r#"
        update devices
        set revoked_at = coalesce(revoked_at, $3)
        where account_id = $1 and id = $2
        "#,
        account.0,
        device.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Ends every sign-in but one.
pub async fn end_other_devices(tx: &mut AccountTx, account: AccountId, keep: DeviceId) -> Result<(), StoreError> {
    tx.ends_sign_in(account);
    sqlx::query!(
        r#"
        update devices
        set revoked_at = $3
        where account_id = $1 and id <> $2 and revoked_at is null
        "#,
        account.0,
        keep.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The live sign-ins of an account, newest first.
pub async fn devices(tx: &mut AccountTx, account: AccountId) -> Result<Vec<Device>, StoreError> {
    let rows = sqlx::query_as!(
        Device,
        r#"
        select id, name, created_at, last_used_at
        from devices
        where account_id = $1 and revoked_at is null
        order by id desc
        limit 200
        "#,
        account.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Founds a club with the account as its first admin and commits: the account's part of the transaction first, then
/// the club's.
pub async fn found_club(mut tx: AccountTx, account: &Account, new: &NewClub) -> Result<(ClubId, i64), StoreError> {
    let club = ClubId::new();
    let now = Utc::now();
    sqlx::query!(
        "insert into account_club (account_id, club_id, joined_at) values ($1, $2, $3)",
        account.id.0,
        club.0,
        now
    )
    .execute(tx.conn())
    .await?;
    let mut tx = tx.enter_club(club, account.id).await?;
    sqlx::query!(
        r#"
        insert into clubs as x (id, name, time_zone, ruleset, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $5)
        "#,
        club.0,
        new.name,
        new.time_zone.name(),
        new.ruleset,
        now
    )
    .execute(tx.changing(Change::put(Kind::Club, club)))
    .await?;
    sqlx::query!("insert into club_clock as x (club_id) values ($1)", club.0).execute(tx.conn()).await?;
    sqlx::query!("insert into club_epoch as x (club_id, epoch, fork_seq) values ($1, 1, 0)", club.0)
        .execute(tx.conn())
        .await?;
    sqlx::query!(
        r#"
        insert into members as x (club_id, id, role, display_name, email, created_at, updated_at)
        values ($1, $2, 'admin', $3, $4, $5, $5)
        "#,
        club.0,
        account.id.0,
        account.display_name,
        account.email,
        now
    )
    .execute(tx.changing(Change::put(Kind::Member, account.id)))
    .await?;
    grants::set(&mut tx, account.id, Role::Admin, &[]).await?;
    let rev = tx.commit().await?.of(club, 0);
    Ok((club, rev))
}

/// A club as one of its members sees it in their list.
#[derive(Debug)]
pub struct Membership {
    /// The club.
    pub club: ClubId,
    /// Its name.
    pub name: String,
    /// The member's role.
    pub role: Role,
    /// The groups they are assigned to; empty for an admin, who sees all.
    pub groups: Vec<Uuid>,
}

/// The clubs of an account; each is read in a transaction of its own, since each may live on another node.
pub async fn memberships(db: &Db, account: AccountId) -> Result<Vec<Membership>, StoreError> {
    let mut tx = db.account_tx().await?;
    let clubs = sqlx::query_scalar!(
        "select club_id from account_club where account_id = $1 order by joined_at, club_id",
        account.0
    )
    .fetch_all(tx.conn())
    .await?;
    drop(tx);
    let mut found = Vec::with_capacity(clubs.len());
    for club in clubs.into_iter().map(ClubId) {
        let everyone = crate::platform::db::Actor { account, groups: None };
        let mut tx = db.read(club, &everyone).await?;
        let row = sqlx::query!(
            r#"
            select c.name, m.role,
              array(
                select g.scope_id from scope_grant g
                where g.club_id = $1 and g.member_id = $2 and not g.revoked
                  and g.scope_id <> $1 and g.scope_id <> $3
                order by g.scope_id
              ) as "groups!"
            from members m
            join clubs c on c.id = $1
            where m.club_id = $1 and m.id = $2 and m.deleted_at is null
            "#,
            club.0,
            account.0,
            Uuid::nil()
        )
        .fetch_optional(tx.conn())
        .await?;
        if let Some(row) = row {
            let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("member"))?;
            found.push(Membership { club, name: row.name, role, groups: row.groups });
        }
    }
    Ok(found)
}
