//! A valid body for every operation that takes one: the only table, beside the rules, that a new operation needs.

use chrono::{Duration, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::people::PASSWORD;
use crate::world::{Place, Scope, World};

/// What a place is furnished with, in order: the name of the id, and the operation that makes it.
pub const ORDER: [(&str, &str); 23] = [
    ("venue_id", "create_venue"),
    ("equipment_id", "create_equipment"),
    ("barrier_configuration_id", "create_barrier_configuration"),
    ("age_group_id", "create_age_group"),
    ("competition_spec_id", "create_competition_spec"),
    ("athlete_id", "create_athlete"),
    ("measurement_id", "create_measurement"),
    ("session_id", "create_session"),
    ("", "set_attendance"),
    ("run_id", "create_runs"),
    ("assessment_id", "create_assessments"),
    ("wellbeing_record_id", "create_wellbeing_records"),
    ("decision_id", "create_decision"),
    ("lane_plan_id", "create_lane_plan"),
    ("link_id", "create_session_link"),
    ("feed_id", "create_calendar_feed"),
    ("race_test_id", "create_race_test"),
    ("", "set_race_entries"),
    ("", "create_race_heats"),
    ("race_result_id", "create_race_results"),
    ("invitation_id", "create_invitation"),
    ("app_id", "create_app"),
    ("export_id", "create_export"),
];

/// What is deleted of a place that is gone, children first.
pub const DELETED: [&str; 5] =
    ["delete_measurement", "delete_lane_plan", "delete_race_test", "delete_session", "delete_athlete"];

fn groups(place: &Place) -> Vec<&str> {
    let mut groups = vec![place.id("group_id")];
    groups.extend(place.ids.get("other_group_id").map(String::as_str));
    groups
}

/// Who takes part, and who may see what is said about each: a shared session has athletes of both groups.
fn cast(place: &Place) -> Vec<(&str, Scope)> {
    [("athlete_id", place.scope), ("own_athlete_id", Scope::Own), ("other_athlete_id", Scope::Other)]
        .into_iter()
        .filter_map(|(name, scope)| Some((place.ids.get(name)?.as_str(), scope)))
        .collect()
}

fn athletes(place: &Place) -> Vec<&str> {
    cast(place).into_iter().map(|(athlete, _)| athlete).collect()
}

/// A record about each who takes part, with an id of its own.
fn of_each(world: &World, place: &Place, one: impl Fn(Uuid, &str, String) -> Value) -> Vec<Value> {
    cast(place).into_iter().map(|(athlete, scope)| one(Uuid::now_v7(), athlete, world.mark(scope))).collect()
}

/// The query that an operation cannot do without and that the document does not mark as required.
pub fn query(operation: &str, place: &Place) -> Option<(&'static str, String)> {
    match operation {
        "list_applicable_specs" => Some(("athlete_id", place.id("athlete_id").to_owned())),
        "create_import" => Some(("group_id", place.id("group_id").to_owned())),
        _ => None,
    }
}

/// The valid body of an operation in a place; text when it is not JSON.
pub fn body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    account_body(world, operation, place)
        .or_else(|| club_body(world, operation, place))
        .or_else(|| squad_body(world, operation, place))
        .or_else(|| training_body(world, operation, place))
        .or_else(|| race_body(world, operation, place))
        .or_else(|| calculator_body(operation))
        .or_else(|| sync_body(world, operation, place))
}

fn account_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    let fresh = Uuid::now_v7().simple();
    let outside = if place.scope == Scope::South { Scope::South } else { Scope::Admin };
    Some(match operation {
        "sign_up" => json!({"email": format!("{fresh}@new.example"), "password": PASSWORD, "display_name": "New"}),
        "sign_in" => json!({"email": world.person("stranger").email, "password": PASSWORD}),
        "refresh" | "sign_out" => json!({"refresh_token": "AAAA"}),
        "request_password_reset" => json!({"email": format!("{fresh}@new.example")}),
        "reset_password" => json!({"token": "AAAA", "new": PASSWORD}),
        "confirm_address" | "accept_invitation" => json!({"token": "AAAA"}),
        "change_email" => json!({"email": format!("{fresh}@new.example"), "password": PASSWORD}),
        "set_language" => json!({"language": "en"}),
        "confirm_second_factor" | "check_second_factor" | "renew_recovery_codes" => json!({"code": "123456"}),
        "remove_second_factor" => json!({"password": PASSWORD, "code": "123456"}),
        "rename_device" => json!({"name": "Tablet"}),
        "begin_second_factor" | "delete_account" | "request_club_deletion" => json!({"password": PASSWORD}),
        "update_retention" => json!({"runs_days": 1200}),
        "set_club_security" => json!({"admins_second_factor": false}),
        "change_password" => json!({"current": PASSWORD, "new": PASSWORD}),
        "create_club" => json!({"name": "Another", "time_zone": "Europe/London", "ruleset": "UKA"}),
        "create_invitation" => {
            json!({"email": format!("{}.{fresh}@guests.example", world.mark(outside)), "role": "viewer", "group_ids": groups(place)})
        }
        "create_app" | "update_app" => {
            json!({"name": world.mark(outside), "redirect_uris": [crate::apps::BACK], "scopes": ["squad.read", "sync"]})
        }
        // The name of an athlete, of whom an archive is made.
        "create_import" => json!(world.mark(place.scope)),
        "create_export" => json!({"id": Uuid::now_v7(), "athlete_id": place.id("athlete_id")}),
        "fetch_app_token" => json!(format!("grant_type=refresh_token&client_id={}&refresh_token=AAAA", "A".repeat(43))),
        "revoke_app_token" => json!(format!("client_id={}&token=AAAA", "A".repeat(43))),
        _ => return None,
    })
}

