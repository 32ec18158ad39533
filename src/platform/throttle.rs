//! Token buckets in the database, so that a limit holds over several instances.
//!
//! # Guessing passwords
//!
//! NIST SP 800-63B asks for a bound on wrong tries at one account, ASVS 5 (6.1.1, 6.3.1) that the bound cannot be used to
//! lock the owner out. One bucket for each account does the first and fails the second: whoever knows the address keeps
//! it empty. So tries are counted apart by who makes them:
//!
//! | who tries | buckets |
//! | --- | --- |
//! | a device that shows a refresh token it once had of this account | [`SIGN_IN_DEVICE`] |
//! | a network from which this account signed in or refreshed before | [`SIGN_IN_NETWORK`], [`SIGN_IN_PAIR`] |
//! | anybody else | these and [`SIGN_IN_ACCOUNT`] |
//!
//! A stranger empties the pair of the account with their own network and is held up there; the owner, from another
//! network, has a pair of their own. Only strangers on many networks together reach the limit of the account, and that one does
//! not count for the owner's devices (device cookies, as OWASP describes them) nor for the networks they are known from.
//! What is left: while many networks attack one account, its owner cannot sign in from a device and a network that are
//! both new. A right password gives back what it took and clears the pair, as NIST proposes.
//!
//! The bound: one network tries a password of one account at most burst + a day's regain of the pair = 10 + 96 = 106 times
//! on the first day, then 96 a day; all unknown networks together 50 + 360 = 410, then 360 a day. The rules for passwords
//! refuse what is among the first million guesses, which would take seven years. NIST's remedy after 100 wrong tries in a row,
//! to disable the password, is not taken, since it is the lock-out itself.
//!
//! The buckets of unknown addresses are kept like those of known ones, so a refusal does not tell which is which.

use aws_lc_rs::digest;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};

use super::chores::{self, STEP};
use super::db::{AccountTx, Db, StoreError};
use super::problem::{Code, Problem};

/// How much is allowed, of what.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Names the buckets.
    name: &'static str,
    /// Attempts at once.
    burst: f64,
    /// Attempts regained per second.
    per_second: f64,
}

const fn limit(name: &'static str, burst: f64, per_second: f64) -> Limit {
    Limit { name, burst, per_second }
}

/// Wrong passwords from one network at one account: a person who forgot theirs tries a handful.
pub const SIGN_IN_PAIR: Limit = limit("sign-in-pair", 10.0, 1.0 / 900.0);
/// Wrong passwords from one device that the account knows; the same person.
pub const SIGN_IN_DEVICE: Limit = limit("sign-in-device", 10.0, 1.0 / 900.0);
/// Wrong passwords at one account from networks that it does not know: five networks at work do not exhaust it at once.
pub const SIGN_IN_ACCOUNT: Limit = limit("sign-in-account", 50.0, 1.0 / 240.0);
/// Wrong passwords from one network at all accounts. A club's phones share a network, so it is wide.
pub const SIGN_IN_NETWORK: Limit = limit("sign-in-network", 120.0, 1.0 / 30.0);
/// Right passwords of one account: each makes a device, and rows must not grow without end.
pub const SIGN_INS: Limit = limit("sign-ins", 200.0, 1.0 / 60.0);
/// Sign-ups from one network: a whole club may do it in one evening.
pub const SIGN_UP: Limit = limit("sign-up", 120.0, 1.0 / 30.0);
/// Refreshes of one device: it needs one in a quarter of an hour.
pub const REFRESH: Limit = limit("refresh", 30.0, 1.0 / 30.0);
/// Refresh tokens from one network that are none: nobody guesses 256 bits, but every try is a look into the database.
pub const REFRESH_UNKNOWN: Limit = limit("refresh-unknown", 60.0, 0.1);
/// Codes and consents of apps from one network that are none: like unknown refresh tokens.
pub const CODE_UNKNOWN: Limit = limit("code-unknown", 60.0, 0.1);
/// Changes of the password by one device, right or wrong: whoever stole an access token shall not guess the password
/// with it, nor keep the owner's other devices from changing it.
pub const PASSWORD: Limit = limit("password", 10.0, 1.0 / 900.0);
/// Invitations that one account takes or tries.
pub const ACCEPT: Limit = limit("accept", 20.0, 1.0 / 60.0);
/// Clubs that one account founds.
pub const FOUND_CLUB: Limit = limit("found-club", 20.0, 1.0 / 3600.0);
/// Openings of one secret address: the phones of a session's helpers, loading it again and again.
pub const LINK: Limit = limit("link", 120.0, 1.0);
/// Secret addresses, and secrets of mails, from one network that are none: nobody guesses 256 bits, but every try is a look into the database.
pub const LINK_UNKNOWN: Limit = limit("link-unknown", 60.0, 0.1);

