//! JSON bodies whose faults name the field.

use std::future::Future;
use std::pin::Pin;

use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpRequest, dev::Payload, web};
use serde::de::DeserializeOwned;
use serde::de::value::MapDeserializer;
use serde_json::Value;

use super::fault::Fault;
use super::problem::{Code, Problem};
use super::text;

/// The largest body, unpacked, in bytes.
pub const MAX_BYTES: usize = 2 * 1024 * 1024;

/// A JSON body of shape `T`, or why it cannot be read.
///
/// Taking it in never fails by itself: whether the caller may act at all is answered first.
#[derive(Debug)]
pub struct Body<T>(Result<T, Problem>);

impl<T> Body<T> {
    /// The body.
    ///
    /// # Errors
    /// 400 with a pointer, 413, 415.
    pub fn read(self) -> Result<T, Problem> {
        self.0
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let media_type = media_type(req);
        let bytes = web::Bytes::from_request(req, payload);
        Box::pin(async move { Ok(Self(parse(&media_type, bytes.await))) })
    }
}

fn parse<T: DeserializeOwned>(media_type: &str, bytes: Result<web::Bytes, actix_web::Error>) -> Result<T, Problem> {
    if !matches!(media_type, "application/json" | "application/merge-patch+json") {
        return Err(Problem::new(
            Code::MediaType,
            "Send the body as application/json (or application/merge-patch+json for PATCH).",
        ));
    }
    let bytes = bytes.map_err(|error| payload_problem(&error))?;
    refuse_nul(&bytes)?;
    let mut reader = serde_json::Deserializer::from_slice(&bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| pointed(&error))?;
    reader.end().map_err(|error| Problem::malformed(Fault::at("", "json", error.to_string())))?;
    Ok(value)
}

/// Refuses a text with a NUL, which JSON can only write escaped.
fn refuse_nul(bytes: &[u8]) -> Result<(), Problem> {
    if !bytes.windows(6).any(|six| six == b"\\u0000") {
        return Ok(());
    }
    // What is no JSON is refused by its reader, which says where; and the escape may stand behind another backslash.
    let found = serde_json::from_slice::<Value>(bytes).ok().and_then(|value| text::nul_at(&value));
    found.map_or(Ok(()), |pointer| Err(Problem::malformed(Fault::at(pointer, "characters", "must not contain a NUL"))))
}

/// The media type of the body without parameters, lower case.
pub fn media_type(req: &HttpRequest) -> String {
    let value = req.headers().get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// Why a body could not be taken in.
pub fn payload_problem(error: &actix_web::Error) -> Problem {
    if error.as_response_error().status_code() == actix_web::http::StatusCode::PAYLOAD_TOO_LARGE {
        return Problem::new(
            Code::TooLarge,
            format!("The body may have {MAX_BYTES} bytes, unpacked. Send it in parts."),
        );
    }
    Problem::malformed(Fault::at("", "body", "the body broke off or its encoding is wrong"))
}

/// Parses a JSON value that is already in memory.
///
/// # Errors
/// 400 with a pointer.
pub fn from_value<T: DeserializeOwned>(value: Value) -> Result<T, Problem> {
    serde_path_to_error::deserialize(value).map_err(|error| pointed(&error))
}

/// Parses the fields of a JSON object that stay in memory.
///
/// # Errors
/// 400 with a pointer.
pub fn from_fields<'a, T: DeserializeOwned>(fields: impl Iterator<Item = (&'a str, &'a Value)>) -> Result<T, Problem> {
    let object: MapDeserializer<'a, _, serde_json::Error> = MapDeserializer::new(fields);
    serde_path_to_error::deserialize(object).map_err(|error| pointed(&error))
}

fn pointed(error: &serde_path_to_error::Error<serde_json::Error>) -> Problem {
    let mut pointer = String::new();
    for segment in error.path() {
        use serde_path_to_error::Segment::{Enum, Map, Seq, Unknown};
        match segment {
            Seq { index } => {
                pointer.push('/');
                pointer.push_str(&index.to_string());
            }
            Map { key } => {
                pointer.push('/');
                pointer.push_str(&key.replace('~', "~0").replace('/', "~1"));
            }
            Enum { .. } | Unknown => {}
        }
    }
    let words = error.inner().to_string();
    // A field that is missing has no path of its own; its name stands in the message.
    if let Some(name) = words.strip_prefix("missing field `").and_then(|rest| rest.split('`').next()) {
        pointer.push('/');
        pointer.push_str(name);
    }
    let code = if words.starts_with("missing field") {
        "missing"
    } else if words.starts_with("unknown field") {
        "unknown_field"
    } else if error.inner().is_syntax() || error.inner().is_eof() {
        "json"
    } else {
        "type"
    };
    Problem::malformed(Fault::at(pointer, code, words))
}
