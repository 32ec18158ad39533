//! Athletes: create, read, list, change, delete, and who may.

use chrono::{Datelike, Days, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, unless_busy, walk};

/// A body that is right in every field.
pub fn mira(group: &str) -> Value {
    json!({
        "display_name": "Mira Osei", "sex": "F", "birth_date": "2013-05-17", "group_ids": [group],
        "preferred_lead_leg": "left", "experience": "novice", "consent_on": "2025-09-01",
        "measurements": [
            {"kind": "stature_m", "value": 1.49, "measured_on": "2025-03-01"},
            {"kind": "stature_m", "value": 1.523, "measured_on": "2025-09-01"},
        ]
    })
}

/// `body` with the members of `change`; null takes one out.
fn with(mut body: Value, change: Value) -> Value {
    let fields = body.as_object_mut().unwrap();
    for (name, value) in change.as_object().unwrap().clone() {
        if value.is_null() {
            fields.remove(&name);
        } else {
            fields.insert(name, value);
        }
    }
    body
}

#[sqlx::test]
async fn an_athlete_is_created_read_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (group, second) = (admin.group("Under 14").await, admin.group("Sprint").await);
    let body = with(mira(&group), json!({"display_name": "  Mira Osei "}));
    let created = admin.post("/athletes", body).await.expect(201);
    let path = format!("/athletes/{}", created.id());
    assert_eq!(created.header("location"), admin.path(&path));
    assert_eq!(created.body["display_name"], "Mira Osei");
    assert_eq!(created.body["status"], "active", "the default");
    assert_eq!(created.body["group_ids"], json!([group]));
    let values: Vec<&Value> =
        created.body["measurements"].as_array().unwrap().iter().map(|one| &one["value"]).collect();
    assert_eq!(values, [1.523, 1.49], "latest first");
    let read = admin.get(&path).await.expect(200);
    assert_eq!(read.body, created.body);
    assert!(read.header("etag").starts_with(&format!("\"{}-", read.body["rev"])), "the version, and what was seen");
    assert_eq!(read.header("cache-control"), "private, no-cache");

    let change = json!({"display_name": "Mira O.", "birth_date": null, "birth_year": 2013, "preferred_lead_leg": null,
        "status": "resting", "group_ids": [group, second], "experience": "trained"});
    let changed = admin.patch(&path, read.header("etag"), change).await.expect(200);
    assert!(changed.body["rev"].as_i64() > read.body["rev"].as_i64());
    assert_eq!((&changed.body["birth_year"], changed.body.get("birth_date")), (&json!(2013), None));
    assert_eq!(changed.body.get("preferred_lead_leg"), None);
    assert_eq!((&changed.body["sex"], &changed.body["consent_on"]), (&json!("F"), &json!("2025-09-01")));
    assert_eq!(changed.body["group_ids"].as_array().unwrap().len(), 2);
    assert_eq!(changed.body["measurements"], read.body["measurements"]);
    let again = admin.get(&path).await;
    assert_eq!((&again.body, again.header("etag")), (&changed.body, changed.header("etag")));

    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
    admin.get(&format!("{path}/measurements")).await.expect(404);
    admin.patch(&path, changed.header("etag"), json!({"sex": "M"})).await.expect(404);
    assert_eq!(admin.get("/athletes").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_create_with_the_same_id_is_answered_alike_and_other_content_is_refused(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    let id = Uuid::now_v7();
    let body = with(mira(&group), json!({"id": id}));
    let first = admin.post("/athletes", body.clone()).await.expect(201);
    let seq = admin.seq().await;
    let again = admin.post("/athletes", body.clone()).await.expect(200);
    assert_eq!(again.body, first.body);
    assert_eq!((again.header("location"), again.header("etag")), (first.header("location"), first.header("etag")));
    admin.post("/athletes", with(body.clone(), json!({"sex": "M"}))).await.expect(409);
    let other = json!([{"kind": "stature_m", "value": 1.6, "measured_on": "2025-09-01"}]);
    admin.post("/athletes", with(body.clone(), json!({"measurements": other}))).await.expect(409);
    assert_eq!(admin.seq().await, seq, "a repeat raises no change number");

    let more = json!({"kind": "sprint_30m_s", "value": 5.2, "measured_on": "2025-10-01"});
    admin.post(&format!("/athletes/{id}/measurements"), more).await.expect(201);
    admin.post("/athletes", body.clone()).await.expect(200);
    admin.delete(&format!("/athletes/{id}"), first.header("etag")).await.expect(204);
    admin.post("/athletes", body).await.expect(410);
}

#[sqlx::test]
async fn two_creates_of_one_id_at_the_same_time_make_one_athlete(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    for _ in 0..5 {
        let body = with(mira(&group), json!({"id": Uuid::now_v7()}));
        let create = || unless_busy(async || admin.post("/athletes", body.clone()).await);
        let (one, two) = tokio::join!(create(), create());
        let mut statuses = [one.status, two.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 201], "{} {}", one.body, two.body);
        assert_eq!(one.body, two.body);
    }
    assert_eq!(admin.get("/athletes").await.body["items"].as_array().unwrap().len(), 5);
}

