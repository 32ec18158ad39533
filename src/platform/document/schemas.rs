//! Makes the schemas that the routes brought true to the wire: what was put together is one object, a patch needs nothing,
//! what is sent is closed and what is answered may grow.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use utoipa::openapi::path::PathItem;
use utoipa::openapi::schema::{AdditionalProperties, ArrayItems, Object, OneOfBuilder, Schema, SchemaType, Type};
use utoipa::openapi::{Content, OpenApi, Ref, RefOr};

use super::operations_mut;

/// The schemas of a document by their names.
pub type Schemas = BTreeMap<String, RefOr<Schema>>;

const PLACE: &str = "#/components/schemas/";
/// The media type of a merge patch (RFC 7396).
const PATCH: &str = "application/merge-patch+json";

/// The name in a reference.
pub fn name_of(reference: &Ref) -> &str {
    reference.ref_location.strip_prefix(PLACE).unwrap_or(&reference.ref_location)
}

/// A reference to a schema of the document.
pub fn link(name: &str) -> RefOr<Schema> {
    Ref::from_schema_name(name).into()
}

/// `race_test` or `not-found` as part of a name: `RaceTest`, `NotFound`.
pub fn pascal(word: &str) -> String {
    let part = |part: &str| {
        let mut letters = part.chars();
        letters.next().map(|first| first.to_ascii_uppercase()).into_iter().chain(letters).collect::<String>()
    };
    word.split(['_', '-']).map(part).collect()
}

/// The schemas directly inside a schema.
fn inside(schema: &mut Schema) -> Vec<&mut RefOr<Schema>> {
    match schema {
        Schema::Object(object) => {
            let more = match object.additional_properties.as_deref_mut() {
                Some(AdditionalProperties::RefOr(one)) => Some(one),
                _ => None,
            };
            object.properties.values_mut().chain(more).collect()
        }
        Schema::Array(array) => match &mut array.items {
            ArrayItems::RefOrSchema(one) => vec![one],
            ArrayItems::False => Vec::new(),
        },
        Schema::OneOf(several) => several.items.iter_mut().collect(),
        Schema::AllOf(several) => several.items.iter_mut().collect(),
        Schema::AnyOf(several) => several.items.iter_mut().collect(),
        _ => Vec::new(),
    }
}

/// Carries something out with every reference in a schema.
fn each_ref(schema: &mut RefOr<Schema>, with: &mut impl FnMut(&mut Ref)) {
    match schema {
        RefOr::Ref(reference) => with(reference),
        RefOr::T(schema) => {
            for one in inside(schema) {
                each_ref(one, with);
            }
        }
    }
}

/// The same with what a merge patch merges: a list is replaced as a whole.
fn each_merged(schema: &mut RefOr<Schema>, with: &mut impl FnMut(&mut Ref)) {
    match schema {
        RefOr::Ref(reference) => with(reference),
        RefOr::T(Schema::OneOf(several)) => {
            for one in &mut several.items {
                each_merged(one, with);
            }
        }
        RefOr::T(_) => {}
    }
}

/// The one object that a schema is, whatever it is put together of; none when it is no object.
pub fn object(schemas: &Schemas, schema: &RefOr<Schema>) -> Option<Object> {
    match schema {
        RefOr::Ref(reference) => object(schemas, schemas.get(name_of(reference))?),
        RefOr::T(Schema::Object(one)) if !one.properties.is_empty() => Some(one.clone()),
        RefOr::T(Schema::AllOf(parts)) => {
            let mut whole = Object::with_type(Type::Object);
            whole.description.clone_from(&parts.description);
            whole.extensions.clone_from(&parts.extensions);
            // What a record adds comes first: its id and its version.
            for part in parts.items.iter().rev() {
                let part = object(schemas, part)?;
                whole.required.extend(part.required);
                whole.properties.extend(part.properties);
            }
            Some(whole)
        }
        RefOr::T(_) => None,
    }
}

/// Makes one object of each schema that is put together of several: of two closed objects nothing satisfies both.
pub fn join(schemas: &mut Schemas) {
    let joined: Vec<(String, Object)> = schemas
        .iter()
        .filter(|(_, schema)| matches!(schema, RefOr::T(Schema::AllOf(_))))
        .filter_map(|(name, schema)| Some((name.clone(), object(schemas, schema)?)))
        .collect();
    schemas.extend(joined.into_iter().map(|(name, one)| (name, one.into())));
}

