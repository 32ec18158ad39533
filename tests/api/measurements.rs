//! Measurements of athletes, and what a deleted athlete leaves behind.

use std::fmt::Write;

use chrono::{Days, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::athletes::mira;
use crate::support::{Caller, TestApp};

fn stature(value: f64) -> Value {
    json!({"kind": "stature_m", "value": value, "measured_on": "2025-09-01"})
}

/// A new athlete's path.
async fn athlete(admin: &Caller) -> String {
    let group = admin.group("Under 14").await;
    let mut body = mira(&group);
    body.as_object_mut().unwrap().remove("measurements");
    format!("/athletes/{}", admin.post("/athletes", body).await.expect(201).id())
}

#[sqlx::test]
async fn a_measurement_is_added_listed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let path = athlete(&admin).await;
    let all = format!("{path}/measurements");
    let first = admin.post(&all, stature(1.523)).await.expect(201);
    let one = format!("{all}/{}", first.id());
    assert_eq!(first.header("location"), admin.path(&one));
    let sprint = json!({"kind": "sprint_30m_s", "value": 5.12, "measured_on": "2025-10-01"});
    let second = admin.post(&all, sprint).await.expect(201);
    let list = admin.get(&all).await.expect(200);
    assert_eq!(list.body["items"], json!([second.body, first.body]), "latest first");
    assert_eq!(admin.get(&path).await.body["measurements"], list.body["items"]);

    admin.delete(&one, "").await.expect(428);
    let stale = admin.delete(&one, "\"999\"").await.expect(412);
    assert_eq!(stale.body["current"], first.body);
    admin.delete(&one, first.header("etag")).await.expect(204);
    admin.delete(&one, first.header("etag")).await.expect(404);
    assert_eq!(admin.get(&all).await.body["items"], json!([second.body]));
    admin.delete(&format!("{all}/{}", Uuid::now_v7()), "\"1\"").await.expect(404);
}

#[sqlx::test]
async fn a_read_is_never_called_unchanged_after_a_measurement_came_or_went(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let path = athlete(&admin).await;
    let tag = admin.get(&path).await.header("etag").to_owned();
    let conditional = || async { admin.call(Method::GET, &admin.path(&path), &[("if-none-match", &tag)], None).await };
    conditional().await.expect(304);
    let added = admin.post(&format!("{path}/measurements"), stature(1.5)).await.expect(201);
    assert_eq!(conditional().await.expect(200).body["measurements"], json!([added.body]));
    admin.delete(&format!("{path}/measurements/{}", added.id()), added.header("etag")).await.expect(204);
    // Now the answer is again the one that the tag stands for, to the byte.
    assert_eq!(admin.get(&path).await.header("etag"), tag);
    conditional().await.expect(304);
    admin.post(&format!("{path}/measurements"), stature(1.52)).await.expect(201);
    conditional().await.expect(200);
}

#[sqlx::test]
async fn a_measurement_sent_again_is_answered_alike_and_other_content_is_refused(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let all = format!("{}/measurements", athlete(&admin).await);
    let mut body = stature(1.5);
    let bare = admin.post(&all, body.clone()).await.expect(201);
    let again = admin.post(&all, body.clone()).await.expect(200);
    assert_eq!((&again.body, again.header("etag")), (&bare.body, bare.header("etag")));
    body["id"] = json!(Uuid::now_v7());
    let named = admin.post(&all, body.clone()).await.expect(201);
    let seq = admin.seq().await;
    assert_eq!(admin.post(&all, body.clone()).await.expect(200).body, named.body);
    body["value"] = json!(1.6);
    admin.post(&all, body.clone()).await.expect(409);
    assert_eq!(admin.seq().await, seq, "a repeat raises no change number");
    assert_eq!(admin.get(&all).await.body["items"].as_array().unwrap().len(), 2);

    let other = admin.group("Other").await;
    let mut taken = mira(&other);
    taken["measurements"] = json!([body]);
    admin.post("/athletes", taken).await.expect(409);
    assert_eq!(admin.get("/athletes").await.body["items"].as_array().unwrap().len(), 1);
    admin.delete(&format!("{all}/{}", named.id()), named.header("etag")).await.expect(204);
    body["value"] = json!(1.5);
    admin.post(&all, body).await.expect(410);
}

