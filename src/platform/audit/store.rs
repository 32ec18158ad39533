//! Rows of the audit. Whoever numbers them has the club's turn, so that no number is given twice and none is left out.

use chrono::{DateTime, Duration, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

use super::chain::{self, Checked};
use super::row::{Act, Entry, Reach, Row, SHORTENED_DAYS};
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::ids::{AccountId, ClubId};

/// Rows that one statement reads or one transaction drops.
const STEP: i64 = 5_000;

/// Waits for the club's turn, the row of its counter; false when there is no such club. A write that numbers its changes has it.
///
/// # Errors
/// Database errors.
pub async fn take_turn(conn: &mut PgConnection, club: ClubId) -> Result<bool, StoreError> {
    let there = sqlx::query_scalar!("select seq from club_clock where club_id = $1 for no key update", club.0)
        .fetch_optional(conn)
        .await?;
    Ok(there.is_some())
}

/// Number and hash of the last row that was dropped; nothing when none was.
async fn start(conn: &mut PgConnection, club: ClubId) -> Result<(i64, Vec<u8>), StoreError> {
    let start =
        sqlx::query!("select number, hash from audit_start where club_id = $1", club.0).fetch_optional(conn).await?;
    Ok(start.map_or_else(|| (0, Vec::new()), |row| (row.number, row.hash)))
}

/// An array as SQL writes it; arrays of arrays, which SQL has only with equal lengths, go as texts.
fn array(ids: &[Uuid]) -> String {
    let ids: Vec<String> = ids.iter().map(Uuid::to_string).collect();
    format!("{{{}}}", ids.join(","))
}

fn each<T>(entries: &[Entry], of: impl Fn(&Entry) -> T) -> Vec<T> {
    entries.iter().map(of).collect()
}

/// Adds rows to the end of the chain. The caller has the club's turn.
///
/// # Errors
/// Database errors.
pub async fn append(conn: &mut PgConnection, club: ClubId, entries: &[Entry]) -> Result<(), StoreError> {
    let last = sqlx::query!("select number, hash from audit where club_id = $1 order by number desc limit 1", club.0)
        .fetch_optional(&mut *conn)
        .await?;
    let (before, mut hash) = match last {
        Some(row) => (row.number, row.hash),
        None => start(conn, club).await?,
    };
    let mut hashes = Vec::with_capacity(entries.len());
    for (number, entry) in (before + 1..).zip(entries) {
        hash = chain::hash(&hash, number, entry);
        hashes.push(hash.clone());
    }
    sqlx::query!(
        r#"
        insert into audit as x
          (club_id, number, at, act, operation, status, account_id, device_id, network, address, reach, athletes, records,
           times, hash, app_id)
        select c.id, $2 + u.place, u.at, u.act, u.operation, u.status, u.account_id, u.device_id, u.network,
          u.address, u.reach, u.athletes::uuid[], u.records::uuid[], u.times, u.hash, u.app_id
        from clubs c
        cross join unnest($3::timestamptz[], $4::text[], $5::text[], $6::smallint[], $7::uuid[], $8::uuid[],
            $9::text[], $10::text[], $11::text[], $12::text[], $13::text[], $14::integer[], $15::bytea[], $16::uuid[])
          with ordinality as u (at, act, operation, status, account_id, device_id, network, address, reach, athletes,
            records, times, hash, app_id, place)
        where c.id = $1
        "#,
        club.0,
        before,
        &each(entries, |one| one.at),
        &each(entries, |one| one.act.as_str().to_owned()),
        &each(entries, |one| one.operation.clone()),
        &each(entries, |one| one.status) as &[Option<i16>],
        &each(entries, |one| one.account) as &[Option<Uuid>],
        &each(entries, |one| one.device) as &[Option<Uuid>],
        &each(entries, |one| one.network.clone()),
        &each(entries, |one| one.address.clone()) as &[Option<String>],
        &each(entries, |one| one.reach.as_str().to_owned()),
        &each(entries, |one| array(&one.athletes)),
        &each(entries, |one| array(&one.records)),
        &each(entries, |one| one.times),
        &hashes,
        &each(entries, |one| one.app) as &[Option<Uuid>]
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds rows in a transaction of their own; of a club that is not there none.
pub(super) async fn add(db: &Db, club: ClubId, entries: &[Entry]) -> Result<(), StoreError> {
    let mut tx = db.write(club, &Actor::NOBODY).await?;
    if take_turn(tx.conn(), club).await? {
        append(tx.unsynced(), club, entries).await?;
        tx.commit().await?;
    }
    Ok(())
}

/// The clubs that an account belongs to.
pub(super) async fn clubs_of(db: &Db, account: AccountId) -> Result<Vec<ClubId>, StoreError> {
    let mut tx = db.account_tx().await?;
    let clubs =
        sqlx::query_scalar!("select club_id from account_club where account_id = $1 order by club_id", account.0)
            .fetch_all(tx.conn())
            .await?;
    Ok(clubs.into_iter().map(ClubId).collect())
}

/// A row as the database has it.
#[derive(Debug, sqlx::FromRow)]
pub struct Stored {
    number: i64,
    at: DateTime<Utc>,
    act: String,
    operation: String,
    status: Option<i16>,
    account_id: Option<Uuid>,
    device_id: Option<Uuid>,
    app_id: Option<Uuid>,
    network: String,
    address: Option<String>,
    reach: String,
    athletes: Vec<Uuid>,
    records: Vec<Uuid>,
    times: i32,
    hash: Vec<u8>,
}

impl TryFrom<Stored> for Row {
    type Error = StoreError;

    fn try_from(row: Stored) -> Result<Self, StoreError> {
        let corrupt = |_| StoreError::Corrupt("audit");
        let entry = Entry {
            at: row.at,
            act: Act::parse(&row.act).map_err(corrupt)?,
            operation: row.operation,
            status: row.status,
            account: row.account_id,
            device: row.device_id,
            app: row.app_id,
            network: row.network,
            address: row.address,
            reach: Reach::parse(&row.reach).map_err(corrupt)?,
            athletes: row.athletes,
            records: row.records,
            times: row.times,
        };
        Ok(Self { number: row.number, entry, hash: row.hash })
    }
}

/// Checks the whole chain of a club, from the first row that is kept.
///
/// # Errors
/// Database errors.
pub async fn check(tx: &mut ClubTx) -> Result<Checked, StoreError> {
    let club = tx.club;
    let (number, hash) = start(tx.conn(), club).await?;
    let mut checked = Checked::after(number, hash);
    // From the very first number on: rows before the start would be none of the chain.
    let mut after = 0;
    loop {
        let rows = sqlx::query_as!(
            Stored,
            r#"
            select number, at, act, operation, status, account_id, device_id, app_id, network, address, reach, athletes,
              records, times, hash
            from audit
            where club_id = $1 and number > $2
            order by number
            limit $3
            "#,
            club.0,
            after,
            STEP
        )
        .fetch_all(tx.conn())
        .await?;
        let Some(last) = rows.last() else { return Ok(checked) };
        after = last.number;
        for row in rows {
            checked.row(row.try_into()?);
        }
    }
}

/// What is found in the audit of every club, or of one.
///
/// # Errors
/// Database errors.
pub async fn check_all(db: &Db, club: Option<ClubId>) -> Result<Vec<(ClubId, Checked)>, StoreError> {
    let clubs = match club {
        Some(club) => vec![club],
        None => db.clubs().await?,
    };
    let mut found = Vec::new();
    for club in clubs {
        let mut tx = db.read(club, &Actor::NOBODY).await?;
        found.push((club, check(&mut tx).await?));
    }
    Ok(found)
}

/// Drops what is kept long enough, and of what is kept the addresses after some weeks, club by club; how many rows went.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    let mut dropped = 0;
    for club in db.clubs().await? {
        loop {
            let (rows, shortened) = step(db, club).await?;
            dropped += rows;
            if rows == 0 && shortened == 0 {
                break;
            }
        }
    }
    Ok(dropped)
}

/// Drops some rows and some addresses.
async fn step(db: &Db, club: ClubId) -> Result<(u64, u64), StoreError> {
    let now = Utc::now();
    let mut tx = db.owning(club).await?;
    let shortened = sqlx::query!(
        r#"
        update audit x
        set address = null
        where x.club_id = $1 and x.number in (
          select a.number from audit a where a.club_id = $1 and a.address is not null and a.at < $2 limit $3
        )
        "#,
        club.0,
        now - Duration::days(SHORTENED_DAYS),
        STEP
    )
    .execute(tx.conn())
    .await?
    .rows_affected();
    // All up to the last old one, but never the newest of all: the next row follows it.
    let last = sqlx::query!(
        r#"
        select a.number, a.hash
        from audit a
        where a.club_id = $1 and a.number < (select max(m.number) from audit m where m.club_id = $1)
          and a.number < (select min(y.number) from audit y where y.club_id = $1) + $3
          and a.number < coalesce(
            (select min(y.number) from audit y where y.club_id = $1 and y.at >= $2),
            (select max(m.number) from audit m where m.club_id = $1)
          )
        order by a.number desc
        limit 1
        "#,
        club.0,
        now - Duration::days(db.audit_days().into()),
        STEP
    )
    .fetch_optional(tx.conn())
    .await?;
    let mut dropped = 0;
    if let Some(last) = last {
        dropped = sqlx::query!("delete from audit where club_id = $1 and number <= $2", club.0, last.number)
            .execute(tx.conn())
            .await?
            .rows_affected();
        sqlx::query!(
            r#"
            insert into audit_start as x (club_id, number, hash)
            values ($1, $2, $3)
            on conflict (club_id) do update set number = excluded.number, hash = excluded.hash
            "#,
            club.0,
            last.number,
            last.hash
        )
        .execute(tx.conn())
        .await?;
    }
    tx.commit().await?;
    Ok((dropped, shortened))
}
