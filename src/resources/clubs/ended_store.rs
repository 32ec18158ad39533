//! Deletes clubs whose day has come: first whatever lets anybody in, then every row, some in each transaction.

use std::path::Path;

use chrono::Utc;
use sqlx::AssertSqlSafe;
use uuid::Uuid;

use super::ending_store::{Admin, admins};
use crate::platform::db::tables::{TABLES, Table};
use crate::platform::db::{Db, StoreError};
use crate::platform::erasures;
use crate::platform::ids::ClubId;
use crate::platform::mail::{self, Letter};

/// Rows that one transaction deletes.
const STEP: usize = 1_000;

/// Deletes the clubs whose day has come; how many.
///
/// # Errors
/// Database errors, and when the list of erasures cannot be written; what was begun is gone on with the next time.
pub async fn sweep(db: &Db) -> Result<u64, StoreError> {
    let mut tx = db.account_tx().await?;
    let due = sqlx::query_scalar!(
        "select club_id from club_endings where due_at <= $1 or begun_at is not null order by due_at, club_id",
        Utc::now()
    )
    .fetch_all(tx.conn())
    .await?;
    drop(tx);
    let mut deleted = 0;
    for club in due.into_iter().map(ClubId) {
        if close(db, club, true).await? {
            db.note_gone(club.0).await?;
            empty(db, club).await?;
            deleted += 1;
        }
    }
    Ok(deleted)
}

/// Closes the clubs again that were deleted after a restored copy was made; the rest goes with [`sweep`]. How many.
///
/// # Errors
/// When the database or the list cannot be used; nobody must be served before it could.
pub async fn close_again(db: &Db, file: &Path) -> Result<usize, StoreError> {
    let listed = erasures::gone(&erasures::read(file).map_err(sqlx::Error::Io)?);
    let mut closed = 0;
    for club in db.clubs().await? {
        if !listed.contains(&club.0) {
            continue;
        }
        let mut tx = db.account_tx().await?;
        sqlx::query!(
            r#"
            insert into club_endings as x (club_id, asked_by, asked_at, due_at, begun_at)
            values ($1, $2, $3, $3, $3)
            on conflict (club_id) do update set begun_at = coalesce(x.begun_at, excluded.begun_at)
            "#,
            club.0,
            Uuid::nil(),
            Utc::now()
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await?;
        closed += usize::from(close(db, club, false).await?);
    }
    Ok(closed)
}

/// Takes the club from everybody at once, from where there is no way back, and tells its admins where they are to be told; false when
/// its deletion was taken back.
async fn close(db: &Db, club: ClubId, tell: bool) -> Result<bool, StoreError> {
    let mut tx = db.owning(club).await?;
    let begun = sqlx::query_scalar!(
        r#"
        update club_endings
        set begun_at = coalesce(begun_at, $2)
        where club_id = $1 and (due_at <= $2 or begun_at is not null)
        returning club_id
        "#,
        club.0,
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    if begun.is_none() {
        return Ok(false);
    }
    // The first time alone: afterwards there are none.
    let admins = if tell { admins(tx.conn(), club).await? } else { Vec::new() };
    let name = sqlx::query_scalar!("select name from clubs where id = $1", club.0).fetch_optional(tx.conn()).await?;
    // What members and apps may goes with them.
    for door in [
        sqlx::query!("delete from members where club_id = $1", club.0),
        sqlx::query!("delete from invitations where club_id = $1", club.0),
        sqlx::query!("delete from secret_links where club_id = $1", club.0),
        sqlx::query!("delete from account_club where club_id = $1", club.0),
        sqlx::query!("delete from devices where app_club_id = $1", club.0),
        sqlx::query!("delete from authorizations where club_id = $1", club.0),
        sqlx::query!("delete from mail_outbox where about ->> 'club' = $1", club.0.to_string()),
        sqlx::query!("delete from export_queue where club_id = $1", club.0),
    ] {
        door.execute(tx.conn()).await?;
    }
    for Admin { account, email } in admins {
        let letter = Letter::ClubEnded { name: name.clone().unwrap_or_default(), account, at: Utc::now() };
        mail::put(&mut tx, &letter, &email, None).await?;
    }
    tx.commit().await?;
    Ok(true)
}

/// The statement that deletes some rows of a table. Ids are typed and names are ours, so the text is safe.
fn some_rows(club: ClubId, one: &Table) -> String {
    let (table, owner, key, columns) = (one.from, one.club, one.key("x"), one.key("y"));
    let free = |column: &&str| {
        format!(" and not exists (select from {table} later where later.club_id = '{club}' and later.{column} = y.id)")
    };
    let free = one.own.iter().map(free).collect::<Vec<_>>().concat();
    format!(
        "delete from {table} x where x.{owner} = '{club}' and ({key}) in \
         (select {columns} from {table} y where y.{owner} = '{club}'{free} limit {STEP})"
    )
}

/// Deletes every row of a club that is closed, and then that it is to be deleted.
async fn empty(db: &Db, club: ClubId) -> Result<(), StoreError> {
    for table in TABLES.iter().rev() {
        loop {
            let mut tx = db.owning(club).await?;
            let done = sqlx::raw_sql(AssertSqlSafe(some_rows(club, table))).execute(tx.conn()).await?;
            tx.commit().await?;
            // Of rows that refer to each other the last correction goes first, so a short step may not be the last one.
            if done.rows_affected() == 0 {
                break;
            }
        }
    }
    let mut tx = db.account_tx().await?;
    sqlx::query!("delete from club_endings where club_id = $1", club.0).execute(tx.conn()).await?;
    tx.commit().await
}
