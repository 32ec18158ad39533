//! Stocks of barriers.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, walk};
use crate::sync_push::{create, item, push, statuses};

fn stock() -> Value {
    json!({"barrier_kind": "low_barrier", "heights_m": [0.6, 0.4, 0.5], "count": 24, "note": "In the container"})
}

#[sqlx::test]
async fn a_stock_is_created_with_its_heights_in_order_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/equipment", stock()).await.expect(201);
    assert_eq!(created.body["heights_m"], json!([0.4, 0.5, 0.6]));
    let path = format!("/equipment/{}", created.id());
    assert_eq!(admin.get(&path).await.expect(200).body, created.body);
    let changed = admin
        .patch(
            &path,
            created.header("etag"),
            json!({"heights_m": [1.067, 0.762], "barrier_kind": "hurdle", "note": null}),
        )
        .await
        .expect(200);
    let whole = json!({"id": created.body["id"], "rev": changed.body["rev"], "barrier_kind": "hurdle",
        "heights_m": [0.762, 1.067], "count": 24});
    assert_eq!(changed.body, whole);
    assert_eq!(admin.get(&path).await.body, whole);
    admin.delete(&path, created.header("etag")).await.expect(412);
    admin.delete(&path, "").await.expect(428);
    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
    assert_eq!(admin.get("/equipment").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_repeated_create_is_answered_alike_even_with_the_heights_in_another_order(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut body = stock();
    body["id"] = json!(Uuid::now_v7());
    let first = admin.post("/equipment", body.clone()).await.expect(201);
    let seq = admin.seq().await;
    body["heights_m"] = json!([0.5, 0.6, 0.4]);
    assert_eq!(admin.post("/equipment", body.clone()).await.expect(200).body, first.body);
    body["count"] = json!(25);
    admin.post("/equipment", body).await.expect(409);
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn every_broken_field_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let seq = admin.seq().await;
    let all = json!({"barrier_kind": "gate", "heights_m": [], "count": 0, "note": ""});
    let answer = admin.post("/equipment", all).await.expect(422);
    assert_eq!(answer.faults(), ["/barrier_kind", "/heights_m", "/count", "/note"]);
    let thirteen: Vec<f64> = (0..13).map(|n| 0.1 + f64::from(n) / 100.0).collect();
    let broken = [
        ("heights_m", json!(thirteen), 422, "/heights_m"),
        ("heights_m", json!([0.5, 0.049]), 422, "/heights_m/1"),
        ("heights_m", json!([1.101, 0.5]), 422, "/heights_m/0"),
        ("heights_m", json!([0.5, -0.4]), 422, "/heights_m/1"),
        ("heights_m", json!([0.5, 0.4005]), 422, "/heights_m/1"),
        ("heights_m", json!([0.5, 0.4, 0.5]), 422, "/heights_m/2"),
        ("heights_m", json!(["0.5"]), 400, "/heights_m/0"),
        ("heights_m", json!(0.5), 400, "/heights_m"),
        ("count", json!(501), 422, "/count"),
        ("count", json!(-1), 422, "/count"),
        ("count", json!(1.5), 400, "/count"),
        ("note", json!("x".repeat(201)), 422, "/note"),
        ("id", json!(1), 400, "/id"),
        ("colour", json!("red"), 400, "/colour"),
    ];
    for (field, value, status, pointer) in broken {
        let mut body = stock();
        body[field] = value;
        admin.post("/equipment", body).await.expect_fault(status, pointer);
    }
    let wicket = json!({"barrier_kind": "wicket", "heights_m": [0.2, 0.401], "count": 10});
    admin.post("/equipment", wicket).await.expect_fault(422, "/heights_m/1");
    assert_eq!(admin.get("/equipment").await.body["items"], json!([]));
    assert_eq!(admin.seq().await, seq);

    for (kind, heights) in [("wicket", json!([0.05, 0.4])), ("hurdle", json!([0.05, 1.1]))] {
        let body = json!({"barrier_kind": kind, "heights_m": heights, "count": 500});
        assert_eq!(admin.post("/equipment", body).await.expect(201).body["heights_m"], heights);
    }
}

#[sqlx::test]
async fn a_stock_cannot_become_wickets_that_stand_too_high(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/equipment", stock()).await.expect(201);
    let path = format!("/equipment/{}", created.id());
    let refused = admin.patch(&path, created.header("etag"), json!({"barrier_kind": "wicket"})).await.expect(422);
    assert_eq!(refused.faults(), ["/heights_m/1", "/heights_m/2"]);
    assert_eq!(admin.get(&path).await.body, created.body);
}

#[sqlx::test]
async fn another_club_gets_404_and_every_member_reads_but_only_admins_write(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Sprint").await;
    let made = north.post("/equipment", stock()).await.expect(201);
    let path = format!("/equipment/{}", made.id());
    south.get(&path).await.expect(404);
    south.delete(&path, made.header("etag")).await.expect(404);
    assert_eq!(south.get("/equipment").await.body["items"], json!([]));
    for role in ["coach", "viewer"] {
        let member = north.member(&format!("The {role}"), role, &[&group]).await;
        assert_eq!(member.get("/equipment").await.body["items"], json!([made.body]));
        member.post("/equipment", stock()).await.expect(403);
        member.patch(&path, made.header("etag"), json!({"count": 1})).await.expect(403);
        member.delete(&path, made.header("etag")).await.expect(403);
    }
    assert_eq!(north.get(&path).await.expect(200).body, made.body);
}

#[sqlx::test]
async fn a_list_stays_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut ids = Vec::new();
    for _ in 0..7 {
        ids.push(admin.post("/equipment", stock()).await.expect(201).id());
    }
    let walked = walk(&admin, "/equipment", 3, async |_| {
        admin.post("/equipment", stock()).await.expect(201);
    })
    .await;
    assert_eq!(walked[..7], ids);
    let unique: std::collections::BTreeSet<_> = walked.iter().collect();
    assert_eq!(unique.len(), walked.len());
}

