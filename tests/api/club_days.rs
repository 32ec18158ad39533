//! A day is one of the club's time zone, whoever asks: advice, cards, progress, lists, what is held and consents alike.

use chrono::{Duration, NaiveDate, Timelike, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};
use crate::sync_push::{create, push, statuses};

struct Club {
    admin: Caller,
    group: String,
    athlete: String,
    day: NaiveDate,
}

impl Club {
    /// A club whose clocks are far from UTC.
    async fn new(pool: PgPool, zone: &str) -> Self {
        let admin = TestApp::spawn(pool).await.admin_of("North").await;
        admin.patch("", "*", json!({"time_zone": zone})).await.expect(200);
        let group = admin.group("Mine").await;
        let day = Utc::now().date_naive() - Duration::days(5);
        let body = json!({"display_name": "Mira", "sex": "F", "birth_year": 2013, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
        let athlete = admin.post("/athletes", body).await.expect(201).id();
        Self { admin, group, athlete, day }
    }

    async fn get(&self, path: &str) -> Value {
        self.admin.get(path).await.expect(200).body
    }

    async fn of_athlete(&self, path: &str) -> Value {
        self.get(&format!("/athletes/{}{path}", self.athlete)).await
    }

    /// The recorded facts of a type of which the feed tells, by id.
    async fn filed(&self, kind: &str, id: &Value) -> Value {
        let changes = self.get(&format!("/changes?types=athlete,session,{kind}")).await["changes"].clone();
        changes.as_array().unwrap().iter().find(|one| one["id"] == *id).unwrap()["data"].clone()
    }
}

#[sqlx::test]
async fn what_is_rated_in_the_evening_counts_that_day_everywhere(pool: PgPool) {
    // Six in the evening there is five in the morning of the next day in UTC.
    let club = Club::new(pool, "Pacific/Pago_Pago").await;
    let (day, next) = (club.day, club.day + Duration::days(1));
    let body = json!({"held_on": day, "state": "held", "group_ids": [club.group]});
    let session = club.admin.post("/sessions", body).await.expect(201).id();
    let advice = async |on: NaiveDate| club.of_athlete(&format!("/recommendation?on={on}")).await;
    let (before, eve) = (advice(day).await, advice(day - Duration::days(1)).await);
    let rated = json!({"id": Uuid::now_v7(), "athlete_id": club.athlete, "session_id": session,
        "assessed_at": format!("{next}T05:00:00Z"), "note": "Trail knee drops",
        "ratings": {"lead_leg": 2, "trail_leg": 1, "walkover": 2}});
    club.admin.post("/assessments", json!({"assessments": [rated]})).await.expect(200);

    assert_ne!(advice(day).await["missing"], before["missing"], "what was just seen counts today");
    assert_eq!(advice(day - Duration::days(1)).await["missing"], eve["missing"]);
    let listed = async |from: NaiveDate, to: NaiveDate| {
        let path = format!("/assessments?athlete_id={}&from={from}&to={to}", club.athlete);
        club.get(&path).await["items"].as_array().unwrap().len()
    };
    assert_eq!((listed(day, day).await, listed(next, next).await), (1, 0));
    let progress = club.of_athlete(&format!("/progression?from={day}&to={day}")).await;
    let technique = progress["technique"].as_array().unwrap();
    assert!(!technique.is_empty() && technique.iter().all(|one| one["latest"]["on"] == json!(day)), "{technique:?}");
    let cards = club.get(&format!("/sessions/{session}/cards")).await;
    assert_eq!(cards["cards"][0]["watch"]["rating"], 1, "{cards}");
    assert_eq!(cards["cards"][0]["notes"][0]["note"], "Trail knee drops");
}

#[sqlx::test]
async fn an_admin_puts_every_wrong_clock_right_and_the_day_is_the_club_s(pool: PgPool) {
    // Ten in the morning there is eight in the evening of the day before in UTC.
    let club = Club::new(pool, "Pacific/Kiritimati").await;
    let (day, at) = (club.day, format!("{}T20:00:00Z", club.day - Duration::days(1)));
    let far = Utc::now().date_naive() + Duration::days(900);
    let run = |run_at: &Value| {
        json!({"session_id": Uuid::now_v7(), "athlete_id": club.athlete, "run_at": run_at, "barrier_kind": "wicket",
            "height_m": 0.3, "spacing_m": 6, "barriers": 5, "intervals": {"held": 4}})
    };
    let sent = [
        create("run", run(&json!(at))),
        create(
            "measurement",
            json!({"athlete_id": club.athlete, "kind": "sprint_30m_s", "value": 5.6, "measured_on": far}),
        ),
        create(
            "wellbeing_record",
            json!({"athlete_id": club.athlete, "kind": "pain", "reported_on": far, "reported_by": "athlete"}),
        ),
        create("decision", json!({"athlete_id": club.athlete, "outcome": "accepted", "on": far})),
        create(
            "race_result",
            json!({"athlete_id": club.athlete, "race_test_id": Uuid::now_v7(), "status": "did_not_start"}),
        ),
    ];
    let results = push(&club.admin, &sent).await;
    assert_eq!(statuses(&results), [202; 5], "{results:?}");
    let reasons: Vec<&str> = results.iter().map(|one| one["held"]["reason"].as_str().unwrap()).collect();
    assert_eq!(reasons, ["reference", "clock", "clock", "clock", "reference"]);

    let accept = async |n: usize, body: Value| {
        let path = format!("/held-items/{}/accept", sent[n]["id"].as_str().unwrap());
        club.admin.post(&path, body).await
    };
    accept(0, json!({"group_id": club.group})).await.expect(200);
    let session = club.get(&format!("/sessions/{}", sent[0]["data"]["session_id"].as_str().unwrap())).await;
    assert_eq!(session["held_on"], json!(day), "the day that it was there");
    for (n, kind, field) in
        [(1, "measurement", "measured_on"), (2, "wellbeing_record", "reported_on"), (3, "decision", "on")]
    {
        accept(n, json!({})).await.expect_fault(422, &format!("/{field}"));
        accept(n, json!({"at": at})).await.expect(200);
        assert_eq!(club.filed(kind, &sent[n]["id"]).await[field], json!(day), "{kind}");
    }
    accept(4, json!({"at": at})).await.expect_fault(422, "/at");
}

#[sqlx::test]
async fn a_time_that_cannot_be_read_is_broken_and_no_wrong_clock(pool: PgPool) {
    let club = Club::new(pool, "Europe/London").await;
    let run = |run_at: Option<Value>| {
        let mut run = json!({"session_id": Uuid::now_v7(), "athlete_id": club.athlete, "barrier_kind": "wicket",
            "height_m": 0.3, "spacing_m": 6, "barriers": 5, "intervals": {"held": 4}});
        run.as_object_mut().unwrap().extend(run_at.map(|at| ("run_at".to_owned(), at)));
        create("run", run)
    };
    let measured =
        json!({"athlete_id": club.athlete, "kind": "sprint_30m_s", "value": 5.6, "measured_on": "yesterday"});
    let sent =
        [run(Some(json!("yesterday"))), run(Some(json!(1_700_000_000))), run(None), create("measurement", measured)];
    let results = push(&club.admin, &sent).await;
    assert_eq!(statuses(&results), [422; 4], "{results:?}");
    for (result, pointer) in results.iter().zip(["/run_at", "/run_at", "/run_at", "/measured_on"]) {
        assert_eq!(result["problem"]["errors"][0]["pointer"], pointer);
    }
    // A day of the body is no parameter of the query.
    let path = format!("/athletes/{}/recommendation/decisions", club.athlete);
    let refused = club.admin.post(&path, json!({"outcome": "accepted", "on": "1999-12-31"})).await;
    assert_eq!(refused.expect_fault(422, "/on").body["errors"][0].get("parameter"), None);
}

#[sqlx::test]
async fn consent_is_withdrawn_on_the_day_that_it_is_in_the_club(pool: PgPool) {
    // One of the two always has another day than UTC, and keeps it for the next hour.
    let zone = if Utc::now().hour() >= 10 { "Pacific/Kiritimati" } else { "Pacific/Pago_Pago" };
    let today = Utc::now().with_timezone(&zone.parse::<chrono_tz::Tz>().unwrap()).date_naive();
    let club = Club::new(pool, zone).await;
    let path = format!("/athletes/{}", club.athlete);
    for consent_on in [json!("2026-09-01"), Value::Null] {
        club.admin.patch(&path, "*", json!({"consent_on": consent_on})).await.expect(200);
    }
    let all = club.of_athlete("/consents").await;
    let training = all["standing"].as_array().unwrap().iter().find(|one| one["purpose"] == "training_records").unwrap();
    assert_eq!((&training["act"], &training["on"]), (&json!("withdrawn"), &json!(today)));
}
