//! What a coach decides governs advice and plans, inside the walls, by its own route and by a phone's push.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::TestApp;
use crate::sync_push::{create, push, statuses};
use crate::tour::{Tour, begin, planned, record, run};
use crate::unusable::withdraw;
use crate::wellbeing::restrict;

fn today() -> NaiveDate {
    Utc::now().date_naive()
}

fn instead(height_m: f64, spacing_m: f64) -> Value {
    json!({"outcome": "overridden", "reason": "As seen today", "barrier_kind": "low_barrier", "height_m": height_m,
        "spacing_m": spacing_m})
}

/// As advised, with so much more spacing.
fn beside(advice: &Value, more_mm: i32) -> Value {
    let decision = &advice["decision"];
    json!({"outcome": "overridden", "reason": "As seen today", "barrier_kind": decision["barrier_kind"],
        "height_m": decision["height_m"], "spacing_m": metres(spacing(advice) + more_mm)})
}

fn with(mut body: Value, more: Value) -> Value {
    body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    body
}

impl Tour {
    fn advice(&self, n: usize) -> String {
        format!("/athletes/{}/recommendation", self.athletes[n])
    }

    async fn advised(&self, n: usize) -> Value {
        self.admin.get(&self.advice(n)).await.expect(200).body
    }

    async fn decide(&self, n: usize, body: Value) -> crate::support::Answer {
        self.admin.post(&format!("{}/decisions", self.advice(n)), body).await
    }

    /// The lane plan of today for one athlete.
    async fn lane(&self, n: usize) -> Value {
        let session =
            json!({"held_on": today(), "state": "planned", "group_ids": [self.group], "venue_id": self.venue});
        let session = self.admin.post("/sessions", session).await.expect(201).id();
        let body = json!({"lanes": 1, "capacity": 8, "barriers": {"min": 4, "max": 4},
            "athlete_ids": [self.athletes[n]]});
        let plan = planned(&self.admin, &format!("/sessions/{session}/lane-plans"), body).await;
        plan.body["lanes"][0].clone()
    }
}