/// Two athletes of a group who are here, in a session of today.
async fn here(admin: &Caller) -> (String, Vec<String>) {
    let group = admin.group("Squad").await;
    let day = chrono::Utc::now().date_naive();
    let held = json!({"held_on": day, "state": "planned", "group_ids": [group]});
    let session = admin.post("/sessions", held).await.expect(201).id();
    let mut athletes = Vec::new();
    for name in ["Mira Osei", "Tam Reyl"] {
        let body = json!({"display_name": name, "sex": "F", "birth_date": "2013-05-17", "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": "2026-01-10"}]});
        athletes.push(admin.post("/athletes", body).await.expect(201).id());
    }
    (session, athletes)
}

#[sqlx::test]
async fn a_club_that_writes_its_barriers_down_one_by_one_gets_its_plan(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (session, athletes) = here(&admin).await;
    let mut rows = std::collections::HashSet::new();
    for n in 0..130 {
        // Every second one can be set to heights that only it knows.
        let heights = if n % 2 == 0 { json!([0.3]) } else { json!([0.3, 0.301 + 0.001 * f64::from(n / 2)]) };
        let one = json!({"barrier_kind": "wicket", "heights_m": heights, "count": 1, "note": format!("No {n}")});
        rows.insert(admin.post("/equipment", one).await.expect(201).id());
    }
    let wanted = json!({"lanes": 2, "capacity": 1, "barriers": {"min": 5, "max": 6}, "straight_m": 80,
        "athlete_ids": athletes});
    let plan = admin.post(&format!("/sessions/{session}/lane-plans"), wanted).await.expect(201);
    let lanes = plan.body["lanes"].as_array().unwrap();
    let set_out: u64 = lanes.iter().map(|lane| lane["barriers"].as_u64().unwrap()).sum();
    let used = plan.body["stock_used"].as_array().unwrap();
    let taken: u64 = used.iter().map(|one| one["count"].as_u64().unwrap()).sum();
    assert_eq!(taken, set_out, "{used:?}");
    for one in used {
        assert_eq!(one["count"], 1, "no row gives more than it has: {used:?}");
        assert!(rows.remove(one["equipment_id"].as_str().unwrap()), "none is taken twice: {used:?}");
    }
}

#[sqlx::test]
async fn a_pushed_lane_plan_takes_barriers_that_the_club_has(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (session, athletes) = here(&admin).await;
    let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 20});
    let wickets = admin.post("/equipment", wickets).await.expect(201);
    let wanted = json!({"lanes": 2, "capacity": 1, "barriers": {"min": 5, "max": 6}, "straight_m": 80,
        "athlete_ids": athletes});
    let computed = admin.post(&format!("/sessions/{session}/lane-plans"), wanted).await.expect(201);
    let page = admin.get("/changes?types=lane_plan&limit=2000").await.expect(200).body;
    let changes = page["changes"].as_array().unwrap();
    let stored = changes.iter().find(|one| one["id"] == json!(computed.id())).unwrap();
    let mut data = stored["data"].clone();
    data.as_object_mut().unwrap().retain(|name, _| !matches!(name.as_str(), "id" | "rev"));
    let mut wrong = data.clone();
    wrong["stock_used"][0]["equipment_id"] = json!(Uuid::now_v7());
    let refused = push(&admin, &[create("lane_plan", wrong.clone())]).await.remove(0);
    assert_eq!(refused["status"], 422, "{refused}");
    let pointer = &refused["problem"]["errors"][0]["pointer"];
    assert!(pointer.as_str().unwrap().ends_with("/stock_used/0/equipment_id"), "{refused}");
    assert_eq!(statuses(&push(&admin, &[create("lane_plan", data.clone())]).await), [201]);
    // What a plan took before is given away: the plan may still be edited, and takes nothing new of it.
    admin.delete(&format!("/equipment/{}", wickets.id()), wickets.header("etag")).await.expect(204);
    let edit = item("PUT", "lane_plan", &computed.id(), json!({"if_match": stored["rev"], "data": data.clone()}));
    assert_eq!(statuses(&push(&admin, &[edit]).await), [200]);
    assert_eq!(statuses(&push(&admin, &[create("lane_plan", data)]).await), [422]);
}
