//! The examples of the guide and its test vectors, read from the file.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use super::{GUIDE, block, plain, quoted, row};
use crate::sync_pull::{Squad, athlete, run, squad};
use crate::sync_push::{batch, create, item, push, statuses};

/// The JSON of an example: what is left out in it is empty here, and what is said beside it goes.
fn example(first: &str) -> Value {
    let lines =
        block(first).into_iter().map(|line| line.split("    ").find(|part| !part.is_empty()).unwrap_or_default());
    let text = lines.collect::<Vec<_>>().join("\n").replace(", ...}", "}").replace("{...}", "{}");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn names(value: &Value) -> BTreeSet<&str> {
    value.as_object().into_iter().flatten().map(|(name, _)| name.as_str()).collect()
}

/// The plan that the service computes for a session; each call buys the barriers for it.
pub async fn computed(squad: &Squad) -> Value {
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    squad.admin.post("/equipment", stock).await.expect(201);
    let (caller, session, athlete) = (&squad.coach, &squad.session, &squad.athlete);
    let wanted = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [athlete]});
    caller.post(&format!("/sessions/{session}/lane-plans"), wanted).await.expect(201).body
}

async fn rev_of(squad: &Squad, kind: &str, id: &str) -> Value {
    let page = squad.admin.get(&format!("/changes?types={kind}&limit=2000")).await.expect(200).body;
    let changes = page["changes"].as_array().unwrap().clone();
    changes.iter().find(|one| one["id"] == id).unwrap()["rev"].clone()
}

#[sqlx::test]
async fn the_example_of_a_page_has_the_members_of_real_pages(pool: PgPool) {
    let squad = squad(pool).await;
    let shown = example(r#"{ "from""#);
    let first = squad.coach.get("/changes?limit=1").await.expect(200).body;
    assert_eq!(names(&shown), names(&first));
    assert_eq!((&first["from"], &first["more"]), (&Value::Null, &json!(true)));
    let token = first["sync_token"].as_str().unwrap();
    assert!(token.starts_with(shown["sync_token"].as_str().unwrap().trim_end_matches('.')), "{token}");
    let next = squad.coach.get(&format!("/changes?sync_token={token}")).await.expect(200).body;
    assert_eq!(next["from"], first["sync_token"], "the token that the page answers");
    // Each kind of change of the example, made.
    let lone =
        squad.coach.post("/sessions", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]})).await;
    let token = next["sync_token"].as_str().unwrap();
    let path = format!("/sessions/{}", lone.id());
    let tag = squad.coach.get(&path).await.header("etag").to_owned();
    squad.coach.delete(&path, &tag).await.expect(204);
    let runner = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&runner).await.header("etag").to_owned();
    squad.admin.patch(&runner, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    let page = squad.coach.get(&format!("/changes?sync_token={token}")).await.expect(200).body;
    let real = page["changes"].as_array().unwrap();
    for one in shown["changes"].as_array().unwrap() {
        let alike = |other: &&Value| {
            other["type"] == one["type"]
                && names(other) == names(one)
                && other["rev"].is_u64()
                && other["removed"]["reason"] == one["removed"]["reason"]
        };
        let put = one["data"].is_object().then(|| first["changes"][0].clone());
        let found = put.as_ref().filter(|other| names(other) == names(one)).or_else(|| real.iter().find(alike));
        assert!(found.is_some(), "no page has {one}: {real:?}");
    }
}

#[sqlx::test]
async fn the_example_of_a_push_is_carried_out_item_by_item(pool: PgPool) {
    let squad = squad(pool).await;
    let plan = computed(&squad).await;
    let mut shown = example(r#"{ "device_id""#);
    let session = Uuid::now_v7().to_string();
    shown["device_id"] = json!(Uuid::now_v7());
    for item in shown["items"].as_array_mut().unwrap() {
        item["op_id"] = json!(Uuid::now_v7());
        let kind = item["type"].as_str().unwrap().to_owned();
        let (id, data) = match kind.as_str() {
            "session" => (session.clone(), json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]})),
            "run" => {
                let mut data = run(&session, &squad.athlete, squad.day);
                data.as_object_mut().unwrap().remove("id");
                (Uuid::now_v7().to_string(), data)
            }
            "athlete" => (squad.athlete.clone(), item["data"].clone()),
            _ => (plan["id"].as_str().unwrap().to_owned(), plan.clone()),
        };
        item["id"] = json!(id);
        if item["data"].is_object() {
            item["data"] = data;
        }
        for named in ["base_rev", "if_match"] {
            if item[named].is_u64() {
                item[named] = rev_of(&squad, &kind, &id).await;
            }
        }
    }
    let answer = squad.coach.post("/changes", shown.clone()).await.expect(200);
    let results = answer.body["results"].as_array().unwrap();
    assert_eq!(statuses(results), [201, 201, 200, 200, 200], "{results:?}");
    let ops = |list: &Value| list.as_array().unwrap().iter().map(|one| one["op_id"].clone()).collect::<Vec<_>>();
    assert_eq!(ops(&answer.body["results"]), ops(&shown["items"]));
}

