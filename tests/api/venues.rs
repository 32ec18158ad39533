//! Venues.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{TestApp, walk};

fn park(name: &str) -> Value {
    json!({"name": name, "environment": "outdoor", "straight_m": 110.5, "lanes": 6, "surface": "synthetic"})
}

#[sqlx::test]
async fn a_venue_is_created_read_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/venues", park(" Harbour Park ")).await.expect(201);
    let path = format!("/venues/{}", created.id());
    assert_eq!(created.header("location"), admin.path(&path));
    assert_eq!(created.body["name"], "Harbour Park");
    let read = admin.get(&path).await.expect(200);
    assert_eq!(read.body, created.body);
    let etag = read.header("etag").to_owned();
    assert!(etag.starts_with(&format!("\"{}-", read.body["rev"])), "{etag}");
    admin.call(Method::GET, &admin.path(&path), &[("if-none-match", &etag)], None).await.expect(304);

    let change = json!({"surface": null, "environment": "indoor", "straight_m": 60});
    let changed = admin.patch(&path, &etag, change).await.expect(200);
    let rev = changed.body["rev"].as_i64().unwrap();
    assert!(rev > read.body["rev"].as_i64().unwrap());
    let whole = json!({"id": created.body["id"], "rev": rev, "name": "Harbour Park", "environment": "indoor",
        "straight_m": 60.0, "lanes": 6});
    assert_eq!(changed.body, whole);
    assert_eq!(admin.get(&path).await.body, whole);

    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
    assert_eq!(admin.get("/venues").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_repeated_create_is_answered_alike_and_stale_changes_are_refused(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut body = park("Harbour Park");
    body["id"] = json!(Uuid::now_v7());
    let first = admin.post("/venues", body.clone()).await.expect(201);
    let seq = admin.seq().await;
    assert_eq!(admin.post("/venues", body.clone()).await.expect(200).body, first.body);
    let mut other = body.clone();
    other["lanes"] = json!(8);
    admin.post("/venues", other).await.expect(409);
    let path = format!("/venues/{}", first.id());
    admin.patch(&path, "", json!({"lanes": 8})).await.expect(428);
    admin.delete(&path, "").await.expect(428);
    let stale = admin.patch(&path, "\"999\"", json!({"lanes": 8})).await.expect(412);
    assert_eq!(stale.body["current"], first.body);
    admin.delete(&path, "\"999\"").await.expect(412);
    assert_eq!(admin.seq().await, seq, "a refusal raises no change number");
    admin.delete(&path, first.header("etag")).await.expect(204);
    admin.post("/venues", body).await.expect(410);
}

#[sqlx::test]
async fn every_broken_field_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let seq = admin.seq().await;
    let all = json!({"name": " ", "environment": "roof", "straight_m": 9.999, "lanes": 0, "surface": "x".repeat(61)});
    let answer = admin.post("/venues", all).await.expect(422);
    assert_eq!(answer.faults(), ["/name", "/environment", "/straight_m", "/lanes", "/surface"]);
    let broken = [
        ("name", json!("x".repeat(81)), 422),
        ("straight_m", json!(400.001), 422),
        ("straight_m", json!(-60), 422),
        ("straight_m", json!(60.0005), 422),
        ("straight_m", json!(1e300), 422),
        ("lanes", json!(21), 422),
        ("lanes", json!(-1), 422),
        ("straight_m", json!("60"), 400),
        ("lanes", json!(5.5), 400),
        ("name", json!(7), 400),
        ("id", json!("not-a-uuid"), 400),
        ("colour", json!("red"), 400),
    ];
    for (field, value, status) in broken {
        let mut body = park("Harbour Park");
        body[field] = value;
        admin.post("/venues", body).await.expect_fault(status, &format!("/{field}"));
    }
    let mut body = park("Harbour Park");
    body.as_object_mut().unwrap().remove("lanes");
    admin.post("/venues", body).await.expect_fault(400, "/lanes");
    assert_eq!(admin.get("/venues").await.body["items"], json!([]));
    assert_eq!(admin.seq().await, seq);

    for edge in [10.0, 400.0] {
        let mut body = park(&format!("Straight of {edge}"));
        body["straight_m"] = json!(edge);
        let made = admin.post("/venues", body).await.expect(201);
        assert_eq!(made.body["straight_m"], json!(edge));
    }
}

