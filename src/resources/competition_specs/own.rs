//! A club's own competition specifications over HTTP.

use super::shapes::{Fields, New, Page, View};
use super::store;
use super::sync::Edits;
use crate::platform::access::ClubAdmin;
use crate::platform::routed::plain_routes;

plain_routes! {
    "competition_specs" at "/v1/clubs/{club_id}/competition-specs", "competition_spec_id", written by ClubAdmin;
    /// Creates a competition specification of the club's own. From `valid_from` on it replaces a published one of
    /// the same rule set, event, environment, sex and age group. Start, spacings and run-in must add up to the distance.
    create_competition_spec;
    /// Reads a competition specification of the club's own.
    get_competition_spec: "The competition specification";
    /// Changes a competition specification of the club's own (merge patch).
    update_competition_spec or "It would overlap another of the rule set";
    /// Deletes a competition specification of the club's own.
    delete_competition_spec;
    /// Lists the competition specifications of the club's own, oldest first.
    list_competition_specs;
}
