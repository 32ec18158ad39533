//! The same trespasses by the change feed: every type and method, item by item.

use std::collections::HashSet;
use std::sync::Arc;

use chrono::Utc;
use serde_json::{Map, Value, json};
use uuid::Uuid;

use crate::fixtures;
use crate::foreign::{Foreign, foreign_ids, snapshot, unchanged};
use crate::full;
use crate::people::Person;
use crate::report::{Flaw, Report};
use crate::send::{Ask, all};
use crate::world::{Place, World};

/// The types of the feed: the schema that the document gives a sync policy, the word in a push, the id in paths.
pub const TYPES: &[(&str, &str, &str)] = &[
    ("AgeGroup", "age_group", "age_group_id"),
    ("Assessment", "assessment", "assessment_id"),
    ("Athlete", "athlete", "athlete_id"),
    ("Attendance", "attendance", ""),
    ("BarrierConfiguration", "barrier_configuration", "barrier_configuration_id"),
    ("Club", "club", "club_id"),
    ("CoachDecision", "decision", "decision_id"),
    ("Equipment", "equipment", "equipment_id"),
    ("Group", "group", "group_id"),
    ("LanePlan", "lane_plan", "lane_plan_id"),
    ("Measurement", "measurement", "measurement_id"),
    ("OwnCompetitionSpec", "competition_spec", "competition_spec_id"),
    ("RaceEntry", "race_entry", ""),
    ("RaceResult", "race_result", "race_result_id"),
    ("RaceTest", "race_test", "race_test_id"),
    ("Run", "run", "run_id"),
    ("Session", "session", "session_id"),
    ("Venue", "venue", "venue_id"),
    ("WellbeingRecord", "wellbeing_record", "wellbeing_record_id"),
    ("", "group_membership", ""),
];

/// Valid data of a type in a place.
pub async fn data(world: &World, kind: &str, place: &Place) -> Value {
    let body = |operation: &str| fixtures::body(world, operation, place).unwrap();
    let with = |mut value: Value, name: &str, id: &str| {
        value[name] = json!(place.id(id));
        value
    };
    let mut value = match kind {
        "attendance" => json!({"session_id": place.id("session_id"), "athlete_id": place.id("athlete_id")}),
        "group_membership" => json!({"group_id": place.id("group_id"), "athlete_id": place.id("athlete_id")}),
        "race_entry" => with(json!({"athlete_id": place.id("athlete_id")}), "race_test_id", "race_test_id"),
        "club" => body("update_club"),
        "run" => body("create_runs")["runs"][0].take(),
        "assessment" => body("create_assessments")["assessments"][0].take(),
        "wellbeing_record" => body("create_wellbeing_records")["wellbeing_records"][0].take(),
        "race_result" => with(body("create_race_results")["results"][0].take(), "race_test_id", "race_test_id"),
        "measurement" => with(body("create_measurement"), "athlete_id", "athlete_id"),
        "decision" => with(body("create_decision"), "athlete_id", "athlete_id"),
        "lane_plan" => {
            let path = place.fill("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{lane_plan_id}");
            let who = if place.name == "south" { "south admin" } else { "admin" };
            Ask::new("GET", &path).by(world.person(who)).send(world).await.expect(200).json()
        }
        other => body(&format!("create_{other}")),
    };
    value.as_object_mut().unwrap().retain(|name, _| !matches!(name.as_str(), "id" | "rev" | "measurements"));
    value
}

/// The id of a new record of a type: of a pair it follows from the two.
pub fn new_id(kind: &str, data: &Value) -> Uuid {
    let part = |name: &str| data[name].as_str().and_then(|text| Uuid::parse_str(text).ok()).unwrap_or_default();
    match kind {
        "attendance" => Uuid::new_v5(&part("session_id"), part("athlete_id").as_bytes()),
        "group_membership" => Uuid::new_v5(&part("group_id"), part("athlete_id").as_bytes()),
        _ => Uuid::now_v7(),
    }
}

/// A push of these items, from a phone of its own.
pub fn push(who: &Person, club: &str, items: &[Value]) -> Ask {
    let body = json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": Utc::now(), "items": items});
    Ask::new("POST", &format!("/v1/clubs/{club}/changes")).named("push_changes").by(who).json(&body)
}

/// An item that creates.
pub fn create(kind: &str, id: &str, data: &Value) -> Value {
    json!({"op_id": Uuid::now_v7(), "method": "PUT", "type": kind, "id": id, "if_none_match": "*", "data": data})
}