#[sqlx::test]
async fn a_change_needs_the_version_that_was_read(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    let created = admin.post("/athletes", with(mira(&group), json!({"measurements": null}))).await.expect(201);
    let path = format!("/athletes/{}", created.id());
    admin.patch(&path, "", json!({"sex": "M"})).await.expect(428);
    admin.delete(&path, "").await.expect(428);
    let stale = admin.patch(&path, "\"999\"", json!({"sex": "M"})).await.expect(412);
    assert_eq!(stale.body["current"], created.body);
    assert_eq!(stale.header("etag"), created.header("etag"));
    admin.delete(&path, "\"999\"").await.expect(412);
    assert_eq!(admin.get(&path).await.body, created.body);
    let same = admin.call(Method::GET, &admin.path(&path), &[("if-none-match", created.header("etag"))], None).await;
    same.expect(304);
}

#[sqlx::test]
async fn every_broken_field_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    let seq = admin.seq().await;
    let today = Utc::now().date_naive();
    let later = today + Days::new(2);
    let many: Vec<Uuid> = (0..21).map(|_| Uuid::now_v7()).collect();
    let cases = [
        (json!({"display_name": "  "}), 422, "/display_name"),
        (json!({"display_name": "n".repeat(81)}), 422, "/display_name"),
        (json!({"display_name": "a\u{7}b"}), 422, "/display_name"),
        (json!({"display_name": 7}), 400, "/display_name"),
        (json!({"display_name": null}), 400, "/display_name"),
        (json!({"sex": "X"}), 422, "/sex"),
        (json!({"sex": ""}), 422, "/sex"),
        (json!({"sex": null}), 400, "/sex"),
        (json!({"birth_date": null}), 422, "/birth_date"),
        (json!({"birth_year": 2013}), 422, "/birth_date"),
        (json!({"birth_date": "1899-12-31"}), 422, "/birth_date"),
        (json!({"birth_date": later}), 422, "/birth_date"),
        (json!({"birth_date": "17.05.2013"}), 400, "/birth_date"),
        (json!({"birth_date": null, "birth_year": 1899}), 422, "/birth_year"),
        (json!({"birth_date": null, "birth_year": today.year() + 2}), 422, "/birth_year"),
        (json!({"birth_date": null, "birth_year": 70_000}), 400, "/birth_year"),
        (json!({"birth_date": null, "birth_year": 2013.5}), 400, "/birth_year"),
        (json!({"group_ids": []}), 422, "/group_ids"),
        (json!({"group_ids": many}), 422, "/group_ids"),
        (json!({"group_ids": [Uuid::now_v7()]}), 422, "/group_ids"),
        (json!({"group_ids": ["Under 14"]}), 400, "/group_ids/0"),
        (json!({"group_ids": null}), 400, "/group_ids"),
        (json!({"preferred_lead_leg": "both"}), 422, "/preferred_lead_leg"),
        (json!({"experience": "expert"}), 422, "/experience"),
        (json!({"experience": null}), 400, "/experience"),
        (json!({"status": "gone"}), 422, "/status"),
        (json!({"consent_on": later}), 422, "/consent_on"),
        (json!({"consent_on": "1999-12-31"}), 422, "/consent_on"),
        (json!({"id": "not-a-uuid"}), 400, "/id"),
        (json!({"weight_kg": 41}), 400, "/weight_kg"),
    ];
    for (change, status, pointer) in cases {
        let answer = admin.post("/athletes", with(mira(&group), change.clone())).await;
        assert_eq!((answer.status, answer.faults()), (status, vec![pointer]), "{change} {}", answer.body);
    }
    let all = json!({"display_name": "", "sex": "w", "birth_date": null, "group_ids": [], "preferred_lead_leg": "x",
        "experience": "x", "status": "x", "consent_on": later});
    let all = admin.post("/athletes", with(mira(&group), all)).await.expect(422);
    let named = [
        "/display_name",
        "/sex",
        "/birth_date",
        "/group_ids",
        "/preferred_lead_leg",
        "/experience",
        "/status",
        "/consent_on",
    ];
    assert_eq!(all.faults(), named);
    assert_eq!(admin.get("/athletes").await.body["items"], json!([]));
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn a_patch_names_its_broken_fields_and_changes_nothing(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    let created = admin.post("/athletes", mira(&group)).await.expect(201);
    let (path, seq) = (format!("/athletes/{}", created.id()), admin.seq().await);
    let cases = [
        (json!({"measurements": []}), 422, "/measurements"),
        (json!({"display_name": ""}), 422, "/display_name"),
        (json!({"display_name": null}), 400, "/display_name"),
        (json!({"birth_date": null}), 422, "/birth_date"),
        (json!({"birth_year": 2013}), 422, "/birth_date"),
        (json!({"group_ids": []}), 422, "/group_ids"),
        (json!({"group_ids": [group, Uuid::now_v7()]}), 422, "/group_ids"),
        (json!({"id": Uuid::now_v7()}), 400, "/id"),
        (json!({"rev": 1}), 400, "/rev"),
    ];
    for (change, status, pointer) in cases {
        let answer = admin.patch(&path, created.header("etag"), change.clone()).await;
        assert_eq!((answer.status, answer.faults()), (status, vec![pointer]), "{change} {}", answer.body);
    }
    assert_eq!(admin.seq().await, seq);
    assert_eq!(admin.get(&path).await.body, created.body);
}

