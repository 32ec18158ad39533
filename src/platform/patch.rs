//! JSON merge patch (RFC 7396).

use std::future::Future;
use std::marker::PhantomData;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use super::body::{self, Body};
use super::problem::Problem;

/// A body that is a merge patch of fields of shape `F`, or why it cannot be read.
#[derive(Debug)]
pub struct Patch<F>(Body<Map<String, Value>>, PhantomData<fn() -> F>);

impl<F> Patch<F> {
    /// What is to change.
    ///
    /// # Errors
    /// Those of [`Body::read`].
    pub fn read(self) -> Result<Map<String, Value>, Problem> {
        self.0.read()
    }
}

impl<F: 'static> FromRequest for Patch<F> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let body = Body::from_request(req, payload);
        Box::pin(async move { Ok(Self(body.await?, PhantomData)) })
    }
}

/// The current fields with the patch applied.
///
/// # Errors
/// 400 with a pointer when the result is not of the fields' shape.
pub fn merge<F: Serialize + DeserializeOwned>(current: &F, patch: &Map<String, Value>) -> Result<F, Problem> {
    let mut target = serde_json::to_value(current).unwrap_or_default();
    apply(&mut target, patch);
    body::from_value(target)
}

fn apply(target: &mut Value, patch: &Map<String, Value>) {
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    let Value::Object(fields) = target else {
        return;
    };
    for (name, change) in patch {
        match change {
            Value::Null => {
                fields.remove(name);
            }
            Value::Object(inner) => apply(fields.entry(name.clone()).or_insert(Value::Null), inner),
            other => {
                fields.insert(name.clone(), other.clone());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn the_cases_of_the_standard_hold() {
        // RFC 7396, appendix A (IETF, 2014): the cases whose patch is an object.
        let cases = [
            (json!({"a": "b"}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "b"}), json!({"b": "c"}), json!({"a": "b", "b": "c"})),
            (json!({"a": "b"}), json!({"a": null}), json!({})),
            (json!({"a": "b", "b": "c"}), json!({"a": null}), json!({"b": "c"})),
            (json!({"a": ["b"]}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "c"}), json!({"a": ["b"]}), json!({"a": ["b"]})),
            (json!({"a": {"b": "c"}}), json!({"a": {"b": "d", "c": null}}), json!({"a": {"b": "d"}})),
            (json!({"a": [{"b": "c"}]}), json!({"a": [1]}), json!({"a": [1]})),
            (json!({"e": null}), json!({"a": 1}), json!({"e": null, "a": 1})),
            (json!([1, 2]), json!({"a": "b", "c": null}), json!({"a": "b"})),
            (json!({}), json!({"a": {"bb": {"ccc": null}}}), json!({"a": {"bb": {}}})),
        ];
        for (mut target, patch, result) in cases {
            apply(&mut target, patch.as_object().unwrap());
            assert_eq!(target, result);
        }
    }
}
