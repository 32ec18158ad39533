//! What an admin or a sign-out ended counts from the very next request on, also before another instance.

use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;

use crate::support::{Caller, TestApp};

/// The same person before another instance, with the same access token.
fn at(app: &TestApp, who: &Caller) -> Caller {
    Caller { app: app.clone(), ..who.clone() }
}

async fn change(admin: &Caller, member: &Caller, to: serde_json::Value) {
    let path = format!("/members/{}", member.account);
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.patch(&path, &tag, to).await.expect(200);
}

#[sqlx::test]
async fn the_next_request_before_another_instance_knows_what_was_ended(pool: PgPool) {
    let (here, there) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let admin = here.admin_of("North").await;
    let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Cora Coach", "coach", &[&mine]).await;
    let body = json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [mine],
        "experience": "novice"});
    let athlete = admin.post("/athletes", body.clone()).await.expect(201).id();
    let path = format!("/athletes/{athlete}");
    let far = at(&there, &coach);
    far.get(&path).await.expect(200);

    // A group.
    change(&admin, &coach, json!({"group_ids": [other]})).await;
    far.get(&path).await.expect(404);
    assert_eq!(far.get("/athletes").await.expect(200).body["items"], json!([]));
    far.post("/athletes", body.clone()).await.expect_fault(422, "/group_ids");
    change(&admin, &coach, json!({"group_ids": [mine]})).await;
    far.get(&path).await.expect(200);

    // A role.
    change(&admin, &coach, json!({"role": "viewer"})).await;
    far.get(&path).await.expect(200);
    far.post("/athletes", body.clone()).await.expect(403);
    far.post("/changes", json!({"device_id": athlete, "schema": 1, "sent_at": chrono::Utc::now(), "items": []}))
        .await
        .expect(200);

    // A sign-in.
    let devices = coach.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    let device = devices.body["items"][0]["id"].as_str().unwrap().to_owned();
    let again = json!({"email": coach.email, "password": crate::support::PASSWORD, "device_name": "Other phone"});
    let token =
        here.post("/v1/auth/sign-in", again).await.expect(200).body["access_token"].as_str().unwrap().to_owned();
    coach.call(Method::DELETE, &format!("/v1/me/devices/{device}"), &[], None).await.expect(204);
    far.get(&path).await.expect(401);
    far.post("/athletes", body.clone()).await.expect(401);
    far.get("/changes").await.expect(401);
    far.get("/own-held-items").await.expect(401);
    let far = Caller { token, ..far };
    far.get(&path).await.expect(200);

    // The membership.
    let path_of_member = format!("/members/{}", coach.account);
    let tag = admin.get(&path_of_member).await.expect(200).header("etag").to_owned();
    admin.delete(&path_of_member, &tag).await.expect(204);
    far.get(&path).await.expect(404);
    far.post("/athletes", body).await.expect(404);
}
