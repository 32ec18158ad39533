//! Several servers: one that is away takes nothing with it but its own clubs.
//!
//! `./dev distributed` runs this with nothing beside it; elsewhere there are no servers to stop.

use std::process::Command;
use std::str::FromStr;

use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, eventually};

/// Tells the servers to do something: `start` or `stop`, and which.
fn nodes(act: &str, number: i32) {
    let Ok(folder) = std::env::var("LANEWRIGHT_NODES") else { panic!("LANEWRIGHT_NODES: run `./dev distributed`") };
    let program = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/distributed/nodes");
    let done = Command::new(program).args([act, &folder, &number.to_string()]).status().unwrap();
    assert!(done.success(), "{act} {number}");
}

/// The port of the server on which a row lies that is spread by this id.
async fn home(pool: &PgPool, table: &str, id: &str) -> i32 {
    let sql = "select n.nodeport from pg_dist_placement p join pg_dist_node n using (groupid)
               where p.shardid = get_shard_id_for_distribution_column($1::regclass, $2)";
    sqlx::query_scalar(sql).bind(table).bind(Uuid::from_str(id).unwrap()).fetch_one(pool).await.unwrap()
}

/// An admin in a club on the server of their account, and in one on another.
async fn two_clubs(app: &TestApp) -> (Caller, Caller) {
    let mut near = app.admin_of("Near").await;
    let here = home(&app.pool, "accounts", &near.account).await;
    let mut far = None;
    let mut found = home(&app.pool, "clubs", &near.club).await == here;
    for number in 0.. {
        if found && far.is_some() {
            break;
        }
        let body = json!({"name": format!("Club {number}"), "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let club = near.call(Method::POST, "/v1/clubs", &[], Some(body)).await.expect(201).id();
        if home(&app.pool, "clubs", &club).await == here {
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
    let number = home(&pool, "clubs", &far.club).await - coordinator;
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
