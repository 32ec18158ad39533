//! Addresses that show something of a club to whoever holds them: no account, no cookie, 256 random bits.
//!
//! | what | how |
//! | --- | --- |
//! | the secret | shown once; its SHA-256 is all that is kept |
//! | what it shows | what its maker may see at that moment: the rows come from a transaction of the maker ([`Permit::lent`]), so a maker who loses group, role or sign-in shows nothing any more |
//! | when it is over | at its time, ended by one call, or with the setting of the club; all answered like a secret that never was |
//! | guessing | a look for each try, so tries of one network are counted; openings of one address as well |

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::access::{Act, Permit};
use super::audit;
use super::chores::{self, STEP};
use super::db::{Actor, ClubTx, Db, StoreError};
use super::ids::{AccountId, ClubId, DeviceId, SecretLinkId};
use super::network::Network;
use super::problem::{Code, Problem};
use super::throttle;
use super::token::Opaque;

/// How long a row is kept after its address is over, days: who showed what, and when, can be looked up that long.
const KEPT_DAYS: i64 = 30;
/// An opening is noted again after this time at the earliest.
const NOTED_AFTER: Duration = Duration::minutes(1);

/// What an address shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// The lanes and cards of a session.
    SessionSheets,
    /// The sessions of a member, who is its subject.
    CalendarFeed,
}

impl Shows {
    const fn as_str(self) -> &'static str {
        match self {
            Self::SessionSheets => "session_sheets",
            Self::CalendarFeed => "calendar_feed",
        }
    }
}

/// An address as it is kept.
#[derive(Clone, Copy, Debug)]
pub struct SecretLink {
    /// Its id.
    pub id: SecretLinkId,
    /// The record that it shows.
    pub subject: Uuid,
    /// Who made it.
    pub made_by: AccountId,
    /// With which sign-in.
    pub device: DeviceId,
    /// When.
    pub made_at: DateTime<Utc>,
    /// Until when it shows anything.
    pub expires_at: DateTime<Utc>,
    /// When it was opened last, to the minute.
    pub opened_at: Option<DateTime<Utc>>,
}

struct Row {
    id: Uuid,
    subject_id: Uuid,
    made_by: Uuid,
    device_id: Uuid,
    made_at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
    opened_at: Option<DateTime<Utc>>,
}

impl From<Row> for SecretLink {
    fn from(row: Row) -> Self {
        Self {
            id: SecretLinkId(row.id),
            subject: row.subject_id,
            made_by: AccountId(row.made_by),
            device: DeviceId(row.device_id),
            made_at: row.made_at,
            expires_at: row.expires_at,
            opened_at: row.opened_at,
        }
    }
}

/// The answer about every secret that shows nothing, whyever.
pub fn closed() -> Problem {
    Problem::new(
        Code::NotFound,
        "This link shows nothing: it is not one, has ended, or was taken back. Ask who gave it to you.",
    )
}

/// Makes an address with a new secret, which only this answer holds.
///
/// # Errors
/// Database errors; 500 when the random source fails.
pub async fn make<A>(
    tx: &mut ClubTx,
    permit: &Permit<A>,
    (shows, subject): (Shows, Uuid),
    expires_at: DateTime<Utc>,
) -> Result<(SecretLink, String), Problem> {
    let (text, opaque) = Opaque::new(permit.club.0)?;
    let link = SecretLink {
        id: SecretLinkId::new(),
        subject,
        made_by: permit.account,
        device: permit.device,
        made_at: Utc::now(),
        expires_at,
        opened_at: None,
    };
    sqlx::query!(
        r#"
        insert into secret_links as x
          (club_id, id, kind, subject_id, token_hash, made_by, device_id, made_at, expires_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        "#,
        tx.club.0,
        link.id.0,
        shows.as_str(),
        subject,
        opaque.hash,
        link.made_by.0,
        link.device.0,
        link.made_at,
        link.expires_at
    )
    .execute(tx.unsynced())
    .await
    .map_err(StoreError::from)?;
    Ok((link, text))
}

/// The addresses of a record that are not over, oldest first.
///
/// # Errors
/// Database errors.
pub async fn of_subject(tx: &mut ClubTx, shows: Shows, subject: Uuid) -> Result<Vec<SecretLink>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, subject_id, made_by, device_id, made_at, expires_at, opened_at
        from secret_links
        where club_id = $1 and subject_id = $2 and kind = $3 and ended_at is null and expires_at > $4
        order by id
        "#,
        club,
        subject,
        shows.as_str(),
        Utc::now()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// Ends an address of a record.
///
/// # Errors
/// [`StoreError::NotFound`] when it is over, or no such address; database errors.
pub async fn end(tx: &mut ClubTx, (shows, subject): (Shows, Uuid), id: SecretLinkId) -> Result<(), StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        update secret_links
        set ended_at = $5
        where club_id = $1 and id = $2 and subject_id = $3 and kind = $4 and ended_at is null and expires_at > $5
        "#,
        club,
        id.0,
        subject,
        shows.as_str(),
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    if done.rows_affected() == 0 {
        return Err(StoreError::NotFound("link"));
    }
    Ok(())
}

