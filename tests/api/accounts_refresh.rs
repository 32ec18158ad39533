//! Refresh tokens: rotation, lost answers, copies.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, TestApp};

async fn refresh(app: &TestApp, token: &Value) -> Answer {
    app.post("/v1/auth/refresh", json!({"refresh_token": token})).await
}

async fn me(app: &TestApp, token: &Value) -> u16 {
    let bearer = format!("Bearer {}", token.as_str().unwrap());
    app.send(Method::GET, "/v1/me", &[("authorization", &bearer)], None).await.status
}

async fn sql(app: &TestApp, statement: &'static str) {
    sqlx::query(statement).execute(&app.pool).await.unwrap();
}

#[sqlx::test]
async fn a_lost_answer_does_not_sign_the_phone_out(pool: PgPool) {
    let (one, two) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let first = json!(one.admin_of("North").await.refresh);
    let lost = refresh(&one, &first).await.expect(200).body;
    let again = refresh(&two, &first).await.expect(200).body;
    assert_ne!(lost["refresh_token"], again["refresh_token"]);
    assert_eq!(me(&one, &again["access_token"]).await, 200);
    let next = refresh(&one, &again["refresh_token"]).await.expect(200).body;
    assert_eq!(me(&two, &next["access_token"]).await, 200);
    // Whoever holds the lost answer comes after the phone went on: there is a copy.
    refresh(&two, &lost["refresh_token"]).await.expect(401);
    assert_eq!(me(&one, &next["access_token"]).await, 401);
    refresh(&one, &next["refresh_token"]).await.expect(401);
}

#[sqlx::test]
async fn the_first_answer_is_as_good_as_the_second_when_it_was_not_lost(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let first = json!(app.admin_of("North").await.refresh);
    let kept = refresh(&app, &first).await.expect(200).body;
    let dropped = refresh(&app, &first).await.expect(200).body;
    let next = refresh(&app, &kept["refresh_token"]).await.expect(200).body;
    assert_eq!(me(&app, &next["access_token"]).await, 200);
    refresh(&app, &dropped["refresh_token"]).await.expect(401);
    assert_eq!(me(&app, &next["access_token"]).await, 401);
}

#[sqlx::test]
async fn a_token_whose_successor_was_used_ends_the_sign_in(pool: PgPool) {
    let (one, two) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let first = json!(one.admin_of("North").await.refresh);
    let second = refresh(&one, &first).await.expect(200).body;
    let third = refresh(&two, &second["refresh_token"]).await.expect(200).body;
    refresh(&one, &first).await.expect(401);
    assert_eq!(me(&two, &third["access_token"]).await, 401);
    refresh(&two, &third["refresh_token"]).await.expect(401);
}

#[sqlx::test]
async fn a_token_is_good_once_more_and_not_twice(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let first = json!(app.admin_of("North").await.refresh);
    refresh(&app, &first).await.expect(200);
    let second = refresh(&app, &first).await.expect(200).body;
    let copied = refresh(&app, &first).await.expect(401);
    assert!(copied.body["detail"].as_str().unwrap().contains("used before"), "{}", copied.body);
    assert_eq!(me(&app, &second["access_token"]).await, 401);
}

#[sqlx::test]
async fn a_token_is_not_good_once_more_after_a_minute(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let first = json!(app.admin_of("North").await.refresh);
    let second = refresh(&app, &first).await.expect(200).body;
    sql(
        &app,
        "update refresh_tokens set used_at = (used_at at time zone 'UTC' - interval '61 seconds') at time zone 'UTC'",
    )
    .await;
    refresh(&app, &first).await.expect(401);
    assert_eq!(me(&app, &second["access_token"]).await, 401);
    refresh(&app, &second["refresh_token"]).await.expect(401);
}

