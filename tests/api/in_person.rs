//! What is for people alone: an app neither says what was agreed to for an athlete nor erases one, by whichever way it asks.

use chrono::Utc;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::oauth;
use crate::support::{Answer, Caller};
use crate::sync_pull::{Squad, squad};
use crate::sync_push::{create, item, push, statuses};

async fn app_of(squad: &Squad) -> Caller {
    oauth::acting(&squad.admin, &["squad.read", "session.write", "sync", "club.admin"]).await
}

fn new(squad: &Squad, name: &str) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [squad.mine], "experience": "novice"})
}

async fn athlete(squad: &Squad) -> Value {
    squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.expect(200).body
}

/// What was recorded of consents.
async fn recorded(squad: &Squad) -> usize {
    let path = format!("/athletes/{}/consents", squad.athlete);
    squad.admin.get(&path).await.expect(200).body["items"].as_array().unwrap().len()
}

async fn import(caller: &Caller, query: &str, csv: String) -> Answer {
    caller.bytes(Method::POST, &format!("/athletes/import{query}"), "text/csv", csv.into()).await
}

#[sqlx::test]
async fn a_consent_is_not_entered_with_an_athlete_by_an_app(pool: PgPool) {
    let squad = squad(pool).await;
    let (app, day) = (app_of(&squad).await, Utc::now().date_naive());
    let path = format!("/athletes/{}", squad.athlete);
    let (given, cleared) = (json!({"consent_on": "2026-09-01"}), json!({"consent_on": null}));
    app.patch(&path, "*", given.clone()).await.expect_fault(422, "/consent_on");
    let mut somebody = new(&squad, "Ida Berg");
    somebody["consent_on"] = json!(day);
    app.post("/athletes", somebody.clone()).await.expect_fault(422, "/consent_on");
    assert_eq!(recorded(&squad).await, 0);

    // What people recorded is not taken back by one either, and an app that leaves it as it is may change the rest.
    squad.coach.patch(&path, "*", given.clone()).await.expect(200);
    app.patch(&path, "*", cleared).await.expect_fault(422, "/consent_on");
    app.patch(&path, "*", json!({"consent_on": "2026-09-02"})).await.expect_fault(422, "/consent_on");
    app.patch(&path, "*", json!({"consent_on": "2026-09-01", "status": "resting"})).await.expect(200);
    let now = athlete(&squad).await;
    assert_eq!((&now["consent_on"], &now["status"]), (&json!("2026-09-01"), &json!("resting")));
    assert_eq!(recorded(&squad).await, 1);
    // A create that was sent by a person is there, also when an app repeats it.
    let made = squad.coach.post("/athletes", somebody.clone()).await.expect(201).id();
    somebody["id"] = json!(made);
    app.post("/athletes", somebody).await.expect(200);
}

#[sqlx::test]
async fn a_consent_in_a_roster_of_an_app_is_an_error_of_its_row(pool: PgPool) {
    let squad = squad(pool).await;
    let app = app_of(&squad).await;
    let head = "display_name,sex,birth_year,groups,experience,consent_on";
    let csv = format!("{head}\nAda Holm,F,2013,Mine,novice,\nIda Berg,F,2013,Mine,novice,2026-09-01\n");
    let dry = import(&app, "?dry_run=true", csv.clone()).await.expect(200).body;
    assert_eq!(dry["rows"][0]["status"], "created");
    assert_eq!(dry["rows"][1]["status"], "rejected");
    assert_eq!(dry["rows"][1]["errors"][0]["pointer"], "/consent_on");
    let refused = import(&app, "", csv.clone()).await.expect_fault(422, "/rows/3/consent_on");
    assert_eq!(refused.faults(), ["/rows/3/consent_on"]);
    import(&squad.admin, "", csv).await.expect(201);

    // Of somebody who is there: as it is, another day, and none.
    squad
        .coach
        .patch(&format!("/athletes/{}", squad.athlete), "*", json!({"consent_on": "2026-09-01"}))
        .await
        .expect(200);
    let row = |day: &str| format!("id,status,consent_on\n{},resting,{day}\n", squad.athlete);
    for day in ["2026-09-02", ""] {
        import(&app, "", row(day)).await.expect_fault(422, "/rows/2/consent_on");
    }
    assert_eq!(import(&app, "", row("2026-09-01")).await.expect(201).body["changed"], 1);
    assert_eq!(athlete(&squad).await["consent_on"], "2026-09-01");
}

