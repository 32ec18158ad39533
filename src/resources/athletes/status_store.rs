//! Since when an athlete's status is what it is, for whatever was made before.

use uuid::Uuid;

use crate::platform::db::{ClubTx, StoreError};
use crate::platform::renewals;

/// Notes today as the day of these athletes' new status, and sends phones anew whatever says whether somebody runs on that day and later.
pub(super) async fn changed(tx: &mut ClubTx, athletes: &[Uuid]) -> Result<(), StoreError> {
    let (club, today) = (tx.club.0, tx.today().await?);
    let before = sqlx::query_scalar!(
        r#"
        update athletes x
        set status_on = $3
        from (
          select a.id, a.status_on
          from athletes a
          where a.club_id = $1 and a.id = any ((select $2::uuid[])::uuid[])
        ) old
        where x.club_id = $1 and x.id = old.id
        returning old.status_on as "before?"
        "#,
        club,
        athletes,
        today
    )
    .fetch_all(tx.conn())
    .await?;
    // What was told of the days since the last change is no longer told: what held then nobody knows.
    let from = before.into_iter().flatten().min().map_or(today, |before| before.min(today));
    renewals::entries(tx, athletes, from).await?;
    renewals::plans(tx, Some(athletes), Some(from)).await
}