#[sqlx::test]
async fn an_expired_or_ended_sign_in_gets_nothing_once_more(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let first = json!(admin.refresh);
    let second = refresh(&app, &first).await.expect(200).body;
    app.post("/v1/auth/sign-out", json!({"refresh_token": second["refresh_token"]})).await.expect(204);
    refresh(&app, &first).await.expect(401);
    refresh(&app, &second["refresh_token"]).await.expect(401);
    let other = json!(app.admin_of("South").await.refresh);
    sql(&app, "update refresh_tokens set expires_at = now() - interval '1 second'").await;
    refresh(&app, &other).await.expect(401);
}

#[sqlx::test]
async fn two_calls_at_once_both_get_tokens_that_are_good(pool: PgPool) {
    let (one, two) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let first = json!(one.admin_of("North").await.refresh);
    let (a, b) = tokio::join!(refresh(&one, &first), refresh(&two, &first));
    let (a, b) = (a.expect(200).body, b.expect(200).body);
    assert_eq!((me(&two, &a["access_token"]).await, me(&one, &b["access_token"]).await), (200, 200));
    let next = refresh(&one, &b["refresh_token"]).await.expect(200).body;
    assert_eq!(me(&one, &next["access_token"]).await, 200);
}

#[sqlx::test]
async fn a_third_call_at_the_same_moment_is_told_to_take_the_answer_of_the_others(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let first = json!(app.admin_of("North").await.refresh);
    refresh(&app, &first).await.expect(200);
    let second = refresh(&app, &first).await.expect(200).body;
    // The others are done after this one arrived.
    sql(&app, "update refresh_tokens set used_at = now() + interval '1 hour' where repeated_at is not null").await;
    let third = refresh(&app, &first).await.expect(409);
    assert_eq!(third.header("retry-after"), "1");
    assert_eq!(me(&app, &second["access_token"]).await, 200);
    refresh(&app, &second["refresh_token"]).await.expect(200);
}

#[sqlx::test]
async fn a_sign_in_is_over_after_400_days_however_often_it_was_refreshed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let first = json!(app.admin_of("North").await.refresh);
    sql(
        &app,
        "update devices set created_at = (created_at at time zone 'UTC' - interval '399 days') at time zone 'UTC'",
    )
    .await;
    let last = refresh(&app, &first).await.expect(200).body;
    let seconds = last["refresh_expires_in"].as_i64().unwrap();
    assert!((1..=86_400).contains(&seconds), "no token leads beyond the end: {seconds}");
    sql(&app, "update devices set created_at = (created_at at time zone 'UTC' - interval '1 day') at time zone 'UTC'")
        .await;
    refresh(&app, &last["refresh_token"]).await.expect(401);
}

#[sqlx::test]
async fn one_sign_in_too_many_ends_the_one_used_least_lately(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let most = app.get("/v1/limits").await.expect(200).body["sign_in"]["at_once"].as_i64().unwrap();
    sqlx::query(
        "insert into devices (account_id, id, name, created_at, last_used_at, network_hash)
         select account_id, gen_random_uuid(), 'phone ' || n, created_at, last_used_at - n * interval '1 second', network_hash
         from devices, generate_series(1, $1) n",
    )
    .bind(most - 1)
    .execute(&app.pool)
    .await
    .unwrap();
    let sign_in = json!({"email": admin.email, "password": crate::support::PASSWORD, "device_name": "One more"});
    let newest = app.post("/v1/auth/sign-in", sign_in).await.expect(200).body;
    let bearer = format!("Bearer {}", newest["access_token"].as_str().unwrap());
    let list = app.send(Method::GET, "/v1/me/devices", &[("authorization", &bearer)], None).await.expect(200).body;
    let names: Vec<&str> = list["items"].as_array().unwrap().iter().map(|one| one["name"].as_str().unwrap()).collect();
    assert_eq!(i64::try_from(names.len()).unwrap(), most);
    assert!(!names.contains(&format!("phone {}", most - 1).as_str()), "{names:?}");
    assert!(names.contains(&"One more"), "{names:?}");
    refresh(&app, &json!(admin.refresh)).await.expect(200);
}
