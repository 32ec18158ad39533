//! Training groups.

use serde_json::json;
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{TestApp, walk};

#[sqlx::test]
async fn a_group_is_created_read_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/groups", json!({"name": " Under 14 ", "season": "2026"})).await.expect(201);
    let path = format!("/groups/{}", created.id());
    assert_eq!(created.header("location"), admin.path(&path));
    assert_eq!(created.body["name"], "Under 14");
    let read = admin.get(&path).await.expect(200);
    assert_eq!(read.body, created.body);
    let etag = read.header("etag").to_owned();
    assert!(etag.starts_with(&format!("\"{}-", read.body["rev"])), "{etag}");

    let changed = admin.patch(&path, &etag, json!({"season": null, "name": "Under 15"})).await.expect(200);
    assert_eq!(changed.body["name"], "Under 15");
    assert_eq!(changed.body.get("season"), None);
    assert!(changed.body["rev"].as_i64() > read.body["rev"].as_i64());
    assert_eq!(admin.get(&path).await.body, changed.body);

    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
    assert_eq!(admin.get("/groups").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_create_with_the_same_id_is_answered_alike_and_other_content_is_refused(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let body = json!({"id": Uuid::now_v7(), "name": "Sprint"});
    let first = admin.post("/groups", body.clone()).await.expect(201);
    let seq = admin.seq().await;
    let again = admin.post("/groups", body.clone()).await.expect(200);
    assert_eq!(again.body, first.body);
    admin.post("/groups", json!({"id": body["id"], "name": "Other"})).await.expect(409);
    assert_eq!(admin.seq().await, seq, "a repeat raises no change number");
    admin.delete(&format!("/groups/{}", first.id()), first.header("etag")).await.expect(204);
    admin.post("/groups", body).await.expect(410);
}

#[sqlx::test]
async fn a_change_needs_the_version_that_was_read(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let created = admin.post("/groups", json!({"name": "Sprint"})).await.expect(201);
    let path = format!("/groups/{}", created.id());
    admin.patch(&path, "", json!({"name": "B"})).await.expect(428);
    admin.delete(&path, "").await.expect(428);
    let stale = admin.patch(&path, "\"999\"", json!({"name": "B"})).await.expect(412);
    assert_eq!(stale.body["current"], created.body);
    assert_eq!(stale.header("etag"), created.header("etag"));
    admin.delete(&path, "\"999\"").await.expect(412);
    let tag = created.header("etag");
    let same = admin.call(reqwest::Method::GET, &admin.path(&path), &[("if-none-match", tag)], None).await;
    same.expect(304);
}

#[sqlx::test]
async fn every_broken_field_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    admin.post("/groups", json!({"name": "  "})).await.expect_fault(422, "/name");
    admin.post("/groups", json!({"name": "a\u{7}b"})).await.expect_fault(422, "/name");
    let both = admin.post("/groups", json!({"name": "", "season": "x".repeat(41)})).await.expect(422);
    assert_eq!(both.faults(), ["/name", "/season"]);
    admin.post("/groups", json!({"name": "A", "id": "not-a-uuid"})).await.expect_fault(400, "/id");
    assert_eq!(admin.get("/groups").await.body["items"], json!([]));
    admin.post("/groups", json!({"name": "Sprint"})).await.expect(201);
    admin.post("/groups", json!({"name": "SPRINT"})).await.expect(409);
}

#[sqlx::test]
async fn another_club_gets_404_and_others_see_only_their_groups(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let (mine, other) = (north.group("Mine").await, north.group("Other").await);
    let path = format!("/groups/{mine}");
    south.get(&path).await.expect(404);
    south.call(reqwest::Method::GET, &north.path(&path), &[], None).await.expect(404);
    for role in ["coach", "viewer"] {
        let member = north.member(&format!("The {role}"), role, &[&mine]).await;
        member.get(&path).await.expect(200);
        member.get(&format!("/groups/{other}")).await.expect(404);
        assert_eq!(member.get("/groups").await.body["items"].as_array().unwrap().len(), 1);
        let refused = member.post("/groups", json!({"name": "New"})).await.expect(403);
        assert!(refused.body["detail"].as_str().unwrap().contains("admin"));
    }
}

#[sqlx::test]
async fn a_list_stays_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut ids = Vec::new();
    for n in 0..7 {
        ids.push(admin.group(&format!("Group {n}")).await);
    }
    let walked = walk(&admin, "/groups", 3, async |page| {
        admin.group(&format!("Late {page}")).await;
    })
    .await;
    assert_eq!(walked[..7], ids);
    let unique: std::collections::BTreeSet<_> = walked.iter().collect();
    assert_eq!(unique.len(), walked.len());
    admin.get("/groups?limit=0").await.expect_fault(400, "limit");
    admin.get("/groups?limit=many").await.expect_fault(400, "limit");
    admin.get("/groups?cursor=abc").await.expect_fault(400, "cursor");
}

#[sqlx::test]
async fn a_group_with_a_member_stays_until_nobody_is_assigned_to_it(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&group]).await;
    let path = format!("/groups/{group}");
    let refused = admin.delete(&path, "*").await.expect(409);
    assert!(refused.body["detail"].as_str().unwrap().contains("members"), "{}", refused.body);
    let member = format!("/members/{}", coach.account);
    // What is not named in a change is as it was, and no fault of it.
    admin.patch(&member, "*", json!({"role": "viewer"})).await.expect(200);
    admin.patch(&member, "*", json!({"group_ids": [other]})).await.expect(200);
    admin.delete(&path, "*").await.expect(204);
}
