//! The JSON of the change feed.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::platform::holding::State;
use crate::platform::ops::{Conflict, FieldGroup};
use crate::platform::problem::ProblemBody;
use crate::platform::words::spelt;

spelt! {
    /// Why a record leaves the phone.
    RemovedReason {
        "deleted": "It is gone for everybody.",
        "changed": "It is no longer visible to you, or about to be sent afresh."
    }
}

/// Why a record leaves the phone.
#[derive(Debug, Serialize, ToSchema)]
pub struct Removed {
    /// `deleted`: gone for everybody. `changed`: no longer visible to you, or about to be sent afresh.
    #[schema(value_type = RemovedReason)]
    pub reason: &'static str,
}

/// One record that changed: `data` or `removed`.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FeedChange)]
pub struct Change {
    /// The type.
    #[serde(rename = "type")]
    #[schema(max_length = 30, example = "athlete")]
    pub kind: &'static str,
    /// The id.
    pub id: Uuid,
    /// Number of its last change; never falls for one id.
    #[schema(minimum = 0, example = 8841)]
    pub rev: i64,
    /// The whole current record, as its own route answers it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Object)]
    pub data: Option<Value>,
    /// That it goes, with every record below it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub removed: Option<Removed>,
}

/// A page of the change feed.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FeedPage)]
pub struct Page {
    /// The token that this page answers; null on the first page. Ignore a page whose `from` is not your stored token.
    #[schema(max_length = 1000)]
    pub from: Option<String>,
    /// Store it in the same local transaction as the changes, and send it next time.
    #[schema(max_length = 1000, example = "st1.AAECAw")]
    pub sync_token: String,
    /// Whether there is more to read at once.
    pub more: bool,
    /// What changed, in order.
    #[schema(max_items = 2000)]
    pub changes: Vec<Change>,
}

/// One thing that a phone did.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PushItem)]
pub struct Item {
    /// `PUT`, `PATCH` or `DELETE`.
    #[schema(value_type = crate::platform::ops::Method)]
    pub method: String,
    /// The type of the record.
    #[serde(rename = "type")]
    #[schema(max_length = 30, example = "run")]
    pub kind: String,
    /// The id of the record, made by the phone (UUID version 7; version 5 of the pair for memberships and attendances).
    pub id: Uuid,
    /// `*`: only if there is no such record.
    #[schema(pattern = "^[*]$", max_length = 1, example = "*")]
    pub if_none_match: Option<String>,
    /// Only if the record has this rev.
    #[serde(default, deserialize_with = "crate::platform::ops::read_rev")]
    #[schema(minimum = 0, example = 8600)]
    pub if_match: Option<i64>,
    /// The rev that a merge patch was made on.
    #[serde(default, deserialize_with = "crate::platform::ops::read_rev")]
    #[schema(minimum = 0, example = 8790)]
    pub base_rev: Option<i64>,
    /// The record, or the patch.
    #[schema(value_type = Option<Object>)]
    pub data: Option<Map<String, Value>>,
}

/// What a phone did while it was away.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PushBatch)]
pub struct Envelope {
    /// The phone's own id of its installation.
    pub device_id: Uuid,
    /// The version of the records' shapes: 1.
    #[schema(minimum = 1, maximum = 1, example = 1)]
    pub schema: u16,
    /// The phone's clock when it sent this.
    #[schema(example = "2026-11-25T08:00:02.120Z")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub sent_at: DateTime<Utc>,
    /// What it did, in order.
    #[schema(max_items = 500, value_type = Vec<Item>)]
    pub items: Vec<Map<String, Value>>,
}

/// What became of one item.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = PushResult)]
pub struct Outcome {
    /// The item.
    pub op_id: Uuid,
    /// As an HTTP status: 200 or 201 stored, 202 held for an admin, 403, 404, 409, 410, 412, 422,
    /// 424, 428 not stored, 429 no room to hold more: leave it in the outbox; 500 it broke something on our side.
    #[schema(minimum = 200, maximum = 500, example = 201)]
    pub status: u16,
    /// Number of the record's last change.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, example = 9001)]
    pub rev: Option<i64>,
    /// Whether it was so before.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub replayed: bool,
    /// Field groups that were applied.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(value_type = Vec<FieldGroup>, max_items = 6)]
    pub applied: Vec<&'static str>,
    /// Field groups that were not.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 6)]
    pub conflicts: Vec<Conflict>,
    /// What is stored, as the feed has it: `rev`, and `data` with the whole record. With 412, and with 409 when the id is taken, that
    /// record, where you may see it (of a membership the athlete); with 202 the correction that stands, when the item is a second one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Object)]
    pub current: Option<Value>,
    /// With 202: why the fact is held, and what became of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held: Option<State>,
    /// Why it was not stored, or is held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<ProblemBody>,
}

/// What became of a push.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PushResults)]
pub struct Outcomes {
    /// One for each item, in the order of the request.
    #[schema(max_items = 500)]
    pub results: Vec<Outcome>,
}
