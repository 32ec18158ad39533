//! Taking over another rule set's specifications as the club's own, in one call.

use actix_web::HttpResponse;
use actix_web::web::Data;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::adoption::{Adoption, Mapping};
use super::shapes::Fields;
use super::store;
use crate::compute::specs::OnFile;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body::Body;
use crate::platform::db::{Db, StoreError};
use crate::platform::ids::{AgeGroupId, CompetitionSpecId};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice;
use crate::resources::advice::vocabulary;
use crate::resources::age_groups;

/// What becomes of one age group of the rule set that is taken over.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AdoptedAgeGroup)]
struct MappingFields {
    /// Its code in the rule set that is taken over.
    #[schema(min_length = 1, max_length = 40, example = "U15")]
    from: String,
    /// Its code in the club's rule set; the same when absent.
    #[schema(min_length = 1, max_length = 40, example = "U16")]
    to: Option<String>,
    /// Lowest age; needed, with `max_age` or alone, where the rule set goes by school grade or states no day.
    #[schema(minimum = 0, maximum = 120, example = 14)]
    min_age: Option<i16>,
    /// Highest age.
    #[schema(minimum = 0, maximum = 120, example = 15)]
    max_age: Option<i16>,
    /// The day on which ages count; that of the group taken over when absent.
    #[schema(value_type = Option<vocabulary::AgeCounted>)]
    rule: Option<String>,
}

/// Which specifications to take over.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = CompetitionSpecAdoption, example = json!({"from": "UKA-2024", "valid_from": "2026-04-01", "dry_run": true}))]
struct Asked {
    /// A published rule set with its edition, one of `GET /v1/rulesets`.
    #[schema(min_length = 1, max_length = 40, example = "UKA-2024")]
    from: String,
    /// First day on which they hold in the club.
    #[schema(example = "2026-04-01")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    valid_from: NaiveDate,
    /// The age groups to take over, and under which code and ages; all, unchanged, when absent.
    #[schema(max_items = 100)]
    age_groups: Option<Vec<MappingFields>>,
    /// Only tells what would be stored.
    #[serde(default)]
    dry_run: bool,
}

/// What was, or would be, stored.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AdoptedCompetitionSpecs)]
struct Adopted {
    /// Whether nothing was stored.
    dry_run: bool,
    /// The specifications, under the club's rule set and marked as its own.
    #[schema(max_items = 500)]
    specifications: Vec<Fields>,
    /// The age groups.
    #[schema(max_items = 100)]
    age_groups: Vec<age_groups::Fields>,
    /// Those that the club has already for that day, by event and group; they stay as they are.
    #[schema(max_items = 600)]
    kept: Vec<String>,
    /// What athletes of the club find afterwards: `by_age`, `ages_missing`,
    /// `not_in_force` or `nothing`.
    #[schema(value_type = vocabulary::OnFile)]
    on_file: String,
    /// The same as a sentence.
    #[schema(max_length = 400, example = "Specifications are on file, and ages lead to them.")]
    note: &'static str,
}

/// Takes over a published rule set's specifications and age groups as the club's own, under the club's rule set.
///
/// For a club whose rule set is not on file. Everything is stored or nothing; what the club has already for that day stays, so
/// the call may be repeated. Each row names the rule set it came from: check it against your own rule book, then change or
/// delete it like any of the club's own. With `dry_run` nothing is stored.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/competition-specs/adopt", impl_for = adopt_competition_specs, tag = "competition_specs",
    responses((status = 200, description = "What was stored, or would be", body = Adopted))
)]
async fn adopt_competition_specs(
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Body<Asked>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let Asked { from, valid_from, age_groups: mapped, dry_run } = body.read()?;
    let mapped: Option<Vec<Mapping>> = mapped.map(|list| list.into_iter().map(Mapping::from).collect());
    let setting = advice::setting(&mut tx).await?;
    let wanted = Adoption::plan(&from, &setting.ruleset, valid_from, mapped.as_deref())?;
    let (mut specifications, mut groups, mut kept) = (Vec::new(), Vec::new(), Vec::new());
    for group in wanted.age_groups {
        let mark = tx.mark().await?;
        match age_groups::insert(&mut tx, AgeGroupId::new(), &group).await {
            Ok(_) => groups.push(age_groups::Fields::from(&group)),
            Err(StoreError::Conflict(_)) => {
                tx.back_to(mark).await?;
                kept.push(format!("age group {}", group.code));
            }
            Err(other) => return Err(other.into()),
        }
    }
    for spec in wanted.specs {
        let mark = tx.mark().await?;
        match store::insert(&mut tx, CompetitionSpecId::new(), &spec).await {
            Ok(_) => specifications.push(Fields::from(&spec)),
            Err(StoreError::Conflict(_)) => {
                tx.back_to(mark).await?;
                kept.push(format!("{} {} {}", spec.event_code, spec.environment.as_str(), spec.age_group));
            }
            Err(other) => return Err(other.into()),
        }
    }
    let on_file = advice::setting(&mut tx).await?.on_file(advice::day(valid_from)?);
    let anything = !specifications.is_empty() || !groups.is_empty();
    // Dropped without a commit when nothing is to be stored.
    if anything && !dry_run {
        tx.commit().await?;
    }
    Ok(HttpResponse::Ok().json(Adopted {
        dry_run,
        specifications,
        age_groups: groups,
        kept,
        on_file: OnFile::as_str(on_file).to_owned(),
        note: on_file.sentence(),
    }))
}

impl From<MappingFields> for Mapping {
    fn from(MappingFields { from, to, min_age, max_age, rule }: MappingFields) -> Self {
        Self { from, to, min_age, max_age, rule }
    }
}

routes!(adopt_competition_specs);