/// Mail that one network asks for, at all addresses: a whole club may sign up in one evening.
pub const MAIL_NETWORK: Limit = limit("mail-network", 120.0, 1.0 / 30.0);
/// Mail that one network asks for to one address: more than a few help nobody.
pub const MAIL_PAIR: Limit = limit("mail-pair", 5.0, 1.0 / 900.0);
/// Mail that strangers ask for to one address: five networks at work do not exhaust it at once.
pub const MAIL_ADDRESS: Limit = limit("mail-address", 25.0, 1.0 / 900.0);
/// Notices to one account: an app that signs in anew all day shall not fill its owner's box.
pub const NOTICE: Limit = limit("notice", 10.0, 1.0 / 3600.0);
/// Codes of one second factor from one network or device, each with the right password: of a million codes three fit at a time,
/// so a day of it is right once in three thousand.
pub const CODE_PAIR: Limit = limit("code-pair", 10.0, 1.0 / 900.0);
/// The same from networks that the account does not know.
pub const CODE_ACCOUNT: Limit = limit("code-account", 50.0, 1.0 / 240.0);
/// Changes of the address that one account asks for, and confirmations that it asks for again.
pub const ADDRESS: Limit = limit("address", 10.0, 1.0 / 1800.0);
/// Invitations of one club: a whole club comes in one evening, and each is a mail to an address that nobody asked.
pub const INVITE: Limit = limit("invite", 300.0, 1.0 / 60.0);

/// A bucket is full again after this time at the latest, and its row says nothing any more.
const FULL_AFTER: Duration = Duration::hours(24);

/// The row of a bucket. Hashed, so that the table is no list of people and places.
fn bucket(limit: Limit, who: &str) -> String {
    let hash = digest::digest(&digest::SHA256, who.as_bytes());
    format!("{} {}", limit.name, URL_SAFE_NO_PAD.encode(hash.as_ref()))
}

/// Takes one attempt from a bucket.
///
/// # Errors
/// 429 with `Retry-After` when the bucket is empty.
pub async fn take(db: &Db, limit: Limit, who: &str) -> Result<(), Problem> {
    let (bucket, now) = (bucket(limit, who), Utc::now());
    let mut tx = db.account_tx().await?;
    // Clocks of two instances differ: time that runs backwards takes nothing away and is not written down.
    let taken = sqlx::query_scalar!(
        r#"
        insert into throttles as t (bucket, tokens, refilled_at)
        values ($1, $2::float8 - 1, $4)
        on conflict (bucket) do update
        set tokens = least($2::float8,
              t.tokens + $3::float8 * greatest(0, extract(epoch from excluded.refilled_at - t.refilled_at)::float8)) - 1,
            refilled_at = greatest(t.refilled_at, excluded.refilled_at)
        where least($2::float8,
          t.tokens + $3::float8 * greatest(0, extract(epoch from excluded.refilled_at - t.refilled_at)::float8)) >= 1
        returning tokens
        "#,
        bucket,
        limit.burst,
        limit.per_second,
        now
    )
    .fetch_optional(tx.conn())
    .await?;
    if taken.is_some() {
        tx.commit().await?;
        return Ok(());
    }
    let row = sqlx::query!("select tokens, refilled_at from throttles where bucket = $1", bucket)
        .fetch_optional(tx.conn())
        .await?;
    let wait = row.map_or(1.0, |row| wait(limit, row.tokens, row.refilled_at, now));
    Err(Problem::new(Code::TooMany, format!("Too many attempts. Wait {wait} seconds and try again."))
        .with_header(actix_web::http::header::RETRY_AFTER, &format!("{wait}")))
}

