//! What another club notices while one caller floods the service: figures, not a verdict on time.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use reqwest::Method;
use serde_json::json;
use tokio::task::JoinSet;
use uuid::Uuid;

use crate::report::{Flaw, Report};
use crate::send::{Ask, judge};
use crate::world::World;

/// Reads of a club that has no part in the flood, one after another, for so long.
const SECONDS: u64 = 12;

fn percentile(mut times: Vec<Duration>, percent: usize) -> u128 {
    times.sort_unstable();
    let at = times.len() * percent / 100;
    times.get(at.min(times.len().saturating_sub(1))).map_or(0, Duration::as_millis)
}

async fn bystander(world: &World, report: &Report, name: &str) {
    let (who, place) = (world.person("south admin"), world.place("south"));
    let paths =
        ["/athletes", "/sessions", "/runs", "/groups"].map(|path| format!("/v1/clubs/{}{path}", place.id("club_id")));
    let (mut times, start) = (Vec::new(), Instant::now());
    while start.elapsed() < Duration::from_secs(SECONDS) {
        let ask = Ask::new("GET", &paths[times.len() % paths.len()]).by(who).noted(name);
        let sent = Instant::now();
        let answer = ask.once(world).await;
        times.push(sent.elapsed());
        judge(world, report, &ask, &answer);
        if answer.status != 200 {
            report.found(Flaw::Broken, format!("{}: {}", ask.name, answer.text()));
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let figure =
        format!("p50 {} ms p99 {} ms of {}", percentile(times.clone(), 50), percentile(times.clone(), 99), times.len());
    report.figure(name, figure);
}

/// Sends this again and again from so many sides until told to stop.
async fn flood(
    world: &Arc<World>,
    report: &Arc<Report>,
    name: &'static str,
    sides: usize,
    ask: impl Fn() -> Ask + Send + Sync + 'static,
) {
    let (stop, ask) = (Arc::new(AtomicBool::new(false)), Arc::new(ask));
    let mut running = JoinSet::new();
    for _ in 0..sides {
        let (world, stop, ask) = (Arc::clone(world), Arc::clone(&stop), Arc::clone(&ask));
        running.spawn(async move {
            let mut broken = Vec::new();
            while !stop.load(Ordering::Relaxed) {
                let answer = ask().once(&world).await;
                // Put off is the right answer to a flood; broken is not.
                let put_off = answer.status == 503 && answer.headers.contains_key("retry-after");
                if answer.status == 0 || (answer.status >= 500 && !put_off) {
                    broken.push(answer.text());
                }
            }
            broken
        });
    }
    tokio::time::sleep(Duration::from_secs(1)).await;
    bystander(world, report, name).await;
    stop.store(true, Ordering::Relaxed);
    for broken in running.join_all().await.into_iter().flatten() {
        report.found(Flaw::Broken, format!("{name}: {broken}"));
    }
}

/// A roster large enough that a plan of it takes its time.
async fn crowd(world: &World) -> Vec<Uuid> {
    let place = world.place("own");
    let mut ids = Vec::new();
    for at in 0..280_u32 {
        let id = Uuid::now_v7();
        let stature = 1.3 + f64::from(at % 50) / 100.0;
        let body = json!({"id": id, "display_name": format!("Runner {at}"), "sex": "F", "birth_year": 2012, "experience": "novice",
            "group_ids": [place.id("group_id")],
            "measurements": [{"kind": "stature_m", "value": stature, "measured_on": world.day}]});
        world.call("admin", Method::POST, "/athletes", body).await.expect(201);
        ids.push(id);
    }
    ids
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "takes minutes and is of use on an idle machine only: ./dev hostile --full"]
async fn another_club_is_served_during_floods() {
    let (world, report) = (Arc::new(World::make().await), Arc::new(Report::new("floods")));
    let athletes = crowd(&world).await;
    bystander(&world, &report, "before").await;
    let (coach, session) = (world.person("coach").clone(), world.place("own").clone());
    let plan = move || {
        let body = json!({"lanes": 8, "capacity": 40, "barriers": {"min": 4, "max": 8}, "straight_m": 110, "athlete_ids": athletes,
            "time_limit_s": 10, "alternatives": true});
        Ask::new("POST", &session.fill("/v1/clubs/{club_id}/sessions/{session_id}/lane-plans")).by(&coach).json(&body)
    };
    flood(&world, &report, "during 20 lane plans", 20, plan).await;
    let sign_in = || {
        let body =
            json!({"email": format!("{}@nobody.example", Uuid::now_v7().simple()), "password": "not the password"});
        Ask::new("POST", "/v1/auth/sign-in").json(&body)
    };
    flood(&world, &report, "during a sign-in storm of 50", 50, sign_in).await;
    let bomb = crate::sockets::bombs(256).swap_remove(2).1;
    let packed = move || {
        let ask = Ask::new("POST", "/v1/rhythm/analysis").header("content-type", "application/json");
        ask.header("content-encoding", "br").bytes(bomb.clone())
    };
    flood(&world, &report, "during 10 bombs", 10, packed).await;
    let big = move || {
        let body = format!("{{\"spacing_m\": [{}0]}}", "0,".repeat(900_000));
        Ask::new("POST", "/v1/rhythm/analysis").header("content-type", "application/json").bytes(body.into_bytes())
    };
    flood(&world, &report, "during 20 large bodies", 20, big).await;
    bystander(&world, &report, "after").await;
    Arc::into_inner(report).unwrap().close();
}
