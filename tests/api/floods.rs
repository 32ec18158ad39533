//! What one caller cannot do to all others: bodies that unpack without end, bodies that never come, sockets by the hundred.

use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

use lanewright::app;
use lanewright::platform::config::Config;
use lanewright::platform::lanes::{Lane, Turn, Who};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::Instant;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};

pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    out.write_all(bytes).unwrap();
    out.finish().unwrap()
}

fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::stream::encode_all(bytes, 3).unwrap()
}

const TIMES: &str = r#"{"spacing_m":8.0,"timing_method":"video","video_fps":120,"touchdown_times_s":[2.62,3.73,4.83]}"#;

pub async fn packed(app: &TestApp, path: &str, token: &str, kind: &str, codings: &[&str], body: Vec<u8>) -> Answer {
    let token = format!("Bearer {token}");
    let mut headers = vec![("content-type", kind)];
    if token != "Bearer " {
        headers.push(("authorization", &token));
    }
    headers.extend(codings.iter().map(|coding| ("content-encoding", *coding)));
    app.send(Method::POST, path, &headers, Some(body)).await
}

#[sqlx::test]
async fn every_route_unpacks_the_same_codings_once(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let send = async |codings: &[&str], body: Vec<u8>| {
        packed(&app, "/v1/rhythm/analysis", "", "application/json", codings, body).await
    };
    send(&[], TIMES.into()).await.expect(200);
    send(&["identity"], TIMES.into()).await.expect(200);
    send(&["gzip"], gzip(TIMES.as_bytes())).await.expect(200);
    send(&["zstd"], zstd(TIMES.as_bytes())).await.expect(200);
    for codings in [&["br"][..], &["deflate"], &["gzip, gzip"], &["gzip", "gzip"], &["zstd", "identity"]] {
        let refused = send(codings, gzip(&gzip(TIMES.as_bytes()))).await.expect(415);
        assert_eq!(refused.header("accept-encoding"), "gzip, zstd", "{codings:?}");
        assert_eq!(refused.body["type"], "/problems/media-type");
    }
    let whole = gzip(TIMES.as_bytes());
    send(&["gzip"], whole[..whole.len() - 3].to_vec()).await.expect(400);
    send(&["gzip"], [whole, b"rest".to_vec()].concat()).await.expect(400);
    send(&["zstd"], gzip(TIMES.as_bytes())).await.expect(400);
    send(&["zstd"], zstd(TIMES.as_bytes())[..20].to_vec()).await.expect(400);
    let groups = admin.path("/groups");
    let json = zstd(br#"{"name":"Squad"}"#);
    let group = packed(&app, &groups, &admin.token, "application/json", &["zstd"], json).await.expect(201).id();
    let csv = format!("display_name,sex,birth_year,groups,experience\nMira Osei,F,2013,{group},novice\n");
    let import = admin.path("/athletes/import");
    packed(&app, &import, &admin.token, "text/csv", &["gzip"], gzip(csv.as_bytes())).await.expect(201);
    packed(&app, &import, &admin.token, "text/csv", &["br"], csv.into()).await.expect(415);
}

/// Peak of the resident memory of this process (MB); none where the system does not tell.
fn peak() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().trim_end_matches(" kB").parse::<u64>().ok().map(|kilobytes| kilobytes / 1024)
}