/// Pointers to every id in a value.
fn id_places(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(name, inner)| id_places(inner, &format!("{at}/{name}"), found));
        }
        Value::Array(list) => {
            // One of a list stands for all.
            list.iter().take(1).for_each(|inner| id_places(inner, &format!("{at}/0"), found));
        }
        Value::String(text) if Uuid::parse_str(text).is_ok() => found.push(at.to_owned()),
        _ => {}
    }
}

/// What is done with one foreign id.
struct Attempt {
    what: String,
    /// Attempts that must be answered alike when the id is hidden.
    series: String,
    foreign: Foreign,
    item: Value,
    /// Whether the id is that of a new record.
    new: bool,
}

fn attempts(kind: &str, data: &Value, ids: &[Foreign]) -> Vec<Attempt> {
    let mut found = Vec::new();
    let mut add = |series: String, foreign: &Foreign, item: Value, new: bool| {
        let what = format!("{series} {}", foreign.from);
        found.push(Attempt { what, series, foreign: foreign.clone(), item, new });
    };
    let mut places = Vec::new();
    id_places(data, "", &mut places);
    for one in ids {
        add(format!("PUT {kind} as new"), one, create(kind, &one.id, data), true);
        // To put a fact is always to make it.
        let fact =
            matches!(kind, "run" | "assessment" | "decision" | "race_result" | "measurement" | "wellbeing_record");
        let edits = [("PUT", true), ("PATCH", true), ("DELETE", false)];
        for (method, carries) in edits.into_iter().filter(|(method, _)| !fact || *method != "PUT") {
            let mut item = json!({"op_id": Uuid::now_v7(), "method": method, "type": kind, "id": one.id});
            item[if kind == "athlete" && method == "PATCH" { "base_rev" } else { "if_match" }] = json!(1);
            if carries || kind == "group_membership" {
                item["data"] = data.clone();
            }
            add(format!("{method} {kind}"), one, item, false);
        }
        for place in &places {
            let mut changed = data.clone();
            *changed.pointer_mut(place).unwrap() = json!(one.id);
            let item = create(kind, &new_id(kind, &changed).to_string(), &changed);
            add(format!("PUT {kind} {place}"), one, item, false);
        }
    }
    found
}

/// How a result is compared.
fn likeness(result: &Value) -> String {
    let mut shown: Map<String, Value> = result.as_object().cloned().unwrap_or_default();
    shown.retain(|name, _| !matches!(name.as_str(), "op_id" | "rev"));
    if let Some(problem) = shown.get_mut("problem").and_then(Value::as_object_mut) {
        problem.remove("instance");
    }
    crate::text::without_ids(Value::Object(shown).to_string().as_bytes())
}

fn judge(report: &Report, name: &str, attempts: &[Attempt], results: &[Value]) {
    for (attempt, result) in attempts.iter().zip(results) {
        let status = result["status"].as_u64().unwrap_or_default();
        let what = || format!("{} by {name}: {}", attempt.what, crate::text::short(&result.to_string(), 300));
        if status >= 500 || status == 0 {
            report.found(Flaw::Broken, what());
        }
        if !attempt.foreign.hidden {
            continue;
        }
        if !attempt.new && (result["current"].is_object() || result["conflicts"].is_array()) {
            report.found(Flaw::Leak, what());
        }
        let unknown =
            attempts.iter().position(|other| other.series == attempt.series && other.foreign.from == "unknown");
        let unknown = &results[unknown.unwrap()];
        let told = likeness(unknown) != likeness(result);
        // A new id that is taken cannot be answered like one that is free; it must say nothing more.
        if attempt.new {
            if result["current"].is_object() || result["conflicts"].is_array() {
                report.found(Flaw::Leak, what());
            }
        } else if told {
            let flaw = if status < 202 && unknown["status"].as_u64() >= Some(202) {
                Flaw::WrongAllow
            } else {
                Flaw::ToldApart
            };
            report.found(flaw, format!("{} but unknown {}", what(), crate::text::short(&unknown.to_string(), 300)));
        }
    }
}

/// Deletes what was made under foreign ids: what had the ids before stays.
async fn undo(world: &Arc<World>, report: &Arc<Report>, who: &Person, club: &str, items: &[Value], results: &[Value]) {
    let made = items.iter().zip(results).filter(|(_, result)| result["status"] == 201);
    let deletes: Vec<Value> = made
        .map(|(item, result)| {
            json!({"op_id": Uuid::now_v7(), "method": "DELETE", "type": item["type"], "id": item["id"], "if_match": result["rev"]})
        })
        .collect();
    if !deletes.is_empty() {
        all(world, report, vec![push(who, club, &deletes).noted("undo")]).await;
    }
}

