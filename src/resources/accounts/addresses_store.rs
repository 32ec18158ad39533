//! Rows about the address of an account: links that went out by mail, changes of the address, what is kept of neither.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::model::{Agreed, Purpose};
use super::second_factor_store;
use super::store::Account;
use crate::platform::db::{AccountTx, Actor, Change, Db, Kind, StoreError};
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::mail::Language;
use crate::platform::proof;
use crate::platform::token::Opaque;

/// How long a change of the address waits for both mails.
const CHANGE_LIFE: Duration = Duration::days(1);
/// How long an account is kept that has no address of its own and is in no club, days.
const UNCLAIMED_DAYS: i64 = 30;
/// Rows that one transaction deletes.
const STEP: i64 = 1_000;

/// What a secret from a mail allows.
#[derive(Debug)]
pub struct Link {
    /// The account.
    pub account: AccountId,
    /// What for.
    pub purpose: Purpose,
    /// The address that the mail went to.
    pub address: String,
}

/// Keeps the hash of a secret that goes out by mail.
pub async fn insert_link(
    tx: &mut AccountTx,
    token: &Opaque,
    purpose: Purpose,
    address: &str,
) -> Result<(), StoreError> {
    let now = Utc::now();
    sqlx::query!(
        r#"
        insert into mail_links (account_id, token_hash, purpose, address, created_at, expires_at)
        values ($1, $2, $3, $4, $5, $6)
        "#,
        token.owner,
        token.hash,
        purpose.as_str(),
        address,
        now,
        now + purpose.life()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

fn link(account: Uuid, purpose: &str, address: String) -> Result<Link, StoreError> {
    let purpose = Purpose::from_word(purpose).ok_or(StoreError::Corrupt("link"))?;
    Ok(Link { account: AccountId(account), purpose, address })
}

/// What a secret allows, if it still does.
pub async fn find_link(tx: &mut AccountTx, token: &Opaque) -> Result<Option<Link>, StoreError> {
    let row = sqlx::query!(
        "select purpose, address from mail_links where account_id = $1 and token_hash = $2 and expires_at > $3",
        token.owner,
        token.hash,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| link(token.owner, &row.purpose, row.address)).transpose()
}

/// The same, and it allows it only now.
pub async fn take_link(tx: &mut AccountTx, token: &Opaque) -> Result<Option<Link>, StoreError> {
    let row = sqlx::query!(
        r#"
        delete from mail_links
        where account_id = $1 and token_hash = $2 and expires_at > $3
        returning purpose, address
        "#,
        token.owner,
        token.hash,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| link(token.owner, &row.purpose, row.address)).transpose()
}

/// Puts every secret out of use that went out for an account.
async fn drop_links(tx: &mut AccountTx, account: AccountId) -> Result<(), StoreError> {
    sqlx::query!("delete from mail_links where account_id = $1", account.0).execute(tx.conn()).await?;
    Ok(())
}

/// Gives an account a new password, chosen by who reads the mail of its address, and ends every sign-in. When nobody had proven
/// the address, whoever made the account is taken to be a stranger: nothing that they could sign in with is left.
///
/// # Errors
/// [`StoreError::NotFound`] when the address is another account's by now.
pub async fn reset(tx: &mut AccountTx, account: &Account, hash: &str) -> Result<(), StoreError> {
    if !proof::prove(tx, account.id, &account.email).await? {
        return Err(StoreError::NotFound("link"));
    }
    if !account.proven {
        second_factor_store::remove(tx, account.id).await?;
    }
    sqlx::query!(
        "update accounts set password_hash = $2, updated_at = $3 where account_id = $1",
        account.id.0,
        hash,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!("delete from email_changes where account_id = $1", account.id.0).execute(tx.conn()).await?;
    drop_links(tx, account.id).await?;
    proof::end_sign_ins(tx, account.id, None).await
}

/// Notes which address an account is to have; an earlier wish is forgotten with its links.
pub async fn ask_change(tx: &mut AccountTx, account: &Account, email: &str) -> Result<(), StoreError> {
    sqlx::query!("delete from mail_links where account_id = $1 and purpose in ('move_to', 'move_from')", account.id.0)
        .execute(tx.conn())
        .await?;
    let now = Utc::now();
    // An address that nobody proved has nothing to say.
    sqlx::query!(
        r#"
        insert into email_changes as x (account_id, address, new_proven, old_proven, asked_at, expires_at)
        values ($1, $2, false, $3, $4, $5)
        on conflict (account_id) do update
        set address = excluded.address, new_proven = false, old_proven = excluded.old_proven,
            asked_at = excluded.asked_at, expires_at = excluded.expires_at
        "#,
        account.id.0,
        email,
        !account.proven,
        now,
        now + CHANGE_LIFE
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The address that an account is to have, if a change of it waits.
pub async fn wanted(tx: &mut AccountTx, account: AccountId) -> Result<Option<String>, StoreError> {
    let address = sqlx::query_scalar!(
        "select address from email_changes where account_id = $1 and expires_at > $2",
        account.0,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(address)
}

/// Notes that one of the two addresses of a change agrees, and changes it when both do.
///
/// # Errors
/// [`StoreError::NotFound`] when no such change waits, or the new address is a proven one of another account.
pub async fn agree(tx: &mut AccountTx, link: &Link) -> Result<Agreed, StoreError> {
    let none = || StoreError::NotFound("link");
    let to = link.purpose == Purpose::MoveTo;
    let change = sqlx::query!(
        r#"
        update email_changes
        set new_proven = new_proven or $2, old_proven = old_proven or not $2
        where account_id = $1 and expires_at > $3
        returning address, new_proven, old_proven
        "#,
        link.account.0,
        to,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or_else(none)?;
    let old = sqlx::query_scalar!("select email from accounts where account_id = $1 for update", link.account.0)
        .fetch_one(tx.conn())
        .await?;
    if link.address != *(if to { &change.address } else { &old }) {
        return Err(none());
    }
    if !(change.new_proven && change.old_proven) {
        return Ok(Agreed::Waits);
    }
    if !proof::give(tx, link.account, &change.address).await? {
        return Err(none());
    }
    sqlx::query!("delete from login_emails where email = $1 and account_id = $2", old, link.account.0)
        .execute(tx.conn())
        .await?;
    sqlx::query!(
        r#"
        update accounts
        set email = $2, email_proven_at = $3, members_know_email = false, updated_at = $3
        where account_id = $1
        "#,
        link.account.0,
        change.address,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!("delete from email_changes where account_id = $1", link.account.0).execute(tx.conn()).await?;
    drop_links(tx, link.account).await?;
    Ok(Agreed::Moved { old })
}

/// Lets mail come in another language.
pub async fn save_language(tx: &mut AccountTx, account: AccountId, language: Language) -> Result<(), StoreError> {
    sqlx::query!("update accounts set language = $2 where account_id = $1", account.0, language.as_str())
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Carries new addresses of accounts to their clubs, each in a transaction of its own; how many accounts.
///
/// # Errors
/// Database errors; clubs that were done stay done, and the rest is taken up again.
pub async fn tell_clubs(db: &Db) -> Result<usize, StoreError> {
    let mut tx = db.account_tx().await?;
    let moved = sqlx::query!("select account_id, email from accounts where not members_know_email limit $1", STEP)
        .fetch_all(tx.conn())
        .await?;
    drop(tx);
    for row in &moved {
        let mut tx = db.account_tx().await?;
        let clubs = sqlx::query_scalar!("select club_id from account_club where account_id = $1", row.account_id)
            .fetch_all(tx.conn())
            .await?;
        drop(tx);
        for club in clubs.into_iter().map(ClubId) {
            tell_club(db, club, AccountId(row.account_id), &row.email).await?;
        }
        let mut tx = db.account_tx().await?;
        sqlx::query!(
            "update accounts set members_know_email = true where account_id = $1 and email = $2",
            row.account_id,
            row.email
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await?;
    }
    Ok(moved.len())
}

async fn tell_club(db: &Db, club: ClubId, account: AccountId, email: &str) -> Result<(), StoreError> {
    let mut tx = db.write(club, &Actor { account, groups: None }).await?;
    tx.alone(account.0).await?;
    let shown = sqlx::query_scalar!(
        "select email from members where club_id = $1 and id = $2 and deleted_at is null",
        club.0,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    if shown.is_none_or(|shown| shown == email) {
        return Ok(());
    }
    sqlx::query!(
        "update members set email = $3, updated_at = $4 where club_id = $1 and id = $2",
        club.0,
        account.0,
        email,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::Member, account)))
    .await?;
    tx.commit().await.map(drop)
}

/// Drops links and changes that have expired, and accounts that nobody can sign in to: never proven, without the address that
/// they named, without a club. How many rows.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    let now = Utc::now();
    let mut tx = db.account_tx().await?;
    let links = sqlx::query!("delete from mail_links where expires_at < $1", now).execute(tx.conn()).await?;
    let changes = sqlx::query!("delete from email_changes where expires_at < $1", now).execute(tx.conn()).await?;
    tx.commit().await?;
    let mut dropped = links.rows_affected() + changes.rows_affected();
    let mut after = Uuid::nil();
    loop {
        let Some((last, count)) = prune_unclaimed(db, after, now - Duration::days(UNCLAIMED_DAYS)).await? else {
            return Ok(dropped);
        };
        (after, dropped) = (last, dropped + count);
    }
}

/// One step of it: the last account that was looked at, and how many went; none after the last.
async fn prune_unclaimed(db: &Db, after: Uuid, before: DateTime<Utc>) -> Result<Option<(Uuid, u64)>, StoreError> {
    let mut tx = db.account_tx().await?;
    let idle = sqlx::query!(
        r#"
        select a.account_id, a.email
        from accounts a
        where a.email_proven_at is null and a.created_at < $2 and a.account_id > $1
          and not exists (select from account_club c where c.account_id = a.account_id)
        order by a.account_id
        limit $3
        "#,
        after,
        before,
        STEP
    )
    .fetch_all(tx.conn())
    .await?;
    let Some(last) = idle.last().map(|row| row.account_id) else { return Ok(None) };
    let emails: Vec<String> = idle.iter().map(|row| row.email.clone()).collect();
    let held = sqlx::query_scalar!("select account_id from login_emails where email = any ($1)", &emails)
        .fetch_all(tx.conn())
        .await?;
    let gone: Vec<Uuid> = idle.iter().map(|row| row.account_id).filter(|id| !held.contains(id)).collect();
    let done = sqlx::query!("delete from accounts where account_id = any ($1) and email_proven_at is null", &gone)
        .execute(tx.conn())
        .await?;
    tx.commit().await?;
    Ok(Some((last, done.rows_affected())))
}
