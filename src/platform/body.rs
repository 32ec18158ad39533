//! JSON bodies whose faults name the field.

use std::future::Future;
use std::pin::Pin;

use actix_web::http::header::CONTENT_TYPE;
use actix_web::{FromRequest, HttpRequest, dev};
use serde::de::DeserializeOwned;
use serde::de::value::MapDeserializer;
use serde_json::Value;

use super::fault::Fault;
use super::fault_code::FaultCode;
use super::intake::{self, Limits, Taken};
use super::problem::{Code, Problem};
use super::text;

/// The largest JSON body, as sent and unpacked, bytes.
pub const MAX_BYTES: usize = 2 * 1024 * 1024;
/// Whole numbers below are kept exactly by every JSON reader (RFC 8259, section 6).
const EXACT: f64 = 9_007_199_254_740_992.0;
const LIMITS: Limits = Limits { wire: MAX_BYTES, unpacked: MAX_BYTES, remedy: "Send it in parts; nothing was stored." };

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

    fn from_request(req: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (req, payload) = (req.clone(), payload.take());
        Box::pin(async move {
            let taken = match json_type(&media_type(&req)) {
                Ok(()) => intake::read(&req, payload, LIMITS).await,
                Err(problem) => Err(problem),
            };
            Ok(Self(taken.and_then(|taken| parse(&taken))))
        })
    }
}

fn json_type(media_type: &str) -> Result<(), Problem> {
    if matches!(media_type, "application/json" | "application/merge-patch+json") {
        return Ok(());
    }
    Err(Problem::new(Code::MediaType, "Send the body as application/json (or application/merge-patch+json for PATCH)."))
}

fn parse<T: DeserializeOwned>(taken: &Taken) -> Result<T, Problem> {
    refuse_nul(taken.bytes())?;
    let mut reader = serde_json::Deserializer::from_slice(taken.bytes());
    let value = match serde_path_to_error::deserialize(&mut reader) {
        Ok(value) => value,
        Err(error) => {
            let mut again = serde_json::from_slice(taken.bytes()).map_err(|_| pointed(&error))?;
            return match whole_numbers(&mut again).then(|| T::deserialize(again)) {
                Some(Ok(value)) => Ok(value),
                _ => Err(pointed(&error)),
            };
        }
    };
    reader.end().map_err(|error| Problem::malformed(Fault::at("", "json", error.to_string())))?;
    Ok(value)
}

/// Writes whole numbers as such; whether any was written otherwise. `12.0` is a whole number, as JSON Schema has it, and some
/// languages write every number so.
fn whole_numbers(value: &mut Value) -> bool {
    match value {
        // Each, not up to the first that changed.
        Value::Object(fields) => fields.values_mut().map(whole_numbers).filter(|changed| *changed).count() > 0,
        Value::Array(list) => list.iter_mut().map(whole_numbers).filter(|changed| *changed).count() > 0,
        Value::Number(number) => {
            let exact = number.as_f64().filter(|x| number.is_f64() && x.fract() == 0.0 && x.abs() < EXACT);
            #[allow(clippy::cast_possible_truncation)] // whole, and below 2^53
            let whole = exact.map(|x| x as i64);
            *value = whole.map_or_else(|| Value::Number(number.clone()), Value::from);
            whole.is_some()
        }
        _ => false,
    }
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

/// Parses a JSON value that is already in memory.
///
/// # Errors
/// 400 with a pointer.
pub fn from_value<T: DeserializeOwned>(mut value: Value) -> Result<T, Problem> {
    whole_numbers(&mut value);
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
    // Serde hands faults of shape on as words alone: whatever reads JSON, `serde::de::Error::missing_field` and `unknown_field` make one
    // sentence of the field and what is wrong, and a reader with errors of its own would be all of serde's traits again. So this is
    // the one place that reads them; the tests of `shape.rs` fail when they change.
    let words = error.inner().to_string();
    let missing = words.strip_prefix("missing field `").and_then(|rest| rest.split('`').next());
    // A field that is missing has no path of its own.
    pointer.extend(missing.into_iter().flat_map(|name| ["/", name]));
    let code = match missing {
        Some(_) => FaultCode::Missing,
        None if words.starts_with("unknown field") => FaultCode::UnknownField,
        None if error.inner().is_syntax() || error.inner().is_eof() => FaultCode::Json,
        None => FaultCode::Type,
    };
    Problem::malformed(Fault::at(pointer, code.as_str(), words))
}