/// Ends every address of a kind in the club.
///
/// # Errors
/// Database errors.
pub async fn end_all(tx: &mut ClubTx, shows: Shows) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update secret_links
        set ended_at = $3
        where club_id = $1 and id in (
          select x.id from secret_links x
          where x.club_id = $1 and x.kind = $2 and x.ended_at is null
          order by x.id
          for no key update
        )
        "#,
        club,
        shows.as_str(),
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

async fn known(db: &Db, shows: Shows, token: &Opaque) -> Result<Option<SecretLink>, StoreError> {
    let mut tx = db.read(ClubId(token.owner), &Actor::NOBODY).await?;
    let row = sqlx::query_as!(
        Row,
        r#"
        select id, subject_id, made_by, device_id, made_at, expires_at, opened_at
        from secret_links
        where club_id = $1 and token_hash = $2 and kind = $3 and ended_at is null and expires_at > $4
        "#,
        token.owner,
        token.hash,
        shows.as_str(),
        Utc::now()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(Into::into))
}

/// An address that somebody opens, with the leave of its maker to do `A`.
#[derive(Debug)]
pub struct Opened<A> {
    /// The address.
    pub link: SecretLink,
    /// The leave: what it opens is decided when it is used.
    pub permit: Permit<A>,
}

/// What is behind a secret that somebody from a network sends.
///
/// # Errors
/// 404 for every secret that shows nothing, 429 after too many of them or too many openings; when the database is away.
pub async fn open<A: Act>(db: &Db, shows: Shows, secret: &str, from: &Network) -> Result<Opened<A>, Problem> {
    let found = match Opaque::parse(secret) {
        Some(token) => known(db, shows, &token).await?.map(|link| (ClubId(token.owner), link)),
        None => None,
    };
    // Whoever has no secret cannot use up what others may open.
    let Some((club, link)) = found else {
        throttle::take(db, throttle::LINK_UNKNOWN, from.as_str()).await?;
        return Err(closed());
    };
    throttle::take(db, throttle::LINK, &link.id.to_string()).await?;
    audit::lends(club, link.made_by, link.device, vec![link.id.0, link.subject]);
    Ok(Opened { link, permit: Permit::lent(club, link.made_by, link.device) })
}

impl<A> Opened<A> {
    /// Notes that it was opened.
    ///
    /// # Errors
    /// Database errors.
    pub async fn note(&self, db: &Db) -> Result<(), StoreError> {
        let now = Utc::now();
        if self.link.opened_at.is_some_and(|at| at > now - NOTED_AFTER) {
            return Ok(());
        }
        let club = self.permit.club;
        let mut tx = db.write(club, &Actor::NOBODY).await?;
        sqlx::query!(
            "update secret_links set opened_at = $3 where club_id = $1 and id = $2 and ended_at is null",
            club.0,
            self.link.id.0,
            now
        )
        .execute(tx.unsynced())
        .await?;
        tx.commit().await?;
        Ok(())
    }
}

/// A refusal of the maker, as whoever holds the address is told: not at all.
pub fn hidden(problem: Problem) -> Problem {
    match problem.status() {
        401 | 403 | 404 => closed(),
        _ => problem,
    }
}

/// Drops addresses that have long been over, club by club; how many.
///
/// # Errors
/// Database errors; clubs that were done stay done.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::in_clubs(db, drop_old).await
}

async fn drop_old(tx: &mut ClubTx) -> Result<u64, StoreError> {
    let club = tx.club.0;
    let before = Utc::now() - Duration::days(KEPT_DAYS);
    let done = sqlx::query!(
        r#"
        delete from secret_links
        where club_id = $1 and id in (
          select x.id from secret_links x
          where x.club_id = $1 and x.expires_at < $2
          limit $3
        )
        "#,
        club,
        before,
        STEP
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected())
}
