//! What a request asks of the database: how many statements in how many transactions, and whether the server plans them anew.

use chrono::{Duration, Utc};
use serde_json::json;
use sqlx::PgPool;
use uuid::Uuid;

use super::data::{person, rating, run, session, with};
use super::knife::{Knife, Statement};
use crate::support::{Answer, Caller, TestApp};

/// How often each page is read: the server decides between a plan for good and one for each time after five.
const TIMES: usize = 9;

/// A club behind a proxy that sees what is asked of the database.
struct Watched {
    knife: Knife,
    admin: Caller,
    coach: Caller,
    group: String,
    athlete: String,
    session: String,
}

impl Watched {
    async fn new(pool: PgPool) -> Self {
        let options = (*pool.connect_options()).clone();
        let knife = Knife::before(&options);
        let app = TestApp::spawn_on(pool, knife.through(options), 1).await;
        let admin = app.admin_of("North").await;
        let group = admin.group("Mine").await;
        let coach = admin.member("Cora Coach", "coach", &[&group]).await;
        let athlete = admin.post("/athletes", person("Mira Osei", &group)).await.expect(201).id();
        let day = Utc::now().date_naive() - Duration::days(3);
        let session = admin.post("/sessions", session(day, &group)).await.expect(201).id();
        let new = |one| with(one, &json!({"id": Uuid::now_v7()}));
        let runs: Vec<_> = (0..5).map(|_| new(run(&session, &athlete, day))).collect();
        admin.post("/runs", json!({"runs": runs})).await.expect(200);
        let seen = new(rating(&session, &athlete, day));
        admin.post("/assessments", json!({"assessments": [seen]})).await.expect(200);
        Self { knife, admin, coach, group, athlete, session }
    }

    /// What a request asks of the database once its statements are prepared.
    async fn asked(&self, request: impl AsyncFn() -> Answer) -> Vec<Statement> {
        request().await.expect(200);
        self.knife.rest().await;
        self.knife.watch();
        request().await.expect(200);
        self.knife.rest().await.0
    }
}

/// The first words of each statement.
fn begin(asked: &[Statement]) -> Vec<&str> {
    asked.iter().map(|one| one.label.split_whitespace().next().unwrap_or_default()).collect()
}

#[sqlx::test]
async fn a_read_decides_and_reads_in_one_transaction(pool: PgPool) {
    let club = Watched::new(pool).await;
    let path = format!("/athletes/{}", club.athlete);
    for who in [&club.admin, &club.coach] {
        let asked = club.asked(async || who.get(&path).await).await;
        // Who asks, the athlete, what was measured; the rest of the round ends the transaction and puts the connection back.
        assert_eq!(begin(&asked), ["BEGIN", "select", "select", "select", "ROLLBACK", "(sync)"], "{asked:#?}");
        assert!(asked[0].label.contains("REPEATABLE READ READ ONLY; SET LOCAL ROLE club_app"), "{asked:#?}");
        assert!(asked[1].label.contains("join devices d") && asked[1].label.contains("members m"), "{asked:#?}");
    }
    let asked = club.asked(async || club.admin.get("/runs?limit=200").await).await;
    assert_eq!(begin(&asked), ["BEGIN", "select", "select", "ROLLBACK", "(sync)"], "{asked:#?}");
}

#[sqlx::test]
async fn a_write_decides_and_writes_in_one_transaction(pool: PgPool) {
    let club = Watched::new(pool).await;
    let path = format!("/sessions/{}/attendance", club.session);
    let asked = club.asked(async || club.admin.put(&path, "", json!({"present": []})).await).await;
    assert_eq!(asked.iter().filter(|one| one.label.starts_with("BEGIN")).count(), 1, "{asked:#?}");
    assert!(asked[1].label.contains("join devices d"), "{asked:#?}");
}

#[sqlx::test]
async fn what_is_read_often_is_planned_for_good(pool: PgPool) {
    let club = Watched::new(pool).await;
    let (group, athlete, session) = (&club.group, &club.athlete, &club.session);
    let from = Utc::now().date_naive() - Duration::days(30);
    let paths = [
        format!("/athletes/{athlete}"),
        "/athletes".to_owned(),
        format!("/athletes?group_id={group}"),
        "/runs".to_owned(),
        "/runs?limit=200".to_owned(),
        format!("/runs?athlete_id={athlete}"),
        format!("/runs?session_id={session}"),
        format!("/runs?from={from}"),
        format!("/runs?athlete_id={athlete}&from={from}"),
        "/sessions".to_owned(),
        format!("/sessions/{session}"),
        format!("/sessions/{session}/attendance"),
        "/assessments".to_owned(),
        format!("/assessments?athlete_id={athlete}"),
        "/groups".to_owned(),
        "/race-tests".to_owned(),
        "/wellbeing-records".to_owned(),
        "/venues".to_owned(),
        "/own-held-items".to_owned(),
        format!("/athletes/{athlete}/recommendation"),
        format!("/groups/{group}/recommendations"),
        format!("/groups/{group}/progression"),
    ];
    for who in [&club.admin, &club.coach] {
        for path in &paths {
            for _ in 0..TIMES {
                who.get(path).await.expect(200);
            }
        }
    }
    club.knife.rest().await;
    let counted = club.knife.ask("select statement, generic_plans, custom_plans from pg_prepared_statements").await;
    let often = counted.iter().filter(|row| {
        let times: usize = row[1..].iter().map(|count| count.parse::<usize>().unwrap()).sum();
        times >= TIMES
    });
    let (settled, anew): (Vec<_>, Vec<_>) = often.partition(|row| row[1] != "0");
    assert!(anew.is_empty(), "planned anew each time: {anew:#?}");
    assert!(settled.len() >= 30, "{}", settled.len());
}
