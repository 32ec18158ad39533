//! The JSON of venues.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Venue;
use crate::platform::fault::Fault;
use crate::platform::ids::VenueId;
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::vocabulary;

/// A venue.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = VenueFields, example = json!({"name": "Harbour Park", "environment": "outdoor", "straight_m": 110, "lanes": 6, "surface": "synthetic"}))]
pub struct Fields {
    /// Name, unique in the club.
    #[schema(min_length = 1, max_length = 80, example = "Harbour Park")]
    pub name: String,
    /// `indoor` or `outdoor`.
    #[schema(value_type = vocabulary::Environment)]
    pub environment: String,
    /// Usable straight from the start line to the end of the free run-out, metres.
    #[schema(minimum = 10, maximum = 400, example = 110)]
    pub straight_m: f64,
    /// Lanes.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub lanes: i16,
    /// Surface in the club's own words.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 60, example = "synthetic")]
    pub surface: Option<String>,
}

impl Fields {
    /// Parses the venue.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Venue, Vec<Fault>> {
        Venue::parse(&self.name, &self.environment, self.straight_m, self.lanes, self.surface.as_deref())
    }
}

impl From<&Venue> for Fields {
    fn from(value: &Venue) -> Self {
        Self {
            name: value.name.clone(),
            environment: value.environment.as_str().to_owned(),
            straight_m: value.straight.metres(),
            lanes: value.lanes,
            surface: value.surface.clone(),
        }
    }
}

/// A new venue.
pub type New = Create<VenueId, Fields>;

/// A venue.
pub type View = Kept<VenueId, Fields>;

/// A page of venues.
pub type Page = page::Page<View>;