fn codes(advice: &Value) -> Vec<&str> {
    advice["reasons"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect()
}

/// The advised spacing, millimetres.
#[allow(clippy::cast_possible_truncation)] // a few metres
fn spacing(advice: &Value) -> i32 {
    (advice["decision"]["spacing_m"].as_f64().unwrap() * 1e3).round() as i32
}

fn metres(mm: i32) -> f64 {
    f64::from(mm) / 1e3
}

#[sqlx::test]
async fn a_word_governs_advice_and_plans_until_the_next_one(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let before = tour.advised(2).await;
    assert_eq!(before["decision"].get("word"), None);
    // Beside the club's grid: the plan sets out what the coach said.
    let chosen = spacing(&before) - 150;
    tour.decide(2, with(instead(0.4, metres(chosen)), json!({"until": today() + Duration::days(20)})))
        .await
        .expect(201);
    let after = tour.advised(2).await;
    assert_eq!((spacing(&after), &after["decision"]["height_m"]), (chosen, &json!(0.4)));
    let word = &after["decision"]["word"];
    assert_eq!((&word["outcome"], &word["until"]), (&json!("overridden"), &json!(today() + Duration::days(20))));
    assert_eq!(word["rules_spacing_m"], before["decision"]["spacing_m"], "what the rules say stays in sight");
    assert!(codes(&after).contains(&"coach_overrode") && codes(&after).contains(&"word_until"), "{after}");
    let lane = tour.lane(2).await;
    assert_eq!((&lane["spacing_m"], &lane["height_m"]), (&json!(metres(chosen)), &json!(0.4)), "{lane}");

    // Accepting takes what is shown; an override without a configuration ends it.
    tour.decide(2, json!({"outcome": "accepted"})).await.expect(201);
    let accepted = tour.advised(2).await;
    assert_eq!((spacing(&accepted), &accepted["decision"]["word"]["outcome"]), (chosen, &json!("accepted")));
    tour.decide(2, json!({"outcome": "overridden", "reason": "As the rules say"})).await.expect(201);
    let free = tour.advised(2).await;
    assert_eq!((spacing(&free), free["decision"].get("word")), (spacing(&before), None));

    // The day after its last day it is over.
    tour.decide(2, with(instead(0.4, metres(chosen)), json!({"until": today()}))).await.expect(201);
    assert_eq!(spacing(&tour.advised(2).await), chosen);
    let tomorrow = format!("{}?on={}", tour.advice(2), today() + Duration::days(1));
    assert_eq!(spacing(&tour.admin.get(&tomorrow).await.expect(200).body), spacing(&before));
}

#[sqlx::test]
async fn hard_walls_stand_and_soft_ones_open_at_a_second_confirmation(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let advice = tour.advised(1).await;
    let advised = spacing(&advice);
    let wider = beside(&advice, 500);
    let refused = tour.decide(1, wider.clone()).await.expect_fault(422, "/spacing_m");
    assert_eq!(refused.body["errors"][0]["code"], "spacing_above_advice");
    assert!(refused.body["errors"][0]["detail"].as_str().unwrap().contains("coach_accepts"), "{}", refused.body);
    assert_ne!(advice["decision"]["height_m"], json!(0.6));
    let higher = tour.decide(1, instead(0.6, metres(advised))).await.expect_fault(422, "/height_m");
    assert_eq!(higher.body["errors"][0]["code"], "height_above_advice");
    let sure = json!({"coach_accepts": true});
    tour.decide(1, with(json!({"outcome": "accepted"}), sure.clone())).await.expect_fault(422, "/coach_accepts");
    for (until, pointer) in [(-1, "/until"), (57, "/until")] {
        let body = with(beside(&advice, -250), json!({"until": today() + Duration::days(until)}));
        tour.decide(1, body).await.expect_fault(422, pointer);
    }
    let decided = tour.decide(1, with(wider, sure.clone())).await.expect(201);
    assert_eq!(decided.body["coach_accepts"], true);
    let after = tour.advised(1).await;
    assert_eq!(spacing(&after), advised + 500);
    let cautions = after["cautions"].as_array().unwrap();
    assert!(cautions.iter().any(|one| one["code"] == "beyond_advice"), "{after}");
    assert_eq!(tour.lane(1).await["spacing_m"], json!(metres(advised + 500)), "the plan follows the coach");

    // The hard walls stay, whatever is confirmed.
    let hurdles = json!({"outcome": "overridden", "reason": "x", "barrier_kind": "hurdle", "height_m": 0.6, "spacing_m": 6,
        "coach_accepts": true});
    let wall = tour.decide(1, hurdles).await.expect_fault(422, "/barrier_kind");
    assert_eq!(wall.body["errors"][0]["code"], "not_owned");
    restrict(&tour.admin, &tour.athletes[1], today(), today() + Duration::days(7)).await;
    let wall = tour.decide(1, with(instead(0.4, 5.0), sure)).await.expect_fault(422, "/outcome");
    assert_eq!(wall.body["errors"][0]["code"], "restricted");
    let resting = tour.advised(1).await;
    assert_eq!((&resting["decision"]["kind"], resting["decision"].get("word")), (&json!("rest_and_refer"), None));
}

#[sqlx::test]
async fn runs_that_speak_against_a_word_end_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let advised = spacing(&tour.advised(3).await);
    let sure = json!({"coach_accepts": true, "until": today() + Duration::days(30)});
    tour.decide(3, with(instead(0.4, metres(advised + 250)), sure)).await.expect(201);
    assert_eq!(spacing(&tour.advised(3).await), advised + 250);
    let session = json!({"held_on": today(), "state": "held", "group_ids": [tour.group]});
    let session = (today(), tour.admin.post("/sessions", session).await.expect(201).id());
    let broken = run(&session, &tour.athletes[3], metres(advised + 250), 1, 3);
    tour.admin.post("/runs", json!({"runs": [broken]})).await.expect(200);
    assert_eq!(spacing(&tour.advised(3).await), advised + 250, "four intervals are no evidence yet");
    let broken = run(&session, &tour.athletes[3], metres(advised + 250), 1, 3);
    tour.admin.post("/runs", json!({"runs": [broken]})).await.expect(200);
    let after = tour.advised(3).await;
    assert_eq!(after["decision"].get("word"), None);
    assert!(codes(&after).contains(&"against_word"), "{after}");

    // The summary tells how it turned out, beside what the advice promised.
    let summary = tour.admin.get(&format!("/groups/{}/progression", tour.group)).await.expect(200).body;
    let words = &summary["coaches_words"];
    let harder = words["ways"].as_array().unwrap().iter().find(|one| one["way"] == "harder").unwrap();
    assert_eq!(
        (&harder["decisions"], &harder["intervals"], &harder["held_share"]),
        (&json!(1), &json!(8), &json!(0.25))
    );
    let one = &words["overrides"][0];
    assert_eq!((&one["athlete_id"], &one["way"]), (&json!(tour.athletes[3]), &json!("harder")));
    assert_eq!(one["chosen"]["spacing_m"], json!(metres(advised + 250)));
    assert_eq!(one["advised"]["spacing_m"], json!(metres(advised)));
    assert!(one["advised_hold"].as_f64().unwrap() > 0.25);
    let own = tour.admin.get(&format!("/athletes/{}/progression", tour.athletes[3])).await.expect(200).body;
    assert_eq!(own["coaches_words"]["overrides"][0], *one, "and so does the athlete's own");
    let at = one["decision_href"].as_str().unwrap();
    tour.admin.call(reqwest::Method::GET, at, &[], None).await.expect(200);
}

