//! Rows of mail that waits: claimed by whichever instance comes first, tried again later and later, given up with the reason.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::{Language, Letter};
use crate::platform::chores;
use crate::platform::db::{AccountTx, ClubTx, Db, StoreError};
use crate::platform::ids::AccountId;

/// Most mail that waits at all, and for one address: more than that is a flood, and is dropped.
const ROOM: i64 = 20_000;
const ROOM_EACH: i64 = 50;
/// How long an instance has for what it claimed: longer than all of it takes with a server that never answers. One that died
/// is followed by another after this time.
const LEASE: Duration = Duration::minutes(10);
/// What one claim takes.
const CLAIM: i64 = 8;
/// After how many minutes mail is tried again: some two days in all, as mail servers do (RFC 5321, section 4.5.4.1, asks for
/// four to five; the links of ours have expired by then).
const AGAIN: [i64; 8] = [1, 5, 15, 60, 240, 480, 720, 1_440];
/// How long mail that could not be sent is kept with its reason, days.
const FAILED_DAYS: i64 = 30;
/// Rows that one transaction deletes, and most that are listed.
const STEP: i64 = 1_000;
/// Most of a reason that is kept, characters.
const REASON: usize = 300;

/// Mail that an instance has to send.
#[derive(Debug)]
pub struct Claimed {
    /// The row.
    pub id: Uuid,
    /// What it is about.
    pub letter: Letter,
    /// To whom, in the normal form.
    pub address: String,
    /// The language that was asked for.
    pub language: Option<Language>,
    /// Which try this is, from 1.
    pub tries: i32,
}

