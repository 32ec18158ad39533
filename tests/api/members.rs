//! Members and invitations.

use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::TestApp;

#[sqlx::test]
async fn an_invited_person_joins_with_role_and_groups(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let coach = admin.member("Tomas Reyl", "coach", &[&group]).await;
    let me = coach.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(
        me.body["clubs"],
        json!([{"club_id": admin.club, "name": "North", "role": "coach", "group_ids": [group]}])
    );
    let members = admin.get("/members").await.expect(200);
    assert_eq!(members.body["items"].as_array().unwrap().len(), 2);
    assert_eq!(admin.get("/invitations").await.body["items"], json!([]));
}

#[sqlx::test]
async fn an_invitation_is_for_one_address_and_one_use(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let (guest, thief) = (app.person("Guest One").await, app.person("Thief Two").await);
    let body = json!({"email": "Guest.One@people.example", "role": "viewer", "group_ids": [group]});
    let invitation = admin.post("/invitations", body.clone()).await.expect(201);
    let token = json!({"token": invitation.body["token"]});
    let accept = "/v1/invitations/accept";
    thief.call(Method::POST, accept, &[], Some(token.clone())).await.expect(404);
    guest.call(Method::POST, accept, &[], Some(json!({"token": "nonsense"}))).await.expect(404);
    guest.call(Method::POST, accept, &[], Some(token.clone())).await.expect(200);
    guest.call(Method::POST, accept, &[], Some(token)).await.expect(404);
    assert!(thief.call(Method::GET, "/v1/me", &[], None).await.body["clubs"].as_array().unwrap().is_empty());

    let other = admin
        .post("/invitations", json!({"email": "late@people.example", "role": "viewer", "group_ids": [group]}))
        .await
        .expect(201);
    admin.delete(&format!("/invitations/{}", other.id()), "").await.expect(204);
    admin.delete(&format!("/invitations/{}", other.id()), "").await.expect(404);
}

#[sqlx::test]
async fn broken_invitations_name_the_field(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let try_one = async |email: &str, role: &str, groups: serde_json::Value| {
        admin.post("/invitations", json!({"email": email, "role": role, "group_ids": groups})).await
    };
    try_one("nobody", "coach", json!([group])).await.expect_fault(422, "/email");
    try_one("a@b.example", "coach", json!([])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "admin", json!([group])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "coach", json!([Uuid::now_v7()])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "owner", json!([group])).await.expect_fault(400, "/role");
    assert_eq!(admin.get("/invitations").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_changed_assignment_changes_what_is_seen_and_is_logged(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (one, two) = (admin.group("One").await, admin.group("Two").await);
    let coach = admin.member("Tomas Reyl", "coach", &[&one]).await;
    let path = format!("/members/{}", coach.account);
    let before = admin.get(&path).await.expect(200);
    let seq = admin.seq().await;
    admin.patch(&path, before.header("etag"), json!({"group_ids": [two]})).await.expect(200);
    coach.get(&format!("/groups/{one}")).await.expect(404);
    coach.get(&format!("/groups/{two}")).await.expect(200);
    // One row for the member, one for the grant that ends, one for the grant that begins.
    assert_eq!(admin.seq().await, seq + 3);
    let fresh = admin.get(&path).await.expect(200);
    admin.delete(&path, fresh.header("etag")).await.expect(204);
    coach.get("/groups").await.expect(404);
}

#[sqlx::test]
async fn the_last_admin_stays(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let path = format!("/members/{}", admin.account);
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.delete(&path, &tag).await.expect(409);
    admin.patch(&path, &tag, json!({"role": "coach", "group_ids": [group]})).await.expect(409);
    let second = admin.member("Second Admin", "admin", &[]).await;
    admin.delete(&path, &tag).await.expect(204);
    admin.get("/groups").await.expect(404);
    second.get("/groups").await.expect(200);
}