#[sqlx::test]
async fn bodies_that_unpack_without_end_are_refused_and_cost_no_memory(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    // A quarter of a gigabyte in some kilobytes: a reader that unpacked it would show.
    let mut bomb = zstd::stream::Encoder::new(Vec::new(), 1).unwrap();
    let spaces = vec![b' '; 1024 * 1024];
    for _ in 0..256 {
        bomb.write_all(&spaces).unwrap();
    }
    let bomb = bomb.finish().unwrap();
    assert!(bomb.len() < 512 * 1024, "{}", bomb.len());
    let before = peak();
    let mut sent = Vec::new();
    for n in 0..30 {
        let (app, admin, bomb) = (app.clone(), admin.clone(), bomb.clone());
        sent.push(tokio::spawn(async move {
            let json = "application/json";
            let (import, groups, changes) =
                (admin.path("/athletes/import"), admin.path("/groups"), admin.path("/changes"));
            match n % 5 {
                0 => packed(&app, "/v1/rhythm/analysis", "", json, &["zstd"], bomb).await,
                1 => packed(&app, "/v1/auth/sign-in", "", json, &["zstd"], bomb).await,
                2 => packed(&app, &import, &admin.token, "text/csv", &["zstd"], bomb).await,
                3 => packed(&app, &groups, &admin.token, json, &["zstd"], bomb).await,
                _ => packed(&app, &changes, &admin.token, json, &["zstd"], bomb).await,
            }
        }));
    }
    for answer in sent {
        let answer = answer.await.unwrap();
        // Together they may hold more than one account may: then some are told to come again.
        assert!(matches!(answer.status, 413 | 503), "{} {}", answer.status, answer.body);
        assert_ne!(answer.body["detail"], Value::Null);
    }
    app.get("/healthz").await.expect(200);
    if let (Some(before), Some(after)) = (before, peak()) {
        // Other tests of this process run beside this one; thirty times a quarter of a gigabyte would be seen.
        assert!(after < before + 1500, "{before} MB, then {after} MB");
    }
}

#[sqlx::test]
async fn a_large_body_needs_a_token(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let padded = |size: usize| format!("{TIMES}{}", " ".repeat(size - TIMES.len())).into_bytes();
    let send = async |token: &str, codings: &[&str], body| {
        packed(&app, "/v1/rhythm/analysis", token, "application/json", codings, body).await
    };
    send("", &[], padded(64 * 1024)).await.expect(200);
    for (codings, body) in [(&[][..], padded(64 * 1024 + 1)), (&["gzip"], gzip(&padded(64 * 1024 + 1)))] {
        let refused = send("", codings, body.clone()).await.expect(413);
        assert!(refused.body["detail"].as_str().unwrap().contains("65536"), "{}", refused.body);
        send("not-a-token", codings, body.clone()).await.expect(413);
        send(&admin.token, codings, body).await.expect(200);
    }
    send(&admin.token, &[], padded(2 * 1024 * 1024)).await.expect(200);
    let refused = send(&admin.token, &["gzip"], gzip(&padded(2 * 1024 * 1024 + 1))).await.expect(413);
    assert!(refused.body["detail"].as_str().unwrap().contains("2097152"), "{}", refused.body);
}

/// A club with athletes, a session with everybody present, and stock; the path of the session's lane plans.
async fn trained(app: &TestApp, name: &str) -> (Caller, Vec<String>, String) {
    let admin = app.admin_of(name).await;
    let group = admin.group("Squad").await;
    let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 4});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    admin.post("/equipment", stock).await.expect(201);
    let row = |n: u8| format!("Athlete {n},F,2012,Squad,novice,1.5{n}\n");
    let rows: String = (0..6).map(row).collect();
    let roster = format!("display_name,sex,birth_year,groups,experience,stature_m\n{rows}");
    let rows = admin.bytes(Method::POST, "/athletes/import", "text/csv", roster.into()).await.expect(201).body;
    let ids = rows["rows"].as_array().unwrap().iter().map(|row| row["athlete_id"].as_str().unwrap().to_owned());
    let ids: Vec<String> = ids.collect();
    let today = chrono::Utc::now().date_naive();
    let session = json!({"held_on": today, "state": "held", "group_ids": [group], "venue_id": venue});
    let session = admin.post("/sessions", session).await.expect(201).id();
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": ids})).await.expect(200);
    (admin, ids, format!("/sessions/{session}/lane-plans"))
}