/// Where a schema keeps its default, if it can have one.
pub fn default_of(schema: &mut RefOr<Schema>) -> Option<&mut Option<Value>> {
    match schema {
        RefOr::Ref(one) => Some(&mut one.default),
        RefOr::T(Schema::Object(one)) => Some(&mut one.default),
        RefOr::T(Schema::Array(one)) => Some(&mut one.default),
        RefOr::T(Schema::OneOf(one)) => Some(&mut one.default),
        RefOr::T(_) => None,
    }
}

/// The same schema, or null.
fn nullable(schema: RefOr<Schema>) -> RefOr<Schema> {
    let with_null = |kind: SchemaType| match kind {
        SchemaType::Type(one) => SchemaType::Array(vec![one, Type::Null]),
        SchemaType::Array(mut several) => {
            if !several.contains(&Type::Null) {
                several.push(Type::Null);
            }
            SchemaType::Array(several)
        }
        SchemaType::AnyValue => SchemaType::AnyValue,
    };
    match schema {
        RefOr::T(Schema::Object(mut one)) if one.enum_values.is_none() => {
            one.schema_type = with_null(one.schema_type);
            one.into()
        }
        RefOr::T(Schema::Array(mut one)) => {
            one.schema_type = with_null(one.schema_type);
            RefOr::T(Schema::Array(one))
        }
        RefOr::T(Schema::OneOf(several)) if several.items.iter().any(is_null) => RefOr::T(Schema::OneOf(several)),
        other => OneOfBuilder::new().item(other).item(Object::with_type(Type::Null)).into(),
    }
}

fn is_null(schema: &RefOr<Schema>) -> bool {
    matches!(schema, RefOr::T(Schema::Object(one)) if matches!(one.schema_type, SchemaType::Type(Type::Null)))
}

/// Adds the merge patch of an object: nothing is needed, null clears what may be absent, objects inside are patched too.
///
/// Its name is `name`; nothing happens when the schema is no object.
pub fn add_patch(schemas: &mut Schemas, of: &str, name: &str, says: &str) {
    let Some(mut patch) = schemas.get(of).and_then(|schema| object(schemas, schema)) else { return };
    let mut inner = Vec::new();
    for (field, schema) in &mut patch.properties {
        each_merged(schema, &mut |reference| {
            let inside = name_of(reference).to_owned();
            let merged = schemas.get(&inside).is_some_and(|one| object(schemas, one).is_some());
            if merged {
                reference.ref_location = format!("{PLACE}{inside}Patch");
                inner.push(inside);
            }
        });
        // What a change leaves out stays, whatever a record has that never said it.
        if let Some(default) = default_of(schema) {
            *default = None;
        }
        if !patch.required.contains(field) {
            *schema = nullable(std::mem::replace(schema, RefOr::T(Schema::default())));
        }
    }
    patch.required.clear();
    // What is said of the record is not said of a change to it.
    patch.extensions = None;
    patch.description = Some(says.to_owned());
    patch.additional_properties = Some(Box::new(AdditionalProperties::FreeForm(false)));
    schemas.insert(name.to_owned(), patch.into());
    for inside in inner {
        let name = format!("{inside}Patch");
        if !schemas.contains_key(&name) {
            add_patch(schemas, &inside, &name, "What to change inside; what is left out stays.");
        }
    }
}

fn contents(content: Option<&mut Content>) -> Option<&mut RefOr<Schema>> {
    content.and_then(|content| content.schema.as_mut())
}

/// The schemas of request bodies by their media types, or those of the answers.
fn bodies(item: &mut PathItem, sent: bool) -> Vec<(String, &mut RefOr<Schema>)> {
    let mut found = Vec::new();
    for (_, operation) in operations_mut(item) {
        if sent {
            let Some(RefOr::T(body)) = &mut operation.request_body else { continue };
            for (media, content) in &mut body.content {
                if let RefOr::T(content) = content {
                    found.extend(contents(Some(content)).map(|schema| (media.clone(), schema)));
                }
            }
            continue;
        }
        for answer in operation.responses.responses.values_mut() {
            let RefOr::T(answer) = answer else { continue };
            for (media, content) in &mut answer.content {
                if let RefOr::T(content) = content {
                    found.extend(contents(Some(content)).map(|schema| (media.clone(), schema)));
                }
            }
        }
    }
    found
}