/// Takes one attempt from a bucket, if it holds one.
///
/// # Errors
/// When the database is away.
pub async fn allows(db: &Db, limit: Limit, who: &str) -> Result<bool, Problem> {
    match take(db, limit, who).await {
        Ok(()) => Ok(true),
        Err(problem) if problem.code() == Code::TooMany => Ok(false),
        Err(problem) => Err(problem),
    }
}

/// Whole seconds until the bucket holds one attempt again.
fn wait(limit: Limit, tokens: f64, at: DateTime<Utc>, now: DateTime<Utc>) -> f64 {
    let missing = (1.0 - tokens).max(0.0) / limit.per_second;
    let passed = (now - at).as_seconds_f64().max(0.0);
    (missing - passed).ceil().max(1.0)
}

/// Gives one attempt back: it was a right one.
///
/// # Errors
/// When the database is away.
pub async fn give_back(tx: &mut AccountTx, limit: Limit, who: &str) -> Result<(), StoreError> {
    sqlx::query!(
        "update throttles set tokens = least(tokens + 1, $2::float8) where bucket = $1",
        bucket(limit, who),
        limit.burst
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Fills a bucket.
///
/// # Errors
/// When the database is away.
pub async fn clear(tx: &mut AccountTx, limit: Limit, who: &str) -> Result<(), StoreError> {
    sqlx::query!("delete from throttles where bucket = $1", bucket(limit, who)).execute(tx.conn()).await?;
    Ok(())
}

/// Drops the rows of buckets that are full; how many.
///
/// # Errors
/// When the database is away.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    chores::outside_clubs(db, drop_full).await
}

async fn drop_full(tx: &mut AccountTx) -> Result<u64, StoreError> {
    let before = Utc::now() - FULL_AFTER;
    let full = sqlx::query_scalar!("select bucket from throttles where refilled_at < $1 limit $2", before, STEP)
        .fetch_all(tx.conn())
        .await?;
    // Once more with the time: one of them may be in use by now.
    let done = sqlx::query!("delete from throttles where bucket = any ($1) and refilled_at < $2", &full, before)
        .execute(tx.conn())
        .await?;
    Ok(done.rows_affected())
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Limit; 22] = [
        SIGN_IN_PAIR,
        SIGN_IN_DEVICE,
        SIGN_IN_ACCOUNT,
        SIGN_IN_NETWORK,
        SIGN_INS,
        SIGN_UP,
        REFRESH,
        REFRESH_UNKNOWN,
        CODE_UNKNOWN,
        PASSWORD,
        ACCEPT,
        FOUND_CLUB,
        MAIL_NETWORK,
        MAIL_PAIR,
        MAIL_ADDRESS,
        NOTICE,
        CODE_PAIR,
        CODE_ACCOUNT,
        ADDRESS,
        INVITE,
        LINK,
        LINK_UNKNOWN,
    ];

    #[test]
    fn a_pruned_bucket_would_be_full() {
        for limit in ALL {
            let full = limit.burst / limit.per_second;
            assert!(full <= FULL_AFTER.as_seconds_f64(), "{}: {full} s", limit.name);
        }
    }

    #[test]
    fn the_wait_is_what_is_missing() {
        let now = Utc::now();
        assert_eq!(wait(SIGN_IN_PAIR, 0.0, now, now).to_bits(), 900.0_f64.to_bits());
        assert_eq!(wait(SIGN_IN_PAIR, 0.5, now - Duration::seconds(100), now).to_bits(), 350.0_f64.to_bits());
        assert_eq!(wait(SIGN_IN_PAIR, 0.9, now - Duration::days(1), now).to_bits(), 1.0_f64.to_bits());
    }

    #[test]
    fn buckets_are_told_apart_and_name_nobody() {
        let one = bucket(SIGN_IN_PAIR, "ada@club.example 192.0.2.7");
        assert!(!one.contains("ada") && !one.contains("192"), "{one}");
        assert_ne!(one, bucket(SIGN_IN_PAIR, "ada@club.example 192.0.2.8"));
        assert_ne!(one, bucket(SIGN_IN_DEVICE, "ada@club.example 192.0.2.7"));
    }
}