/// Takes every turn of a lane.
pub async fn occupy(lane: &Arc<Lane>) -> Vec<Turn> {
    let mut turns = Vec::new();
    let nobody = Who { club: Uuid::nil(), account: Uuid::nil() };
    while let Ok(turn) = lane.turn_until(nobody, Instant::now()).await {
        turns.push(turn);
    }
    turns
}

#[sqlx::test]
async fn a_full_lane_says_so_and_leaves_other_clubs_alone(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (coach, athletes, plans) = trained(&app, "North").await;
    let (other, _, others_plans) = trained(&app, "South").await;
    let ask = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 3, "max": 4}});
    let turns = occupy(&app.lanes.plans).await;
    let (sender, mut answers) = tokio::sync::mpsc::unbounded_channel();
    for _ in 0..40 {
        let (coach, sender, plans, ask) = (coach.clone(), sender.clone(), plans.clone(), ask.clone());
        tokio::spawn(async move { sender.send(coach.post(&plans, ask).await) });
    }
    drop(sender);
    // Thirty-two of an account wait; the rest is refused while they do.
    for _ in 0..8 {
        let refused = answers.recv().await.unwrap().expect(503);
        assert_eq!((refused.header("retry-after"), &refused.body["type"]), ("5", &json!("/problems/unavailable")));
    }
    // Another club reads and is advised meanwhile, and so is the coach who asked for all that.
    for (person, path) in [(&other, "/athletes"), (&coach, "/athletes"), (&other, "/changes"), (&other, "/sessions")] {
        person.get(path).await.expect(200);
    }
    coach.get(&format!("/athletes/{}/recommendation", athletes[0])).await.expect(200);
    // There is room for a plan of another club; its time counts from the request.
    let hasty = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 3, "max": 4}, "time_limit_s": 0.05});
    assert_eq!(other.post(&others_plans, hasty).await.expect(503).header("retry-after"), "5");
    drop(turns);
    while let Some(answer) = answers.recv().await {
        // Who waited for longer than a plan may take is told so too.
        assert!(matches!(answer.status, 201 | 503), "{} {}", answer.status, answer.body);
    }
    other.post(&others_plans, ask.clone()).await.expect(201);
    coach.post(&plans, ask).await.expect(201);
}

#[sqlx::test]
async fn whoever_waits_for_a_turn_holds_no_connection(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 1).await;
    let (coach, athletes, plans) = trained(&app, "North").await;
    let group = coach.get("/groups").await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    let mut turns = Vec::new();
    for lane in [&app.lanes.plans, &app.lanes.squads, &app.lanes.athletes] {
        turns.extend(occupy(lane).await);
    }
    let ask = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 3, "max": 4}});
    let decision = json!({"outcome": "accepted"});
    let athlete = format!("/athletes/{}", athletes[0]);
    let calls = [
        (plans.clone(), Some(ask)),
        (format!("{athlete}/recommendation/decisions"), Some(decision)),
        (format!("{athlete}/recommendation"), None),
        (format!("{athlete}/progression"), None),
        (format!("/groups/{group}/recommendations"), None),
        (format!("/groups/{group}/progression"), None),
        ("/rhythm/schedule?event_code=100H&final_time_s=15.2".to_owned(), None),
    ];
    let (sender, mut answers) = tokio::sync::mpsc::unbounded_channel();
    for (path, body) in calls {
        let (coach, sender) = (coach.clone(), sender.clone());
        tokio::spawn(async move {
            let answer = match body {
                Some(body) => coach.post(&path, body).await,
                None => coach.get(&path).await,
            };
            sender.send((path, answer))
        });
    }
    drop(sender);
    let lanes = &app.lanes;
    while lanes.plans.waiting() + lanes.squads.waiting() + lanes.athletes.waiting() < 7 {
        assert!(answers.is_empty(), "somebody does not wait");
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    // All seven wait, and the only connection is free.
    coach.get("/athletes").await.expect(200);
    drop(turns);
    while let Some((path, answer)) = answers.recv().await {
        assert!(matches!(answer.status, 200 | 201 | 503), "{path}: {} {}", answer.status, answer.body);
    }
}