#[sqlx::test]
async fn every_broken_field_of_a_measurement_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let path = athlete(&admin).await;
    let all = format!("{path}/measurements");
    let group = admin.get("/groups").await.body["items"][0]["id"].as_str().unwrap().to_owned();
    let seq = admin.seq().await;
    let later = Utc::now().date_naive() + Days::new(2);
    let cases = [
        (json!({"kind": "weight_kg"}), 422, "/kind"),
        (json!({"kind": null}), 400, "/kind"),
        (json!({"value": -1.5}), 422, "/value"),
        (json!({"value": 0.899}), 422, "/value"),
        (json!({"value": 2.301}), 422, "/value"),
        (json!({"value": 1e300}), 422, "/value"),
        (json!({"value": 1.5001}), 422, "/value"),
        (json!({"value": "1.5"}), 400, "/value"),
        (json!({"kind": "leg_length_m", "value": 0.399}), 422, "/value"),
        (json!({"kind": "leg_length_m", "value": 1.301}), 422, "/value"),
        (json!({"kind": "sprint_30m_s", "value": 3.599}), 422, "/value"),
        (json!({"kind": "sprint_30m_s", "value": 12.001}), 422, "/value"),
        (json!({"kind": "sprint_50m_s", "value": 5.399}), 422, "/value"),
        (json!({"kind": "sprint_50m_s", "value": 20.001}), 422, "/value"),
        (json!({"measured_on": later}), 422, "/measured_on"),
        (json!({"measured_on": "1999-12-31"}), 422, "/measured_on"),
        (json!({"measured_on": "yesterday"}), 400, "/measured_on"),
        (json!({"id": "x"}), 400, "/id"),
        (json!({"unit": "m"}), 400, "/unit"),
    ];
    for (change, status, pointer) in cases {
        let mut body = stature(1.5);
        for (name, value) in change.as_object().unwrap().clone() {
            body[name] = value;
        }
        let alone = admin.post(&all, body.clone()).await;
        assert_eq!((alone.status, alone.faults()), (status, vec![pointer]), "{change} {}", alone.body);
        let mut whole = mira(&group);
        whole["measurements"] = json!([stature(1.4), body]);
        let inside = admin.post("/athletes", whole).await;
        assert_eq!((inside.status, inside.faults()), (status, vec![&*format!("/measurements/1{pointer}")]), "{change}");
    }
    let nan = br#"{"kind": "stature_m", "value": NaN, "measured_on": "2025-09-01"}"#;
    admin.bytes(Method::POST, &all, "application/json", nan.to_vec()).await.expect(400);
    let mut twice = mira(&group);
    twice["measurements"] = json!([stature(1.5), stature(1.5)]);
    admin.post("/athletes", twice.clone()).await.expect_fault(422, "/measurements/1");
    twice["measurements"] = (0..51).map(|n| stature(1.4 + f64::from(n) / 1_000.0)).collect();
    admin.post("/athletes", twice).await.expect_fault(422, "/measurements");
    assert_eq!(admin.seq().await, seq);
    assert_eq!(admin.get(&all).await.body["items"], json!([]));
}

#[sqlx::test]
async fn the_ends_of_each_range_are_taken(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("All ages").await;
    let mut born = mira(&group);
    born.as_object_mut().unwrap().remove("measurements");
    let mut path = async |birth: &str| {
        born["birth_date"] = json!(birth);
        born["id"] = json!(Uuid::now_v7());
        format!("/athletes/{}/measurements", admin.post("/athletes", born.clone()).await.expect(201).id())
    };
    let (child, grown) = (path("2021-06-01").await, path("2000-06-01").await);
    for (kind, low, high) in
        [("stature_m", 0.9, 2.3), ("leg_length_m", 0.4, 1.3), ("sprint_30m_s", 3.6, 12.0), ("sprint_50m_s", 5.4, 20.0)]
    {
        let small = if kind.ends_with("_m") { &child } else { &grown };
        for (all, value) in [(small, low), (&grown, high)] {
            let body = json!({"kind": kind, "value": value, "measured_on": "2025-09-01", "confirmed": true});
            assert_eq!(admin.post(all, body).await.expect(201).body["value"], value);
        }
    }
}