#[sqlx::test]
async fn a_run_that_was_withdrawn_makes_no_day_that_was_run_before_a_word(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let advised = spacing(&tour.advised(3).await);
    let session = json!({"held_on": today(), "state": "held", "group_ids": [tour.group]});
    let session = (today(), tour.admin.post("/sessions", session).await.expect(201).id());
    let slip = run(&session, &tour.athletes[3], metres(advised), 4, 0);
    tour.admin.post("/runs", json!({"runs": [slip]})).await.expect(200);
    withdraw(&tour.admin, &slip).await;
    let sure = json!({"coach_accepts": true, "until": today() + Duration::days(30)});
    tour.decide(3, with(instead(0.4, metres(advised + 250)), sure)).await.expect(201);
    assert_eq!(spacing(&tour.advised(3).await), advised + 250);
    for _ in 0..2 {
        let broken = run(&session, &tour.athletes[3], metres(advised + 250), 1, 3);
        tour.admin.post("/runs", json!({"runs": [broken]})).await.expect(200);
    }
    let after = tour.advised(3).await;
    assert!(codes(&after).contains(&"against_word"), "what is run today is run after the word: {after}");
}

#[sqlx::test]
async fn an_accepted_word_gives_way_to_a_step_up_that_new_runs_bring_and_an_override_does_not(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    let first = &tour.sessions[0];
    let rate = |n: usize| {
        json!({"id": Uuid::now_v7(), "athlete_id": tour.athletes[n], "assessed_at": format!("{}T16:00:00Z", first.0),
            "ratings": {"lead_leg": 2, "trail_leg": 2, "walkover": 2}})
    };
    tour.admin.post("/assessments", json!({"assessments": [rate(3), rate(4)]})).await.expect(200);
    let held = |at: usize| -> Vec<Value> {
        [3, 3, 4, 4].map(|n| run(&tour.sessions[at], &tour.athletes[n], 5.75, 4, 0)).into()
    };
    tour.admin.post("/runs", json!({"runs": held(0)})).await.expect(200);
    let then = tour.admin.get(&format!("{}?on={}", tour.advice(3), first.0)).await.expect(200).body;
    assert_eq!((&then["decision"]["kind"], spacing(&then)), (&json!("consolidate"), 5_750), "{then}");
    let of_the_day = json!({"on": first.0, "until": first.0 + Duration::days(40)});
    tour.decide(3, with(json!({"outcome": "accepted"}), of_the_day.clone())).await.expect(201);
    tour.decide(4, with(instead(0.4, 5.75), of_the_day)).await.expect(201);
    for n in [3, 4] {
        assert_eq!(
            (spacing(&tour.advised(n).await), tour.advised(n).await["decision"]["word"].is_object()),
            (5_750, true)
        );
    }
    for at in 1..4 {
        tour.admin.post("/runs", json!({"runs": held(at)})).await.expect(200);
    }
    let (accepted, overridden) = (tour.advised(3).await, tour.advised(4).await);
    assert_eq!(accepted["decision"].get("word"), None, "{accepted}");
    let kind = accepted["decision"]["kind"].as_str().unwrap();
    assert!(kind.starts_with("step_up"), "the rules the coach followed go on: {accepted}");
    assert_eq!((spacing(&overridden), &overridden["decision"]["word"]["rules_kind"]), (5_750, &json!(kind)));
}

#[sqlx::test]
async fn a_rating_below_secure_and_a_restriction_end_a_word(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let until = json!({"until": today() + Duration::days(30)});
    for n in [10, 11] {
        tour.decide(n, with(beside(&tour.advised(n).await, -250), until.clone())).await.expect(201);
        assert_eq!(tour.advised(n).await["decision"]["word"]["outcome"], "overridden");
    }
    let rating = json!({"id": Uuid::now_v7(), "athlete_id": tour.athletes[10], "assessed_at": Utc::now(),
        "ratings": {"trail_leg": 1}});
    tour.admin.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
    let gated = tour.advised(10).await;
    assert_eq!((&gated["decision"]["barrier_kind"], gated["decision"].get("word")), (&json!("wicket"), None));

    restrict(&tour.admin, &tour.athletes[11], today(), today()).await;
    let after = format!("{}?on={}", tour.advice(11), today() + Duration::days(1));
    let after = tour.admin.get(&after).await.expect(200).body;
    assert_ne!(after["decision"]["kind"], "rest_and_refer");
    assert_eq!(after["decision"].get("word"), None, "what was said before the restriction is over");
}

