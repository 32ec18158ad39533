//! What people record, as JSON.

use chrono::{NaiveDate, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

/// An item with an operation of its own.
pub fn item(method: &str, kind: &str, id: &str, more: Value) -> Value {
    with(json!({"op_id": Uuid::now_v7(), "method": method, "type": kind, "id": id}), &more)
}

/// An item that creates a record with an id of its own.
pub fn create(kind: &str, data: Value) -> Value {
    item("PUT", kind, &Uuid::now_v7().to_string(), json!({"if_none_match": "*", "data": data}))
}

/// These items as the body of a push.
pub fn batch(items: &[Value]) -> Value {
    json!({"device_id": Uuid::nil(), "schema": 1, "sent_at": Utc::now(), "items": items})
}

/// The object with these fields as well.
pub fn with(mut object: Value, more: &Value) -> Value {
    object.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    object
}

/// The text of a field.
pub fn text(value: &Value, field: &str) -> String {
    value[field].as_str().unwrap_or_else(|| panic!("no {field} in {value}")).to_owned()
}

/// The id of the pair of an athlete and a session or group.
pub fn pair(of: &str, athlete: &str) -> String {
    Uuid::new_v5(&of.parse().unwrap(), athlete.parse::<Uuid>().unwrap().as_bytes()).to_string()
}

pub fn person(name: &str, group: &str) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"})
}

pub fn session(day: NaiveDate, group: &str) -> Value {
    json!({"held_on": day, "state": "held", "group_ids": [group]})
}

pub fn venue(name: &str) -> Value {
    json!({"name": name, "environment": "outdoor", "straight_m": 80, "lanes": 4})
}

pub fn run(session: &str, athlete: &str, day: NaiveDate) -> Value {
    json!({"session_id": session, "athlete_id": athlete, "run_at": format!("{day}T17:00:00Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "hits": 0, "fell": false,
        "intervals": {"held": 4}})
}

pub fn rating(session: &str, athlete: &str, day: NaiveDate) -> Value {
    json!({"athlete_id": athlete, "session_id": session, "assessed_at": format!("{day}T18:00:00Z"),
        "ratings": {"arms": 2}})
}

/// A restriction that was over long ago.
pub fn rested(athlete: &str) -> Value {
    json!({"athlete_id": athlete, "kind": "restriction", "reported_on": "2020-01-01", "until": "2020-01-02"})
}

pub fn measured(athlete: &str, day: NaiveDate) -> Value {
    json!({"athlete_id": athlete, "kind": "sprint_30m_s", "value": 5.1, "measured_on": day})
}
