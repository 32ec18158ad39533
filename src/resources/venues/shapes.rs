//! The JSON of venues.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Venue;
use super::store::StoredVenue;
use crate::platform::fault::Fault;
use crate::platform::ids::VenueId;
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// A venue as sent by a client.
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
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewVenue, example = json!({"name": "Harbour Park", "environment": "outdoor", "straight_m": 110, "lanes": 6, "surface": "synthetic"}))]
pub struct New {
    /// Client-made UUID (version 7); makes the create repeatable.
    pub id: Option<VenueId>,
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
    #[schema(min_length = 1, max_length = 60, example = "synthetic")]
    pub surface: Option<String>,
}

impl New {
    /// The id, and the fields without it.
    pub fn split(self) -> (VenueId, Fields) {
        let fields = Fields {
            name: self.name,
            environment: self.environment,
            straight_m: self.straight_m,
            lanes: self.lanes,
            surface: self.surface,
        };
        (self.id.unwrap_or_else(VenueId::new), fields)
    }
}

/// A venue.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Venue)]
pub struct View {
    /// The id.
    pub id: VenueId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The venue.
    #[serde(flatten)]
    pub fields: Fields,
}

impl From<&StoredVenue> for View {
    fn from(stored: &StoredVenue) -> Self {
        Self { id: stored.id, rev: stored.rev, fields: (&stored.value).into() }
    }
}

/// A page of venues.
pub type Page = page::Page<View>;
