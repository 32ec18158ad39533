//! The day on which a club is deleted, as long as it can be taken back.

use chrono::{DateTime, Duration, SubsecRound, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::platform::db::{Actor, Change, ClubTx, Db, Kind, StoreError};
use crate::platform::ids::{AccountId, ClubId};

/// How long a club that is to be deleted goes on as before (design choice): a month in which somebody notices.
pub const GRACE: Duration = Duration::days(30);

/// That a club is to be deleted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ending {
    /// Who asked for it.
    pub asked_by: AccountId,
    /// When.
    pub asked_at: DateTime<Utc>,
    /// From when on there is no way back.
    pub due_at: DateTime<Utc>,
}

/// Most admins who are told.
const TOLD: i64 = 50;

/// An admin of the club, and where their mail goes.
#[derive(Clone, Debug)]
pub struct Admin {
    /// Their account.
    pub account: AccountId,
    /// Their address.
    pub email: String,
}

/// The admins of a club, for a transaction that is in it.
pub async fn admins(conn: &mut PgConnection, club: ClubId) -> Result<Vec<Admin>, StoreError> {
    let rows = sqlx::query!(
        r#"
        select id, email
        from members
        where club_id = $1 and role = 'admin' and deleted_at is null
        order by id
        limit $2
        "#,
        club.0,
        TOLD
    )
    .fetch_all(conn)
    .await?;
    Ok(rows.into_iter().map(|row| Admin { account: AccountId(row.id), email: row.email }).collect())
}

/// What a club is called; none when it is gone.
pub async fn name(db: &Db, club: ClubId) -> Result<Option<String>, StoreError> {
    let nobody = Actor { account: AccountId(Uuid::nil()), groups: Some(Vec::new()) };
    let mut tx = db.read(club, &nobody).await?;
    Ok(sqlx::query_scalar!("select name from clubs where id = $1", club.0).fetch_optional(tx.conn()).await?)
}

/// When the club is deleted; none when nobody asked for it.
pub async fn due_at(tx: &mut ClubTx) -> Result<Option<DateTime<Utc>>, StoreError> {
    let club = tx.club.0;
    let due = sqlx::query_scalar!("select due_at from club_endings where club_id = $1", club)
        .fetch_optional(tx.conn())
        .await?;
    Ok(due)
}

/// Notes that the actor wants the club deleted.
///
/// # Errors
/// A conflict when somebody asked for it before.
pub async fn ask(tx: &mut ClubTx) -> Result<Ending, StoreError> {
    // As the database keeps it, so that the day is the same wherever it is read.
    let (club, asked_by, asked_at) = (tx.club, tx.actor.account, Utc::now().trunc_subsecs(6));
    let ending = Ending { asked_by, asked_at, due_at: asked_at + GRACE };
    let done = sqlx::query!(
        r#"
        insert into club_endings (club_id, asked_by, asked_at, due_at)
        values ($1, $2, $3, $4)
        on conflict (club_id) do nothing
        "#,
        club.0,
        ending.asked_by.0,
        ending.asked_at,
        ending.due_at
    )
    .execute(tx.changing(Change::put(Kind::Club, club)))
    .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::Conflict(
            "The club is to be deleted already; `deletes_at` of the club says when. Any admin can take it back."
                .to_owned(),
        ));
    }
    Ok(ending)
}

/// Lets the club stay; false when nobody asked for its deletion, or it has begun.
pub async fn take_back(tx: &mut ClubTx) -> Result<bool, StoreError> {
    let club = tx.club;
    let done = sqlx::query!("delete from club_endings where club_id = $1", club.0)
        .execute(tx.changing(Change::put(Kind::Club, club)))
        .await?;
    Ok(done.rows_affected() == 1)
}
