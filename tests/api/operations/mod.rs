//! Every operation of the document, carried out for real: a request that succeeds, and what it needs.

mod crowd;
mod pairs;
mod single;
pub mod stage;
mod strikes;

use std::collections::BTreeSet;

use reqwest::Method;
use serde_json::Value;

use crate::support::TestApp;

/// An operation as the document names it.
#[derive(Clone, Debug)]
pub struct Operation {
    pub id: String,
    pub method: Method,
    pub path: String,
}

impl Operation {
    /// Whether it may change something.
    pub fn writes(&self) -> bool {
        self.method != Method::GET
    }
}

/// The operations of the served document, in its order.
pub async fn operations(app: &TestApp) -> Vec<Operation> {
    let document = app.get("/openapi.json").await.expect(200).body;
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let id = operation["operationId"].as_str().unwrap().to_owned();
            let method = Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
            all.push(Operation { id, method, path: path.clone() });
        }
    }
    assert!(all.len() >= 116, "the document has {} operations", all.len());
    all
}

/// The log rows of a record of the club.
pub async fn logged(stage: &stage::Stage, record: &str) -> i64 {
    let club = uuid::Uuid::parse_str(&stage.admin.club).unwrap();
    let mut tx = stage.app.pool.begin().await.unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!("set local app.club_id = '{club}'"))).execute(&mut *tx).await.unwrap();
    sqlx::query_scalar("select count(*) from club_change where club_id = $1 and entity_id = $2 and op = 'put'")
        .bind(club)
        .bind(uuid::Uuid::parse_str(record).unwrap())
        .fetch_one(&mut *tx)
        .await
        .unwrap()
}

/// The statuses of answers, each once.
pub fn statuses(answers: &[crate::support::Answer]) -> BTreeSet<u16> {
    answers.iter().map(|one| one.status).collect()
}

/// The results of a batch or push.
pub fn results(body: &Value) -> &[Value] {
    body["results"].as_array().map(Vec::as_slice).unwrap_or_default()
}
