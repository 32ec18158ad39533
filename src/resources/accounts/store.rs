//! Rows of accounts, and the founding of a club.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::model::{NewAccount, NewClub};
use crate::platform::access::Role;
use crate::platform::db::{AccountTx, Change, Db, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::joining;
use crate::platform::mail::Language;

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
    /// Whether they proved the address.
    pub proven: bool,
    /// The language of their mail.
    pub language: Language,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}

/// Inserts an account. An address that leads to another account goes on doing so until somebody proves it; see
/// [`crate::platform::proof`]. The same work either way.
pub async fn insert(tx: &mut AccountTx, new: NewAccount, password_hash: String) -> Result<Account, StoreError> {
    let (id, now) = (AccountId::new(), Utc::now());
    sqlx::query!(
        "insert into login_emails as x (email, account_id) values ($1, $2) on conflict (email) do nothing",
        new.email,
        id.0
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        r#"
        insert into accounts (account_id, email, display_name, password_hash, created_at, updated_at, language)
        values ($1, $2, $3, $4, $5, $5, $6)
        "#,
        id.0,
        new.email,
        new.display_name,
        password_hash,
        now,
        new.language.as_str()
    )
    .execute(tx.conn())
    .await?;
    Ok(Account {
        id,
        email: new.email,
        display_name: new.display_name,
        password_hash,
        proven: false,
        language: new.language,
        created_at: now,
    })
}

/// The account that was made first, because ids rise with time; none when nobody has one. Asks every node, so not for requests.
///
/// # Errors
/// Database errors.
pub async fn first(db: &Db) -> Result<Option<Uuid>, StoreError> {
    let mut tx = db.account_tx().await?;
    Ok(after(&mut tx, Uuid::nil(), 1).await?.pop())
}

/// The ids of accounts after one, in their order.
pub async fn after(tx: &mut AccountTx, after: Uuid, most: i64) -> Result<Vec<Uuid>, StoreError> {
    let accounts = sqlx::query_scalar!(
        "select account_id from accounts where account_id > $1 order by account_id limit $2",
        after,
        most
    );
    Ok(accounts.fetch_all(tx.conn()).await?)
}

/// The account of an address; an unknown one costs the same two reads.
pub async fn find_by_email(tx: &mut AccountTx, email: &str) -> Result<Option<Account>, StoreError> {
    let id = sqlx::query_scalar!("select account_id from login_emails where email = $1", email)
        .fetch_optional(tx.conn())
        .await?;
    find(tx, AccountId(id.unwrap_or_default())).await
}

/// An account.
pub async fn find(tx: &mut AccountTx, id: AccountId) -> Result<Option<Account>, StoreError> {
    let row = sqlx::query!(
        r#"
        select email, display_name, password_hash, language, created_at, email_proven_at is not null as "proven!"
        from accounts
        where account_id = $1
        "#,
        id.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| Account {
        id,
        email: row.email,
        display_name: row.display_name,
        password_hash: row.password_hash,
        proven: row.proven,
        language: Language::from_tag(&row.language),
        created_at: row.created_at,
    }))
}

/// Stores a new password hash in the place of the one that was checked; false when that is not the hash any more.
pub async fn save_password(tx: &mut AccountTx, id: AccountId, old: &str, new: &str) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update accounts set password_hash = $3, updated_at = $4 where account_id = $1 and password_hash = $2",
        id.0,
        old,
        new,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Whether the hash that was checked is still the account's; it stays so until the transaction ends.
pub async fn has_password(tx: &mut AccountTx, id: AccountId, checked: &str) -> Result<bool, StoreError> {
    let found = sqlx::query_scalar!(
        "select account_id from accounts where account_id = $1 and password_hash = $2 for share",
        id.0,
        checked
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(found.is_some())
}

/// Founds a club with the account as its first admin and commits: the account's part of the transaction first, then
/// the club's.
pub async fn found_club(mut tx: AccountTx, account: &Account, new: &NewClub) -> Result<(ClubId, i64), StoreError> {
    let club = ClubId::new();
    let now = Utc::now();
    joining::join(&mut tx, account.id, club).await?;
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
    let rev = tx.commit().await?.of(Kind::Club, club, 0);
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
