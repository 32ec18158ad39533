//! Lane recipes.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{TestApp, walk};

fn recipe(name: &str) -> Value {
    json!({"name": name, "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.25, "approach_m": 12.0,
        "barriers": 5})
}

#[sqlx::test]
async fn a_recipe_is_created_read_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/barrier-configurations", recipe(" Low rhythm lane ")).await.expect(201);
    assert_eq!(created.body["name"], "Low rhythm lane");
    let path = format!("/barrier-configurations/{}", created.id());
    assert_eq!(admin.get(&path).await.expect(200).body, created.body);
    let change = json!({"barrier_kind": "wicket", "height_m": 0.15, "spacing_m": 1.0, "approach_m": 0, "barriers": 12});
    let changed = admin.patch(&path, created.header("etag"), change).await.expect(200);
    let whole = json!({"id": created.body["id"], "rev": changed.body["rev"], "name": "Low rhythm lane",
        "barrier_kind": "wicket", "height_m": 0.15, "spacing_m": 1.0, "approach_m": 0.0, "barriers": 12});
    assert_eq!(changed.body, whole);
    assert_eq!(admin.get(&path).await.body, whole);
    let stale = admin.patch(&path, created.header("etag"), json!({"barriers": 3})).await.expect(412);
    assert_eq!(stale.body["current"], whole);
    admin.patch(&path, "", json!({"barriers": 3})).await.expect(428);
    admin.patch(&path, changed.header("etag"), json!({"barriers": null})).await.expect_fault(400, "/barriers");
    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
}

#[sqlx::test]
async fn a_repeated_create_is_answered_alike_and_a_taken_name_is_refused(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut body = recipe("Rhythm");
    body["id"] = json!(Uuid::now_v7());
    let first = admin.post("/barrier-configurations", body.clone()).await.expect(201);
    let seq = admin.seq().await;
    assert_eq!(admin.post("/barrier-configurations", body.clone()).await.expect(200).body, first.body);
    body["barriers"] = json!(6);
    admin.post("/barrier-configurations", body).await.expect(409);
    admin.post("/barrier-configurations", recipe("RHYTHM")).await.expect(409);
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn every_broken_field_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let seq = admin.seq().await;
    let all = json!({"name": "", "barrier_kind": "gate", "height_m": 0.049, "spacing_m": 0.999, "approach_m": -0.001,
        "barriers": 0});
    let answer = admin.post("/barrier-configurations", all).await.expect(422);
    assert_eq!(answer.faults(), ["/name", "/barrier_kind", "/height_m", "/spacing_m", "/approach_m", "/barriers"]);
    let broken = [
        ("height_m", json!(1.101), 422),
        ("height_m", json!(0.5005), 422),
        ("spacing_m", json!(20.001), 422),
        ("approach_m", json!(50.001), 422),
        ("barriers", json!(21), 422),
        ("barriers", json!("5"), 400),
        ("spacing_m", json!(null), 400),
        ("id", json!("x"), 400),
        ("colour", json!("red"), 400),
    ];
    for (field, value, status) in broken {
        let mut body = recipe("Rhythm");
        body[field] = value;
        admin.post("/barrier-configurations", body).await.expect_fault(status, &format!("/{field}"));
    }
    assert_eq!(admin.get("/barrier-configurations").await.body["items"], json!([]));
    assert_eq!(admin.seq().await, seq);
    for (spacing, approach) in [(1.0, 0.0), (20.0, 50.0)] {
        let mut body = recipe(&format!("At {spacing}"));
        body["spacing_m"] = json!(spacing);
        body["approach_m"] = json!(approach);
        admin.post("/barrier-configurations", body).await.expect(201);
    }
}

#[sqlx::test]
async fn coaches_keep_recipes_viewers_read_them_and_another_club_gets_404(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Sprint").await;
    let coach = north.member("The coach", "coach", &[&group]).await;
    let viewer = north.member("The viewer", "viewer", &[&group]).await;
    let made = coach.post("/barrier-configurations", recipe("Rhythm")).await.expect(201);
    let path = format!("/barrier-configurations/{}", made.id());
    let changed = coach.patch(&path, made.header("etag"), json!({"barriers": 6})).await.expect(200);
    assert_eq!(viewer.get(&path).await.expect(200).body, changed.body);
    viewer.post("/barrier-configurations", recipe("Other")).await.expect(403);
    viewer.patch(&path, changed.header("etag"), json!({"barriers": 7})).await.expect(403);
    viewer.delete(&path, changed.header("etag")).await.expect(403);
    south.get(&path).await.expect(404);
    south.delete(&path, changed.header("etag")).await.expect(404);
    assert_eq!(south.get("/barrier-configurations").await.body["items"], json!([]));
    assert_eq!(north.get("/barrier-configurations").await.body["items"], json!([changed.body]));
    coach.delete(&path, changed.header("etag")).await.expect(204);
}

#[sqlx::test]
async fn a_list_stays_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut ids = Vec::new();
    for n in 0..7 {
        ids.push(admin.post("/barrier-configurations", recipe(&format!("Lane {n}"))).await.expect(201).id());
    }
    let walked = walk(&admin, "/barrier-configurations", 3, async |page| {
        admin.post("/barrier-configurations", recipe(&format!("Late {page}"))).await.expect(201);
    })
    .await;
    assert_eq!(walked[..7], ids);
    let unique: std::collections::BTreeSet<_> = walked.iter().collect();
    assert_eq!(unique.len(), walked.len());
}