#[sqlx::test]
async fn bodies_that_cannot_be_read_do_not_harm_the_requests_after_them(pool: PgPool) {
    // The body is read while the caller's rights are being looked up; its refusal ends that look-up half-way.
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    for round in 0..40 {
        admin.post("/venues", json!({"colour": "red"})).await.expect_fault(400, "/colour");
        admin.get("/venues").await.expect(200);
        admin.post("/venues", park(&format!("Venue {round}"))).await.expect(201);
    }
}

#[sqlx::test]
async fn a_name_is_taken_only_while_its_venue_exists(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let first = admin.post("/venues", park("Hall")).await.expect(201);
    admin.post("/venues", park("HALL")).await.expect(409);
    let second = admin.post("/venues", park("Park")).await.expect(201);
    let path = format!("/venues/{}", second.id());
    admin.patch(&path, second.header("etag"), json!({"name": "hall"})).await.expect(409);
    admin.delete(&format!("/venues/{}", first.id()), first.header("etag")).await.expect(204);
    admin.patch(&path, second.header("etag"), json!({"name": "hall"})).await.expect(200);
}

#[sqlx::test]
async fn a_venue_of_a_session_is_kept_until_the_session_is_gone(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let venue = admin.post("/venues", park("Harbour Park")).await.expect(201);
    let path = format!("/venues/{}", venue.id());
    let today = chrono::Utc::now().date_naive();
    let session = json!({"held_on": today, "state": "planned", "group_ids": [group], "venue_id": venue.id()});
    let session = admin.post("/sessions", session).await.expect(201);
    let refused = admin.delete(&path, venue.header("etag")).await.expect(409);
    let detail = refused.body["detail"].as_str().unwrap();
    assert!(detail.contains("Sessions") && detail.contains("Move them"), "{detail}");
    assert_eq!(admin.get(&path).await.expect(200).body, venue.body);
    admin.delete(&format!("/sessions/{}", session.id()), session.header("etag")).await.expect(204);
    admin.delete(&path, venue.header("etag")).await.expect(204);
}

#[sqlx::test]
async fn another_club_gets_404_and_every_member_reads_but_only_admins_write(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Sprint").await;
    let venue = north.post("/venues", park("Harbour Park")).await.expect(201);
    let path = format!("/venues/{}", venue.id());
    south.get(&path).await.expect(404);
    south.patch(&path, venue.header("etag"), json!({"lanes": 1})).await.expect(404);
    south.delete(&path, venue.header("etag")).await.expect(404);
    south.call(Method::GET, &north.path(&path), &[], None).await.expect(404);
    assert_eq!(south.get("/venues").await.body["items"], json!([]));
    for role in ["coach", "viewer"] {
        let member = north.member(&format!("The {role}"), role, &[&group]).await;
        assert_eq!(member.get(&path).await.expect(200).body, venue.body);
        assert_eq!(member.get("/venues").await.body["items"], json!([venue.body]));
        member.post("/venues", park("Other")).await.expect(403);
        member.patch(&path, venue.header("etag"), json!({"lanes": 1})).await.expect(403);
        member.delete(&path, venue.header("etag")).await.expect(403);
    }
    assert_eq!(north.get("/venues").await.body["items"], json!([venue.body]));
}

#[sqlx::test]
async fn a_list_stays_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut ids = Vec::new();
    for n in 0..7 {
        ids.push(admin.post("/venues", park(&format!("Venue {n}"))).await.expect(201).id());
    }
    let walked = walk(&admin, "/venues", 3, async |page| {
        admin.post("/venues", park(&format!("Late {page}"))).await.expect(201);
    })
    .await;
    assert_eq!(walked[..7], ids);
    let unique: std::collections::BTreeSet<_> = walked.iter().collect();
    assert_eq!(unique.len(), walked.len());
}
