//! What the service does by itself: it drops what is kept long enough.

use chrono::Duration;

use crate::platform::audit;
use crate::platform::chores;
use crate::platform::db::{Db, StoreError};
use crate::platform::mail;
use crate::platform::{secret_links, throttle};
use crate::resources::{accounts, clubs, exports, members, retention, sync};

/// How often what is kept long enough is dropped, by whichever instance comes first.
const COMPACT_EVERY: Duration = Duration::hours(6);
/// How often an instance looks whether it is time.
const LOOK_EVERY: std::time::Duration = std::time::Duration::from_hours(1);

/// Rows that were dropped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Of the change log.
    pub changes: u64,
    /// Receipts, decided facts, refused values, devices of the feed.
    pub records: u64,
    /// Devices and refresh tokens.
    pub sign_ins: u64,
    /// Invitations.
    pub invitations: u64,
    /// Secret addresses.
    pub links: u64,
    /// Exports.
    pub exports: u64,
    /// Counters of limits.
    pub throttles: u64,
    /// Of the audit.
    pub audit: u64,
    /// Mail that could not be sent.
    pub mail: u64,
    /// Records that clubs keep no longer.
    pub retained: u64,
    /// Names of members who left.
    pub names: u64,
    /// Clubs that were to be deleted.
    pub clubs: u64,
}

impl std::fmt::Display for Dropped {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self {
            changes,
            records,
            sign_ins,
            invitations,
            links,
            exports,
            throttles,
            audit,
            mail,
            retained,
            names,
            clubs,
        } = self;
        write!(
            f,
            "{changes} rows of change logs, {records} receipts, decided facts and the like, {sign_ins} ended sign-ins \
             and tokens, {invitations} invitations, {links} links, {exports} exports, {throttles} counters of limits, {audit} rows of audits, \
             {mail} mails that could not be sent, {retained} records that clubs keep no longer, {names} names of members who \
             left, {clubs} clubs that were to be deleted"
        )
    }
}

/// Drops what is kept long enough; none when another instance is at it, or did it less than `rest` ago.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn compact(db: &Db, rest: Duration) -> Result<Option<Dropped>, StoreError> {
    let Some(turn) = chores::begin(db, "compact", rest).await? else { return Ok(None) };
    let dropped = drop_all(db).await;
    turn.end(db, dropped.is_ok()).await?;
    dropped.map(Some)
}

/// Drops what is kept long enough, from time to time.
pub async fn compact_often(db: Db) {
    loop {
        tokio::time::sleep(LOOK_EVERY).await;
        match compact(&db, COMPACT_EVERY).await {
            Ok(Some(dropped)) => tracing::info!(%dropped, "dropped what is kept long enough"),
            Ok(None) => {}
            Err(error) => tracing::warn!(%error, "cannot drop what is kept long enough"),
        }
    }
}

async fn drop_all(db: &Db) -> Result<Dropped, StoreError> {
    Ok(Dropped {
        // First, because of a club that goes nothing else needs to be dropped.
        clubs: clubs::sweep(db).await?,
        sign_ins: accounts::prune(db).await?,
        throttles: throttle::prune(db).await?,
        mail: mail::prune(db).await?,
        invitations: members::prune(db).await?,
        links: secret_links::prune(db).await?,
        exports: exports::prune(db).await?,
        changes: sync::compact(db).await?,
        records: sync::prune(db).await?,
        names: members::forget_left(db).await?,
        retained: retention::sweep(db).await?,
        audit: audit::prune(db).await?,
    })
}