fn club_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    let scope = if place.scope == Scope::South { Scope::South } else { Scope::Club };
    let id = Uuid::now_v7();
    let mut body = match operation {
        "update_club" => json!({"spacing_step_m": 0.25}),
        "update_member" => json!({"role": "viewer", "group_ids": [place.id("group_id")]}),
        "create_group" => json!({"id": id, "name": format!("Group {id}")}),
        "update_group" => json!({"season": "2026"}),
        "turn_groups" => {
            json!({"moves": [{"to_group_id": place.id("group_id"), "athlete_ids": [place.id("athlete_id")]}],
                "groups": [{"group_id": place.id("group_id"), "season": "2026"}]})
        }
        "create_venue" | "update_venue" => {
            json!({"id": id, "name": format!("{} {id}", world.mark(scope)), "environment": "outdoor", "straight_m": 80, "lanes": 6})
        }
        "create_equipment" | "update_equipment" => {
            json!({"id": id, "barrier_kind": "wicket", "heights_m": [0.3], "count": 20, "note": world.mark(scope)})
        }
        "create_barrier_configuration" | "update_barrier_configuration" => {
            json!({"id": id, "name": format!("{} {id}", world.mark(scope)), "barrier_kind": "wicket", "height_m": 0.3,
                "spacing_m": 6, "approach_m": 12, "barriers": 5})
        }
        "create_age_group" | "update_age_group" => {
            json!({"id": id, "ruleset": "X", "age_group": id.simple().to_string(), "rule": "end_of_year", "min_age": 11, "max_age": 12,
                "valid_from": "2026-01-01", "source": world.mark(scope)})
        }
        "adopt_competition_specs" => {
            json!({"from": "WA", "valid_from": "2026-01-01", "age_groups": [{"from": "U18", "to": id.simple().to_string()}]})
        }
        "create_competition_spec" | "update_competition_spec" => {
            json!({"id": id, "ruleset": "X", "event_code": "60H", "environment": "indoor", "sex": "X",
                "age_group": id.simple().to_string(), "race_distance_m": 60, "barriers": 6, "height_m": 0.6, "to_first_m": 12,
                "between_m": 7, "run_in_m": 13, "valid_from": "2026-01-01", "source": world.mark(scope)})
        }
        _ => return None,
    };
    if operation.starts_with("update_") {
        body.as_object_mut().unwrap().remove("id");
    }
    Some(body)
}

fn squad_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    let id = Uuid::now_v7();
    Some(match operation {
        "create_athlete" => {
            json!({"id": id, "display_name": format!("{} Osei", world.mark(place.scope)), "sex": "F", "birth_date": "2012-05-17",
                "group_ids": groups(place), "experience": "novice",
                "measurements": [{"kind": "stature_m", "value": 1.52, "measured_on": world.day}]})
        }
        "create_consent" => {
            json!({"id": Uuid::now_v7(), "purpose": "sharing_with_apps", "act": "given", "on": "2026-09-01", "by": "guardian"})
        }
        "update_athlete" => json!({"preferred_lead_leg": "left"}),
        "import_athletes" | "import_athletes_xlsx" => {
            json!("display_name,sex,birth_date,groups,experience,stature_m\nMira Osei,F,2013-05-17,,novice,1.52\n")
        }
        "create_measurement" => {
            json!({"id": id, "kind": "leg_length_m", "value": 0.8, "measured_on": measured_on(world, id),
                "confirmed": true})
        }
        _ => return None,
    })
}

