//! Several servers: one that is away takes nothing with it but its own clubs, and a club that moves to another loses nothing.
//!
//! `./dev distributed` runs these, one after the other and with nothing beside them; elsewhere there are no servers to stop.

use std::process::Command;
use std::str::FromStr;

use reqwest::Method;
use serde_json::json;
use sqlx::postgres::PgConnectOptions;
use sqlx::{ConnectOptions, PgPool};
use uuid::Uuid;

use crate::support::{Caller, TestApp, eventually};

/// Tells the servers to do something: `start` or `stop`, and which.
fn nodes(act: &str, number: i32) {
    let folder = std::env::var("LANEWRIGHT_NODES").expect("LANEWRIGHT_NODES: run `./dev distributed`");
    let program = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/distributed/nodes");
    let done = Command::new(program).args([act, &folder, &number.to_string()]).status().unwrap();
    assert!(done.success(), "{act} {number}");
}

/// The port of the server on which a row lies that is spread by this id, and its part of the table.
async fn home(pool: &PgPool, table: &str, id: &str) -> (i32, i64) {
    let sql = "select n.nodeport, p.shardid from pg_dist_placement p join pg_dist_node n using (groupid)
               where p.shardid = get_shard_id_for_distribution_column($1::regclass, $2)";
    sqlx::query_as(sql).bind(table).bind(Uuid::from_str(id).unwrap()).fetch_one(pool).await.unwrap()
}

/// An admin in a club on the server of their account, and in one on another.
async fn two_clubs(app: &TestApp) -> (Caller, Caller) {
    let mut near = app.admin_of("Near").await;
    let here = home(&app.pool, "accounts", &near.account).await.0;
    let mut far = None;
    let mut found = home(&app.pool, "clubs", &near.club).await.0 == here;
    for number in 0.. {
        if found && far.is_some() {
            break;
        }
        let body = json!({"name": format!("Club {number}"), "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let club = near.call(Method::POST, "/v1/clubs", &[], Some(body)).await.expect(201).id();
        if home(&app.pool, "clubs", &club).await.0 == here {
            (near.club, found) = (club, true);
        } else {
            far = Some(Caller { club, ..near.clone() });
        }
    }
    (near, far.unwrap())
}

/// Founds a group and notes it when the service said that it is stored.
async fn write(caller: &Caller, stored: &mut Vec<String>) -> u16 {
    let answer = caller.post("/groups", json!({"name": format!("Group {}", Uuid::now_v7())})).await;
    match answer.status {
        201 => stored.push(answer.id()),
        503 => assert!(!answer.header("retry-after").is_empty()),
        other => panic!("{other}: {}", answer.body),
    }
    answer.status
}

/// What was said to be stored is there, each once.
async fn nothing_is_lost(caller: &Caller, stored: &[String]) {
    let items = caller.get("/groups?limit=200").await.expect(200).body["items"].clone();
    let there: Vec<&str> = items.as_array().unwrap().iter().map(|group| group["id"].as_str().unwrap()).collect();
    for one in stored {
        assert_eq!(there.iter().filter(|id| *id == one).count(), 1, "{one} of {there:?}");
    }
}

#[sqlx::test]
#[ignore = "stops a server that other tests use"]
async fn a_server_that_is_away_takes_nothing_but_its_own_clubs_with_it(pool: PgPool) {
    let mut app = TestApp::spawn(pool.clone()).await;
    app.promised = false;
    let (near, far) = two_clubs(&app).await;
    let (mut of_near, mut of_far) = (Vec::new(), Vec::new());
    for _ in 0..5 {
        assert_eq!(write(&near, &mut of_near).await, 201);
        assert_eq!(write(&far, &mut of_far).await, 201);
    }
    let coordinator = i32::from(pool.connect_options().get_port());
    let number = home(&pool, "clubs", &far.club).await.0 - coordinator;
    nodes("stop", number);
    for _ in 0..10 {
        assert_eq!(write(&far, &mut of_far).await, 503);
        assert_eq!(write(&near, &mut of_near).await, 201);
        near.get("/groups").await.expect(200);
    }
    nodes("start", number);
    eventually("the club is served again", async || write(&far, &mut of_far).await == 201).await;
    nothing_is_lost(&near, &of_near).await;
    nothing_is_lost(&far, &of_far).await;
}

#[sqlx::test]
#[ignore = "moves what other tests use"]
async fn a_club_moves_to_another_server_while_it_is_written(pool: PgPool) {
    let mut app = TestApp::spawn(pool.clone()).await;
    app.promised = false;
    let (near, far) = two_clubs(&app).await;
    let ((to, _), (from, part)) = (home(&pool, "clubs", &near.club).await, home(&pool, "clubs", &far.club).await);
    let mut stored = Vec::new();
    assert_eq!(write(&far, &mut stored).await, 201);
    let owner = (*pool.connect_options()).clone().username("postgres");
    let moving = tokio::spawn(move_part(owner, part, from, to));
    while !moving.is_finished() && stored.len() < 150 {
        write(&far, &mut stored).await;
    }
    moving.await.unwrap();
    assert_eq!(home(&pool, "clubs", &far.club).await.0, to);
    eventually("the club is written where it is now", async || write(&far, &mut stored).await == 201).await;
    nothing_is_lost(&far, &stored).await;
}

async fn move_part(owner: PgConnectOptions, part: i64, from: i32, to: i32) {
    let mut conn = owner.connect().await.unwrap();
    let sql = "select citus_move_shard_placement($1, '127.0.0.1', $2, '127.0.0.1', $3, 'block_writes')";
    sqlx::query(sql).bind(part).bind(from).bind(to).execute(&mut conn).await.unwrap();
}