/// Calls that name an athlete, each refused with `status`.
async fn refused(caller: &Caller, path: &str, tag: &str, status: u16) {
    let measurement = json!({"kind": "stature_m", "value": 1.5, "measured_on": "2025-09-01"});
    caller.patch(path, tag, json!({"status": "left"})).await.expect(status);
    caller.delete(path, tag).await.expect(status);
    caller.post(&format!("{path}/measurements"), measurement).await.expect(status);
}

#[sqlx::test]
async fn a_coach_keeps_the_athletes_of_the_assigned_groups_only(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Cora Coach", "coach", &[&mine]).await;
    let hidden = admin.post("/athletes", mira(&other)).await.expect(201);
    let hidden_path = format!("/athletes/{}", hidden.id());
    coach.get(&hidden_path).await.expect(404);
    coach.get(&format!("{hidden_path}/measurements")).await.expect(404);
    refused(&coach, &hidden_path, hidden.header("etag"), 404).await;
    // A group that is not theirs is as unknown to them as one that is not there.
    coach.post("/athletes", mira(&other)).await.expect_fault(422, "/group_ids");
    let both = with(mira(&mine), json!({"group_ids": [mine, other]}));
    coach.post("/athletes", both).await.expect_fault(422, "/group_ids");

    let own = coach.post("/athletes", mira(&mine)).await.expect(201);
    let path = format!("/athletes/{}", own.id());
    let list = coach.get("/athletes").await;
    assert_eq!(list.body["items"].as_array().unwrap().len(), 1);
    assert_eq!(list.body["items"][0], own.body);
    for groups in [json!([mine, other]), json!([other])] {
        let change = json!({"group_ids": groups});
        coach.patch(&path, own.header("etag"), change).await.expect_fault(422, "/group_ids");
    }
    let both = admin.patch(&path, own.header("etag"), json!({"group_ids": [mine, other]})).await.expect(200);
    let named = coach.patch(&path, both.header("etag"), json!({"display_name": "Mira"})).await.expect(200);
    assert_eq!(named.body["group_ids"].as_array().unwrap().len(), 2);
    coach.patch(&path, named.header("etag"), json!({"group_ids": [mine]})).await.expect(403);
    coach.delete(&path, named.header("etag")).await.expect(403);
    assert_eq!(admin.get(&path).await.body, named.body, "nothing of what was refused is stored");
    let moved = admin.patch(&path, named.header("etag"), json!({"group_ids": [other]})).await.expect(200);
    coach.get(&path).await.expect(404);
    refused(&coach, &path, moved.header("etag"), 404).await;
}

