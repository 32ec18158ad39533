//! The club's counter, as rows.

use chrono::{DateTime, Utc};

use super::visibility::Seq;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::DeviceId;

/// The club's counter and the device that asks.
#[derive(Clone, Debug)]
pub struct Clock {
    /// The life of the database that gives the numbers.
    pub epoch: i32,
    /// The last number.
    pub seq: Seq,
    /// The oldest row of the log that is kept.
    pub oldest: Seq,
    /// When that row was written.
    pub oldest_at: Option<DateTime<Utc>>,
    /// Count of forced full copies of the device.
    pub generation: i32,
    /// Where the device stood when it last pulled, and when.
    pub device: Option<(Seq, DateTime<Utc>)>,
}

/// Reads the counter.
pub async fn clock(tx: &mut ClubTx, device: DeviceId) -> Result<Clock, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!(
        r#"
        select c.epoch, c.seq, c.oldest_seq, d.generation as "generation?", d.seq as "device_seq?", d.pulled_at as "pulled_at?",
          (select x.at from club_change x where x.club_id = $1 and x.seq >= c.oldest_seq order by x.seq limit 1) as oldest_at
        from club_clock c
        left join sync_device d on d.club_id = $1 and d.id = $2
        where c.club_id = $1
        "#,
        club,
        device.0
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(StoreError::NotFound("club"))?;
    Ok(Clock {
        // The club takes the epoch with its first write; what phones must learn of it does not wait for that.
        epoch: row.epoch.max(tx.life),
        seq: row.seq,
        oldest: row.oldest_seq,
        oldest_at: row.oldest_at,
        generation: row.generation.unwrap_or(0),
        device: row.device_seq.zip(row.pulled_at),
    })
}