#[sqlx::test]
async fn a_stranger_waits_in_no_queue_of_a_club(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (coach, athletes, plans) = trained(&app, "North").await;
    let stranger = app.admin_of("South").await;
    let group = coach.get("/groups").await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    let session = plans.trim_end_matches("/lane-plans");
    let mut turns = Vec::new();
    for lane in [&app.lanes.squads, &app.lanes.athletes] {
        turns.extend(occupy(lane).await);
    }
    for path in [
        format!("/groups/{group}/board"),
        format!("{session}/cards"),
        format!("{session}/proposal"),
        format!("/groups/{group}/recommendations"),
        format!("/groups/{group}/progression"),
        format!("/athletes/{}/recommendation", athletes[0]),
    ] {
        let asked = stranger.call(Method::GET, &coach.path(&path), &[], None).await;
        assert_eq!(asked.expect(404).body["detail"], "There is no such club, or it is not yours to see.", "{path}");
    }
    drop(turns);
}

#[sqlx::test]
async fn advice_for_a_pushed_decision_waits_its_turn_before_the_push_begins(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 1).await;
    let (coach, athletes, _) = trained(&app, "North").await;
    let turns = occupy(&app.lanes.athletes).await;
    let day = chrono::Utc::now().date_naive();
    let decided = |athlete: &String| {
        json!({"op_id": Uuid::now_v7(), "method": "PUT", "type": "decision", "id": Uuid::now_v7(), "if_none_match": "*",
            "data": {"athlete_id": athlete, "on": day, "outcome": "accepted"}})
    };
    let items: Vec<Value> = athletes.iter().map(decided).collect();
    let push = json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": chrono::Utc::now(), "items": items});
    let (sender, sent) = (coach.clone(), push.clone());
    let pushing = tokio::spawn(async move { sender.post("/changes", sent).await });
    while app.lanes.athletes.waiting() < 1 {
        assert!(!pushing.is_finished(), "it does not wait");
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    coach.get("/athletes").await.expect(200);
    drop(turns);
    // Whether it waited too long or not, sending it again files each decision once, with the advice of the day.
    assert!(matches!(pushing.await.unwrap().status, 200 | 503));
    let again = coach.post("/changes", push).await.expect(200);
    for result in again.body["results"].as_array().unwrap() {
        assert!(matches!(result["status"].as_u64(), Some(200 | 201)), "{result}");
    }
    for athlete in &athletes {
        let filed = coach.get(&format!("/athletes/{athlete}/recommendation/decisions")).await.expect(200).body;
        assert_eq!(filed["items"].as_array().unwrap().len(), 1);
        assert_eq!(filed["items"][0]["advice"]["athlete_id"], json!(athlete));
    }
}

/// A connection that has sent the head of a request and a little of its body.
async fn slow(app: &TestApp, more: &str) -> TcpStream {
    let mut stream = TcpStream::connect(app.base.trim_start_matches("http://")).await.unwrap();
    let head =
        format!("POST /v1/rhythm/analysis HTTP/1.1\r\nhost: test\r\ncontent-type: application/json\r\n{more}\r\n\r\n");
    // A connection that was told that there is no room may be gone by now.
    let _ = stream.write_all(head.as_bytes()).await;
    stream
}

/// Everything that a connection says before it ends.
async fn rest(mut stream: TcpStream) -> String {
    let mut said = Vec::new();
    // A reset ends it too; what came before is said.
    let ended = tokio::time::timeout(Duration::from_mins(2), stream.read_to_end(&mut said)).await;
    assert!(ended.is_ok(), "the connection does not end");
    String::from_utf8_lossy(&said).into_owned()
}