#[sqlx::test]
async fn clearing_a_fall_lets_training_resume_as_advised_and_no_wider(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let mut fall = run(&tour.sessions[3], &tour.athletes[4], 5.75, 3, 0);
    fall["fell"] = json!(true);
    tour.admin.post("/runs", json!({"runs": [fall]})).await.expect(200);
    let fallen = tour.advised(4).await;
    assert_eq!(fallen["decision"]["needs_confirmation"], true);
    let wider = with(beside(&fallen, 250), json!({"coach_accepts": true}));
    let refused = tour.decide(4, wider.clone()).await.expect_fault(422, "/spacing_m");
    assert!(refused.body["errors"][0]["detail"].as_str().unwrap().contains("clears_return"), "{}", refused.body);
    tour.decide(4, json!({"outcome": "accepted", "clears_return": true})).await.expect(201);
    let cleared = tour.advised(4).await;
    assert_eq!((spacing(&cleared), &cleared["decision"]["needs_confirmation"]), (spacing(&fallen), &json!(false)));
    let lane = tour.lane(4).await;
    assert!(lane["spacing_m"].as_f64().unwrap() <= metres(spacing(&fallen)), "{lane}");
    // Wider takes a word of its own.
    tour.decide(4, wider).await.expect(201);
    assert_eq!(spacing(&tour.advised(4).await), spacing(&fallen) + 250);
}

#[sqlx::test]
async fn a_pushed_word_meets_the_same_walls_and_waits_in_the_phone_for_its_coach(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let admin = &tour.admin;
    let about = |n: usize, body: Value| with(body, json!({"athlete_id": tour.athletes[n]}));
    let advices = [tour.advised(6).await, tour.advised(7).await];
    let advised = [spacing(&advices[0]), spacing(&advices[1])];
    let (soft, hard) = (Uuid::now_v7().to_string(), Uuid::now_v7().to_string());
    let items = [
        create("decision", with(about(6, beside(&advices[0], 500)), json!({"id": soft}))),
        create("decision", with(about(7, instead(0.4, 15.0)), json!({"id": hard, "coach_accepts": true}))),
        create("decision", about(8, json!({"outcome": "accepted"}))),
    ];
    let results = push(admin, &items).await;
    assert_eq!(statuses(&results), [422, 422, 201], "{results:?}");
    let fault = |at: usize| results[at]["problem"]["errors"][0].clone();
    assert_eq!((&fault(0)["code"], &fault(0)["pointer"]), (&json!("spacing_above_advice"), &json!("/spacing_m")));
    assert_eq!(fault(1)["code"], "target_spacing");
    // By its own route it is answered in the same words.
    let routed = tour.decide(6, beside(&advices[0], 500)).await.expect(422);
    assert_eq!(routed.body["errors"][0], fault(0));
    // Nothing was stored: the coach confirms under the same id, or corrects.
    let confirmed = [
        create("decision", with(about(6, beside(&advices[0], 500)), json!({"id": soft, "coach_accepts": true}))),
        create("decision", with(about(7, beside(&advices[1], -250)), json!({"id": hard}))),
    ];
    assert_eq!(statuses(&push(admin, &confirmed).await), [201, 201]);
    assert_eq!(statuses(&push(admin, &confirmed).await), [200, 200], "sent again, it is the same");
    assert_eq!(spacing(&tour.advised(6).await), advised[0] + 500);
    assert_eq!(spacing(&tour.advised(7).await), advised[1] - 250);
}

#[sqlx::test]
async fn a_word_held_for_an_admin_meets_the_walls_when_it_is_filed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    record(&tour).await;
    let viewer = tour.admin.member("A Viewer", "viewer", &[&tour.group]).await;
    let body = with(instead(0.4, 15.0), json!({"athlete_id": tour.athletes[9]}));
    let refused = push(&viewer, &[create("decision", body)]).await;
    assert_eq!(statuses(&refused), [422], "what runs into a wall is broken, whoever sends it");
    let body = with(instead(0.4, metres(spacing(&tour.advised(9).await))), json!({"athlete_id": tour.athletes[9]}));
    assert_eq!(statuses(&push(&viewer, &[create("decision", body)]).await), [202]);
    // Meanwhile the athlete is restricted.
    restrict(&tour.admin, &tour.athletes[9], today(), today() + Duration::days(7)).await;
    let held = tour.admin.get("/held-items").await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    let filed = tour.admin.post(&format!("/held-items/{held}/accept"), json!({})).await;
    assert_eq!(filed.status, 422, "{}", filed.body);
    assert_eq!(filed.body["errors"][0]["code"], "restricted");
    let waiting = tour.admin.get("/held-items").await.expect(200).body;
    assert_eq!(waiting["items"].as_array().unwrap().len(), 1, "it is not lost");
}