#[sqlx::test]
async fn a_consent_that_an_app_pushes_is_refused(pool: PgPool) {
    let squad = squad(pool).await;
    let (app, rev) = (app_of(&squad).await, athlete(&squad).await["rev"].clone());
    let mut somebody = new(&squad, "Ida Berg");
    somebody["consent_on"] = json!("2026-09-01");
    let edit = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}));
    let given = || edit(json!({"consent_on": "2026-09-01"}));
    let results = push(&app, &[create("athlete", somebody), given(), edit(json!({"status": "resting"}))]).await;
    assert_eq!(statuses(&results), [422, 422, 200], "{results:?}");
    for refused in &results[..2] {
        assert_eq!(refused["problem"]["errors"][0]["pointer"], "/consent_on", "{refused}");
    }
    assert_eq!((&athlete(&squad).await["consent_on"], recorded(&squad).await), (&Value::Null, 0));
    assert_eq!(statuses(&push(&squad.coach, &[given()]).await), [200]);
    assert_eq!(recorded(&squad).await, 1);
}

/// Keeps a share of the club, as everybody has who writes something of it: whoever wants the club to themselves waits in vain.
async fn shared(admin: &Caller) -> Transaction<'static, Postgres> {
    let club: Uuid = admin.club.parse().unwrap();
    let key = Uuid::new_v5(&club, Uuid::max().as_bytes()).as_u64_pair().0.cast_signed();
    let mut tx = admin.app.pool.begin().await.unwrap();
    sqlx::query("select pg_advisory_xact_lock_shared($1)").bind(key).execute(&mut *tx).await.unwrap();
    tx
}

fn erase(squad: &Squad, rev: &Value) -> Value {
    item("DELETE", "athlete", &squad.athlete, json!({"if_match": rev}))
}

#[sqlx::test]
async fn an_app_erases_nobody(pool: PgPool) {
    let squad = squad(pool).await;
    let (app, rev) = (app_of(&squad).await, athlete(&squad).await["rev"].clone());
    let path = format!("/athletes/{}", squad.athlete);
    let refused = app.delete(&path, "*").await.expect(403).body;
    assert!(refused["detail"].as_str().unwrap().contains("undone"), "{refused}");
    let sent = erase(&squad, &rev);
    for _ in 0..2 {
        let results = push(&app, std::slice::from_ref(&sent)).await;
        assert_eq!(statuses(&results), [403], "{results:?}");
        assert!(results[0]["problem"]["detail"].as_str().unwrap().contains("undone"), "{results:?}");
    }
    assert_eq!(athlete(&squad).await["rev"], rev);
    // A measurement can be entered again, and so an app takes one back.
    let measured = squad.admin.get(&format!("{path}/measurements")).await.expect(200).body["items"][0].clone();
    app.delete(&format!("{path}/measurements/{}", measured["id"].as_str().unwrap()), "*").await.expect(204);
    let rev = athlete(&squad).await["rev"].clone();
    assert_eq!(statuses(&push(&squad.coach, &[erase(&squad, &rev)]).await), [200]);
    squad.admin.get(&path).await.expect(404);
}

#[sqlx::test]
async fn an_erasure_that_is_refused_keeps_nobody_waiting_and_waits_for_nobody(pool: PgPool) {
    let squad = squad(pool).await;
    let (app, rev) = (app_of(&squad).await, athlete(&squad).await["rev"].clone());
    let viewer = squad.admin.member("Vera Viewer", "viewer", &[&squad.mine]).await;
    let stranger = squad.admin.member("Otto Other", "coach", &[&squad.other]).await;
    let path = format!("/athletes/{}", squad.athlete);
    let others = shared(&squad.admin).await;
    for caller in [&app, &viewer] {
        assert_eq!(statuses(&push(caller, &[erase(&squad, &rev)]).await), [403]);
        caller.delete(&path, "*").await.expect(403);
    }
    stranger.delete(&path, "*").await.expect(404);
    squad.coach.delete(&path, "\"1\"").await.expect(412);
    squad.coach.delete(&path, "").await.expect(428);
    others.rollback().await.unwrap();
    squad.coach.delete(&path, "*").await.expect(204);
}