#[sqlx::test]
async fn lengths_that_lie_are_refused(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let mut short = slow(&app, "content-length: 100\r\nconnection: close").await;
    short.write_all(b"{}").await.unwrap();
    short.shutdown().await.unwrap();
    let said = rest(short).await;
    assert!(said.is_empty() || said.starts_with("HTTP/1.1 400"), "{said}");
    let huge = rest(slow(&app, "content-length: 99999999999\r\nconnection: close").await).await;
    assert!(huge.starts_with("HTTP/1.1 413"), "told before a byte is sent: {huge}");
    for lie in ["content-length: 2\r\ncontent-length: 3", "content-length: -1", "transfer-encoding: gzip"] {
        let mut lying = slow(&app, lie).await;
        lying.write_all(b"{}").await.unwrap();
        lying.shutdown().await.unwrap();
        let said = rest(lying).await;
        assert!(said.starts_with("HTTP/1.1 400"), "{lie}: {said}");
    }
    app.get("/healthz").await.expect(200);
}

/// A client whose connections come from another loopback address.
fn elsewhere() -> reqwest::Client {
    reqwest::Client::builder().local_address(Some("127.0.0.2".parse().unwrap())).build().unwrap()
}

#[cfg(target_os = "linux")] // other systems have no second loopback address
#[sqlx::test]
async fn slow_bodies_hold_no_more_than_their_share_and_end(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let config =
        Config { workers: 1, patience: Duration::from_secs(3), sockets: 64, sockets_each: 24, ..Config::default() };
    let app = TestApp::spawn_with(pool, options, config).await;
    let mut held = Vec::new();
    for _ in 0..40 {
        let mut stream = slow(&app, "content-length: 50").await;
        let _ = stream.write_all(b"{\"spacing_m\":").await;
        held.push(stream);
    }
    let other = elsewhere();
    for _ in 0..3 {
        let lives = other.get(format!("{}/healthz", app.base)).send().await.unwrap();
        assert_eq!(lives.status(), 200);
        let served = other.post(format!("{}/v1/rhythm/analysis", app.base)).header("content-type", "application/json");
        assert_eq!(served.body(TIMES).send().await.unwrap().status(), 200);
    }
    let (mut late, mut refused) = (0, 0);
    for stream in held {
        let said = rest(stream).await;
        if said.starts_with("HTTP/1.1 408") {
            assert!(said.contains("/problems/slow") && said.contains("connection: close"), "{said}");
            late += 1;
        } else {
            assert!(said.is_empty() || said.starts_with("HTTP/1.1 503") && said.contains("retry-after: 5"), "{said}");
            refused += 1;
        }
    }
    assert_eq!((late, refused), (24, 16), "an address has its share and no more");
    // What they held is free again.
    app.get("/healthz").await.expect(200);
}

#[sqlx::test]
async fn supervisors_have_a_listener_that_nobody_can_fill(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let config = Config { workers: 1, sockets: 16, sockets_each: 0, ..Config::default() };
    let app = TestApp::spawn_with(pool, options.clone(), config).await;
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let probes = format!("http://{}", listener.local_addr().unwrap());
    let server = app::run_probes(listener, options).unwrap();
    let handle = server.handle();
    tokio::spawn(server);
    let mut held = Vec::new();
    for _ in 0..16 {
        held.push(slow(&app, "content-length: 50").await);
    }
    // One more finds no room, also for asking whether the service lives ...
    let said = rest(slow(&app, "content-length: 50").await).await;
    assert!(said.starts_with("HTTP/1.1 503"), "{said}");
    // ... which has a listener of its own, and nothing else is there.
    for path in ["/healthz", "/readyz"] {
        let answer = app.client.get(format!("{probes}{path}")).send().await.unwrap();
        assert_eq!(answer.json::<Value>().await.unwrap()["status"], json!("ok"), "{path}");
    }
    let nothing = app.client.post(format!("{probes}/v1/rhythm/analysis")).body(TIMES).send().await.unwrap();
    assert_eq!(nothing.status(), 404);
    drop(held);
    handle.stop(false).await;
}
