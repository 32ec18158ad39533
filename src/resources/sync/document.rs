//! What the OpenAPI document says of sync: the policy of each type and the field groups of athletes.

use utoipa::openapi::extensions::{Extensions, ExtensionsBuilder};
use utoipa::openapi::{OpenApi, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::model::Type;
use crate::resources::athletes::merge;
use crate::resources::race_tests::record_shapes::EntryRecord;

/// The name of a type's schema.
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

fn extend(schema: &mut RefOr<Schema>, name: &str, word: &str) {
    let extensions = match schema {
        RefOr::T(Schema::Object(one)) => &mut one.extensions,
        RefOr::T(Schema::AllOf(one)) => &mut one.extensions,
        RefOr::T(Schema::Array(one)) => &mut one.extensions,
        RefOr::T(Schema::OneOf(one)) => &mut one.extensions,
        _ => return,
    };
    let added: Extensions = ExtensionsBuilder::new().add(name, word).build();
    match extensions {
        Some(known) => known.merge(added),
        None => *extensions = Some(added),
    }
}

/// Adds `x-sync-policy` to the schema of each synced type and `x-merge-group` to the fields of athletes.
pub fn describe(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    // Entries have no route of their own that would bring it.
    let mut entry = vec![(EntryRecord::name().into_owned(), EntryRecord::schema())];
    EntryRecord::schemas(&mut entry);
    components.schemas.extend(entry);
    for kind in Type::ALL {
        if let Some(schema) = components.schemas.get_mut(schema_of(kind)) {
            extend(schema, "x-sync-policy", kind.policy().as_str());
        }
    }
    if let Some(RefOr::T(Schema::Object(athlete))) = components.schemas.get_mut("AthleteFields") {
        for (group, fields) in merge::GROUPS {
            for field in fields {
                if let Some(schema) = athlete.properties.get_mut(*field) {
                    extend(schema, "x-merge-group", group);
                }
            }
        }
    }
}
