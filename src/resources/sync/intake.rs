//! Takes a push in.

use actix_web::HttpRequest;
use actix_web::web::{self, Payload};
use chrono::{DateTime, Utc};
use serde_json::{Map, Value};
use tokio::sync::Semaphore;
use uuid::Uuid;

use super::http::SCHEMA;
use super::shapes::Envelope;
use crate::platform::body;
use crate::platform::fault::Fault;
use crate::platform::intake::{self, Limits, Taken};
use crate::platform::problem::{Code, Problem};

/// 1 MiB as sent, 4 MiB unpacked.
pub const LIMITS: Limits = Limits { wire: 1024 * 1024, unpacked: 4 * 1024 * 1024, remedy: REMEDY };
const REMEDY: &str = "Send the items in several pushes; nothing was stored.";
/// Pushes read at once: a body of 4 MiB may need twenty times that while it is read.
static READERS: Semaphore = Semaphore::const_new(2);
/// Most items of a push.
pub const ITEMS: usize = 500;
/// A push as it came in.
#[derive(Debug)]
pub struct Push {
    /// The phone's own id of its installation.
    pub device_id: Uuid,
    /// How far the phone's clock is ahead of ours (ms).
    pub skew_ms: i64,
    /// The items: id of the operation and the rest, not yet read.
    pub items: Vec<(Uuid, Map<String, Value>)>,
}

/// Reads the body of a push.
///
/// # Errors
/// 400, 408, 413, 415 or 503.
pub async fn read(req: &HttpRequest, payload: Payload) -> Result<Push, Problem> {
    if body::media_type(req) != "application/json" {
        return Err(Problem::new(Code::MediaType, "Send the push as application/json."));
    }
    let taken = intake::read(req, payload.into_inner(), LIMITS).await?;
    let now = Utc::now();
    let turn = READERS.acquire().await;
    let push = web::block(move || parse(&taken, now)).await?;
    drop(turn);
    push
}

fn parse(taken: &Taken, now: DateTime<Utc>) -> Result<Push, Problem> {
    let value: Value = serde_json::from_slice(taken.bytes())
        .map_err(|error| Problem::malformed(Fault::at("", "json", error.to_string())))?;
    let envelope: Envelope = body::from_value(value)?;
    if envelope.schema != SCHEMA {
        return Err(Problem::malformed(Fault::at("/schema", "out_of_range", "must be 1, the only version so far")));
    }
    if envelope.items.len() > ITEMS {
        return Err(Problem::new(Code::TooLarge, format!("A push may have 500 items. {REMEDY}")));
    }
    let skew_ms = (envelope.sent_at - now).num_milliseconds();
    let mut items = Vec::with_capacity(envelope.items.len());
    for (at, mut item) in envelope.items.into_iter().enumerate() {
        let op_id = item.remove("op_id").and_then(|id| serde_json::from_value::<Uuid>(id).ok()).ok_or_else(|| {
            let pointer = format!("/items/{at}/op_id");
            Problem::malformed(Fault::at(
                pointer,
                "type",
                "every item needs a UUID of its own, or it cannot be answered",
            ))
        })?;
        items.push((op_id, item));
    }
    Ok(Push { device_id: envelope.device_id, skew_ms, items })
}
