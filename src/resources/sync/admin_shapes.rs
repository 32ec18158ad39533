//! The JSON of the holding area and the devices.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

use super::admin_store::{DeviceRow, HeldRow, RefusedRow};
use crate::platform::holding::{HeldOutcome, HeldReason};
use crate::platform::ids::{AthleteId, GroupId, RaceTestId, SessionId};
use crate::platform::page;
use crate::platform::words::spelt;

spelt! {
    /// Why an edit was refused.
    RefusedReason {
        "conflict": "Somebody else changed the record first.",
        "deleted": "The record was deleted."
    }
}

/// A recorded fact that could not be filed by itself.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = HeldItem)]
pub struct HeldView {
    /// The id of the fact.
    pub id: Uuid,
    /// Its type.
    #[serde(rename = "type")]
    #[schema(value_type = super::model::Type)]
    pub kind: String,
    /// Who recorded it.
    pub member_id: Uuid,
    /// What was sent.
    #[schema(value_type = Object)]
    pub data: Value,
    /// Why it is held.
    #[schema(value_type = HeldReason)]
    pub reason: String,
    /// The broken fields.
    #[schema(value_type = Vec<crate::platform::fault::Fault>, max_items = 100)]
    pub errors: Value,
    /// How far the phone's clock was ahead of ours when it was sent, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 120)]
    pub skew_ms: Option<i64>,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
    /// `accepted`, `rejected`, or `withdrawn` by who recorded it; absent while open.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<HeldOutcome>)]
    pub outcome: Option<String>,
    /// When it was decided.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was rejected or taken back.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500, example = "Recorded for the wrong athlete")]
    pub note: Option<String>,
}

impl From<HeldRow> for HeldView {
    fn from(row: HeldRow) -> Self {
        Self {
            id: row.id,
            kind: row.kind,
            member_id: row.member,
            data: row.data,
            reason: row.reason,
            errors: row.detail,
            skew_ms: row.skew_ms,
            received_at: row.received_at,
            outcome: row.outcome,
            decided_at: row.decided_at,
            note: row.note,
        }
    }
}

/// A page of the holding area.
pub type HeldPage = page::Page<HeldView>;

/// Where an accepted fact belongs, when not where it says.
#[derive(Debug, Default, PartialEq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
#[schema(as = HeldItemPlace, example = json!({"group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"}))]
pub struct Place {
    /// Another athlete.
    pub athlete_id: Option<AthleteId>,
    /// Another session.
    pub session_id: Option<SessionId>,
    /// Another race test.
    pub race_test_id: Option<RaceTestId>,
    /// The group for which a held session of that day is made when the fact's session is not there.
    pub group_id: Option<GroupId>,
    /// When it was, when the phone's clock was wrong; of a fact that is about a day, its day in the club's time zone counts.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub at: Option<DateTime<Utc>>,
}

/// Why a fact is rejected, or taken back.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = HeldItemRejection, example = json!({"reason": "Recorded for the wrong athlete"}))]
pub struct Rejection {
    /// In a sentence that the coach will read.
    #[schema(min_length = 1, max_length = 500, example = "Recorded for the wrong athlete")]
    pub reason: String,
}

/// A value that lost against another edit, kept so that it outlives the phone.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RefusedEdit)]
pub struct RefusedView {
    /// The item of the push.
    pub op_id: Uuid,
    /// The type of the record.
    #[serde(rename = "type")]
    #[schema(value_type = super::item_kind::Kind)]
    pub kind: String,
    /// The record.
    pub id: Uuid,
    /// Who sent it.
    pub member_id: Uuid,
    /// `conflict`: somebody else changed it first. `deleted`: the record was deleted.
    #[schema(value_type = RefusedReason)]
    pub reason: String,
    /// The rev that it was made on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, example = 8790)]
    pub base_rev: Option<i64>,
    /// What was sent: the refused field groups, or the record.
    #[schema(value_type = Object)]
    pub data: Value,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
}

impl From<RefusedRow> for RefusedView {
    fn from(row: RefusedRow) -> Self {
        Self {
            op_id: row.op_id,
            kind: row.kind,
            id: row.entity_id,
            member_id: row.member_id,
            reason: row.reason,
            base_rev: row.base_rev,
            data: row.data,
            received_at: row.received_at,
        }
    }
}

/// A page of refused values.
pub type RefusedPage = page::Page<RefusedView>;

/// A phone that syncs.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SyncDevice)]
pub struct DeviceView {
    /// The sign-in.
    pub id: Uuid,
    /// Whose it is.
    pub member_id: Uuid,
    /// What the program calls itself.
    #[schema(max_length = 100, example = "trackside/1.2")]
    pub name: String,
    /// Changes of the club that it has not read.
    #[schema(minimum = 0, example = 12)]
    pub lag: i64,
    /// When it last pulled.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pulled_at: Option<DateTime<Utc>>,
    /// When it last pushed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pushed_at: Option<DateTime<Utc>>,
    /// How far its clock was ahead of ours, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 120)]
    pub skew_ms: Option<i64>,
}

impl From<DeviceRow> for DeviceView {
    fn from(row: DeviceRow) -> Self {
        Self {
            id: row.id,
            member_id: row.member_id,
            name: row.name,
            lag: (row.head - row.seq).max(0),
            pulled_at: row.pulled_at,
            pushed_at: row.pushed_at,
            skew_ms: row.skew_ms,
        }
    }
}

/// A page of devices.
pub type DevicePage = page::Page<DeviceView>;
