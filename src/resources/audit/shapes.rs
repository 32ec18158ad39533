//! The JSON and the CSV of the audit.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::platform::audit::{Break, Checked, Entry, Row, hex};
use crate::platform::page;
use crate::render::table;

/// One row of the audit. It holds ids alone: what an erased athlete was called stands nowhere.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AuditRow)]
pub struct View {
    /// Its place in the audit of the club: from 1 without a gap.
    #[schema(minimum = 1, example = 4711)]
    pub number: i64,
    /// When.
    pub at: DateTime<Utc>,
    /// What was done.
    #[schema(value_type = crate::platform::audit::Act)]
    pub act: &'static str,
    /// Method and route of the request; `service` for what the service does by itself, `service retention` for what the club no longer
    /// keeps.
    #[schema(max_length = 200, example = "GET /v1/clubs/{club_id}/athletes/{athlete_id}")]
    pub operation: String,
    /// What a read or a refusal was answered with; absent for what was stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 200, maximum = 599, example = 200)]
    pub status: Option<i16>,
    /// Whose access token or password it was; absent for the service itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub account_id: Option<Uuid>,
    /// The sign-in; absent where there was none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device_id: Option<Uuid>,
    /// The app that acted for them, one of `GET .../apps`; absent where they acted themselves, and in rows from before apps were named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub app_id: Option<Uuid>,
    /// Where it came from: the address, after 30 days its network (24 bits of IPv4, 48 of IPv6); empty when unknown.
    #[schema(max_length = 60, example = "192.0.2.7")]
    pub address: String,
    /// Which athletes it is about.
    #[schema(value_type = crate::platform::audit::Reach)]
    pub reach: &'static str,
    /// The athletes that it names.
    #[schema(max_items = 100_000)]
    pub athlete_ids: Vec<Uuid>,
    /// The other records that it names: of the path and the query, or those that were changed.
    #[schema(max_items = 100_000)]
    pub record_ids: Vec<Uuid>,
    /// How often: the same refusal of one second is one row.
    #[schema(minimum = 1, example = 1)]
    pub times: i32,
    /// SHA-256 of the hash before it and of what the row says, hexadecimal.
    #[schema(
        min_length = 64,
        max_length = 64,
        example = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
    )]
    pub hash: String,
}

impl From<Row> for View {
    fn from(row: Row) -> Self {
        let Row { number, entry, hash } = row;
        let Entry {
            at,
            act,
            operation,
            status,
            account,
            device,
            app,
            network,
            address,
            reach,
            athletes,
            records,
            times,
        } = entry;
        Self {
            number,
            at,
            act: act.as_str(),
            operation,
            status,
            account_id: account,
            device_id: device,
            app_id: app,
            address: address.unwrap_or(network),
            reach: reach.as_str(),
            athlete_ids: athletes,
            record_ids: records,
            times,
            hash: hex(&hash),
        }
    }
}

/// A page of the audit.
pub type Page = page::Page<View>;

/// The columns of the export.
const COLUMNS: [&str; 14] = [
    "number",
    "at",
    "act",
    "operation",
    "status",
    "account_id",
    "device_id",
    "app_id",
    "address",
    "reach",
    "athlete_ids",
    "record_ids",
    "times",
    "hash",
];

/// Rows as CSV; ids of one cell are separated by blanks.
///
/// # Errors
/// When the table cannot be written.
pub fn table(rows: Vec<Row>) -> Option<Vec<u8>> {
    let ids = |ids: &[Uuid]| ids.iter().map(Uuid::to_string).collect::<Vec<_>>().join(" ");
    let id = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
    let cells = |view: View| {
        vec![
            view.number.to_string(),
            view.at.to_rfc3339(),
            view.act.to_owned(),
            view.operation,
            view.status.map(|status| status.to_string()).unwrap_or_default(),
            id(view.account_id),
            id(view.device_id),
            id(view.app_id),
            view.address,
            view.reach.to_owned(),
            ids(&view.athlete_ids),
            ids(&view.record_ids),
            view.times.to_string(),
            view.hash,
        ]
    };
    let rows: Vec<_> = rows.into_iter().map(|row| cells(row.into())).collect();
    table::csv(&COLUMNS, &rows).ok()
}

/// A place where the audit is not as it was written.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AuditBreak)]
pub struct BreakView {
    /// The row.
    #[schema(minimum = 1, example = 4711)]
    pub number: i64,
    /// What is wrong.
    #[schema(value_type = crate::platform::audit::Flaw)]
    pub flaw: &'static str,
}

impl From<Break> for BreakView {
    fn from(one: Break) -> Self {
        Self { number: one.number, flaw: one.flaw.as_str() }
    }
}

/// Whether the audit of the club is as it was written.
///
/// Whoever can change the tables themselves could drop the newest rows, or write the whole chain anew: note `last` and `hash`
/// elsewhere from time to time, and look later whether that row still has that hash.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AuditVerification)]
pub struct Verification {
    /// Whether no row is missing or changed, from the first that is kept to the last.
    pub sound: bool,
    /// How many rows were checked.
    #[schema(minimum = 0, example = 4711)]
    pub rows: u64,
    /// The first row that is kept; absent without rows.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, example = 1)]
    pub first: Option<i64>,
    /// The last row; 0 when there was none ever.
    #[schema(minimum = 0, example = 4711)]
    pub last: i64,
    /// The hash of the last row, hexadecimal; empty when there was none ever.
    #[schema(max_length = 64, example = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08")]
    pub hash: String,
    /// What is wrong, the first 100 places.
    #[schema(max_items = 100)]
    pub breaks: Vec<BreakView>,
}

impl From<Checked> for Verification {
    fn from(checked: Checked) -> Self {
        let Checked { rows, first, last, hash, breaks } = checked;
        Self {
            sound: breaks.is_empty(),
            rows,
            first,
            last,
            hash: hex(&hash),
            breaks: breaks.into_iter().map(BreakView::from).collect(),
        }
    }
}
