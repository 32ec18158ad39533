//! Names and addresses of people who left: they go, and what was recorded stays with an id that leads to nobody.

use chrono::{Duration, Utc};
use uuid::Uuid;

use super::store;
use crate::platform::db::{Actor, Change, ClubTx, Db, Kind, StoreError};
use crate::platform::ids::{AccountId, ClubId};

/// How long a club knows how somebody was called who left, days (design choice): who recorded what of this season can be
/// asked, and what they hand in late (30 days) has a name.
const NAMED_DAYS: i64 = 90;
/// Members that one transaction changes.
const STEP: i64 = 500;

/// The name of a club of which an account is the only admin; none when it is not.
///
/// # Errors
/// Database errors.
pub async fn is_last_admin(db: &Db, club: ClubId, account: AccountId) -> Result<Option<String>, StoreError> {
    let mut tx = db.read(club, &Actor::unseeing(account)).await?;
    let name = sqlx::query_scalar!(
        r#"
        select c.name
        from members m
        join clubs c on c.id = $1
        where m.club_id = $1 and m.id = $2 and m.role = 'admin' and m.deleted_at is null and not exists (
          select from members o where o.club_id = $1 and o.id <> $2 and o.role = 'admin' and o.deleted_at is null
        )
        "#,
        club.0,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(name)
}

/// Takes an account out of a club without a trace of who it was: membership, name, address, phones, links, apps and invitations.
///
/// # Errors
/// A conflict when it is the last admin; database errors.
pub async fn forget(db: &Db, club: ClubId, account: AccountId) -> Result<(), StoreError> {
    let mut tx = db.write(club, &Actor::unseeing(account)).await?;
    tx.alone(account.0).await?;
    match store::find(&mut tx, account).await {
        Ok(_) => store::remove(&mut tx, account).await?,
        Err(StoreError::NotFound(_)) => {
            sqlx::query!("delete from account_club where club_id = $1 and account_id = $2", club.0, account.0)
                .execute(tx.unsynced())
                .await?;
        }
        Err(error) => return Err(error),
    }
    uninvite(&mut tx, &[account.0]).await?;
    unname(&mut tx, &[account.0]).await?;
    tx.commit().await?;
    Ok(())
}

/// Takes back invitations to the addresses of members who left and whose accounts are no more.
async fn uninvite(tx: &mut ClubTx, accounts: &[Uuid]) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        delete from invitations i
        where i.club_id = $1 and i.email in (
          select m.email from members m where m.club_id = $1 and m.id = any ($2) and m.deleted_at is not null
        )
        "#,
        club,
        accounts
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Takes names, addresses and what else says who somebody was from members who left.
async fn unname(tx: &mut ClubTx, accounts: &[Uuid]) -> Result<(), StoreError> {
    let club = tx.club.0;
    // Somebody who left may be invited again; that one stands.
    sqlx::query!(
        r#"
        delete from invitations i
        where i.club_id = $1 and i.accepted_at is not null and i.email in (
          select m.email from members m where m.club_id = $1 and m.id = any ($2) and m.deleted_at is not null
        )
        "#,
        club,
        accounts
    )
    .execute(tx.unsynced())
    .await?;
    sqlx::query!("delete from sync_device where club_id = $1 and member_id = any ($2)", club, accounts)
        .execute(tx.unsynced())
        .await?;
    sqlx::query!("delete from secret_links where club_id = $1 and made_by = any ($2)", club, accounts)
        .execute(tx.unsynced())
        .await?;
    sqlx::query!("delete from app_grants where club_id = $1 and member_id = any ($2)", club, accounts)
        .execute(tx.unsynced())
        .await?;
    let changes: Vec<Change> = accounts.iter().map(|id| Change::put(Kind::Member, *id)).collect();
    sqlx::query!(
        r#"
        update members
        set display_name = '', email = '', updated_at = $3
        where club_id = $1 and id = any ($2) and deleted_at is not null
        "#,
        club,
        accounts,
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}

/// Forgets how those were called who left long ago, or whose account is no more, club by club; how many.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn forget_left(db: &Db) -> Result<u64, StoreError> {
    let mut forgotten = 0;
    for club in db.clubs().await? {
        forgotten += forget_left_of(db, club).await?;
    }
    Ok(forgotten)
}

async fn forget_left_of(db: &Db, club: ClubId) -> Result<u64, StoreError> {
    let before = Utc::now() - Duration::days(NAMED_DAYS);
    let (mut forgotten, mut after) = (0, Uuid::nil());
    loop {
        let mut tx = db.read(club, &Actor::NOBODY).await?;
        let left = sqlx::query!(
            r#"
            select id, deleted_at < $3 as "long!"
            from members
            where club_id = $1 and id > $2 and deleted_at is not null and (display_name <> '' or email <> '')
            order by id
            limit $4
            "#,
            club.0,
            after,
            before,
            STEP
        )
        .fetch_all(tx.conn())
        .await?;
        drop(tx);
        let Some(last) = left.last() else { return Ok(forgotten) };
        after = last.id;
        let all: Vec<Uuid> = left.iter().map(|one| one.id).collect();
        let mut tx = db.account_tx().await?;
        let there = sqlx::query_scalar!("select account_id from accounts where account_id = any ($1)", &all)
            .fetch_all(tx.conn())
            .await?;
        drop(tx);
        let gone: Vec<Uuid> = all.into_iter().filter(|id| !there.contains(id)).collect();
        let long = left.iter().filter(|one| one.long && there.contains(&one.id)).map(|one| one.id);
        let named: Vec<Uuid> = gone.iter().copied().chain(long).collect();
        if named.is_empty() {
            continue;
        }
        let mut tx = db.write(club, &Actor::NOBODY).await?;
        tx.chore = Some("former members");
        tx.alone_all(named.iter().copied()).await?;
        uninvite(&mut tx, &gone).await?;
        unname(&mut tx, &named).await?;
        tx.commit().await?;
        forgotten += named.len() as u64;
    }
}
