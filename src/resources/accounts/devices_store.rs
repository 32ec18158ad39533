//! Rows of devices and their refresh tokens.

use chrono::{DateTime, Duration, Utc};
use uuid::Uuid;

use super::model::{GRACE, Standing};
use crate::platform::client::ClientId;
use crate::platform::db::{AccountTx, StoreError};
use crate::platform::ids::{AccountId, AppId, ClubId, DeviceId};
use crate::platform::network::Network;
use crate::platform::token::{Opaque, REFRESH_SECONDS, SIGN_IN_DAYS, SIGN_INS, sha256};

/// One sign-in.
#[derive(Debug)]
pub struct Device {
    /// The id.
    pub id: Uuid,
    /// The name the app gave.
    pub name: String,
    /// When it signed in.
    pub created_at: DateTime<Utc>,
    /// When it last refreshed.
    pub last_used_at: DateTime<Utc>,
    /// Whether a second factor was shown with it.
    pub second_factor: bool,
}

/// A sign-in that gets tokens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignedIn {
    /// Whose it is.
    pub account: AccountId,
    /// The sign-in.
    pub device: DeviceId,
    /// When it began; it ends [`SIGN_IN_DAYS`] later.
    pub began: DateTime<Utc>,
}

impl SignedIn {
    /// Life of a refresh token that it gets now, seconds: never beyond its own end.
    pub fn refresh_seconds(&self, now: DateTime<Utc>) -> i64 {
        (self.began + Duration::days(SIGN_IN_DAYS) - now).num_seconds().clamp(0, REFRESH_SECONDS)
    }
}

/// The sign-in that a refresh token belongs to.
#[derive(Debug)]
pub struct Family {
    /// The sign-in.
    pub device: DeviceId,
    /// The app whose it is; none for a person's own.
    pub client: Option<ClientId>,
    /// What an app was given with it.
    pub scopes: Vec<String>,
}

/// What became of a refresh token.
#[derive(Debug, PartialEq, Eq)]
pub enum Exchange {
    /// It was good, or the answer to it was lost; the sign-in goes on.
    Good(SignedIn),
    /// It is being exchanged by other calls at this moment.
    UnderWay,
    /// It was used before, so someone holds a copy: the whole sign-in is ended.
    Reused,
    /// Unknown, expired, or of an ended sign-in.
    Refused,
}

/// A network as it is remembered of an account: enough to know it again, no list of places.
fn remembered(account: AccountId, network: &Network) -> Vec<u8> {
    sha256(format!("{account} {}", network.as_str()).as_bytes())
}

/// Begins a sign-in. Of more than [`SIGN_INS`] the one that was used least lately ends.
pub async fn insert(
    tx: &mut AccountTx,
    account: AccountId,
    name: &str,
    network: &Network,
) -> Result<SignedIn, StoreError> {
    let (id, began) = (DeviceId::new(), Utc::now());
    sqlx::query!(
        r#"
        insert into devices (account_id, id, name, created_at, last_used_at, network_hash)
        values ($1, $2, $3, $4, $4, $5)
        "#,
        account.0,
        id.0,
        name,
        began,
        remembered(account, network)
    )
    .execute(tx.conn())
    .await?;
    let many = sqlx::query_scalar!(
        r#"
        select id
        from devices
        where account_id = $1 and revoked_at is null
        order by last_used_at desc, id desc
        offset $2
        "#,
        account.0,
        SIGN_INS
    )
    .fetch_all(tx.conn())
    .await?;
    for device in many {
        end(tx, account, DeviceId(device)).await?;
    }
    Ok(SignedIn { account, device: id, began })
}

