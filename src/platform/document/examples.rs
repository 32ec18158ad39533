//! Shows for each operation what was really sent and answered: the tests record it, `./dev examples` writes it down.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::Value;
use utoipa::openapi::{OpenApi, RefOr};

use super::operations_mut;

const RECORDED: &str = include_str!("../../../api-spec/examples.json");

/// An exchange: the bodies as JSON, or as text where they are none.
#[derive(Deserialize)]
struct Exchange {
    request: Option<Value>,
    status: u16,
    response: Option<Value>,
}

/// Puts what was recorded beside the schemas of the bodies.
pub fn describe(api: &mut OpenApi) {
    // A recording that cannot be read shows nothing, which the tests of the document notice.
    let recorded: BTreeMap<String, Exchange> = serde_json::from_str(RECORDED).unwrap_or_default();
    for item in api.paths.paths.values_mut() {
        for (_, operation) in operations_mut(item) {
            let Some(seen) = operation.operation_id.as_ref().and_then(|id| recorded.get(id)) else { continue };
            if let (Some(RefOr::T(body)), Some(sent)) = (&mut operation.request_body, &seen.request) {
                for content in body.content.values_mut() {
                    if let RefOr::T(content) = content {
                        content.example = Some(sent.clone());
                    }
                }
            }
            let Some(answered) = &seen.response else { continue };
            let good = operation.responses.responses.iter_mut().filter(|(status, _)| status.starts_with('2'));
            for (status, answer) in good {
                let RefOr::T(answer) = answer else { continue };
                // A repeat is answered with the same record.
                let repeated = seen.status == 201 && status == "200";
                if !repeated && *status != seen.status.to_string() {
                    continue;
                }
                for content in answer.content.values_mut() {
                    if let RefOr::T(content) = content {
                        content.example = Some(answered.clone());
                    }
                }
            }
        }
    }
}