/// Gives each PATCH a schema of its own: `VenuePatch` of `VenueFields`.
pub fn patches(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    for item in api.paths.paths.values_mut() {
        for (media, schema) in bodies(item, true) {
            let RefOr::Ref(reference) = schema else { continue };
            let of = name_of(reference).to_owned();
            if media != PATCH || of.ends_with("Patch") {
                continue;
            }
            let what = ["Fields", "Settings"].iter().find_map(|end| of.strip_suffix(end)).unwrap_or(&of);
            let name = format!("{what}Patch");
            let says =
                "What to change (merge patch, RFC 7396): what is left out stays, null clears what may be absent.";
            add_patch(&mut components.schemas, &of, &name, says);
            reference.ref_location = format!("{PLACE}{name}");
        }
    }
}

/// The names of all schemas that these lead to.
fn reached(schemas: &mut Schemas, from: BTreeSet<String>) -> BTreeSet<String> {
    let mut open: Vec<String> = from.into_iter().collect();
    let mut found = BTreeSet::new();
    while let Some(name) = open.pop() {
        if let Some(schema) = schemas.get_mut(&name).filter(|_| found.insert(name.clone())) {
            each_ref(schema, &mut |reference| open.push(name_of(reference).to_owned()));
        }
    }
    found
}

fn roots(api: &mut OpenApi, sent: bool) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for item in api.paths.paths.values_mut() {
        for (_, schema) in bodies(item, sent) {
            each_ref(schema, &mut |reference| {
                found.insert(name_of(reference).to_owned());
            });
        }
    }
    found
}

fn is_closed(schema: &RefOr<Schema>) -> bool {
    let RefOr::T(Schema::Object(one)) = schema else { return false };
    matches!(one.additional_properties.as_deref(), Some(AdditionalProperties::FreeForm(false)))
}

/// Parts what is sent from what is answered: the service refuses fields that it does not know, and may answer with more
/// tomorrow. A closed schema that serves both keeps its name in answers and is called `...Input` in requests.
pub fn part(api: &mut OpenApi) {
    let (sent, answered) = (roots(api, true), roots(api, false));
    let Some(components) = &mut api.components else { return };
    let schemas = &mut components.schemas;
    let (sent, answered) = (reached(schemas, sent), reached(schemas, answered));
    let shared: BTreeSet<String> = sent.intersection(&answered).cloned().collect();
    // What leads to a closed schema is not the same in both directions either.
    let is_twofold = |schemas: &mut Schemas, name: &String| {
        let inside = reached(schemas, BTreeSet::from([name.clone()]));
        inside.iter().any(|one| schemas.get(one).is_some_and(is_closed))
    };
    let twofold: BTreeSet<String> = shared.into_iter().filter(|name| is_twofold(schemas, name)).collect();
    let mut rename = |reference: &mut Ref| {
        if twofold.contains(name_of(reference)) {
            reference.ref_location.push_str("Input");
        }
    };
    for name in &twofold {
        if let Some(schema) = schemas.get(name) {
            let mut input = schema.clone();
            each_ref(&mut input, &mut rename);
            if let RefOr::T(Schema::Object(one)) = &mut input {
                one.extensions = None;
            }
            schemas.insert(format!("{name}Input"), input);
        }
    }
    for name in sent.difference(&answered) {
        if let Some(schema) = schemas.get_mut(name) {
            each_ref(schema, &mut rename);
        }
    }
    for name in &answered {
        if let Some(RefOr::T(Schema::Object(one))) = schemas.get_mut(name)
            && is_closed(&RefOr::T(Schema::Object(one.clone())))
        {
            one.additional_properties = None;
        }
    }
    for item in api.paths.paths.values_mut() {
        for (_, schema) in bodies(item, true) {
            each_ref(schema, &mut rename);
        }
    }
    drop_unused(api);
}

/// Leaves out what no operation leads to.
fn drop_unused(api: &mut OpenApi) {
    let mut used = roots(api, true);
    used.extend(roots(api, false));
    let Some(components) = &mut api.components else { return };
    let used = reached(&mut components.schemas, used);
    components.schemas.retain(|name, _| used.contains(name));
}
