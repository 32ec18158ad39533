//! Where an answer leads: from what was made to what can be done with it, from a list to its first record.
//!
//! An operation at `/things` that answers with a record leads to those at `/things/{thing_id}` and to what is read right below
//! it; a list leads to reading its first record.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use utoipa::openapi::link::Link;
use utoipa::openapi::path::{HttpMethod, Operation, Parameter, ParameterIn};
use utoipa::openapi::{OpenApi, RefOr, Required};

use super::operations::{answers_with, parameters};
use super::{operations_mut, schemas};

/// An operation about one record.
struct Target {
    method: HttpMethod,
    id: String,
    /// Whether it is about the record itself, not about what is below it.
    own: bool,
    /// The path up to the parameter that names the record.
    of: String,
    param: String,
    /// Whether it names the version that it changes.
    matched: bool,
}

impl Target {
    fn of(path: &str, method: HttpMethod, operation: &Operation) -> Option<Self> {
        let (above, last) = path.rsplit_once('/')?;
        let own = last.starts_with('{') && last.ends_with('}');
        let whole = if own { path } else { above };
        let (of, param) = whole.strip_suffix('}')?.rsplit_once("/{")?;
        let needs_more = |one: &Parameter| one.parameter_in == ParameterIn::Query && one.required == Required::True;
        if !own && method != HttpMethod::Get || last.contains('.') || parameters(operation).any(needs_more) {
            return None;
        }
        let id = operation.operation_id.clone()?;
        let matched = parameters(operation).any(|one| one.name == "If-Match");
        Some(Self { method, id, own, of: of.to_owned(), param: param.to_owned(), matched })
    }

    /// The link to it from an answer that names the record at this place.
    fn link(&self, from: &str, place: &str, says: &str) -> Link {
        let outer = from.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'));
        let mut given: BTreeMap<String, Value> =
            outer.map(|name| (name.to_owned(), json!(format!("$request.path.{name}")))).collect();
        given.insert(self.param.clone(), json!(place));
        if self.matched {
            given.insert("If-Match".to_owned(), json!("$response.header.ETag"));
        }
        let link = Link::builder().operation_id(self.id.clone()).description(says);
        given.into_iter().fold(link, |link, (name, value)| link.parameter(name, value)).build()
    }
}

/// Adds the links.
pub fn describe(api: &mut OpenApi) {
    let none = schemas::Schemas::new();
    let all = api.components.as_ref().map_or(&none, |components| &components.schemas);
    let mut targets = Vec::new();
    for (path, item) in &mut api.paths.paths {
        for (method, operation) in operations_mut(item) {
            targets.extend(Target::of(path, method, operation));
        }
    }
    for (path, item) in &mut api.paths.paths {
        for (method, operation) in operations_mut(item) {
            let mut found = Vec::new();
            for target in targets.iter().filter(|target| target.of == *path) {
                for status in ["200", "201"] {
                    let made = method == HttpMethod::Post && answers_with(all, operation, status, "id");
                    let listed = method == HttpMethod::Get
                        && target.own
                        && target.method == HttpMethod::Get
                        && answers_with(all, operation, status, "next_cursor");
                    let link = if made {
                        target.link(path, "$response.body#/id", "With the record that was made.")
                    } else if listed {
                        target.link(path, "$response.body#/items/0/id", "The first record of the page.")
                    } else {
                        continue;
                    };
                    found.push((status, target.id.clone(), link));
                }
            }
            for (status, name, link) in found {
                if let Some(RefOr::T(answer)) = operation.responses.responses.get_mut(status) {
                    answer.links.insert(name, RefOr::T(link));
                }
            }
        }
    }
}
