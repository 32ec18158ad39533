//! Age groups over HTTP.

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::ClubAdmin;
use crate::platform::routed::plain_routes;

plain_routes! {
    "age_groups" at "/v1/clubs/{club_id}/age-groups", "age_group_id", written by ClubAdmin;
    /// Creates an age group of the club's own. From `valid_from` on it replaces a published group of the same rule set and code.
    create_age_group;
    /// Reads an age group of the club's own.
    get_age_group: "The age group";
    /// Changes an age group of the club's own (merge patch).
    update_age_group or "It would overlap another of the rule set";
    /// Deletes an age group of the club's own.
    delete_age_group;
    /// Lists the age groups, oldest first.
    list_age_groups;
}