async fn trespass(world: &Arc<World>, report: &Arc<Report>, name: &str, home: &str) -> usize {
    let (who, place) = (world.person(name).clone(), world.place(home).clone());
    let ids: Vec<Foreign> = foreign_ids(world, &who).into_iter().filter(|one| one.from != "no id").collect();
    let before = snapshot(world, report, &who).await;
    let mut count = 0;
    // New records with foreign ids come last: from then on the ids are known.
    let turns = [false, true].into_iter().flat_map(|new| TYPES.iter().map(move |kind| (new, kind)));
    for (turn, (new, (_, kind, param))) in turns.enumerate() {
        let data = data(world, kind, &place).await;
        let own = crate::foreign::kind(param);
        let few = |at: usize, one: &Foreign| {
            let other = new && one.from.starts_with("other ");
            other || one.kind == own || one.kind.is_empty() || (at + turn).is_multiple_of(13)
        };
        let ids: Vec<Foreign> =
            ids.iter().enumerate().filter(|(at, one)| full() || few(*at, one)).map(|(_, one)| one.clone()).collect();
        let mut attempts = attempts(kind, &data, &ids);
        let mut known = HashSet::new();
        attempts.retain(|one| one.new == new && (!new || known.insert(one.foreign.id.clone())));
        count += attempts.len();
        // Each series in one push, so that what it is compared with is in it.
        attempts.sort_by(|a, b| a.series.cmp(&b.series));
        for series in attempts.chunk_by(|a, b| a.series == b.series) {
            let items: Vec<Value> = series.iter().map(|one| one.item.clone()).collect();
            let ask = push(&who, place.id("club_id"), &items).noted(&series[0].series);
            let (_, answer) = all(world, report, vec![ask]).await.remove(0);
            match answer.json()["results"].as_array() {
                Some(results) if results.len() == series.len() => {
                    judge(report, name, series, results);
                    if new {
                        undo(world, report, &who, place.id("club_id"), &items, results).await;
                    }
                }
                _ => report.found(Flaw::WrongRefusal, format!("{} by {name}: {}", series[0].series, answer.text())),
            }
        }
        if full() {
            let after = snapshot(world, report, &who).await;
            unchanged(report, &format!("pushes of {kind} by {name}"), &before, &after);
        }
    }
    let after = snapshot(world, report, &who).await;
    unchanged(report, &format!("all pushes by {name}"), &before, &after);
    count
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_id_of_elsewhere_opens_nothing_in_any_push() {
    let report = Arc::new(Report::new("foreign ids by push"));
    let callers = [("coach", "own"), ("leaver", "own"), ("viewer", "own"), ("south admin", "south")];
    let mut count = 0;
    for (name, home) in callers.into_iter().take(if full() { 4 } else { 2 }) {
        // Each in a world of their own: what one made is known to the next.
        let world = Arc::new(World::make().await);
        count += trespass(&world, &report, name, home).await;
    }
    report.figure("items", count);
    report.figure("types", TYPES.len());
    Arc::into_inner(report).unwrap().close();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_type_of_the_feed_is_pushed() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("feed types")));
    for schema in world.service.document.synced() {
        report.asked();
        if TYPES.iter().all(|(known, _, _)| *known != schema) {
            report.found(Flaw::WrongRefusal, format!("{schema}: no row in tests/hostile/pushes.rs"));
        }
    }
    let (admin, place) = (world.person("admin").clone(), world.place("own").clone());
    for (_, kind, _) in TYPES {
        let data = data(&world, kind, &place).await;
        let item = create(kind, &new_id(kind, &data).to_string(), &data);
        let ask = push(&admin, place.id("club_id"), &[item]).noted(kind);
        let (_, answer) = all(&world, &report, vec![ask]).await.remove(0);
        let result = &answer.json()["results"][0];
        let status = result["status"].as_u64().unwrap_or_default();
        let read_only = matches!(*kind, "club" | "race_entry");
        if (read_only && status != 422) || (!read_only && !matches!(status, 200 | 201)) {
            report.found(Flaw::WrongRefusal, format!("{kind}: {}", answer.text()));
        }
    }
    Arc::into_inner(report).unwrap().close();
}
