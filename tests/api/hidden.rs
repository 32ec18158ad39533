//! What is hidden is answered like what never was: status, headers, body and all, by every route and every item of a push.

use reqwest::Method;
use serde_json::{Map, Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller};
use crate::sync_pull::run;
use crate::sync_push::{create, item, push};
use crate::visibility::{Shared, shared};

/// The types that are filed, not edited.
const FACTS: [&str; 6] = ["run", "assessment", "measurement", "decision", "race_result", "wellbeing_record"];

/// One record of each kind that only the other group sees, by the word of its path parameter and type.
struct Targets {
    kinds: Vec<(&'static str, &'static str, String)>,
}

impl Targets {
    fn id(&self, param: &str) -> &str {
        &self.kinds.iter().find(|(one, ..)| *one == param).unwrap_or_else(|| panic!("no {param}")).2
    }

    /// Those that phones push: secret addresses are none of them.
    fn pushed(&self) -> impl Iterator<Item = &(&'static str, &'static str, String)> {
        self.kinds.iter().filter(|(param, ..)| !["link_id", "feed_id"].contains(param))
    }

    /// The same kinds under ids that name nothing.
    fn unknown(&self) -> Self {
        let mut new = Self {
            kinds: self.kinds.iter().map(|(param, kind, _)| (*param, *kind, Uuid::now_v7().to_string())).collect(),
        };
        let present = derived(new.id("session_id"), new.id("athlete_id"));
        new.kinds.iter_mut().filter(|(param, ..)| *param == "attendance_id").for_each(|one| one.2.clone_from(&present));
        new
    }
}

async fn targets(admin: &Caller, group: &str, athlete: &str, day: chrono::NaiveDate) -> Targets {
    let mut kinds = vec![("group_id", "group", group.to_owned()), ("athlete_id", "athlete", athlete.to_owned())];
    let session = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let session = admin.post("/sessions", session).await.expect(201).id();
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": [athlete]})).await.expect(200);
    kinds.push(("attendance_id", "attendance", derived(&session, athlete)));
    let measured = json!({"kind": "stature_m", "value": 1.61, "measured_on": day});
    let measured = admin.post(&format!("/athletes/{athlete}/measurements"), measured).await.expect(201);
    kinds.push(("measurement_id", "measurement", measured.id()));
    let plan = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [athlete]});
    let plan = admin.post(&format!("/sessions/{session}/lane-plans"), plan).await.expect(201);
    kinds.push(("lane_plan_id", "lane_plan", plan.id()));
    let race = json!({"session_id": session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
        "approach_m": 11, "spacing_m": 6.5}});
    let race = admin.post("/race-tests", race).await.expect(201);
    kinds.push(("race_test_id", "race_test", race.id()));
    let fact = run(&session, athlete, day);
    kinds.push(("run_id", "run", fact["id"].as_str().unwrap().to_owned()));
    admin.post("/runs", json!({"runs": [fact]})).await.expect(200);
    let rating = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "assessed_at": format!("{day}T12:00:00Z"), "ratings": {"arms": 1}});
    kinds.push(("assessment_id", "assessment", rating["id"].as_str().unwrap().to_owned()));
    admin.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
    let rested = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "kind": "restriction", "reported_on": "2020-01-01",
        "until": "2020-01-02"});
    kinds.push(("wellbeing_record_id", "wellbeing_record", rested["id"].as_str().unwrap().to_owned()));
    admin.post("/wellbeing-records", json!({"wellbeing_records": [rested]})).await.expect(200);
    let decided =
        admin.post(&format!("/athletes/{athlete}/recommendation/decisions"), json!({"outcome": "accepted"})).await;
    kinds.push(("decision_id", "decision", decided.expect(201).id()));
    let result = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "status": "finished", "final_time_s": 9.9});
    kinds.push(("race_result_id", "race_result", result["id"].as_str().unwrap().to_owned()));
    admin.post(&format!("/race-tests/{}/results", race.id()), json!({"results": [result]})).await.expect(200);
    let link = admin.post(&format!("/sessions/{session}/links"), json!({})).await.expect(201);
    kinds.push(("link_id", "link", link.id()));
    let feed = admin.post("/calendar-feeds", json!({})).await.expect(201);
    kinds.push(("feed_id", "calendar_feed", feed.id()));
    kinds.push(("session_id", "session", session));
    Targets { kinds }
}

