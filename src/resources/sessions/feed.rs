//! Sessions as a calendar (RFC 5545).
//!
//! A session has a day in its club and no hour, so each is an event of a whole day: a date without a time is the same day for
//! whoever looks at it, in whatever time zone (section 3.3.4), and needs none. Times of their own, such as the stamp, are in UTC.

use chrono::{DateTime, Utc};
use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};

use super::feed_store::Names;
use super::model::{Session, State};
use super::store::StoredSession;
use crate::resources::advice::Block;

/// How often a calendar should ask again: sessions change by the day (design choice).
const AGAIN: &str = "PT4H";

/// What is done, one drill a line; it names nobody, and notes stay with coaches.
fn drills(session: &Session) -> String {
    let line = |block: &Block| match block.minutes {
        Some(minutes) => format!("{} ({minutes} min)", block.drill),
        None => block.drill.clone(),
    };
    session.blocks.iter().map(line).collect::<Vec<_>>().join("\n")
}

fn event(stored: &StoredSession, names: &Names, now: DateTime<Utc>) -> Option<Event> {
    let session = &stored.value;
    let groups: Vec<&str> =
        session.groups.iter().filter_map(|group| names.groups.get(&group.0)).map(String::as_str).collect();
    let mut event = Event::new();
    event
        .uid(&stored.id.to_string())
        .timestamp(now)
        .sequence(u32::try_from(stored.rev).unwrap_or(u32::MAX).min(i32::MAX.cast_unsigned()))
        .starts(session.held_on)
        // The day after the last one (section 3.6.1).
        .ends(session.held_on.succ_opt()?)
        .summary(&format!("Training: {}", groups.join(", ")))
        .status(if session.state == State::Cancelled { EventStatus::Cancelled } else { EventStatus::Confirmed })
        .add_property("TRANSP", "TRANSPARENT");
    let drills = drills(session);
    if !drills.is_empty() {
        event.description(&drills);
    }
    if let Some(venue) = session.venue.and_then(|venue| names.venues.get(&venue.0)) {
        event.location(venue);
    }
    Some(event.done())
}

/// The calendar of some sessions, stamped with the moment it is made.
pub fn calendar(sessions: &[StoredSession], names: &Names, now: DateTime<Utc>) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", "-//Lanewright//Sessions//EN"))
        .append_property(Property::new("CALSCALE", "GREGORIAN"))
        .append_property(Property::new("METHOD", "PUBLISH"))
        // Newer than what is escaped by its name alone.
        .append_property(Property::new("NAME", &names.club).add_parameter("VALUE", "TEXT").done())
        .append_property(Property::new("REFRESH-INTERVAL", AGAIN).add_parameter("VALUE", "DURATION").done());
    calendar.extend(sessions.iter().filter_map(|one| event(one, names, now)));
    calendar.to_string()
}
