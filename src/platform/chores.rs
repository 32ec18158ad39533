//! Chores of the service itself: each on one instance at a time.

use chrono::{Duration, Utc};
use uuid::Uuid;

use super::db::{AccountTx, Actor, ClubTx, Db, StoreError};

/// How long an instance has for a chore. One that died is followed by another after this time; one that takes longer is
/// joined by another, which costs work and does no harm.
const LEASE: Duration = Duration::hours(1);

/// Rows that one transaction of a chore drops.
pub const STEP: i64 = 1_000;

/// Carries a step of a chore out in every club, again and again in transactions of their own, until it drops nothing more; how many
/// rows went.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn in_clubs(db: &Db, step: impl AsyncFn(&mut ClubTx) -> Result<u64, StoreError>) -> Result<u64, StoreError> {
    let mut dropped = 0;
    for club in db.clubs().await? {
        loop {
            let mut tx = db.write(club, &Actor::NOBODY).await?;
            let rows = step(&mut tx).await?;
            tx.commit().await?;
            dropped += rows;
            if rows == 0 {
                break;
            }
        }
    }
    Ok(dropped)
}

/// The same with what belongs to no club.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn outside_clubs(
    db: &Db,
    step: impl AsyncFn(&mut AccountTx) -> Result<u64, StoreError>,
) -> Result<u64, StoreError> {
    let mut dropped = 0;
    loop {
        let mut tx = db.account_tx().await?;
        let rows = step(&mut tx).await?;
        tx.commit().await?;
        if rows == 0 {
            return Ok(dropped);
        }
        dropped += rows;
    }
}

/// The right to carry out a chore now.
#[derive(Debug)]
pub struct Turn {
    name: &'static str,
    holder: Uuid,
}

/// Takes a chore on; none when another instance is at it, or did it less than `rest` ago.
///
/// # Errors
/// When the database is away.
pub async fn begin(db: &Db, name: &'static str, rest: Duration) -> Result<Option<Turn>, StoreError> {
    let (turn, now) = (Turn { name, holder: Uuid::now_v7() }, Utc::now());
    let mut tx = db.account_tx().await?;
    let taken = sqlx::query_scalar!(
        r#"
        insert into chores as x (name, holder, held_until)
        values ($1, $2, $3)
        on conflict (name) do update
        set holder = excluded.holder, held_until = excluded.held_until
        where x.held_until <= $4 and (x.done_at is null or x.done_at <= $5)
        returning holder
        "#,
        name,
        turn.holder,
        now + LEASE,
        now,
        now - rest
    )
    .fetch_optional(tx.conn())
    .await?;
    tx.commit().await?;
    Ok(taken.map(|_| turn))
}

impl Turn {
    /// Ends the turn; without `done` the next instance may begin at once.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn end(self, db: &Db, done: bool) -> Result<(), StoreError> {
        let now = Utc::now();
        let mut tx = db.account_tx().await?;
        sqlx::query!(
            r#"
            update chores
            set held_until = $3, done_at = case when $4 then $3 else done_at end
            where name = $1 and holder = $2
            "#,
            self.name,
            self.holder,
            now,
            done
        )
        .execute(tx.conn())
        .await?;
        tx.commit().await
    }
}
