//! The JSON of exports.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Export, MOST, State};
use crate::platform::audit::hex;
use crate::platform::ids::{AccountId, AthleteId, ExportId};
use crate::platform::page;

/// What to export.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewExport)]
pub struct New {
    /// Client-made UUID (version 7); makes the call repeatable.
    pub id: Option<ExportId>,
    /// The athlete; absent for all that the club holds.
    pub athlete_id: Option<AthleteId>,
}

/// An export and what became of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Export)]
pub struct View {
    /// The id.
    pub id: ExportId,
    /// The athlete; absent for an export of the whole club.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub athlete_id: Option<AthleteId>,
    /// What became of it.
    #[schema(value_type = State)]
    pub state: &'static str,
    /// Who asked for it.
    pub asked_by: AccountId,
    /// When.
    pub asked_at: DateTime<Utc>,
    /// When the archive was there; absent before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub done_at: Option<DateTime<Utc>>,
    /// When it goes: three days after it was made.
    pub expires_at: DateTime<Utc>,
    /// Records in the archive; 0 before it is there.
    #[schema(minimum = 0, example = 4711)]
    pub records: i64,
    /// Size of the archive, bytes; 0 before it is there.
    #[schema(minimum = 0, example = 183_042)]
    pub bytes: i64,
    /// SHA-256 of the archive, hexadecimal; absent before it is there.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        min_length = 64,
        max_length = 64,
        example = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
    )]
    pub sha256: Option<String>,
}

impl From<&Export> for View {
    fn from(one: &Export) -> Self {
        Self {
            id: one.id,
            athlete_id: one.athlete,
            state: one.state.as_str(),
            asked_by: one.asked_by,
            asked_at: one.asked_at,
            done_at: one.done_at,
            expires_at: one.expires_at,
            records: one.records,
            bytes: one.bytes,
            sha256: one.sha256.as_deref().map(hex),
        }
    }
}

/// The exports of a club.
pub type List = page::List<View, MOST>;
