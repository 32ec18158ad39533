//! Sign-up, sign-in, refresh, sign-out, devices.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, PASSWORD, TestApp, eventually};

async fn sign_in(app: &TestApp, email: &str, password: &str) -> Answer {
    app.post("/v1/auth/sign-in", json!({"email": email, "password": password, "device_name": "Phone"})).await
}

async fn refresh(app: &TestApp, token: &Value) -> Answer {
    app.post("/v1/auth/refresh", json!({"refresh_token": token})).await
}

async fn me(app: &TestApp, token: &Value) -> Answer {
    let bearer = format!("Bearer {}", token.as_str().unwrap());
    app.send(Method::GET, "/v1/me", &[("authorization", &bearer)], None).await
}

#[sqlx::test]
async fn a_sign_up_with_a_club_makes_its_first_admin(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let me = admin.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(me.body["account"]["email"], "admin@north.example");
    assert_eq!(me.body["clubs"], json!([{"club_id": admin.club, "name": "North", "role": "admin", "group_ids": []}]));
}

#[sqlx::test]
async fn a_sign_up_names_every_broken_field_and_stores_nothing(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let body = json!({"email": "nobody", "password": "short", "display_name": "",
        "club": {"name": "", "time_zone": "Mars/Olympus", "ruleset": ""}});
    let answer = app.post("/v1/auth/sign-up", body).await.expect(422);
    assert_eq!(
        answer.faults(),
        ["/email", "/password", "/display_name", "/club/name", "/club/time_zone", "/club/ruleset"]
    );
    let count: i64 = sqlx::query_scalar("select count(*) from login_emails").fetch_one(&app.pool).await.unwrap();
    assert_eq!(count, 0);
    app.admin_of("North").await;
    let again = json!({"email": "ADMIN@north.example", "password": PASSWORD, "display_name": "Twin"});
    app.post("/v1/auth/sign-up", again).await.expect(201);
}

#[sqlx::test]
async fn a_wrong_password_and_an_unknown_address_are_answered_alike(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    app.admin_of("North").await;
    let good = sign_in(&app, "Admin@North.example", PASSWORD).await.expect(200);
    assert_eq!((&good.body["token_type"], &good.body["expires_in"]), (&json!("Bearer"), &json!(900)));
    assert_eq!(good.header("cache-control"), "no-store");
    let mut wrong = sign_in(&app, "admin@north.example", "not the password").await.expect(401);
    let mut unknown = sign_in(&app, "ghost@north.example", "not the password").await.expect(401);
    for answer in [&mut wrong, &mut unknown] {
        answer.body["instance"] = Value::Null;
    }
    assert_eq!(wrong.body, unknown.body);
}

#[sqlx::test]
async fn a_flood_of_sign_ins_is_slowed_down(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let flood = async || sign_in(&app, "ghost@north.example", "not the password").await;
    let mut last = flood().await.expect(401);
    // A slow machine lets some of the attempts grow back meanwhile.
    eventually("an attempt is refused", async || {
        last = flood().await;
        assert!(matches!(last.status, 401 | 429), "{last:?}");
        last.status == 429
    })
    .await;
    assert!(!last.header("retry-after").is_empty());
}

#[sqlx::test]
async fn a_refresh_token_works_once_and_a_copy_ends_the_sign_in(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let first = json!(admin.refresh);
    let second = refresh(&app, &first).await.expect(200);
    me(&app, &second.body["access_token"]).await.expect(200);
    let third = refresh(&app, &second.body["refresh_token"]).await.expect(200);
    refresh(&app, &first).await.expect(401);
    refresh(&app, &third.body["refresh_token"]).await.expect(401);
    me(&app, &third.body["access_token"]).await.expect(401);
    refresh(&app, &json!("nonsense")).await.expect(401);
    let other = sign_in(&app, &admin.email, PASSWORD).await.expect(200);
    me(&app, &other.body["access_token"]).await.expect(200);
}

#[sqlx::test]
async fn signing_out_ends_one_sign_in_at_once(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let other = sign_in(&app, &admin.email, PASSWORD).await.expect(200);
    for _ in 0..2 {
        app.post("/v1/auth/sign-out", json!({"refresh_token": admin.refresh})).await.expect(204);
    }
    me(&app, &json!(admin.token)).await.expect(401);
    refresh(&app, &json!(admin.refresh)).await.expect(401);
    me(&app, &other.body["access_token"]).await.expect(200);
}

#[sqlx::test]
async fn devices_are_listed_and_one_can_be_ended(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let phone = sign_in(&app, &admin.email, PASSWORD).await.expect(200);
    let list = admin.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    let items = list.body["items"].as_array().unwrap();
    assert_eq!(items.iter().map(|item| &item["current"]).collect::<Vec<_>>(), [&json!(false), &json!(true)]);
    assert_eq!(items[0]["name"], "Phone");
    let path = format!("/v1/me/devices/{}", items[0]["id"].as_str().unwrap());
    let stranger = app.admin_of("South").await;
    stranger.call(Method::DELETE, &path, &[], None).await.expect(404);
    admin.call(Method::DELETE, &path, &[], None).await.expect(204);
    me(&app, &phone.body["access_token"]).await.expect(401);
}

#[sqlx::test]
async fn a_new_password_ends_the_other_sign_ins(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let other = sign_in(&app, &admin.email, PASSWORD).await.expect(200);
    let change = |current: &str, new: &str| json!({"current": current, "new": new});
    let path = "/v1/me/password";
    admin
        .call(Method::POST, path, &[], Some(change("wrong password", "another password")))
        .await
        .expect_fault(422, "/current");
    admin.call(Method::POST, path, &[], Some(change(PASSWORD, "short"))).await.expect_fault(422, "/new");
    admin.call(Method::POST, path, &[], Some(change(PASSWORD, "another password"))).await.expect(204);
    me(&app, &json!(admin.token)).await.expect(200);
    me(&app, &other.body["access_token"]).await.expect(401);
    sign_in(&app, &admin.email, PASSWORD).await.expect(401);
    sign_in(&app, &admin.email, "another password").await.expect(200);
}

#[sqlx::test]
async fn only_tokens_signed_by_us_for_us_are_taken(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let parts: Vec<&str> = admin.token.split('.').collect();
    let keys = app.get("/.well-known/jwks.json").await.expect(200);
    assert_eq!(keys.body["keys"][0]["crv"], "Ed25519");
    // The header {"alg":"none"} in base64url.
    let unsigned = format!("eyJhbGciOiJub25lIn0.{}.", parts[1]);
    let cut = format!("{}.{}.{}", parts[0], parts[1], &parts[2][..parts[2].len() - 4]);
    for token in [unsigned, cut, "x".into(), String::new()] {
        me(&app, &json!(token)).await.expect(401);
    }
    let answer = app.get("/v1/me").await.expect(401);
    assert_eq!(answer.header("www-authenticate"), "Bearer");
}

#[sqlx::test]
async fn a_second_club_can_be_founded(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let person = app.person("Ivo Ferret").await;
    let body = json!({"name": "East", "time_zone": "Asia/Tokyo", "ruleset": "JAAF"});
    let club = person.call(Method::POST, "/v1/clubs", &[], Some(body)).await.expect(201);
    let me = person.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(me.body["clubs"][0]["club_id"], club.body["id"]);
}
