//! Rows of consents that are asked for and of codes, and of the sign-ins of apps.

use chrono::{DateTime, Utc};

use super::model::{Authorization, Pending};
use crate::platform::client::ClientId;
use crate::platform::db::{AccountTx, StoreError};
use crate::platform::ids::{AccountId, AppId, ClubId, DeviceId};
use crate::platform::token::Opaque;

/// What a secret is good for, once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// To say whether the app may.
    Consent,
    /// To be exchanged for tokens.
    Code,
}

impl Step {
    const fn as_str(self) -> &'static str {
        match self {
            Self::Consent => "consent",
            Self::Code => "code",
        }
    }
}

/// Stores what a secret is bound to.
pub async fn insert(
    tx: &mut AccountTx,
    secret: &Opaque,
    step: Step,
    of: &Authorization,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"
        insert into authorizations
          (account_id, token_hash, step, club_id, app_id, redirect_uri, challenge, scopes, state, expires_at,
           second_factor)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
        "#,
        secret.owner,
        secret.hash,
        step.as_str(),
        of.client.club.0,
        of.client.app.0,
        of.redirect_uri,
        of.challenge,
        &of.scopes,
        of.state,
        expires_at,
        of.second_factor
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// What a secret is bound to, locked until the transaction ends.
pub async fn find(tx: &mut AccountTx, secret: &Opaque, step: Step) -> Result<Option<Pending>, StoreError> {
    let row = sqlx::query!(
        r#"
        select club_id, app_id, redirect_uri, challenge, scopes, state, second_factor, expires_at, used_at, device_id
        from authorizations
        where account_id = $1 and token_hash = $2 and step = $3
        for no key update
        "#,
        secret.owner,
        secret.hash,
        step.as_str()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| Pending {
        account: AccountId(secret.owner),
        of: Authorization {
            client: ClientId { club: ClubId(row.club_id), app: AppId(row.app_id) },
            redirect_uri: row.redirect_uri,
            challenge: row.challenge,
            scopes: row.scopes,
            state: row.state,
            second_factor: row.second_factor,
        },
        expires_at: row.expires_at,
        used: row.used_at.is_some(),
        device: row.device_id.map(DeviceId),
    }))
}

/// Uses a secret up; `device` is the sign-in that it gave.
pub async fn take(tx: &mut AccountTx, secret: &Opaque, device: Option<DeviceId>) -> Result<(), StoreError> {
    sqlx::query!(
        "update authorizations set used_at = $3, device_id = $4 where account_id = $1 and token_hash = $2",
        secret.owner,
        secret.hash,
        Utc::now(),
        device.map(|device| device.0)
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Says that a sign-in which has just begun is that of an app.
pub async fn give_to_app(
    tx: &mut AccountTx,
    (account, device): (AccountId, DeviceId),
    client: ClientId,
    scopes: &[String],
) -> Result<(), StoreError> {
    sqlx::query!(
        "update devices set app_club_id = $3, app_id = $4, scopes = $5 where account_id = $1 and id = $2",
        account.0,
        device.0,
        client.club.0,
        client.app.0,
        scopes
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Ends every sign-in of an app for an account, and what is on its way to one.
pub async fn end(tx: &mut AccountTx, account: AccountId, app: AppId) -> Result<(), StoreError> {
    tx.ends_sign_in(account);
    let now = Utc::now();
    sqlx::query!(
        r#"
        update devices
        set revoked_at = $3
        where account_id = $1 and app_id = $2 and revoked_at is null
        "#,
        account.0,
        app.0,
        now
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        r#"
        update authorizations
        set used_at = $3
        where account_id = $1 and app_id = $2 and used_at is null
        "#,
        account.0,
        app.0,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The clubs in which an app may act for an account: those it belongs to, and those of its apps' sign-ins.
pub async fn clubs(tx: &mut AccountTx, account: AccountId) -> Result<Vec<ClubId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"
        select x.club_id as "club_id!"
        from account_club x
        where x.account_id = $1
        union
        select d.app_club_id
        from devices d
        where d.account_id = $1 and d.app_id is not null and d.revoked_at is null
        order by 1
        "#,
        account.0
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids.into_iter().map(ClubId).collect())
}
