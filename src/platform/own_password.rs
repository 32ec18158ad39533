//! Somebody shows their password once more, before what must not be done on a device that was left open.

use secrecy::SecretString;
use serde::Deserialize;
use utoipa::ToSchema;

use super::db::{Db, StoreError};
use super::fault::Fault;
use super::ids::{AccountId, DeviceId};
use super::password;
use super::problem::Problem;
use super::throttle;

/// The password alone.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"password": "five wickets in a row"}))]
pub struct OwnPassword {
    /// The password, so that nobody does this on a device that was left open.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    pub password: SecretString,
}

/// Checks the password of an account, as for a change of it.
///
/// # Errors
/// 422 at `/password` when it is wrong; 429 after too many tries of one device.
pub async fn demand(db: &Db, account: AccountId, device: DeviceId, password: SecretString) -> Result<(), Problem> {
    throttle::take(db, throttle::PASSWORD, &format!("{account} {device}")).await?;
    let mut tx = db.account_tx().await?;
    let hash = sqlx::query_scalar!("select password_hash from accounts where account_id = $1", account.0)
        .fetch_optional(tx.conn())
        .await
        .map_err(StoreError::from)?;
    drop(tx);
    let (fits, _) = password::verify(password, hash).await?;
    if !fits {
        return Err(Problem::invalid(vec![Fault::at("/password", "password", "is not the current password")]));
    }
    Ok(())
}