/// Takes the ids of requests out of problems, wherever they stand.
fn nameless(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            fields.remove("instance");
            fields.values_mut().for_each(nameless);
        }
        Value::Array(list) => list.iter_mut().for_each(nameless),
        _ => {}
    }
}

/// An answer without what differs by nature: the ids that were sent, the request's own id and the time.
fn plain(answer: &Answer, ids: &Targets) -> (u16, Vec<String>, String) {
    let mut headers: Vec<String> = answer
        .headers
        .iter()
        .filter(|(name, _)| !matches!(name.as_str(), "date" | "x-request-id" | "content-length" | "traceparent"))
        .map(|(name, value)| format!("{name}: {}", value.to_str().unwrap()))
        .collect();
    headers.sort();
    let mut body = answer.body.clone();
    nameless(&mut body);
    let mut text = if body.is_null() { String::from_utf8_lossy(&answer.bytes).into_owned() } else { body.to_string() };
    for (param, _, id) in &ids.kinds {
        text = text.replace(id, param);
        for header in &mut headers {
            *header = header.replace(id, param);
        }
    }
    (answer.status, headers, text)
}

/// A result of a push without what differs by nature.
fn plain_result(result: &Value, ids: &Targets) -> String {
    let mut result = result.clone();
    result.as_object_mut().unwrap().remove("op_id");
    nameless(&mut result);
    ids.kinds.iter().fold(result.to_string(), |text, (param, _, id)| text.replace(id, param))
}

/// A body that each operation takes, where it takes one.
fn body(operation: &str, ids: &dyn Fn(&str) -> String) -> Value {
    match operation {
        "create_measurement" => json!({"kind": "stature_m", "value": 1.6, "measured_on": "2026-01-02"}),
        "create_decision" => json!({"outcome": "accepted"}),
        "set_attendance" => json!({"present": [ids("athlete_id")]}),
        "set_race_entries" => json!({"athlete_ids": [ids("athlete_id")]}),
        "create_lane_plan" => json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80,
            "athlete_ids": [ids("athlete_id")], "like": {"lane_plan_id": ids("lane_plan_id")}}),
        "create_race_heats" => json!({"lanes": 4, "pins": [{"athlete_id": ids("athlete_id"), "heat": 1}]}),
        "create_race_results" => {
            json!({"results": [{"id": Uuid::nil(), "athlete_id": ids("athlete_id"), "status": "finished",
            "final_time_s": 9.0, "supersedes": ids("race_result_id")}]})
        }
        "create_session" => json!({"held_on": "2026-01-02", "state": "planned", "group_ids": [ids("group_id")]}),
        "create_race_test" => {
            json!({"session_id": ids("session_id"), "dimensions": {"race_distance_m": 50, "barriers": 5,
            "height_m": 0.5, "approach_m": 11, "spacing_m": 6.5}})
        }
        "create_athlete" => {
            json!({"display_name": "A", "sex": "F", "birth_year": 2012, "group_ids": [ids("group_id")], "experience": "novice"})
        }
        "create_runs" => {
            let mut fact = run(&ids("session_id"), &ids("athlete_id"), "2026-01-02".parse().unwrap());
            fact["id"] = json!(Uuid::nil());
            fact["supersedes"] = json!(ids("run_id"));
            json!({"runs": [fact]})
        }
        "create_assessments" => json!({"assessments": [{"id": Uuid::nil(), "athlete_id": ids("athlete_id"),
            "session_id": ids("session_id"), "assessed_at": "2026-01-02T12:00:00Z", "ratings": {"arms": 1},
            "supersedes": ids("assessment_id")}]}),
        "create_wellbeing_records" => json!({"wellbeing_records": [
            {"id": Uuid::nil(), "athlete_id": ids("athlete_id"), "kind": "clearance", "reported_on": "2026-01-02",
            "clears": ids("wellbeing_record_id"), "supersedes": ids("wellbeing_record_id")}]}),
        "update_athlete" => json!({"display_name": "B"}),
        _ => json!({}),
    }
}