#[sqlx::test]
async fn the_example_of_an_answer_has_the_members_of_real_results(pool: PgPool) {
    let squad = squad(pool).await;
    let shown = example(r#"{"results""#)["results"].as_array().unwrap().clone();
    let fact = create("run", run(&squad.session, &squad.athlete, squad.day));
    let rev = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.body["rev"].clone();
    let patch = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}));
    push(&squad.admin, &[patch(json!({"preferred_lead_leg": "left"}))]).await;
    let both = patch(json!({"consent_on": "2026-01-05", "preferred_lead_leg": "right"}));
    let plan = computed(&squad).await;
    let old = item("PUT", "lane_plan", plan["id"].as_str().unwrap(), json!({"if_match": 1, "data": plan}));
    let mut real = push(&squad.coach, std::slice::from_ref(&fact)).await;
    real.extend(push(&squad.coach, &[fact, both, old]).await);
    assert_eq!(statuses(&real), statuses(&shown));
    for (real, shown) in real.iter().zip(&shown) {
        assert_eq!(names(real), names(shown), "{real}");
        assert_eq!(real["applied"], shown["applied"]);
        assert_eq!(names(&real["conflicts"][0]), names(&shown["conflicts"][0]));
        assert_eq!(real["conflicts"][0]["group"], shown["conflicts"][0]["group"]);
        assert_eq!(names(&real["current"]), names(&shown["current"]));
        assert_eq!(real["rev"].is_u64(), shown["rev"].is_u64());
    }
}

#[sqlx::test]
async fn the_test_vector_of_version_5_is_what_the_service_derives(pool: PgPool) {
    let squad = squad(pool).await;
    let lines = block("namespace ");
    let [namespace, name, derived] = [0, 1, 2].map(|at: usize| {
        let uuid = lines[at].split_whitespace().find_map(|word| Uuid::try_parse(word).ok());
        uuid.unwrap_or_else(|| panic!("no UUID in {}", lines[at]))
    });
    assert_eq!(Uuid::new_v5(&namespace, name.as_bytes()), derived);
    let day = squad.day;
    let person =
        json!({"display_name": "V", "sex": "F", "birth_year": 2012, "group_ids": [squad.mine], "experience": "novice"});
    let make = |kind: &str, id: Uuid, data: Value| {
        item("PUT", kind, &id.to_string(), json!({"if_none_match": "*", "data": data}))
    };
    let items = [
        make("athlete", name, person),
        make("session", namespace, json!({"held_on": day, "state": "held", "group_ids": [squad.mine]})),
        make("attendance", derived, json!({"session_id": namespace, "athlete_id": name})),
    ];
    assert_eq!(statuses(&push(&squad.admin, &items).await), [201; 3]);
    let elsewhere = make("attendance", Uuid::now_v7(), json!({"session_id": namespace, "athlete_id": name}));
    assert_eq!(statuses(&push(&squad.admin, &[elsewhere]).await), [422]);
}

#[sqlx::test]
async fn the_types_of_the_table_are_those_of_the_feed_with_their_policies(pool: PgPool) {
    let squad = squad(pool).await;
    let policies = ["append_only", "merge", "optimistic", "read_only", "set"];
    let mut shown = BTreeSet::new();
    let rows = GUIDE.lines().filter(|line| line.starts_with("| `"));
    for cells in rows.map(|line| line.trim_matches('|').split(" | ").map(str::trim).collect::<Vec<_>>()) {
        if !policies.contains(&cells[1]) {
            continue;
        }
        for kind in quoted(cells[0]) {
            let status = squad.admin.get(&format!("/changes?types={kind}")).await.status;
            let push_only = kind == "group_membership";
            assert_eq!(status, if push_only { 400 } else { 200 }, "{kind}");
            // What a policy allows: a PATCH is not for facts and sets, and nothing of read_only records is.
            let edit =
                item("PATCH", &kind, &Uuid::now_v7().to_string(), json!({"base_rev": 1, "if_match": 1, "data": {}}));
            let told = push(&squad.admin, &[edit]).await.remove(0);
            let code = told["problem"]["errors"][0]["code"].as_str().unwrap_or_default();
            match cells[1] {
                "append_only" if kind != "measurement" => assert_eq!(code, "append_only", "{kind}: {told}"),
                "read_only" => assert_eq!(code, "read_only", "{kind}: {told}"),
                "merge" | "optimistic" => assert_eq!(told["status"], 404, "{kind}: {told}"),
                _ => assert!(told["status"] == 422 || told["status"] == 404, "{kind}: {told}"),
            }
            shown.insert(kind);
        }
    }
    let refused = squad.admin.get("/changes?types=rocket").await.expect(400).body;
    let mut known: BTreeSet<String> = shown.clone();
    known.remove("group_membership");
    for kind in &known {
        assert!(refused["errors"][0]["detail"].as_str().unwrap().contains(kind.as_str()), "{refused}");
    }
    let listed = refused["errors"][0]["detail"].as_str().unwrap().rsplit("one of").next().unwrap().split(',').count();
    assert_eq!(listed, known.len(), "the guide has every type: {refused}");
}