/// A transaction that sees the rows of the caller's club.
async fn rows(caller: &Caller) -> Transaction<'static, Postgres> {
    let mut tx = caller.app.pool.begin().await.unwrap();
    let sql = format!("set local app.club_id = '{}'", Uuid::parse_str(&caller.club).unwrap());
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    tx
}

/// Every table of the club as one text.
async fn everything(caller: &Caller) -> String {
    let mut tx = rows(caller).await;
    let mut text = String::new();
    let tables = [
        "athletes",
        "measurements",
        "root_scope",
        "runs",
        "assessments",
        "recommendations",
        "wellbeing_records",
        "lane_plans",
        "club_change",
    ];
    for table in tables {
        let sql = format!("select coalesce(string_agg(x::text, e'\\n'), '') from {table} x");
        let part: String = sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_one(&mut *tx).await.unwrap();
        writeln!(text, "{table}:\n{part}").unwrap();
    }
    text
}

/// A session with a run, an assessment, an overridden recommendation and a lane plan of the athlete.
async fn train(admin: &Caller, group: &str, athlete: &str) {
    let today = Utc::now().date_naive();
    let venue = json!({"name": "Harbour Park", "environment": "outdoor", "straight_m": 60, "lanes": 6});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 16});
    admin.post("/equipment", stock).await.expect(201);
    let session = json!({"held_on": today, "state": "held", "group_ids": [group], "venue_id": venue});
    let session = admin.post("/sessions", session).await.expect(201).id();
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": [athlete]})).await.expect(200);
    let run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete, "run_at": Utc::now(),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.0, "barriers": 5,
        "intervals": {"held": 4}, "note": "secret run note"});
    admin.post("/runs", json!({"runs": [run]})).await.expect(200);
    let rating = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "assessed_at": Utc::now(),
        "ratings": {"lead_leg": 2}, "note": "secret rating note"});
    admin.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
    let rested = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "kind": "restriction", "reported_on": "2020-01-01",
        "until": "2020-01-02"});
    let lifted = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "kind": "clearance", "reported_on": "2020-01-02",
        "clears": rested["id"]});
    admin.post("/wellbeing-records", json!({"wellbeing_records": [rested, lifted]})).await.expect(200);
    let plan = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 6}, "objective": "total"});
    admin.post(&format!("/sessions/{session}/lane-plans"), plan).await.expect(201);
    let decision = json!({"outcome": "overridden", "reason": "secret reason", "barrier_kind": "wicket",
        "height_m": 0.3, "spacing_m": 6.0});
    admin.post(&format!("/athletes/{athlete}/recommendation/decisions"), decision).await.expect(201);
}

