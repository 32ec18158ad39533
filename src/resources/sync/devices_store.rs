//! Phones that sync, as rows: how far each is, and whether it may go on as before.

use std::collections::{HashMap, HashSet};

use chrono::Utc;
use uuid::Uuid;

use super::visibility::Seq;
use crate::platform::access;
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::ids::{AccountId, ClubId, DeviceId};

/// Where the log of a club ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// The life of the database that gives the numbers.
    pub epoch: i32,
    /// The last number.
    pub seq: Seq,
}

/// A phone that reads the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Phone {
    /// Whose it is.
    pub account: AccountId,
    /// The sign-in.
    pub device: DeviceId,
    /// Count of its forced full copies.
    pub generation: i32,
}

/// The head of a club's log, and which of these phones are still signed in and need no full copy.
pub async fn look(db: &Db, club: ClubId, phones: &HashSet<Phone>) -> Result<(Head, HashSet<Phone>), StoreError> {
    let (accounts, devices): (Vec<Uuid>, Vec<Uuid>) =
        phones.iter().map(|phone| (phone.account.0, phone.device.0)).unzip();
    let mut tx = db.read(club, &Actor::NOBODY).await?;
    let mut head = sqlx::query_as!(Head, "select epoch, seq from club_clock where club_id = $1", club.0)
        .fetch_one(tx.conn())
        .await?;
    head.epoch = head.epoch.max(tx.life);
    let rows =
        sqlx::query!("select id, generation from sync_device where club_id = $1 and id = any ($2)", club.0, &devices)
            .fetch_all(tx.conn())
            .await?;
    drop(tx);
    let generations: HashMap<Uuid, i32> = rows.into_iter().map(|row| (row.id, row.generation)).collect();
    let signed_in = access::signed_in(db, &accounts, &devices).await?;
    let lives = |phone: &&Phone| {
        signed_in.contains(&phone.device) && generations.get(&phone.device.0) == Some(&phone.generation)
    };
    Ok((head, phones.iter().filter(lives).copied().collect()))
}

/// Notes how far a device has read.
pub async fn note_pull(tx: &mut ClubTx, device: DeviceId, name: &str, at: (i32, Seq)) -> Result<(), StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    sqlx::query!(
        r#"
        insert into sync_device as x (club_id, id, member_id, name, epoch, seq, pulled_at)
        values ($1, $2, $3, $4, $5, $6, $7)
        on conflict (club_id, id) do update
        set epoch = excluded.epoch, seq = excluded.seq, pulled_at = excluded.pulled_at, name = excluded.name
        "#,
        club,
        device.0,
        member,
        name,
        at.0,
        at.1,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Notes that a device pushed.
pub async fn note_push(tx: &mut ClubTx, device: DeviceId, name: &str) -> Result<(), StoreError> {
    let (club, member, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    sqlx::query!(
        r#"
        insert into sync_device as x (club_id, id, member_id, name, skew_ms, pushed_at)
        values ($1, $2, $3, $4, $5, $6)
        on conflict (club_id, id) do update set skew_ms = excluded.skew_ms, pushed_at = excluded.pushed_at
        "#,
        club,
        device.0,
        member,
        name,
        skew,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}