/// Mail that could not be sent.
#[derive(Debug)]
pub struct DeadLetter {
    /// The row.
    pub id: Uuid,
    /// What it was about.
    pub kind: String,
    /// To whom.
    pub address: String,
    /// When it was given up.
    pub failed_at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

struct Row {
    id: Uuid,
    kind: String,
    about: serde_json::Value,
    address: String,
    language: Option<String>,
}

impl Row {
    fn of(letter: &Letter, address: &str, language: Option<Language>) -> Self {
        let about = serde_json::to_value(letter).unwrap_or_default();
        let kind = about["kind"].as_str().unwrap_or_default().to_owned();
        let language = language.map(|language| language.as_str().to_owned());
        Self { id: Uuid::now_v7(), kind, about, address: address.to_owned(), language }
    }
}

/// Leaves mail for whoever carries it; without a word it is dropped when too much waits. The same work for every address.
///
/// # Errors
/// Database errors.
pub async fn put(
    tx: &mut AccountTx,
    letter: &Letter,
    address: &str,
    language: Option<Language>,
) -> Result<(), StoreError> {
    let row = Row::of(letter, address, language);
    let done = sqlx::query!(
        r#"
        insert into mail_outbox (id, kind, address, language, about, created_at, due_at)
        select $1, $2, $3, $4, $5, $6, $6
        where (select count(*) from (select from mail_outbox where failed_at is null limit $7) as every) < $7
          and (select count(*) from (select from mail_outbox where address = $3 limit $8) as own) < $8
        "#,
        row.id,
        row.kind,
        row.address,
        row.language,
        row.about,
        Utc::now(),
        ROOM,
        ROOM_EACH
    )
    .execute(tx.conn())
    .await?;
    if done.rows_affected() == 0 {
        tracing::warn!(kind = row.kind, "mail was dropped: too much waits");
    }
    Ok(())
}

/// Whether there is room for mail to an address.
///
/// # Errors
/// Database errors.
pub async fn room(db: &Db, address: &str) -> Result<bool, StoreError> {
    let mut tx = db.account_tx().await?;
    let room = sqlx::query_scalar!(
        r#"
        select (select count(*) from (select from mail_outbox where failed_at is null limit $2) as every) < $2
          and (select count(*) from (select from mail_outbox where address = $1 limit $3) as own) < $3 as "room!"
        "#,
        address,
        ROOM,
        ROOM_EACH
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(room)
}

/// The language of an account's mail.
///
/// # Errors
/// Database errors.
pub async fn language(db: &Db, account: AccountId) -> Result<Language, StoreError> {
    let mut tx = db.account_tx().await?;
    let tag = sqlx::query_scalar!("select language from accounts where account_id = $1", account.0)
        .fetch_optional(tx.conn())
        .await?;
    Ok(tag.as_deref().map(Language::from_tag).unwrap_or_default())
}

/// As [`put`] from the transaction of a club, which cannot see what waits: ask for [`room`] before.
///
/// # Errors
/// Database errors.
pub async fn put_for_club(
    tx: &mut ClubTx,
    letter: &Letter,
    address: &str,
    language: Option<Language>,
) -> Result<(), StoreError> {
    let row = Row::of(letter, address, language);
    sqlx::query!(
        r#"
        insert into mail_outbox (id, kind, address, language, about, created_at, due_at)
        values ($1, $2, $3, $4, $5, $6, $6)
        "#,
        row.id,
        row.kind,
        row.address,
        row.language,
        row.about,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Takes mail that is due at `now`; no other instance gets it while this one is at it.
///
/// # Errors
/// Database errors.
pub async fn claim(db: &Db, now: DateTime<Utc>) -> Result<Vec<Claimed>, StoreError> {
    let mut tx = db.account_tx().await?;
    let due = sqlx::query!(
        r#"
        select id, about, address, language, tries
        from mail_outbox
        where failed_at is null and due_at <= $1
        order by due_at
        limit $2
        for update skip locked
        "#,
        now,
        CLAIM
    )
    .fetch_all(tx.conn())
    .await?;
    let ids: Vec<Uuid> = due.iter().map(|row| row.id).collect();
    sqlx::query!("update mail_outbox set due_at = $2, tries = tries + 1 where id = any ($1)", &ids, now + LEASE)
        .execute(tx.conn())
        .await?;
    let mut claimed = Vec::with_capacity(due.len());
    for row in due {
        match serde_json::from_value(row.about) {
            Ok(letter) => claimed.push(Claimed {
                id: row.id,
                letter,
                address: row.address,
                language: row.language.as_deref().map(Language::from_tag),
                tries: row.tries + 1,
            }),
            // Of a newer version of the service, whose instances know it.
            Err(_) => tracing::warn!(id = %row.id, "mail of a kind that this version does not know"),
        }
    }
    tx.commit().await?;
    Ok(claimed)
}

/// Forgets mail that was sent or that nobody needs any more.
///
/// # Errors
/// Database errors; the mail is then sent once more.
pub async fn done(db: &Db, id: Uuid) -> Result<(), StoreError> {
    let mut tx = db.account_tx().await?;
    sqlx::query!("delete from mail_outbox where id = $1", id).execute(tx.conn()).await?;
    tx.commit().await
}

/// Notes that mail could not be sent: it is tried again later, or given up when `never` or after the last try. Whether it
/// was given up.
///
/// # Errors
/// Database errors; the mail is then tried again when its claim runs out.
pub async fn failed(
    db: &Db,
    mail: &Claimed,
    reason: &str,
    never: bool,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let tries = usize::try_from(mail.tries).unwrap_or(usize::MAX);
    let again = AGAIN.get(tries.saturating_sub(1)).filter(|_| !never).map(|minutes| now + Duration::minutes(*minutes));
    let reason: String = reason.chars().filter(|c| !c.is_control()).take(REASON).collect();
    let mut tx = db.account_tx().await?;
    sqlx::query!(
        r#"
        update mail_outbox
        set reason = $2, due_at = coalesce($3, due_at), failed_at = case when $3::timestamptz is null then $4::timestamptz end
        where id = $1
        "#,
        mail.id,
        reason,
        again,
        now
    )
    .execute(tx.conn())
    .await?;
    tx.commit().await?;
    Ok(again.is_none())
}

/// Mail that was given up, the latest first.
///
/// # Errors
/// Database errors.
pub async fn dead_letters(db: &Db) -> Result<Vec<DeadLetter>, StoreError> {
    let mut tx = db.account_tx().await?;
    let rows = sqlx::query_as!(
        DeadLetter,
        r#"
        select id, kind, address, failed_at as "failed_at!", coalesce(reason, '') as "reason!"
        from mail_outbox
        where failed_at is not null
        order by failed_at desc
        limit $1
        "#,
        STEP
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}

/// Lets all mail that was given up be tried again from the start; how much.
///
/// # Errors
/// Database errors.
pub async fn send_again(db: &Db) -> Result<u64, StoreError> {
    let mut tx = db.account_tx().await?;
    let done = sqlx::query!(
        "update mail_outbox set failed_at = null, tries = 0, due_at = $1 where failed_at is not null",
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    tx.commit().await?;
    Ok(done.rows_affected())
}

/// Drops mail that was given up long ago; how much.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::outside_clubs(db, drop_failed).await
}

async fn drop_failed(tx: &mut AccountTx) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "delete from mail_outbox where id in (select id from mail_outbox where failed_at < $1 limit $2)",
        Utc::now() - Duration::days(FAILED_DAYS),
        STEP
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected())
}
