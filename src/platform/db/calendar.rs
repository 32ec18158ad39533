//! Days as a club counts them: every question of what is today, on which day something was and when a day begins is answered
//! by the club's time zone, here.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::{ClubTx, StoreError};
use crate::platform::dates;

impl ClubTx {
    /// The club's time zone.
    ///
    /// # Errors
    /// Database errors.
    pub async fn zone(&mut self) -> Result<Tz, StoreError> {
        if let Some(zone) = self.zone {
            return Ok(zone);
        }
        let zone = sqlx::query_scalar!("select time_zone from clubs where id = $1", self.club.0)
            .fetch_one(&mut *self.tx)
            .await?;
        let zone: Tz = zone.parse().map_err(|_| StoreError::Corrupt("club"))?;
        self.zone = Some(zone);
        Ok(zone)
    }

    /// The date of an instant in the club's time zone.
    ///
    /// # Errors
    /// Database errors.
    pub async fn day_of(&mut self, at: DateTime<Utc>) -> Result<NaiveDate, StoreError> {
        Ok(dates::day_of(at, self.zone().await?))
    }

    /// The date of today in the club's time zone.
    ///
    /// # Errors
    /// Database errors.
    pub async fn today(&mut self) -> Result<NaiveDate, StoreError> {
        self.day_of(Utc::now()).await
    }

    /// When the first of two days begins in the club's time zone, and when the last one is over.
    ///
    /// # Errors
    /// Database errors; a day at the end of the calendar.
    pub async fn span(&mut self, from: NaiveDate, to: NaiveDate) -> Result<(DateTime<Utc>, DateTime<Utc>), StoreError> {
        let zone = self.zone().await?;
        let outside = StoreError::Corrupt("date");
        let span = dates::begins(from, zone).zip(to.succ_opt().and_then(|next| dates::begins(next, zone)));
        span.ok_or(outside)
    }
}