/// A day of its own for each measurement.
fn measured_on(world: &World, id: Uuid) -> chrono::NaiveDate {
    world.day - Duration::days(i64::try_from(id.as_u128() % 3_000).unwrap())
}

fn training_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    let (id, day) = (Uuid::now_v7(), world.day);
    Some(match operation {
        "create_session" => {
            json!({"id": id, "held_on": day, "state": "held", "group_ids": groups(place), "venue_id": place.id("venue_id"),
                "weather_note": world.mark(place.scope), "note": world.mark(place.scope), "blocks": [{"stage": "lead_leg", "drill": "Walk over", "note": world.mark(place.scope)}]})
        }
        "create_session_link" | "create_calendar_feed" => json!({}),
        "update_session" => json!({"weather_note": "Dry"}),
        "set_attendance" => json!({"present": athletes(place)}),
        "create_runs" => {
            let run = |id: Uuid, athlete: &str, note: String| {
                json!({"id": id, "session_id": place.id("session_id"), "athlete_id": athlete,
                    "run_at": format!("{day}T12:00:00Z"), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.0,
                    "barriers": 5, "intervals": {"held": 4}, "hits": 0, "fell": false,
                    "touchdown_times_s": [2.6, 3.7, 4.8, 5.9, 7.0], "timing_method": "video", "video_fps": 120, "note": note})
            };
            json!({"runs": of_each(world, place, run)})
        }
        "create_assessments" => {
            let one = |id: Uuid, athlete: &str, note: String| {
                json!({"id": id, "athlete_id": athlete, "assessed_at": format!("{day}T12:30:00Z"),
                    "session_id": place.id("session_id"), "ratings": {"arms": 1, "rhythm": 2}, "note": note})
            };
            json!({"assessments": of_each(world, place, one)})
        }
        "create_wellbeing_records" => {
            // Over long ago: the athlete goes on running. It has no text, so nothing to mark.
            let one = |id: Uuid, athlete: &str, _: String| {
                json!({"id": id, "athlete_id": athlete, "kind": "restriction", "reported_on": "2020-01-01",
                    "reported_by": "coach", "until": "2020-01-02"})
            };
            json!({"wellbeing_records": of_each(world, place, one)})
        }
        "create_decision" => {
            json!({"id": id, "on": day, "outcome": "overridden", "reason": world.mark(place.scope), "barrier_kind": "wicket",
                "height_m": 0.3, "spacing_m": 6.0})
        }
        "create_lane_plan" => {
            json!({"id": id, "lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80,
                "athlete_ids": athletes(place), "time_limit_s": 0.05})
        }
        _ => return None,
    })
}

fn race_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    let id = Uuid::now_v7();
    Some(match operation {
        "create_race_test" => {
            json!({"id": id, "session_id": place.id("session_id"), "name": world.mark(place.scope), "state": "held",
                "timing_method": "video", "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5, "approach_m": 11,
                "spacing_m": 6.5}})
        }
        "update_race_test" => json!({"state": "held"}),
        "set_race_entries" => json!({"athlete_ids": athletes(place), "coach_accepts": athletes(place)}),
        "create_race_heats" => json!({"lanes": 4, "seed": 7}),
        "create_race_results" => {
            let one = |id: Uuid, athlete: &str, note: String| {
                json!({"id": id, "athlete_id": athlete, "status": "finished", "final_time_s": 9.8, "timing_method": "video",
                    "video_fps": 120, "note": note})
            };
            json!({"results": of_each(world, place, one)})
        }
        _ => return None,
    })
}

fn calculator_body(operation: &str) -> Option<Value> {
    let times = [2.62, 3.73, 4.83, 5.95, 7.05];
    Some(match operation {
        "analyse_rhythm" => {
            json!({"spacing_m": 8.0, "timing_method": "video", "video_fps": 120, "touchdown_times_s": times})
        }
        "forecast_final_time" => {
            json!({"event_code": "100H", "timing_method": "video", "video_fps": 120, "touchdown_times_s": times})
        }
        _ => return None,
    })
}

fn sync_body(world: &World, operation: &str, place: &Place) -> Option<Value> {
    Some(match operation {
        "push_changes" => {
            let mut run = training_body(world, "create_runs", place).unwrap()["runs"][0].take();
            let id = run.as_object_mut().unwrap().remove("id").unwrap();
            let item = json!({"op_id": Uuid::now_v7(), "method": "PUT", "type": "run", "id": id, "if_none_match": "*", "data": run});
            json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": Utc::now(), "items": [item]})
        }
        "accept_held_item" => json!({"session_id": place.id("session_id")}),
        "reject_held_item" => json!({"reason": "A test"}),
        _ => return None,
    })
}
