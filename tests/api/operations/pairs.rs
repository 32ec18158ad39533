//! Every two operations that write, at once, on the same records: nobody waits in a circle.

use std::collections::{BTreeMap, BTreeSet};

use reqwest::Method;
use sqlx::PgPool;

use super::stage::Stage;
use super::{Operation, operations};
use crate::support::TestApp;

/// Requests of one meeting.
const AT_ONCE: usize = 8;

/// How often every two operations meet; `LANEWRIGHT_PAIRS` says another number.
const MEETINGS: usize = 1;

/// Operations about an account alone: they share no row with a club's, and each of them hashes a password.
const ALONE: [&str; 21] = [
    "sign_up",
    "sign_in",
    "refresh",
    "sign_out",
    "change_password",
    "delete_device",
    "create_club",
    "request_password_reset",
    "reset_password",
    "confirm_address",
    "request_confirmation",
    "change_email",
    "set_language",
    "begin_second_factor",
    "confirm_second_factor",
    "check_second_factor",
    "renew_recovery_codes",
    "remove_second_factor",
    "rename_device",
    "sign_out_everywhere",
    "revoke_app_token",
];
/// Calculators write nothing.
const CALCULATORS: [&str; 2] = ["analyse_rhythm", "forecast_final_time"];

async fn deadlocks(pool: &PgPool) -> i64 {
    sqlx::query_scalar("select deadlocks from pg_stat_database where datname = current_database()")
        .fetch_one(pool)
        .await
        .unwrap()
}

fn pair(one: usize, other: usize) -> (usize, usize) {
    (one.min(other), one.max(other))
}

/// Meetings in which every two of so many operations, and each with itself, come together; `from` begins elsewhere.
fn meetings(count: usize, from: usize) -> Vec<Vec<usize>> {
    let mut unmet: BTreeSet<(usize, usize)> = (0..count).flat_map(|a| (a..count).map(move |b| (a, b))).collect();
    let order: Vec<usize> = (0..count).map(|at| (at + from * 11) % count).collect();
    let mut all = Vec::new();
    while let Some(&(one, other)) = unmet.first() {
        let mut group = vec![one];
        let mut new = other;
        loop {
            for old in &group {
                unmet.remove(&pair(*old, new));
            }
            group.push(new);
            if group.len() == AT_ONCE {
                break;
            }
            let gain = |new: usize| {
                let met: BTreeSet<_> = group.iter().map(|old| pair(*old, new)).collect();
                met.intersection(&unmet).count()
            };
            new = order.iter().copied().max_by_key(|new| gain(*new)).unwrap();
        }
        all.push(group);
    }
    all
}

/// Takes back what would make every lane plan slower.
async fn tidy(stage: &Stage) {
    let list = stage.admin.get("/equipment?limit=200").await.expect(200);
    for one in list.body["items"].as_array().unwrap().iter().filter_map(|one| one["id"].as_str()) {
        if one != stage.ids["equipment_id"] {
            stage.admin.delete(&format!("/equipment/{one}"), "*").await;
        }
    }
}

#[sqlx::test]
async fn every_two_operations_that_write_go_on_beside_each_other(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool.clone(), options, 10).await;
    let stage = Stage::new(&app).await;
    let skipped =
        |one: &Operation| one.method == Method::GET || [&ALONE[..], &CALCULATORS].concat().contains(&&*one.id);
    let writing: Vec<Operation> = operations(&app).await.into_iter().filter(|one| !skipped(one)).collect();
    assert!(writing.len() >= 48, "{} operations write", writing.len());
    let times = std::env::var("LANEWRIGHT_PAIRS").ok().and_then(|text| text.parse().ok()).unwrap_or(MEETINGS);
    let (mut bad, mut answers): (BTreeMap<String, usize>, BTreeMap<u16, usize>) = Default::default();
    for time in 0..times {
        for group in meetings(writing.len(), time) {
            let mut cases = Vec::with_capacity(group.len());
            for at in &group {
                cases.push((*at, stage.request(&writing[*at]).await));
            }
            let sent: Vec<_> = cases
                .into_iter()
                .map(|(at, case)| {
                    let app = app.clone();
                    (at, tokio::spawn(async move { case.send(&app).await }))
                })
                .collect();
            for (at, one) in sent {
                let answer = one.await.unwrap();
                *answers.entry(answer.status).or_default() += 1;
                if answer.status >= 500 {
                    let names: Vec<&str> = group.iter().map(|at| &*writing[*at].id).collect();
                    let said = &answer.body["detail"];
                    let what = format!("{} {} {said} in {names:?}", writing[at].id, answer.status);
                    *bad.entry(what).or_default() += 1;
                }
            }
        }
        tidy(&stage).await;
    }
    let found = deadlocks(&pool).await;
    println!("{} operations met {times} times: answers {answers:?}, {found} deadlocks", writing.len());
    assert!(bad.is_empty(), "{found} deadlocks, {bad:#?}");
    assert_eq!(found, 0, "deadlocks; {answers:?}");
}
