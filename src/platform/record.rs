//! A record as phones carry it.

use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use super::db::StoreError;

/// A record with its id, version and JSON.
#[derive(Clone, Debug)]
pub struct Record {
    /// The id.
    pub id: Uuid,
    /// Number of the last change.
    pub rev: i64,
    /// What a read of the record answers.
    pub data: Value,
}

impl Record {
    /// A record from its view.
    ///
    /// # Errors
    /// When the view cannot be written as JSON.
    pub fn of(id: impl Into<Uuid>, rev: i64, view: &impl Serialize) -> Result<Self, StoreError> {
        let data = serde_json::to_value(view).map_err(|_| StoreError::Corrupt("record"))?;
        Ok(Self { id: id.into(), rev, data })
    }
}
