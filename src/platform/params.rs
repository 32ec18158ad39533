//! Query parameters and path ids whose faults name the parameter.

use std::future::{Ready, ready};

use actix_web::{FromRequest, HttpRequest, dev::Payload};
use serde::de::DeserializeOwned;
use uuid::Uuid;

use super::fault::Fault;
use super::problem::Problem;

/// Query parameters of shape `T`.
#[derive(Debug)]
pub struct Params<T>(pub T);

impl<T: DeserializeOwned> FromRequest for Params<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let reader = serde_urlencoded::Deserializer::new(form_urlencoded::parse(req.query_string().as_bytes()));
        ready(serde_path_to_error::deserialize(reader).map(Self).map_err(|error| {
            let words = error.inner().to_string();
            let quoted = words.split('`').nth(1).filter(|_| words.contains("field"));
            let name = quoted.map_or_else(|| error.path().to_string(), str::to_owned);
            Problem::malformed(Fault::of(name, "parameter", words))
        }))
    }
}

/// The id at `name` in the path.
///
/// # Errors
/// 404 when it is not a UUID: no record has such an id.
pub fn path_id(req: &HttpRequest, name: &str, what: &'static str) -> Result<Uuid, Problem> {
    req.match_info().get(name).and_then(|text| Uuid::try_parse(text).ok()).ok_or_else(|| Problem::not_found(what))
}
