//! The JSON of competition specifications of the club's own.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Own;
use crate::compute::units::Sex;
use crate::platform::fault::Fault;
use crate::platform::ids::CompetitionSpecId;
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::vocabulary;

/// A club's own competition specification.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = OwnCompetitionSpecFields, example = json!({"ruleset": "UKA-2026", "event_code": "75H", "environment": "outdoor", "sex": "F", "age_group": "U14", "race_distance_m": 75, "barriers": 8, "height_m": 0.685, "to_first_m": 11.5, "between_m": 7.5, "run_in_m": 11, "valid_from": "2026-04-01", "source": "Hurdle sheet 2026"}))]
pub struct Fields {
    /// Rule set.
    #[schema(min_length = 1, max_length = 40, example = "UKA-2026")]
    pub ruleset: String,
    /// Event.
    #[schema(min_length = 1, max_length = 20, example = "75H")]
    pub event_code: String,
    /// `indoor` or `outdoor`.
    #[schema(value_type = vocabulary::Environment)]
    pub environment: String,
    /// `F`, `M` or `X` for both.
    #[schema(value_type = vocabulary::SpecSex)]
    pub sex: String,
    /// Code of the age group, published or the club's own.
    #[schema(min_length = 1, max_length = 40, example = "U14")]
    pub age_group: String,
    /// Race distance, metres.
    #[schema(minimum = 20, maximum = 1000, example = 75)]
    pub race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    pub barriers: u8,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.2, maximum = 1.1, example = 0.685)]
    pub height_m: f64,
    /// Start line to the first barrier, metres: `approach_m` of the specification that applies.
    #[schema(minimum = 1, maximum = 100, example = 11.5)]
    pub to_first_m: f64,
    /// Distance between barriers, metres: `spacing_m` of the specification that applies.
    #[schema(minimum = 1, maximum = 100, example = 7.5)]
    pub between_m: f64,
    /// Last barrier to the finish, metres.
    #[schema(minimum = 1, maximum = 100, example = 11)]
    pub run_in_m: f64,
    /// First day on which it holds.
    #[schema(example = "2026-04-01")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub valid_from: NaiveDate,
    /// Last day on which it holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2028-03-31")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub valid_to: Option<NaiveDate>,
    /// Where the figures were read.
    #[schema(min_length = 1, max_length = 300, example = "Hurdle sheet 2026")]
    pub source: String,
}

impl Fields {
    /// Parses the competition specification.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Own, Vec<Fault>> {
        let texts = [&*self.ruleset, &self.event_code, &self.age_group, &self.source, &self.environment, &self.sex];
        let metres = [self.race_distance_m, self.height_m, self.to_first_m, self.between_m, self.run_in_m];
        Own::parse(texts, metres, self.barriers, (self.valid_from, self.valid_to))
    }
}

impl From<&Own> for Fields {
    fn from(value: &Own) -> Self {
        Self {
            ruleset: value.ruleset.clone(),
            event_code: value.event_code.clone(),
            environment: value.environment.as_str().to_owned(),
            sex: value.sex.map_or("X", Sex::as_str).to_owned(),
            age_group: value.age_group.clone(),
            race_distance_m: value.race_distance.metres(),
            barriers: value.barriers,
            height_m: value.height.metres(),
            to_first_m: value.to_first.metres(),
            between_m: value.between.metres(),
            run_in_m: value.run_in.metres(),
            valid_from: value.valid_from,
            valid_to: value.valid_to,
            source: value.source.clone(),
        }
    }
}

/// A new competition specification.
pub type New = Create<CompetitionSpecId, Fields>;

/// A club's own competition specification.
pub type View = Kept<CompetitionSpecId, Fields>;

/// A page of competition specifications of the club's own.
pub type Page = page::Page<View>;
