//! More than the database can answer: who waits, who is told to come again, and who notices nothing of it.

use std::sync::Arc;
use std::time::Duration;

use chrono::Utc;
use lanewright::platform::config::Config;
use lanewright::platform::lanes::{Lane, Turn, Who};
use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp, eventually};

/// Connections of the test's service, those that one club may have, and how many of an account may wait for one.
const CONNECTIONS: usize = 4;
const OF_A_CLUB: usize = 2;
const OF_AN_ACCOUNT: usize = 64;

/// A service that asks nothing of the database by itself.
async fn calm(pool: PgPool, config: Config) -> TestApp {
    let options = (*pool.connect_options()).clone();
    let connections = u32::try_from(CONNECTIONS).unwrap();
    let config = Config { workers: 1, connections, audit_pause: Duration::MAX, ..config };
    TestApp::spawn_with(pool, options, config).await
}

/// The places before the connections.
fn places(app: &TestApp) -> Arc<Lane> {
    assert_eq!(app.lanes.connections.len(), 1, "one worker");
    Arc::clone(&app.lanes.connections[0])
}

/// Takes places as somebody of a club.
async fn take(lane: &Arc<Lane>, club: &str, count: usize) -> Vec<Turn> {
    let who = Who { club: Uuid::parse_str(club).unwrap(), account: Uuid::new_v4() };
    let mut turns = Vec::new();
    for _ in 0..count {
        turns.push(lane.turn(who).await.unwrap());
    }
    turns
}

/// Calls so many times at once; the answers as they come.
fn at_once(who: &Caller, count: usize, path: &str) -> UnboundedReceiver<Answer> {
    let (sender, answers) = unbounded_channel();
    for _ in 0..count {
        let (who, sender, path) = (who.clone(), sender.clone(), path.to_owned());
        tokio::spawn(async move { sender.send(who.call(Method::GET, &path, &[], None).await) });
    }
    answers
}

/// A push of one venue.
fn push() -> serde_json::Value {
    json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": Utc::now(), "items": [{"op_id": Uuid::now_v7(), "method": "PUT",
        "type": "venue", "id": Uuid::now_v7(), "if_none_match": "*",
        "data": {"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 4}}]})
}

#[track_caller]
fn put_off(answer: Answer) {
    let answer = answer.expect(503);
    assert_eq!(answer.body["type"], "/problems/unavailable");
    assert!(answer.header("retry-after").parse::<u32>().unwrap() > 0);
}

#[sqlx::test]
async fn a_club_that_floods_waits_in_a_short_queue_of_its_own(pool: PgPool) {
    let app = calm(pool, Config::default()).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let colleague = north.member("Cora Coach", "coach", &[&north.group("Squad").await]).await;
    for known in [&north, &colleague, &south] {
        known.get("/athletes").await.expect(200);
    }
    let lane = places(&app);
    let inside = take(&lane, &north.club, OF_A_CLUB).await;
    let mut flood = at_once(&north, OF_AN_ACCOUNT + 10, &north.path("/athletes"));
    for _ in 0..10 {
        put_off(flood.recv().await.unwrap());
    }
    eventually("the rest waits", async || lane.waiting() == OF_AN_ACCOUNT).await;
    // Whatever else they ask for of the club, and however.
    for path in ["/athletes", "/runs", "/changes", "/groups"] {
        put_off(north.get(path).await);
    }
    put_off(north.call(Method::GET, &north.path("/changes"), &[("prefer", "wait=5")], None).await);
    put_off(north.post("/changes", push()).await);
    put_off(north.post("/groups", json!({"name": "Squad"})).await);
    // Another club has the other connections, for everything.
    for path in ["/athletes", "/runs", "/changes", "/groups"] {
        south.get(path).await.expect(200);
    }
    south.post("/changes", push()).await.expect(200);
    // Nor does it wait behind the flood when all connections are in use.
    let others = take(&lane, &Uuid::new_v4().to_string(), CONNECTIONS - OF_A_CLUB).await;
    let mut waiting = at_once(&south, 1, &south.path("/athletes"));
    let mut colleagues = at_once(&colleague, 1, &colleague.path("/athletes"));
    eventually("they wait too", async || lane.waiting() == OF_AN_ACCOUNT + 2).await;
    for path in ["/healthz", "/readyz", "/v1/limits"] {
        app.get(path).await.expect(200);
    }
    drop(others);
    waiting.recv().await.unwrap().expect(200);
    assert_eq!(lane.waiting(), OF_AN_ACCOUNT + 1, "what is free of others is not for a club that has its share");
    drop(inside);
    colleagues.recv().await.unwrap().expect(200);
    while let Some(answer) = flood.recv().await {
        answer.expect(200);
    }
    assert_eq!(lane.waiting(), 0);
    north.get("/athletes").await.expect(200);
}

#[sqlx::test]
async fn who_is_no_member_waits_with_their_address_whatever_club_they_name(pool: PgPool) {
    let app = calm(pool, Config { behind_proxy: true, ..Config::default() }).await;
    let north = app.admin_of("North").await;
    let stranger = app.person("Sam Stranger").await;
    north.get("/athletes").await.expect(200);
    stranger.call(Method::GET, &north.path("/athletes"), &[], None).await.expect(404);
    let lane = places(&app);
    let mut inside = take(&lane, &Uuid::new_v4().to_string(), OF_A_CLUB).await;
    inside.extend(take(&lane, &Uuid::new_v4().to_string(), OF_A_CLUB).await);
    let mut flood = at_once(&stranger, OF_AN_ACCOUNT + 5, &north.path("/athletes"));
    for _ in 0..5 {
        put_off(flood.recv().await.unwrap());
    }
    eventually("strangers wait", async || lane.waiting() == OF_AN_ACCOUNT).await;
    // Those of the club have a queue that no stranger fills, and so has whoever comes from another address.
    let mut own = at_once(&north, OF_AN_ACCOUNT, &north.path("/athletes"));
    eventually("the club waits", async || lane.waiting() == 2 * OF_AN_ACCOUNT).await;
    let sign_in = {
        let (app, email) = (app.clone(), north.email.clone());
        let body = json!({"email": email, "password": "another than theirs"});
        tokio::spawn(async move { app.post_from("192.0.2.77", "/v1/auth/sign-in", body).await })
    };
    eventually("a sign-in waits", async || lane.waiting() == 2 * OF_AN_ACCOUNT + 1).await;
    drop(inside);
    sign_in.await.unwrap().expect(401);
    while let Some(answer) = own.recv().await {
        answer.expect(200);
    }
    while let Some(answer) = flood.recv().await {
        answer.expect(404);
    }
}
