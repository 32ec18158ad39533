//! The JSON of barrier configurations.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Configuration;
use super::store::StoredConfiguration;
use crate::platform::fault::Fault;
use crate::platform::ids::BarrierConfigurationId;
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// A barrier configuration as sent by a client.
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
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewBarrierConfiguration, example = json!({"name": "Low rhythm lane", "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.25, "approach_m": 12, "barriers": 5}))]
pub struct New {
    /// Client-made UUID (version 7); makes the create repeatable.
    pub id: Option<BarrierConfigurationId>,
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

impl New {
    /// The id, and the fields without it.
    pub fn split(self) -> (BarrierConfigurationId, Fields) {
        let fields = Fields {
            name: self.name,
            barrier_kind: self.barrier_kind,
            height_m: self.height_m,
            spacing_m: self.spacing_m,
            approach_m: self.approach_m,
            barriers: self.barriers,
        };
        (self.id.unwrap_or_else(BarrierConfigurationId::new), fields)
    }
}

/// A barrier configuration.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = BarrierConfiguration)]
pub struct View {
    /// The id.
    pub id: BarrierConfigurationId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The barrier configuration.
    #[serde(flatten)]
    pub fields: Fields,
}

impl From<&StoredConfiguration> for View {
    fn from(stored: &StoredConfiguration) -> Self {
        Self { id: stored.id, rev: stored.rev, fields: (&stored.value).into() }
    }
}

/// A page of barrier configurations.
pub type Page = page::Page<View>;
