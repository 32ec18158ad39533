//! Venues as phones carry them.

use super::model::Venue;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::ids::VenueId;
use crate::platform::ops::plain_records;

plain_records!("venue", Venue, "venue_id", Venue, VenueId, |fields: Fields| fields.parse());
