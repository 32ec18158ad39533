//! The JSON of barrier configurations.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Configuration;
use crate::platform::fault::Fault;
use crate::platform::ids::BarrierConfigurationId;
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::vocabulary;

/// A barrier configuration.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = BarrierConfigurationFields, example = json!({"name": "Low rhythm lane", "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.25, "approach_m": 12, "barriers": 5}))]
pub struct Fields {
    /// Name, unique in the club.
    #[schema(min_length = 1, max_length = 80, example = "Low rhythm lane")]
    pub name: String,
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 0, maximum = 50, example = 12)]
    pub approach_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 5)]
    pub barriers: i16,
}

impl Fields {
    /// Parses the barrier configuration.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Configuration, Vec<Fault>> {
        let metres = [self.height_m, self.spacing_m, self.approach_m];
        Configuration::parse(&self.name, &self.barrier_kind, metres, self.barriers)
    }
}

impl From<&Configuration> for Fields {
    fn from(value: &Configuration) -> Self {
        Self {
            name: value.name.clone(),
            barrier_kind: value.kind.as_str().to_owned(),
            height_m: value.height.metres(),
            spacing_m: value.spacing.metres(),
            approach_m: value.approach.metres(),
            barriers: value.barriers,
        }
    }
}

/// A new barrier configuration.
pub type New = Create<BarrierConfigurationId, Fields>;

/// A barrier configuration.
pub type View = Kept<BarrierConfigurationId, Fields>;

/// A page of barrier configurations.
pub type Page = page::Page<View>;
