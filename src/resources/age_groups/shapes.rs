//! The JSON of age groups.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Group;
use crate::platform::fault::Fault;
use crate::platform::ids::AgeGroupId;
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::vocabulary;

/// A club's own age group.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AgeGroupFields, example = json!({"ruleset": "UKA-2026", "age_group": "U14", "min_age": 11, "max_age": 12, "rule": "school_year", "valid_from": "2026-04-01", "source": "Rule book 2026-28, age group table"}))]
pub struct Fields {
    /// Rule set.
    #[schema(min_length = 1, max_length = 40, example = "UKA-2026")]
    pub ruleset: String,
    /// Code of the group.
    #[schema(min_length = 1, max_length = 40, example = "U14")]
    pub age_group: String,
    /// Lowest age on the reference day.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 120, example = 11)]
    pub min_age: Option<i16>,
    /// Highest age on the reference day.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 120, example = 12)]
    pub max_age: Option<i16>,
    /// The day on which ages count.
    #[schema(value_type = vocabulary::AgeCounted)]
    pub rule: String,
    /// First day on which it holds.
    #[schema(example = "2026-04-01")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub valid_from: NaiveDate,
    /// Last day on which it holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2028-03-31")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub valid_to: Option<NaiveDate>,
    /// Where the rule was read.
    #[schema(min_length = 1, max_length = 300, example = "Rule book 2026-28, age group table")]
    pub source: String,
}

impl Fields {
    /// Parses the age group.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Group, Vec<Fault>> {
        let Self { ruleset, age_group, min_age, max_age, rule, valid_from, valid_to, source } = self;
        Group::parse([ruleset, age_group, source, rule], (*min_age, *max_age), (*valid_from, *valid_to))
    }
}

impl From<&Group> for Fields {
    fn from(value: &Group) -> Self {
        Self {
            ruleset: value.ruleset.clone(),
            age_group: value.code.clone(),
            min_age: value.min_age,
            max_age: value.max_age,
            rule: value.rule.as_str().to_owned(),
            valid_from: value.valid_from,
            valid_to: value.valid_to,
            source: value.source.clone(),
        }
    }
}

/// A new age group.
pub type New = Create<AgeGroupId, Fields>;

/// A club's own age group.
pub type View = Kept<AgeGroupId, Fields>;

/// A page of age groups.
pub type Page = page::Page<View>;
