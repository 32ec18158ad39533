//! Keys that sign access tokens come and go while the service runs.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{Duration, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::token::{ACCESS_SECONDS, Keys};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{PASSWORD, TestApp};

/// The key that signed a token.
fn key_of(token: &str) -> String {
    let header = URL_SAFE_NO_PAD.decode(token.split('.').next().unwrap()).unwrap();
    serde_json::from_slice::<Value>(&header).unwrap()["kid"].as_str().unwrap().to_owned()
}

async fn published(app: &TestApp) -> Vec<String> {
    let set = app.get("/.well-known/jwks.json").await.expect(200);
    set.body["keys"].as_array().unwrap().iter().map(|key| key["kid"].as_str().unwrap().to_owned()).collect()
}

async fn signed_in(app: &TestApp) -> Value {
    let body = json!({"email": "ines@people.example", "password": PASSWORD, "device_name": "Phone"});
    app.post("/v1/auth/sign-in", body).await.expect(200).body
}

async fn status(app: &TestApp, token: &str) -> u16 {
    app.send(Method::GET, "/v1/me", &[("authorization", &format!("Bearer {token}"))], None).await.status
}

#[sqlx::test]
async fn a_new_key_is_published_before_it_signs_and_the_old_one_verifies_until_its_last_token_is_over(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    app.person("ines").await;
    let first = signed_in(&app).await["access_token"].as_str().unwrap().to_owned();
    let (old, db) = (key_of(&first), Db::lazy((*app.pool.connect_options()).clone(), 1));

    let (new, from) = Keys::rotate(&db).await.unwrap();
    app.keys.reload(&db, Utc::now()).await.unwrap();
    assert_eq!(published(&app).await, [old.clone(), new.clone()]);
    assert_eq!(key_of(signed_in(&app).await["access_token"].as_str().unwrap()), old);

    app.keys.reload(&db, from).await.unwrap();
    let second = signed_in(&app).await["access_token"].as_str().unwrap().to_owned();
    assert_eq!(key_of(&second), new);
    assert_eq!((status(&app, &first).await, status(&app, &second).await), (200, 200));

    // An instance that has not read the keys again may have signed for a while longer.
    app.keys.reload(&db, from + Duration::seconds(ACCESS_SECONDS + 60)).await.unwrap();
    assert_eq!(status(&app, &first).await, 200);
    app.keys.reload(&db, from + Duration::seconds(ACCESS_SECONDS + 121)).await.unwrap();
    assert_eq!(published(&app).await, [new]);
    assert_eq!((status(&app, &first).await, status(&app, &second).await), (401, 200));
}

#[sqlx::test]
async fn nothing_that_a_leaked_key_signed_is_believed_and_apps_go_on_by_themselves(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    app.person("ines").await;
    let before = signed_in(&app).await;
    let db = Db::lazy((*app.pool.connect_options()).clone(), 1);
    let new = Keys::replace(&db).await.unwrap();
    app.keys.reload(&db, Utc::now()).await.unwrap();
    assert_eq!(published(&app).await, std::slice::from_ref(&new));
    assert_eq!(status(&app, before["access_token"].as_str().unwrap()).await, 401);
    let body = json!({"refresh_token": before["refresh_token"]});
    let after = app.post("/v1/auth/refresh", body).await.expect(200).body;
    let token = after["access_token"].as_str().unwrap();
    assert_eq!((key_of(token), status(&app, token).await), (new, 200));
}
