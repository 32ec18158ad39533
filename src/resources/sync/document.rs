//! What the OpenAPI document says of sync: the policy of each type, the field groups of athletes, and what a change of the
//! feed and an item of a push carry, type by type.

use serde_json::{Map, Value, json};
use utoipa::ToSchema;
use utoipa::openapi::extensions::{Extensions, ExtensionsBuilder};
use utoipa::openapi::schema::{
    AnyOfBuilder, Discriminator, KnownFormat, Object, ObjectBuilder, OneOfBuilder, SchemaFormat, Type as JsonType,
};
use utoipa::openapi::{OpenApi, RefOr, Schema};

use super::items::Kind;
use super::model::Type;
use crate::platform::document::schemas::{self, Schemas, link, pascal};
use crate::resources::athletes::merge;
use crate::resources::athletes::sync::{AthleteView, MeasuredView, SentMeasurement};
use crate::resources::race_tests::record_shapes::{EntryRecord, ResultRecord, TestRecord};
use crate::resources::sessions::sync::AttendanceView;

/// The name of the schema of what a type's own route answers; it carries the policy.
const fn schema_of(kind: Type) -> &'static str {
    match kind {
        Type::Group => "Group",
        Type::Venue => "Venue",
        Type::Equipment => "Equipment",
        Type::BarrierConfiguration => "BarrierConfiguration",
        Type::Athlete => "Athlete",
        Type::Session => "Session",
        Type::Measurement => "Measurement",
        Type::Attendance => "Attendance",
        Type::LanePlan => "LanePlan",
        Type::Run => "Run",
        Type::Assessment => "Assessment",
        Type::Decision => "CoachDecision",
        Type::RaceTest => "RaceTest",
        Type::RaceEntry => "RaceEntry",
        Type::RaceResult => "RaceResult",
        Type::Club => "Club",
        Type::AgeGroup => "AgeGroup",
        Type::CompetitionSpec => "OwnCompetitionSpec",
        Type::WellbeingRecord => "WellbeingRecord",
    }
}

/// The name of the schema of a type's record as the feed carries it.
const fn record_of(kind: Type) -> &'static str {
    match kind {
        Type::Athlete => "AthleteRecord",
        Type::Measurement => "MeasurementRecord",
        Type::Attendance => "AttendanceRecord",
        Type::RaceTest => "RaceTestRecord",
        Type::RaceResult => "RaceResultRecord",
        other => schema_of(other),
    }
}

/// What an item of a push carries: the schema of its own route, what else it has to name, and its merge patch.
struct Carried {
    put: &'static str,
    names: &'static [(&'static str, &'static str)],
    patch: Option<&'static str>,
}

/// What an item about a type carries; none when phones only read it.
const fn carried(kind: Kind) -> Option<Carried> {
    const fn edited(put: &'static str, patch: &'static str) -> Carried {
        Carried { put, names: &[], patch: Some(patch) }
    }
    const fn filed(put: &'static str, names: &'static [(&'static str, &'static str)]) -> Carried {
        Carried { put, names, patch: None }
    }
    let Kind::Record(kind) = kind else { return Some(filed("GroupMembership", &[])) };
    Some(match kind {
        Type::Group => edited("GroupFields", "GroupPatch"),
        Type::Venue => edited("VenueFields", "VenuePatch"),
        Type::Equipment => edited("EquipmentFields", "EquipmentPatch"),
        Type::BarrierConfiguration => edited("BarrierConfigurationFields", "BarrierConfigurationPatch"),
        Type::Athlete => edited("NewAthlete", "AthletePatch"),
        Type::Session => edited("SessionFields", "SessionPatch"),
        Type::RaceTest => edited("NewRaceTest", "RaceTestPatch"),
        Type::AgeGroup => edited("AgeGroupFields", "AgeGroupPatch"),
        Type::CompetitionSpec => edited("OwnCompetitionSpecFields", "OwnCompetitionSpecPatch"),
        Type::LanePlan => edited("LanePlan", "LanePlanPatch"),
        Type::Measurement => filed("SentMeasurement", &[]),
        Type::Attendance => filed("AttendanceFields", &[]),
        Type::Run => filed("RunFields", &[]),
        Type::Assessment => filed("AssessmentFields", &[]),
        Type::WellbeingRecord => filed("WellbeingRecordFields", &[]),
        Type::Decision => filed("NewCoachDecision", &[("athlete_id", "AthleteId")]),
        Type::RaceResult => filed("RaceResultFields", &[("race_test_id", "RaceTestId")]),
        Type::RaceEntry | Type::Club => return None,
    })
}

