//! Venues over HTTP.

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::ClubAdmin;
use crate::platform::routed::plain_routes;

plain_routes! {
    "venues" at "/v1/clubs/{club_id}/venues", "venue_id", written by ClubAdmin;
    /// Creates a venue.
    create_venue;
    /// Reads a venue.
    get_venue: "The venue";
    /// Changes a venue (merge patch).
    update_venue or "Another record of the club has this name";
    /// Deletes a venue.
    delete_venue or "Sessions are held there";
    /// Lists the venues, oldest first.
    list_venues;
}