#[sqlx::test]
async fn the_field_groups_of_the_guide_are_those_of_the_document(pool: PgPool) {
    let squad = squad(pool).await;
    let cell = row("`athlete`")[2];
    let listed = cell.split("Field groups: ").nth(1).unwrap().split(". ").next().unwrap();
    let schemas = squad.app.get("/openapi.json").await.expect(200).body["components"]["schemas"].clone();
    let fields = schemas["AthletePatch"]["properties"].as_object().unwrap();
    let groups = &schemas["AthletePatch"]["x-merge-group"];
    let mut known = BTreeSet::new();
    for part in listed.split("), ") {
        let (group, of) = part.split_once(" (").unwrap();
        for field in of.trim_end_matches(')').split(", ") {
            known.insert(field);
            assert_eq!(groups[field], quoted(group)[0].as_str(), "{field}");
        }
    }
    for field in fields.keys() {
        assert_eq!(groups[field].is_string(), known.contains(field.as_str()), "{field}");
    }
}

#[sqlx::test]
async fn the_parents_that_the_guide_lists_are_those_that_records_name(pool: PgPool) {
    let squad = squad(pool).await;
    let text = plain(GUIDE);
    let text = text.split("Parents: ").nth(1).unwrap().split(". ").next().unwrap();
    let (of_athletes, of_sessions) = text.split_once("belong to their").unwrap();
    let plan = computed(&squad).await;
    let race = json!({"session_id": squad.session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
        "approach_m": 11, "spacing_m": 6.5}});
    let race = squad.admin.post("/race-tests", race).await.expect(201);
    let entries = json!({"athlete_ids": [squad.athlete], "coach_accepts": [squad.athlete]});
    squad.admin.put(&format!("/race-tests/{}/entries", race.id()), race.header("etag"), entries).await.expect(200);
    let there = Uuid::new_v5(&squad.session.parse().unwrap(), squad.athlete.parse::<Uuid>().unwrap().as_bytes());
    let who = json!({"athlete_id": squad.athlete});
    let with = |more: Value| {
        let mut data = who.clone();
        data.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        data
    };
    let at = format!("{}T18:00:00Z", squad.day);
    let there_too = json!({"if_none_match": "*", "data": {"session_id": squad.session, "athlete_id": squad.athlete}});
    let items = [
        create("run", run(&squad.session, &squad.athlete, squad.day)),
        create("assessment", with(json!({"session_id": squad.session, "assessed_at": at, "ratings": {"arms": 2}}))),
        create("decision", with(json!({"outcome": "accepted"}))),
        create(
            "wellbeing_record",
            with(json!({"kind": "restriction", "reported_on": "2020-01-01", "until": "2020-01-02"})),
        ),
        create("race_result", with(json!({"race_test_id": race.id(), "status": "finished", "final_time_s": 12.84}))),
        item("PUT", "attendance", &there.to_string(), there_too),
    ];
    assert_eq!(statuses(&push(&squad.coach, &items).await), [201; 6]);
    let page = squad.coach.get("/changes?limit=2000").await.expect(200).body;
    assert_eq!(page["more"], false);
    let changes = page["changes"].as_array().unwrap();
    let named = |kind: &str| changes.iter().find(|one| one["type"] == kind).unwrap_or_else(|| panic!("no {kind}"));
    let (athletes, sessions) = (quoted(of_athletes), quoted(of_sessions));
    assert_eq!((athletes.len(), sessions.len()), (8, 4), "{text}");
    for kind in &athletes {
        assert_eq!(named(kind)["data"]["athlete_id"], squad.athlete.as_str(), "{kind}");
    }
    for kind in &sessions[1..3] {
        assert_eq!(named(kind)["data"]["session_id"], squad.session.as_str(), "{kind}");
    }
    assert_eq!(plan["session_id"], squad.session.as_str());
    let alone = changes.iter().filter(|one| {
        let kind = one["type"].as_str().unwrap().to_owned();
        !athletes.contains(&kind) && !sessions[1..3].contains(&kind)
    });
    let alone: BTreeSet<&str> = alone.map(|one| one["type"].as_str().unwrap()).collect();
    assert_eq!(
        alone,
        BTreeSet::from(["athlete", "club", "equipment", "group", "session"]),
        "the others stand by themselves"
    );
    let athlete = &named("athlete")["data"];
    assert!(athlete.get("measurements").is_none(), "{athlete}");
    let race = &named("race_test")["data"];
    assert!(race.get("held_on").is_none() && race.get("athlete_ids").is_none(), "{race}");
}

#[sqlx::test]
async fn the_columns_of_a_push_have_the_limits_that_the_guide_says(pool: PgPool) {
    super::says("Limits: 500 items, 1 MiB as sent, 4 MiB unpacked.");
    let squad = squad(pool).await;
    let third = athlete(&squad.admin, "Third", &[&squad.mine]).await;
    let facts = |count: usize| -> Vec<Value> {
        (0..count).map(|_| create("run", run(&squad.session, &third, squad.day))).collect()
    };
    squad.coach.post("/changes", batch(&facts(500))).await.expect(200);
    squad.coach.post("/changes", batch(&facts(501))).await.expect(413);
}