#[sqlx::test]
async fn a_viewer_reads_and_another_club_finds_nothing(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = admin.group("Mine").await;
    let created = admin.post("/athletes", mira(&group)).await.expect(201);
    let path = format!("/athletes/{}", created.id());
    let viewer = admin.member("Vera Viewer", "viewer", &[&group]).await;
    assert_eq!(viewer.get(&path).await.expect(200).body, created.body);
    refused(&viewer, &path, created.header("etag"), 403).await;
    viewer.post("/athletes", mira(&group)).await.expect(403);

    south.get(&path).await.expect(404);
    refused(&south, &path, created.header("etag"), 404).await;
    south.call(Method::GET, &admin.path(&path), &[], None).await.expect(404);
    south.post("/athletes", mira(&group)).await.expect_fault(422, "/group_ids");
    assert_eq!(south.get("/athletes").await.body["items"], json!([]));
    app.get(&admin.path(&path)).await.expect(401);
    assert_eq!(admin.get(&path).await.body, created.body);
}

#[sqlx::test]
async fn a_list_is_filtered_by_group_status_and_part_of_the_name(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (one, two) = (admin.group("One").await, admin.group("Two").await);
    for (name, group, status) in [
        ("Mira Osei", &one, "active"),
        ("Élodie Brun", &one, "resting"),
        ("Osei Tan", &two, "left"),
        ("100% Bo", &two, "active"),
    ] {
        let body = with(mira(group), json!({"display_name": name, "status": status}));
        admin.post("/athletes", body).await.expect(201);
    }
    let cases = [
        (String::new(), vec!["Mira Osei", "Élodie Brun", "Osei Tan", "100% Bo"]),
        (format!("?group_id={one}"), vec!["Mira Osei", "Élodie Brun"]),
        (format!("?group_id={}", Uuid::now_v7()), vec![]),
        ("?status=left".to_owned(), vec!["Osei Tan"]),
        ("?q=OSEI".to_owned(), vec!["Mira Osei", "Osei Tan"]),
        ("?q=%C3%A9lodie".to_owned(), vec!["Élodie Brun"]),
        ("?q=%25".to_owned(), vec!["100% Bo"]),
        (format!("?q=osei&group_id={two}&status=left"), vec!["Osei Tan"]),
    ];
    for (query, names) in cases {
        let answer = admin.get(&format!("/athletes{query}")).await.expect(200);
        let found: Vec<&Value> =
            answer.body["items"].as_array().unwrap().iter().map(|one| &one["display_name"]).collect();
        assert_eq!(found, names, "{query}");
    }
    admin.get("/athletes?status=gone").await.expect_fault(400, "status");
    admin.get("/athletes?group_id=one").await.expect_fault(400, "group_id");
    admin.get(&format!("/athletes?q={}", "a".repeat(81))).await.expect_fault(400, "q");
    admin.get("/athletes?limit=201").await.expect_fault(400, "limit");
    admin.get("/athletes?cursor=abc").await.expect_fault(400, "cursor");
}

#[sqlx::test]
async fn a_list_stays_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("One").await;
    let mut ids = Vec::new();
    for _ in 0..7 {
        ids.push(admin.post("/athletes", mira(&group)).await.expect(201).id());
    }
    let walked = walk(&admin, &format!("/athletes?group_id={group}&status=active"), 3, async |_| {
        admin.post("/athletes", mira(&group)).await.expect(201);
    })
    .await;
    assert_eq!(walked[..7], ids);
    let unique: std::collections::BTreeSet<_> = walked.iter().collect();
    assert_eq!(unique.len(), walked.len());
}
