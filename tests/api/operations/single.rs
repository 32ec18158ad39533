//! No request holds two connections.

use sqlx::PgPool;

use super::operations;
use super::stage::Stage;
use crate::support::TestApp;

#[sqlx::test]
async fn every_operation_and_its_repeat_do_with_one_connection(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 1).await;
    let stage = Stage::new(&app).await;
    let mut wrong = Vec::new();
    for operation in operations(&app).await {
        let case = stage.request(&operation).await;
        let first = case.send(&app).await;
        if first.status >= 300 {
            wrong.push(format!("{}: {} {}", operation.id, first.status, first.body));
        }
        let again = case.send(&app).await;
        if again.status >= 500 {
            wrong.push(format!("{} again: {} {}", operation.id, again.status, again.body));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[sqlx::test]
async fn sixteen_repeats_at_once_wait_for_nobody(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (stage, south) = (Stage::new(&app).await, app.admin_of("South").await);
    let case = stage.create("create_athlete").unwrap();
    case.send(&app).await.expect(201);
    let other = {
        let south = south.clone();
        tokio::spawn(async move { south.get("/groups").await })
    };
    for answer in case.crowd(&app, 16).await {
        answer.expect(200);
    }
    other.await.unwrap().expect(200);
}
