//! The same push comes twice at the same time, as when a phone gave up waiting and asks again.

use sqlx::PgPool;

use super::cases::{Act, Case, World};
use super::cuts::results;
use super::state::{Rows, differences};
use crate::support::{Answer, TestApp, eventually};

/// How many connections wait for a lock.
async fn waiting(pool: &PgPool) -> i64 {
    let sql = "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'";
    sqlx::query_scalar(sql).fetch_one(pool).await.unwrap()
}

/// Two pushes, both under way before either is done.
async fn together(pool: &PgPool, case: &Case) -> [Answer; 2] {
    let mut lock = pool.begin().await.unwrap();
    let sql = format!("set local app.club_id = '{}'; select seq from club_clock for update", case.who.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(&mut *lock).await.unwrap();
    let start = || {
        let case = case.clone();
        tokio::spawn(async move { case.answer().await })
    };
    let (one, other) = (start(), start());
    let both = async || waiting(pool).await >= 2 || one.is_finished() || other.is_finished();
    eventually("both wait for the lock", both).await;
    lock.rollback().await.unwrap();
    [one.await.unwrap(), other.await.unwrap()]
}

#[sqlx::test]
async fn a_push_that_comes_twice_at_once_has_one_effect(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let world = World::make(&app).await;
    let mut cases = world.creates();
    cases.extend(world.edits().await);
    cases.extend(world.others().await);
    cases.retain(|case| matches!(case.act, Act::Push(_)));
    let rows = Rows::keep(&pool, &world.admin.club).await;
    for case in cases {
        let whole = case.answer().await.expect(200);
        let state = rows.read().await;
        rows.put_back(&state).await;
        for answer in together(&pool, &case).await {
            // On a slow machine a lock may not come in time; then the phone asks again.
            let answer = if answer.status == 503 { case.insist().await } else { answer };
            assert_eq!(results(&answer.expect(200)), results(&whole), "{}", case.name);
        }
        let now = rows.read().await;
        let wrong = differences(&state, &now);
        assert!(wrong.is_empty(), "{}: {wrong:#?}", case.name);
        rows.put_back(&now).await;
    }
}