/// The operations whose path or body names a record of a group, with method, path and parameters.
fn operations() -> Vec<(String, Method, String, Vec<String>)> {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/api-spec/openapi.json")).unwrap();
    let document: Value = serde_json::from_str(&text).unwrap();
    let mut found = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        let Some(rest) = path.strip_prefix("/v1/clubs/{club_id}") else { continue };
        let params: Vec<String> =
            rest.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}')).map(str::to_owned).collect();
        for (method, operation) in item.as_object().unwrap() {
            let Ok(method) = Method::from_bytes(method.to_uppercase().as_bytes()) else { continue };
            let id = operation["operationId"].as_str().unwrap_or_default().to_owned();
            let named = body(&id, &|param| format!("{{{param}}}")).to_string().contains("_id}");
            if !params.is_empty() || named {
                found.push((id, method, rest.to_owned(), params.clone()));
            }
        }
    }
    found
}

/// What only admins reach, whatever it is about; everybody else is answered alike before it is looked for.
const FOR_ADMINS: [&str; 7] =
    ["/members", "/invitations", "/apps", "/exports", "/held-items", "/sync-devices", "/refused-edits"];
/// What every member of the club sees.
const CLUB_WIDE: [&str; 5] =
    ["venue_id", "equipment_id", "barrier_configuration_id", "age_group_id", "competition_spec_id"];

async fn ask(
    caller: &Caller,
    operation: &(String, Method, String, Vec<String>),
    ids: &dyn Fn(&str) -> String,
) -> Answer {
    let (name, method, path, params) = operation;
    let path = params.iter().fold(path.clone(), |path, param| path.replace(&format!("{{{param}}}"), &ids(param)));
    let kind = if *method == Method::PATCH { "application/merge-patch+json" } else { "application/json" };
    let headers = [("if-match", "\"1\""), ("content-type", kind)];
    let sent = (*method != Method::GET && *method != Method::DELETE).then(|| body(name, ids));
    caller.call(method.clone(), &caller.path(&path), &headers, sent).await
}

struct World {
    shared: Shared,
    /// What only the other group sees, what another club has, and what there is not.
    hidden: Targets,
    foreign: Targets,
    own: Targets,
    /// Left the club.
    gone: Caller,
}

async fn world(pool: PgPool) -> World {
    let shared = shared(pool).await;
    let gone = shared.admin.member("Left Coach", "coach", &[&shared.mine]).await;
    let path = format!("/members/{}", gone.account);
    let tag = shared.admin.get(&path).await.header("etag").to_owned();
    shared.admin.delete(&path, &tag).await.expect(204);
    let hidden = targets(&shared.admin, &shared.other, &shared.hidden[0], shared.day).await;
    let own = targets(&shared.admin, &shared.mine, &shared.athletes[0], shared.day).await;
    let south = shared.admin.app.admin_of("South").await;
    let group = south.group("Theirs").await;
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    south.post("/equipment", stock).await.expect(201);
    let athlete = crate::sync_pull::athlete(&south, "Foreign", &[&group]).await;
    let foreign = targets(&south, &group, &athlete, shared.day).await;
    World { shared, hidden, foreign, own, gone }
}