#[sqlx::test]
async fn a_deleted_athlete_leaves_an_empty_stub_and_facts_about_nobody(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Under 14").await;
    let created = admin.post("/athletes", mira(&group)).await.expect(201);
    let id = created.id();
    train(&admin, &group, &id).await;
    let before = everything(&admin).await;
    for word in ["Mira Osei", "2013-05-17", "1523", "secret run note", "secret rating note", "secret reason"] {
        assert!(before.contains(word), "{word} in {before}");
    }
    let tag = admin.get(&format!("/athletes/{id}")).await.header("etag").to_owned();
    admin.delete(&format!("/athletes/{id}"), &tag).await.expect(204);
    let after = everything(&admin).await;
    for word in ["Mira", "Osei", "2013-05-17", "1523", "2025-09-01", "secret"] {
        assert!(!after.contains(word), "{word} in {after}");
    }
    let mut tx = rows(&admin).await;
    let count = async |tx: &mut Transaction<'static, Postgres>, sql: &'static str| -> i64 {
        sqlx::query_scalar(sql).bind(Uuid::parse_str(&id).unwrap()).fetch_one(&mut **tx).await.unwrap()
    };
    assert_eq!(count(&mut tx, "select count(*) from athletes where id = $1 and deleted_at is not null").await, 1);
    assert_eq!(count(&mut tx, "select count(*) from measurements where athlete_id = $1").await, 0);
    assert_eq!(count(&mut tx, "select count(*) from wellbeing_records where athlete_id = $1").await, 0);
    assert_eq!(count(&mut tx, "select count(*) from root_scope where root_id = $1").await, 0);
    assert_eq!(count(&mut tx, "select count(*) from runs where athlete_id = $1").await, 1, "facts stay");
    assert_eq!(count(&mut tx, "select count(*) from assessments where athlete_id = $1").await, 1, "facts stay");
    let plan = count(&mut tx, "select count(*) from lane_plans where strpos(plan::text, $1::text) > 0").await;
    assert_eq!(plan, 0, "the plan no longer says where they ran");
    assert_eq!(count(&mut tx, "select count(*) from lane_plans where $1 <> all (people)").await, 1, "but it stays");
    let last = last_change(&admin, &id).await;
    assert_eq!(last, ("remove".to_owned(), vec![Uuid::parse_str(&group).unwrap()], vec![]));
}

/// Verb, scopes before and scopes after of the athlete's last change.
async fn last_change(admin: &Caller, id: &str) -> (String, Vec<Uuid>, Vec<Uuid>) {
    let sql = "select op, coalesce(before_scopes, '{}'), coalesce(after_scopes, '{}') from club_change
        where entity_id = $1 order by seq desc limit 1";
    sqlx::query_as(sql).bind(Uuid::parse_str(id).unwrap()).fetch_one(&mut *rows(admin).await).await.unwrap()
}

#[sqlx::test]
async fn phones_learn_from_which_groups_to_which_an_athlete_moved(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (one, two) = (admin.group("One").await, admin.group("Two").await);
    let ids = |groups: &[&String]| groups.iter().map(|id| Uuid::parse_str(id).unwrap()).collect::<Vec<_>>();
    let created = admin.post("/athletes", mira(&one)).await.expect(201);
    let (id, path) = (created.id(), format!("/athletes/{}", created.id()));
    assert_eq!(last_change(&admin, &id).await, ("put".to_owned(), vec![], ids(&[&one])));
    let moved = admin.patch(&path, created.header("etag"), json!({"group_ids": [two]})).await.expect(200);
    assert_eq!(last_change(&admin, &id).await, ("put".to_owned(), ids(&[&one]), ids(&[&two])));
    admin.patch(&path, moved.header("etag"), json!({"status": "left"})).await.expect(200);
    assert_eq!(last_change(&admin, &id).await, ("put".to_owned(), vec![], vec![]), "not moved");
}

#[sqlx::test]
async fn a_measurement_that_was_deleted_by_mistake_can_be_entered_again(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let path = athlete(&admin).await;
    let all = format!("{path}/measurements");
    let mut ids = Vec::new();
    // Without an id each time, as a person types it; a repeat of the same finds what is there.
    for _ in 0..3 {
        let entered = admin.post(&all, stature(1.5)).await.expect(201);
        assert_eq!(admin.post(&all, stature(1.5)).await.expect(200).body, entered.body);
        assert_eq!(admin.get(&all).await.body["items"], json!([entered.body]));
        assert!(!ids.contains(&entered.id()), "an id is never given twice");
        ids.push(entered.id());
        admin.delete(&format!("{all}/{}", entered.id()), entered.header("etag")).await.expect(204);
    }
    // With an id of the client's own: the deleted one stays deleted, a new one is another measurement.
    let mut again = stature(1.5);
    again["id"] = json!(ids[0]);
    admin.post(&all, again.clone()).await.expect(410);
    again["id"] = json!(Uuid::now_v7());
    admin.post(&all, again).await.expect(201);
}