fn extend(schema: &mut RefOr<Schema>, name: &str, value: Value) {
    let RefOr::T(Schema::Object(one)) = schema else { return };
    let added: Extensions = ExtensionsBuilder::new().add(name, value).build();
    match &mut one.extensions {
        Some(known) => known.merge(added),
        None => one.extensions = Some(added),
    }
}

/// Adds a schema that no route brings, and what it refers to.
fn add<T: ToSchema>(schemas: &mut Schemas) {
    let mut found = vec![(T::name().into_owned(), T::schema())];
    T::schemas(&mut found);
    for (name, schema) in found {
        schemas.entry(name).or_insert(schema);
    }
}

fn only(word: &str) -> Object {
    ObjectBuilder::new()
        .schema_type(JsonType::String)
        .description(Some("The type of the record."))
        .enum_values(Some([word]))
        .examples([word])
        .build()
}

/// What an item of a kind can do, when that is not everything; what each does says `PushMethod`.
fn methods(kind: Kind) -> Option<Object> {
    let words: Vec<&str> = kind.methods().iter().map(|method| method.as_str()).collect();
    let said = format!("`{}`.", words.join("` or `"));
    (words.len() < 3).then(|| {
        let first = words.first().copied();
        let one = ObjectBuilder::new().schema_type(JsonType::String).description(Some(said)).examples(first);
        one.enum_values(Some(words)).build()
    })
}

