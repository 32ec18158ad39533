//! What a club says about how long it keeps records.

use chrono::{DateTime, Utc};
use serde_json::{Map, Value, json};

use super::model::{Kind, Periods, Settings};
use crate::platform::db::{ClubTx, StoreError};

/// What a club says, as it is stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// Its version; 1 before anything was said.
    pub rev: i64,
    /// What it says.
    pub settings: Settings,
    /// From when on; none while nothing goes by itself.
    pub begins_at: Option<DateTime<Utc>>,
}

impl Said {
    /// Whether anything goes at a moment.
    pub fn counts(&self, now: DateTime<Utc>) -> bool {
        self.begins_at.is_some_and(|from| from <= now)
    }
}

fn periods(stored: &Value) -> Result<Periods, StoreError> {
    let corrupt = || StoreError::Corrupt("retention");
    let days = stored.as_object().ok_or_else(corrupt)?;
    days.iter()
        .map(|(word, days)| {
            let days = days.as_u64().and_then(|days| u16::try_from(days).ok()).ok_or_else(corrupt)?;
            Ok((Kind::parse(word).map_err(|_| corrupt())?, days))
        })
        .collect()
}

/// What the club says; the defaults, switched off, when it said nothing.
pub async fn find(tx: &mut ClubTx) -> Result<Said, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!("select rev, enabled, periods, begins_at from retention where club_id = $1", club)
        .fetch_optional(tx.conn())
        .await?;
    let Some(row) = row else { return Ok(Said { rev: 1, settings: Settings::default(), begins_at: None }) };
    let settings = Settings { enabled: row.enabled, periods: periods(&row.periods)? };
    Ok(Said { rev: row.rev, settings, begins_at: row.begins_at })
}

/// Saves what the club says now.
pub async fn save(tx: &mut ClubTx, said: &Said) -> Result<(), StoreError> {
    let club = tx.club.0;
    let days: Map<String, Value> =
        said.settings.periods.iter().map(|(kind, days)| (kind.as_str().to_owned(), json!(days))).collect();
    sqlx::query!(
        r#"
        insert into retention as x (club_id, rev, enabled, periods, begins_at, updated_at)
        values ($1, $2, $3, $4, $5, $6)
        on conflict (club_id) do update
        set rev = excluded.rev, enabled = excluded.enabled, periods = excluded.periods, begins_at = excluded.begins_at,
            updated_at = excluded.updated_at
        "#,
        club,
        said.rev,
        said.settings.enabled,
        Value::Object(days),
        said.begins_at,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}
