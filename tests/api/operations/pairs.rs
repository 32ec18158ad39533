//! Every two operations that write, at once, on the same records: nobody waits in a circle.

use std::collections::BTreeMap;

use sqlx::PgPool;

use super::operations;
use super::stage::{Case, Stage};
use crate::support::TestApp;

/// How often two operations meet.
const MEETINGS: usize = 2;

/// Operations about an account alone: they share no row with a club's, and each of them hashes a password.
const ALONE: [&str; 7] =
    ["sign_up", "sign_in", "refresh", "sign_out", "change_password", "delete_device", "create_club"];
/// Calculators write nothing.
const CALCULATORS: [&str; 2] = ["analyse_rhythm", "forecast_final_time"];

async fn deadlocks(pool: &PgPool) -> i64 {
    sqlx::query_scalar("select deadlocks from pg_stat_database where datname = current_database()")
        .fetch_one(pool)
        .await
        .unwrap()
}

#[sqlx::test]
async fn every_two_operations_that_write_go_on_beside_each_other(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool.clone(), options, 6).await;
    let stage = Stage::new(&app).await;
    let skipped = |id: &str| ALONE.contains(&id) || CALCULATORS.contains(&id);
    let writing: Vec<_> = operations(&app).await.into_iter().filter(|one| one.writes() && !skipped(&one.id)).collect();
    assert!(writing.len() >= 48, "{} operations write", writing.len());
    let mut bad: BTreeMap<String, usize> = BTreeMap::new();
    let mut answered = 0;
    for (at, one) in writing.iter().enumerate() {
        for other in &writing[at..] {
            for _ in 0..MEETINGS {
                let cases: [Case; 4] = [
                    stage.request(one).await,
                    stage.request(other).await,
                    stage.request(one).await,
                    stage.request(other).await,
                ];
                let sent = cases.map(|case| {
                    let app = app.clone();
                    tokio::spawn(async move { case.send(&app).await })
                });
                for answer in sent {
                    let answer = answer.await.unwrap();
                    answered += 1;
                    if answer.status >= 500 {
                        *bad.entry(format!("{} with {}: {}", one.id, other.id, answer.status)).or_default() += 1;
                    }
                }
            }
        }
    }
    let found = deadlocks(&pool).await;
    println!("{} operations, {answered} answers, {found} deadlocks, {} pairs with a 5xx", writing.len(), bad.len());
    assert!(bad.is_empty(), "{bad:#?}");
    assert_eq!(found, 0, "deadlocks");
}