#[sqlx::test]
async fn routes_answer_a_hidden_id_like_an_unknown_one(pool: PgPool) {
    let world = world(pool).await;
    let mut compared = 0;
    for operation in operations() {
        let (name, _, path, params) = &operation;
        if FOR_ADMINS.iter().any(|part| path.starts_with(part))
            || params.iter().any(|one| CLUB_WIDE.contains(&one.as_str()))
        {
            continue;
        }
        for caller in [&world.shared.coach, &world.shared.viewer, &world.gone] {
            let unknown = world.own.unknown();
            // Every id is another, and for paths below a record of one's own only the last.
            let parents = params.split_last().map_or(&[][..], |(_, parents)| parents);
            for keep in [&[][..], parents] {
                let of = |all: &Targets, param: &str| {
                    let own = keep.iter().any(|one| one == param);
                    (if own { world.own.id(param) } else { all.id(param) }).to_owned()
                };
                let expected = ask(caller, &operation, &|param| of(&unknown, param)).await;
                assert!(
                    expected.status >= 400
                        || name.starts_with("create_r")
                        || ["create_assessments", "create_wellbeing_records"].contains(&name.as_str()),
                    "{name}: {expected:?}"
                );
                for (what, all) in [("hidden", &world.hidden), ("foreign", &world.foreign)] {
                    let answer = ask(caller, &operation, &|param| of(all, param)).await;
                    assert_eq!(plain(&answer, all), plain(&expected, &unknown), "{name} of a {what} id");
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 200, "{compared}");
    println!("{compared} answers of routes compared");
}

/// What a phone sends of each type, with these ids.
fn data(kind: &str, ids: &Targets, day: chrono::NaiveDate) -> Value {
    let (athlete, session) = (ids.id("athlete_id"), ids.id("session_id"));
    match kind {
        "group" => json!({"name": "G"}),
        "athlete" => {
            json!({"display_name": "A", "sex": "F", "birth_year": 2012, "group_ids": [ids.id("group_id")], "experience": "novice"})
        }
        "session" => json!({"held_on": day, "state": "held", "group_ids": [ids.id("group_id")]}),
        "measurement" => json!({"athlete_id": athlete, "kind": "stature_m", "value": 1.7, "measured_on": day}),
        "attendance" => json!({"session_id": session, "athlete_id": athlete}),
        "lane_plan" => {
            json!({"session_id": session, "request": {"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 5}},
            "lanes": [{"lane": 1, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.0, "approach_m": 12.0, "barriers": 5,
                "athletes": [{"athlete_id": athlete, "display_name": "A", "regret": 0.0, "hold_probability": 0.9}]}],
            "resting": [], "total_regret": 0.0, "largest_regret": 0.0, "proven_optimal": false, "lower_bound": 0.0,
            "stock_used": [], "run_out_m": 10.0, "cautions": []})
        }
        "run" => {
            let mut fact = run(session, athlete, day);
            fact.as_object_mut().unwrap().remove("id");
            fact
        }
        "assessment" => {
            json!({"athlete_id": athlete, "session_id": session, "assessed_at": format!("{day}T12:00:00Z"), "ratings": {"arms": 1}})
        }
        "wellbeing_record" => {
            json!({"athlete_id": athlete, "kind": "pain", "reported_on": day, "reported_by": "guardian"})
        }
        "decision" => json!({"athlete_id": athlete, "outcome": "accepted"}),
        "race_test" => {
            json!({"session_id": session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
            "approach_m": 11, "spacing_m": 6.5}})
        }
        "race_result" => {
            json!({"race_test_id": ids.id("race_test_id"), "athlete_id": athlete, "status": "finished", "final_time_s": 9.0})
        }
        other => panic!("{other}"),
    }
}

fn derived(space: &str, id: &str) -> String {
    Uuid::new_v5(&space.parse().unwrap(), id.parse::<Uuid>().unwrap().as_bytes()).to_string()
}

/// Every way in which an item can be sent of a type and id.
fn ways(kind: &str, id: &str, data: &Value) -> Vec<Value> {
    let patch = json!({"base_rev": 1, "data": {"display_name": "B"}});
    let mut ways = vec![
        item("PUT", kind, id, json!({"if_match": 1, "data": data})),
        item("PUT", kind, id, json!({"data": data})),
        item("PATCH", kind, id, if kind == "athlete" { patch } else { json!({"if_match": 1, "data": {}}) }),
        item("DELETE", kind, id, json!({"if_match": 1})),
        item("DELETE", kind, id, json!({})),
        item("DELETE", kind, id, json!({"if_match": 1, "data": data})),
    ];
    // Facts are filed, not edited: their PUT is another test's.
    if FACTS.contains(&kind) {
        ways.drain(..2);
    }
    ways
}

#[sqlx::test]
async fn items_of_a_push_answer_a_hidden_id_like_an_unknown_one(pool: PgPool) {
    let world = world(pool).await;
    let day = world.shared.day;
    let mut compared = 0;
    for caller in [&world.shared.coach, &world.shared.viewer, &world.gone] {
        for (param, kind, _) in world.hidden.pushed() {
            // An edit of what is there: by its own id, with content of one's own or with nothing but unknown ids.
            let unknown = world.own.unknown();
            for own in [true, false] {
                let ids = |all: &Targets| -> Vec<Value> {
                    ways(kind, all.id(param), &data(kind, if own { &world.own } else { all }, day))
                };
                let expected = push(caller, &ids(&unknown)).await;
                for (what, all) in [("hidden", &world.hidden), ("foreign", &world.foreign)] {
                    let results = push(caller, &ids(all)).await;
                    for (at, (result, expected)) in results.iter().zip(&expected).enumerate() {
                        let (result, expected) = (plain_result(result, all), plain_result(expected, &unknown));
                        assert_eq!(result, expected, "way {at} of a {what} {kind}");
                        compared += 1;
                    }
                }
            }
        }
    }
    assert!(compared > 300, "{compared}");
    println!("{compared} results of edits compared");
}

#[sqlx::test]
async fn items_that_refer_to_what_is_hidden_are_answered_like_those_that_refer_to_nothing(pool: PgPool) {
    let world = world(pool).await;
    let day = world.shared.day;
    let mut compared = 0;
    for caller in [&world.shared.coach, &world.shared.viewer, &world.gone] {
        for (param, kind, _) in world.hidden.pushed() {
            let send = async |all: &Targets| {
                let mut sent = data(kind, all, day);
                if *kind == "wellbeing_record" {
                    sent["kind"] = json!("clearance");
                    sent["clears"] = json!(all.id(param));
                    sent.as_object_mut().unwrap().remove("reported_by");
                }
                if ["run", "assessment", "race_result"].contains(kind) {
                    sent["supersedes"] = json!(all.id(param));
                }
                let mut made = create(kind, sent);
                if *kind == "attendance" {
                    made["id"] = json!(derived(all.id("session_id"), all.id("athlete_id")));
                }
                let id = made["id"].as_str().unwrap().to_owned();
                let membership = derived(all.id("group_id"), world.own.id("athlete_id"));
                let pair = json!({"group_id": all.id("group_id"), "athlete_id": world.own.id("athlete_id")});
                let joined = item("PUT", "group_membership", &membership, json!({"if_none_match": "*", "data": pair}));
                let results = push(caller, &[made, joined]).await;
                results.iter().map(|one| plain_result(one, all).replace(&id, "id")).collect::<Vec<_>>()
            };
            if *kind == "group" {
                continue;
            }
            let expected = send(&world.own.unknown()).await;
            for (what, all) in [("hidden", &world.hidden), ("foreign", &world.foreign)] {
                assert_eq!(send(all).await, expected, "{kind} that refers to a {what} record");
                compared += 2;
            }
        }
    }
    assert!(compared > 100, "{compared}");
}

#[sqlx::test]
async fn a_fact_whose_id_is_taken_by_a_hidden_one_is_kept_and_the_sender_learns_nothing(pool: PgPool) {
    let world = world(pool).await;
    let shared = &world.shared;
    let told = |result: &Value| {
        assert_eq!((result.get("current"), result.get("rev"), result.get("conflicts")), (None, None, None), "{result}");
        (result["status"].clone(), result["problem"]["detail"].clone())
    };
    for caller in [&shared.coach, &shared.viewer, &world.gone] {
        for (param, kind, _) in world.hidden.pushed() {
            if !FACTS.contains(kind) {
                continue;
            }
            let mut sent = data(kind, &world.own, shared.day);
            sent["id"] = json!(world.hidden.id(param));
            let sent = create(kind, sent);
            // In the words of a fact that belongs to what is hidden or not there, the first time and when it is repeated.
            let lost = create("run", data("run", &world.own.unknown(), shared.day));
            for _ in 0..2 {
                let result = push(caller, std::slice::from_ref(&sent)).await.remove(0);
                let expected = push(caller, std::slice::from_ref(&lost)).await.remove(0);
                assert_eq!(told(&result), told(&expected), "{kind}");
            }
            // Also when it says the same as the hidden one, which others recorded.
            let mut same = data(kind, &world.hidden, shared.day);
            same["id"] = json!(world.hidden.id(param));
            let result = push(caller, &[create(kind, same)]).await.remove(0);
            assert_ne!(result["status"], 200, "{kind} {result}");
            assert_eq!(result.get("current"), None, "{result}");
        }
    }
    // An admin files what the coach recorded, under an id of its own.
    let held = shared.admin.get("/held-items?limit=200").await.expect(200).body;
    let mut filed = 0;
    for one in held["items"].as_array().unwrap() {
        let (member, kind) = (one["member_id"].as_str().unwrap(), one["type"].as_str().unwrap());
        let own = one["data"]["athlete_id"] == world.own.id("athlete_id");
        if member == shared.coach.account && own {
            let path = format!("/held-items/{}/accept", one["id"].as_str().unwrap());
            shared.admin.post(&path, json!({})).await.expect(200);
            assert!(world.hidden.kinds.iter().all(|(.., id)| one["id"] != id.as_str()), "{kind}");
            filed += 1;
        }
    }
    assert_eq!(filed, FACTS.len());
    let again = {
        let mut sent = data("run", &world.own, shared.day);
        sent["id"] = json!(world.hidden.id("run_id"));
        create("run", sent)
    };
    assert_eq!(push(&shared.coach, &[again]).await[0]["status"], 200, "a repeat finds it filed");
}

#[sqlx::test]
async fn who_recorded_a_fact_may_repeat_it_after_the_athlete_left_their_groups(pool: PgPool) {
    let world = world(pool).await;
    let shared = &world.shared;
    let facts: Vec<Value> = FACTS.iter().map(|kind| create(kind, data(kind, &world.own, shared.day))).collect();
    let first = push(&shared.coach, &facts).await;
    let path = format!("/athletes/{}", world.own.id("athlete_id"));
    let tag = shared.admin.get(&path).await.header("etag").to_owned();
    shared.admin.patch(&path, &tag, json!({"group_ids": [shared.other]})).await.expect(200);
    let again = push(&shared.coach, &facts).await;
    for ((first, again), kind) in first.iter().zip(&again).zip(FACTS) {
        assert_eq!((&again["status"], &again["rev"]), (&json!(200), &first["rev"]), "{kind}: {again}");
    }
    // Nobody else learns that it is there, and with other content its recorder does not see what is.
    let second = shared.admin.member("Second Coach", "coach", &[&shared.mine]).await;
    for (fact, result) in facts.iter().zip(push(&second, &facts).await) {
        assert_eq!((&result["status"], result.get("rev")), (&json!(202), None), "{fact}: {result}");
    }
    let mut other = facts.clone();
    for (fact, change) in other.iter_mut().zip([
        json!({"hits": 1}),
        json!({"ratings": {"arms": 3}}),
        json!({"value": 1.8}),
        json!({"clears_return": true}),
        json!({"final_time_s": 8.8}),
        json!({"kind": "illness"}),
    ]) {
        let change: Map<String, Value> = change.as_object().unwrap().clone();
        fact["data"].as_object_mut().unwrap().extend(change);
        fact["op_id"] = json!(Uuid::now_v7());
    }
    for result in push(&shared.coach, &other).await {
        assert_eq!((&result["status"], result.get("current")), (&json!(409), None), "{result}");
    }
}