/// How an account knows whoever signs in. The same reads for an account that there is not.
pub async fn standing(
    tx: &mut AccountTx,
    account: AccountId,
    earlier: Option<&Opaque>,
    network: &Network,
) -> Result<Standing, StoreError> {
    let row = sqlx::query!(
        r#"
        select
          (select t.device_id from refresh_tokens t where t.account_id = $1 and t.token_hash = $2) as device,
          exists (select from devices d where d.account_id = $1 and d.network_hash = $3) as "network!"
        "#,
        account.0,
        earlier.map(|token| token.hash.as_slice()).unwrap_or_default(),
        remembered(account, network)
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(match row.device {
        Some(device) => Standing::Device(DeviceId(device)),
        None if row.network => Standing::Network,
        None => Standing::Stranger,
    })
}

/// Stores a refresh token of a sign-in; `parent` is the token that was given up for it.
pub async fn insert_refresh(
    tx: &mut AccountTx,
    signed_in: SignedIn,
    token: &Opaque,
    parent: Option<&Opaque>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"
        insert into refresh_tokens (account_id, token_hash, device_id, issued_at, expires_at, parent_hash)
        values ($1, $2, $3, $4, $5, $6)
        "#,
        signed_in.account.0,
        token.hash,
        signed_in.device.0,
        now,
        now + Duration::seconds(signed_in.refresh_seconds(now)),
        parent.map(|parent| parent.hash.as_slice())
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

struct Row {
    device_id: Uuid,
    used_at: Option<DateTime<Utc>>,
    repeated_at: Option<DateTime<Utc>>,
    expires_at: DateTime<Utc>,
    parent_hash: Option<Vec<u8>>,
    created_at: DateTime<Utc>,
    revoked_at: Option<DateTime<Utc>>,
}

/// Gives a refresh token up for a new one; `arrived` is when the request came.
///
/// The exchanges of one device wait for each other. Of a token whose answer was lost there are then two successors, and
/// the first that is used puts the other out of use: if somebody holds that one, they end the sign-in by using it.
pub async fn exchange(
    tx: &mut AccountTx,
    token: &Opaque,
    network: &Network,
    arrived: DateTime<Utc>,
) -> Result<Exchange, StoreError> {
    let account = AccountId(token.owner);
    let row = sqlx::query_as!(
        Row,
        r#"
        select t.device_id, t.used_at, t.repeated_at, t.expires_at, t.parent_hash, d.created_at, d.revoked_at
        from refresh_tokens t
        join devices d on d.account_id = $1 and d.id = t.device_id
        where t.account_id = $1 and t.token_hash = $2
        for update of t, d
        "#,
        account.0,
        token.hash
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else { return Ok(Exchange::Refused) };
    let (device, now) = (DeviceId(row.device_id), Utc::now());
    let signed_in = SignedIn { account, device, began: row.created_at };
    let Some(used_at) = row.used_at else {
        if row.revoked_at.is_some() || row.expires_at <= now || signed_in.refresh_seconds(now) == 0 {
            return Ok(Exchange::Refused);
        }
        if let Some(parent) = &row.parent_hash {
            retire(tx, (account, device), parent, now).await?;
        }
        sqlx::query!(
            "update refresh_tokens set used_at = $3 where account_id = $1 and token_hash = $2",
            account.0,
            token.hash,
            now
        )
        .execute(tx.conn())
        .await?;
        note_use(tx, (account, device), network, now).await?;
        return Ok(Exchange::Good(signed_in));
    };
    if row.revoked_at.is_none() {
        let lost = row.repeated_at.is_none() && now - used_at <= GRACE;
        if lost && successors_unused(tx, (account, device), token).await? {
            sqlx::query!(
                "update refresh_tokens set repeated_at = $3 where account_id = $1 and token_hash = $2",
                account.0,
                token.hash,
                now
            )
            .execute(tx.conn())
            .await?;
            note_use(tx, (account, device), network, now).await?;
            return Ok(Exchange::Good(signed_in));
        }
        if arrived <= used_at {
            return Ok(Exchange::UnderWay);
        }
    }
    end(tx, account, device).await?;
    Ok(Exchange::Reused)
}

/// Puts the successors of a token out of use.
async fn retire(
    tx: &mut AccountTx,
    (account, device): (AccountId, DeviceId),
    parent: &[u8],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"
        update refresh_tokens
        set used_at = $4
        where account_id = $1 and device_id = $2 and parent_hash = $3 and used_at is null
        "#,
        account.0,
        device.0,
        parent,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Whether a token was exchanged and none of what it was exchanged for is used.
async fn successors_unused(
    tx: &mut AccountTx,
    (account, device): (AccountId, DeviceId),
    token: &Opaque,
) -> Result<bool, StoreError> {
    let used = sqlx::query_scalar!(
        r#"
        select bool_or(used_at is not null)
        from refresh_tokens
        where account_id = $1 and device_id = $2 and parent_hash = $3
        "#,
        account.0,
        device.0,
        token.hash
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(used == Some(false))
}

async fn note_use(
    tx: &mut AccountTx,
    (account, device): (AccountId, DeviceId),
    network: &Network,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update devices set last_used_at = $3, network_hash = $4 where account_id = $1 and id = $2",
        account.0,
        device.0,
        now,
        remembered(account, network)
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The sign-in that a refresh token belongs to.
pub async fn of_token(tx: &mut AccountTx, token: &Opaque) -> Result<Option<Family>, StoreError> {
    let row = sqlx::query!(
        r#"
        select d.id, d.app_club_id, d.app_id, d.scopes
        from refresh_tokens t
        join devices d on d.account_id = $1 and d.id = t.device_id
        where t.account_id = $1 and t.token_hash = $2
        "#,
        token.owner,
        token.hash
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| Family {
        device: DeviceId(row.id),
        client: row.app_club_id.zip(row.app_id).map(|(club, app)| ClientId { club: ClubId(club), app: AppId(app) }),
        scopes: row.scopes.unwrap_or_default(),
    }))
}

/// Ends a sign-in with all its tokens; false when there is none.
pub async fn end(tx: &mut AccountTx, account: AccountId, device: DeviceId) -> Result<bool, StoreError> {
    tx.ends_sign_in(account);
    let done = sqlx::query!(
        r#"
        update devices
        set revoked_at = coalesce(revoked_at, $3)
        where account_id = $1 and id = $2
        "#,
        account.0,
        device.0,
        Utc::now()
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Gives a live sign-in another name; false when there is none.
pub async fn rename(tx: &mut AccountTx, account: AccountId, device: DeviceId, name: &str) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update devices set name = $3 where account_id = $1 and id = $2 and revoked_at is null",
        account.0,
        device.0,
        name
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The live sign-ins of a person themself, newest first; those of apps are listed as apps.
pub async fn list(tx: &mut AccountTx, account: AccountId) -> Result<Vec<Device>, StoreError> {
    let rows = sqlx::query_as!(
        Device,
        r#"
        select id, name, created_at, last_used_at, second_factor_at is not null as "second_factor!"
        from devices
        where account_id = $1 and app_id is null and revoked_at is null
        order by id desc
        limit 200
        "#,
        account.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows)
}
