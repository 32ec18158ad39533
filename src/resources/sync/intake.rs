//! Takes a push in: at most so many bytes on the wire and unpacked, gzip (RFC 1952) or zstd (RFC 8878).

use std::io::Read;

use actix_web::HttpRequest;
use actix_web::http::header::{ACCEPT_ENCODING, CONTENT_ENCODING};
use actix_web::web::{self, Bytes, Payload};
use chrono::{DateTime, Utc};
use serde_json::{Map, Value};
use uuid::Uuid;

use super::http::SCHEMA;
use super::shapes::Envelope;
use crate::platform::body;
use crate::platform::fault::Fault;
use crate::platform::problem::{Code, Problem};

/// The largest body on the wire and unpacked, bytes.
const WIRE: usize = 1024 * 1024;
const UNPACKED: u64 = 4 * 1024 * 1024;
/// Most items of a push.
pub const ITEMS: usize = 500;
/// The largest window that a zstd body may ask for (2 to this power, bytes).
const WINDOW_LOG: u32 = 23;

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

fn too_large(what: &str) -> Problem {
    Problem::new(Code::TooLarge, format!("{what} Send the items in several pushes; nothing was stored."))
}

fn wire() -> Problem {
    too_large("A push may have 1048576 bytes (1 MiB) as it is sent.")
}

/// Reads the body of a push.
///
/// # Errors
/// 400, 413 or 415.
pub async fn read(req: &HttpRequest, payload: Payload) -> Result<Push, Problem> {
    if body::media_type(req) != "application/json" {
        return Err(Problem::new(Code::MediaType, "Send the push as application/json."));
    }
    let encoding = req.headers().get(CONTENT_ENCODING).map(|value| value.to_str().unwrap_or("?").trim().to_lowercase());
    let encoding = encoding.unwrap_or_else(|| "identity".to_owned());
    if !matches!(encoding.as_str(), "identity" | "gzip" | "zstd") {
        return Err(Problem::new(Code::MediaType, "Send the body plain, or packed with gzip or zstd.")
            .with_header(ACCEPT_ENCODING, "gzip, zstd"));
    }
    let bytes = payload.to_bytes_limited(WIRE).await.map_err(|_| wire())?;
    let bytes = bytes.map_err(|error| body::payload_problem(&error))?;
    let now = Utc::now();
    web::block(move || parse(&unpack(&encoding, &bytes)?, now)).await?
}

fn unpack(encoding: &str, bytes: &Bytes) -> Result<Vec<u8>, Problem> {
    let broken = |_| Problem::malformed(Fault::at("", "body", "the body broke off or its encoding is wrong"));
    let mut out = Vec::new();
    // One byte more than allowed tells that there is too much, however far it would unpack.
    let limit = UNPACKED + 1;
    match encoding {
        "gzip" => flate2::read::MultiGzDecoder::new(&**bytes).take(limit).read_to_end(&mut out).map_err(broken)?,
        "zstd" => {
            let mut decoder = zstd::stream::read::Decoder::new(&**bytes).map_err(broken)?;
            decoder.window_log_max(WINDOW_LOG).map_err(broken)?;
            decoder.take(limit).read_to_end(&mut out).map_err(broken)?
        }
        _ => (&**bytes).take(limit).read_to_end(&mut out).map_err(broken)?,
    };
    if out.len() as u64 > UNPACKED {
        return Err(too_large("A push may have 4194304 bytes (4 MiB) unpacked."));
    }
    Ok(out)
}

fn parse(bytes: &[u8], now: DateTime<Utc>) -> Result<Push, Problem> {
    let value: Value =
        serde_json::from_slice(bytes).map_err(|error| Problem::malformed(Fault::at("", "json", error.to_string())))?;
    let envelope: Envelope = body::from_value(value)?;
    if envelope.schema != SCHEMA {
        return Err(Problem::malformed(Fault::at("/schema", "out_of_range", "must be 1, the only version so far")));
    }
    if envelope.items.len() > ITEMS {
        return Err(too_large("A push may have 500 items."));
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