/// One of several, told apart by `type`.
fn union_of(says: &str, parts: &[(&'static str, String)]) -> RefOr<Schema> {
    let place = |name: &String| format!("#/components/schemas/{name}");
    let mapping = parts.iter().map(|(word, name)| (*word, place(name)));
    parts
        .iter()
        .fold(OneOfBuilder::new(), |union, (_, name)| union.item(link(name)))
        .description(Some(says))
        .discriminator(Some(Discriminator::with_mapping("type", mapping)))
        .into()
}

/// The feed: each change with the record of its type.
fn changes(schemas: &mut Schemas) {
    let Some(base) = schemas.get("FeedChange").and_then(|schema| schemas::object(schemas, schema)) else { return };
    let mut parts = Vec::new();
    for kind in Type::ALL {
        let word = kind.as_str();
        let mut change = base.clone();
        change.properties.insert("type".to_owned(), only(word).into());
        change.properties.insert("data".to_owned(), link(record_of(kind)));
        change.description = Some(format!("A change of the type `{word}`: `data` or `removed`."));
        let name = format!("{}Change", pascal(word));
        schemas.insert(name.clone(), change.into());
        parts.push((word, name));
    }
    let says = "One record that changed: `data`, the whole current record, or `removed`.";
    schemas.insert("FeedChange".to_owned(), union_of(says, &parts));
}

/// A push: each item with what its type carries.
fn items(schemas: &mut Schemas) {
    let Some(mut base) = schemas.get("PushItem").and_then(|schema| schemas::object(schemas, schema)) else { return };
    base.required.insert(0, "op_id".to_owned());
    let rest = std::mem::replace(&mut base.properties, [("op_id".to_owned(), op_id())].into_iter().collect());
    base.properties.extend(rest);
    schemas::add_patch(schemas, "LanePlan", "LanePlanPatch", "What to change of a lane plan; what is left out stays.");
    let mut parts = Vec::new();
    for kind in Type::ALL.into_iter().map(Kind::Record).chain([Kind::Membership]) {
        let Some(carried) = carried(kind) else { continue };
        let Some(mut data) = schemas.get(carried.put).and_then(|schema| schemas::object(schemas, schema)) else {
            continue;
        };
        let word = kind.word();
        // The phone may send the record as it keeps it.
        for (field, schema) in [("id", base.properties.get("id").cloned()), ("rev", Some(rev()))] {
            data.required.retain(|name| name != field);
            data.properties.extend(schema.map(|schema| (field.to_owned(), schema)));
        }
        for (field, id) in carried.names {
            data.required.push((*field).to_owned());
            data.properties.insert((*field).to_owned(), link(id));
        }
        data.description = Some(format!("What a PUT of the type `{word}` carries."));
        data.example = None;
        data.extensions = None;
        let name = pascal(word);
        schemas.insert(format!("Pushed{name}"), data.into());
        let mut item = base.clone();
        item.properties.insert("type".to_owned(), only(word).into());
        item.properties.extend(methods(kind).map(|method| ("method".to_owned(), method.into())));
        let data = match carried.patch {
            Some(patch) => AnyOfBuilder::new()
                .item(link(&format!("Pushed{name}")))
                .item(link(patch))
                .description(Some("With PUT the record, with PATCH what to change of it; absent with DELETE."))
                .into(),
            None => link(&format!("Pushed{name}")),
        };
        item.properties.insert("data".to_owned(), data);
        item.description = Some(format!("What a phone did about a record of the type `{word}`."));
        let name = format!("Push{name}");
        schemas.insert(name.clone(), item.into());
        parts.push((word, name));
    }
    schemas.insert("PushItem".to_owned(), union_of("One thing that a phone did.", &parts));
}

/// The operation, which the service reads before the rest of an item, so that it can answer one that cannot be read.
fn op_id() -> RefOr<Schema> {
    ObjectBuilder::new()
        .schema_type(JsonType::String)
        .format(Some(SchemaFormat::KnownFormat(KnownFormat::Uuid)))
        .description(Some("The phone's own id of this operation, which never changes: what was done is done once."))
        .examples(["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"])
        .into()
}

/// The version of a record that a phone sends back with it.
fn rev() -> RefOr<Schema> {
    ObjectBuilder::new()
        .schema_type(JsonType::Integer)
        .minimum(Some(0))
        .description(Some("Taken and left aside: which version an item is about stands in `if_match` or `base_rev`."))
        .examples([42])
        .into()
}

/// Adds `x-sync-policy` to the schema of each synced type, `x-merge-group` to athletes, and makes unions of
/// the changes of the feed and the items of a push.
pub fn describe(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    let schemas = &mut components.schemas;
    // These have no route of their own that would bring them.
    add::<EntryRecord>(schemas);
    add::<TestRecord>(schemas);
    add::<ResultRecord>(schemas);
    add::<AthleteView>(schemas);
    add::<MeasuredView>(schemas);
    add::<SentMeasurement>(schemas);
    add::<AttendanceView>(schemas);
    add::<crate::resources::sessions::sync::Pair>(schemas);
    add::<merge::Pair>(schemas);
    schemas::join(schemas);
    for kind in Type::ALL {
        if let Some(schema) = schemas.get_mut(schema_of(kind)) {
            extend(schema, "x-sync-policy", json!(kind.policy().as_str()));
        }
    }
    // On the whole, not on its fields: generators lose a reference that says more than where it leads.
    let mut groups = Map::new();
    for (group, fields) in merge::GROUPS {
        groups.extend(fields.iter().map(|field| ((*field).to_owned(), json!(group))));
    }
    for name in ["AthleteFields", "AthletePatch"] {
        if let Some(schema) = schemas.get_mut(name) {
            extend(schema, "x-merge-group", Value::Object(groups.clone()));
        }
    }
    changes(schemas);
    items(schemas);
}
