//! What follows for a field of the document from its type and its name: a description, bounds, an example.

use std::collections::BTreeMap;

use utoipa::openapi::schema::{ArrayItems, KnownFormat, Object, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{OpenApi, RefOr};

use super::operations::usual_example;
use super::schemas::{default_of, name_of};

/// The largest whole number that every JSON reader keeps exactly (RFC 8259, section 6).
const LARGEST: f64 = 9_007_199_254_740_991.0;

/// Least and most of the numbers in a list, by the name of the list: metres and seconds.
const ITEMS: [(&str, f64, f64); 6] = [
    ("count_in_s", -6.0, 0.0),
    ("heights_m", 0.05, 1.1),
    ("interval_times_s", 0.001, 120.0),
    ("strides_m", 0.1, 20.0),
    ("touchdown_times_s", 0.001, 120.0),
    ("valid_range_s", 0.001, 120.0),
];

/// Says of each field what follows from its type: a description, bounds, an example.
pub fn complete(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    let says = |schema: &RefOr<Schema>| match schema {
        RefOr::T(Schema::Object(one)) => one.description.clone(),
        RefOr::T(Schema::OneOf(one)) => one.description.clone(),
        _ => None,
    };
    let known: BTreeMap<String, String> = components
        .schemas
        .iter()
        .filter_map(|(name, schema)| Some((name.clone(), says(schema)?.lines().next()?.to_owned())))
        .collect();
    for schema in components.schemas.values_mut() {
        let RefOr::T(Schema::Object(whole)) = schema else { continue };
        for (name, field) in &mut whole.properties {
            describe(field, &known);
            bound_items(name, field);
            // What is left out is absent and not null: a rule says what counts then.
            if let Some(default) = default_of(field) {
                default.take_if(|value| value.is_null());
            }
            if let RefOr::T(Schema::Object(one)) = field
                && one.example.is_none()
                && one.examples.is_empty()
            {
                one.examples = named_example(name).into_iter().collect();
            }
        }
        if !whole.examples.is_empty() || whole.example.is_some() || whole.properties.is_empty() {
            bound(whole);
        }
    }
}

/// An example of what is called the same everywhere: where to go on, where to look.
fn named_example(name: &str) -> Option<serde_json::Value> {
    let text = match name {
        "next_cursor" => "IjAxOTM2ZjJlLTVkM2EtN2M0MS05YjFlLTJmNmQwYzhhNGU1NyI",
        "from" => "st1.AAECAw",
        _ if name.ends_with("href") => {
            "/v1/clubs/01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57/runs?from=2026-09-01&to=2026-11-24"
        }
        _ => return None,
    };
    Some(text.into())
}

fn bound_items(name: &str, field: &mut RefOr<Schema>) {
    if let RefOr::T(Schema::Array(list)) = field
        && let ArrayItems::RefOrSchema(item) = &mut list.items
        && let RefOr::T(Schema::Array(pair)) = &mut **item
    {
        // The only lists in lists there are.
        (pair.min_items, pair.max_items) = (Some(2), Some(2));
    }
    if let RefOr::T(Schema::Array(list)) = field
        && let ArrayItems::RefOrSchema(item) = &mut list.items
        && let RefOr::T(Schema::Object(one)) = &mut **item
    {
        if let Some((_, least, most)) = ITEMS.iter().find(|(known, ..)| *known == name) {
            one.minimum = Some((*least).into());
            one.maximum = Some((*most).into());
        }
        if matches!(one.schema_type, SchemaType::Type(Type::String)) && one.format.is_none() {
            one.max_length = one.max_length.or(Some(200));
        }
    }
}

fn describe(field: &mut RefOr<Schema>, known: &BTreeMap<String, String>) {
    match field {
        RefOr::Ref(reference) if reference.description.is_empty() => {
            reference.description = known.get(name_of(reference)).cloned().unwrap_or_default();
        }
        RefOr::T(Schema::OneOf(several)) => {
            for one in &mut several.items {
                describe(one, known);
            }
            let first = several.items.iter().find_map(|one| match one {
                RefOr::Ref(reference) => Some(reference.description.clone()),
                RefOr::T(_) => None,
            });
            several.description = several.description.take().or(first);
        }
        RefOr::T(Schema::Object(one)) => bound(one),
        RefOr::T(Schema::Array(list)) => {
            if let ArrayItems::RefOrSchema(item) = &mut list.items
                && let RefOr::T(Schema::Object(one)) = &mut **item
            {
                bound(one);
            }
        }
        RefOr::Ref(_) | RefOr::T(_) => {}
    }
}

/// Adds the bounds and the example that every whole number, id, day or time has.
fn bound(one: &mut Object) {
    let is = |kind: Type| match &one.schema_type {
        SchemaType::Type(known) => *known == kind,
        SchemaType::Array(several) => several.contains(&kind),
        SchemaType::AnyValue => false,
    };
    let (whole, number) = (is(Type::Integer), is(Type::Number));
    let free = whole && one.minimum.is_none();
    if whole {
        // Of what programs keep in 32 bits no number is larger than those hold.
        let short = matches!(one.format, Some(SchemaFormat::KnownFormat(KnownFormat::Int32)));
        let largest = if short { f64::from(i32::MAX) } else { LARGEST };
        one.maximum = one.maximum.take().or(Some(largest.into()));
        one.minimum = one.minimum.take().or(Some((-largest).into()));
    }
    if one.example.is_some() || !one.examples.is_empty() || one.enum_values.is_some() {
        return;
    }
    let least = one.minimum.as_ref().filter(|_| whole || number).and_then(|least| serde_json::to_value(least).ok());
    let least = least.map(|least| match least.as_f64() {
        // The largest number is no example of anything.
        _ if free => serde_json::json!(1),
        #[allow(clippy::cast_possible_truncation)] // whole, and far smaller than the largest
        Some(least) if whole => serde_json::json!(least as i64),
        _ => least,
    });
    one.examples = usual_example(one).or(least).into_iter().collect();
}
