//! What a club asks of sign-ins.

use chrono::Utc;

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::DeviceId;

/// Whether admins need a second factor.
pub async fn find(tx: &mut ClubTx) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let asked = sqlx::query_scalar!("select admins_second_factor from club_security where club_id = $1", club)
        .fetch_optional(tx.conn())
        .await?;
    Ok(asked == Some(true))
}

/// Whether a sign-in of the actor was made with a second factor.
pub async fn has_second_factor(tx: &mut ClubTx, device: DeviceId) -> Result<bool, StoreError> {
    let account = tx.actor.account.0;
    let shown = sqlx::query_scalar!(
        r#"select second_factor_at is not null as "shown!" from devices where account_id = $1 and id = $2"#,
        account,
        device.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(shown == Some(true))
}

/// Lets admins need a second factor, or not.
pub async fn save(tx: &mut ClubTx, admins_second_factor: bool) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        insert into club_security as x (club_id, admins_second_factor, updated_at)
        values ($1, $2, $3)
        on conflict (club_id) do update
        set admins_second_factor = excluded.admins_second_factor, updated_at = excluded.updated_at
        "#,
        club,
        admins_second_factor,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}
