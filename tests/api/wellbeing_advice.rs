//! What reports, restrictions, clearances and a wet surface do to advice, plans and runs.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::TestApp;
use crate::sync_pull::Phone;
use crate::sync_push::{create, item, push, statuses};
use crate::tour::{Tour, begin, planned, record as train, run};
use crate::wellbeing::{record, restrict, stored};

async fn advice(tour: &Tour, athlete: &str, on: NaiveDate) -> Value {
    tour.admin.get(&format!("/athletes/{athlete}/recommendation?on={on}")).await.expect(200).body
}

fn codes(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect()
}

async fn runs(tour: &Tour, session: usize, athlete: &str, kind: &str, height_m: f64, spacing_m: f64) -> Vec<Value> {
    let one = || {
        let mut run = run(&tour.sessions[session], athlete, spacing_m, 4, 0);
        run["barrier_kind"] = json!(kind);
        run["height_m"] = json!(height_m);
        run
    };
    let runs = vec![one(), one(), one()];
    tour.admin.post("/runs", json!({"runs": runs})).await.expect(200);
    runs
}

/// A report, a clearance, a coach's confirmation and two sessions, day by day.
#[sqlx::test]
async fn a_report_rests_the_athlete_and_the_way_back_is_lower_closer_and_confirmed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    let today = Utc::now().date_naive();
    let ago = |days: i64| today - Duration::days(days);
    let athlete = &tour.athletes[3];
    let rating = json!({"id": uuid::Uuid::now_v7(), "athlete_id": athlete, "assessed_at": format!("{}T09:00:00Z", ago(13)),
        "ratings": {"lead_leg": 2, "trail_leg": 2, "walkover": 2}});
    tour.admin.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
    for session in [0, 1] {
        runs(&tour, session, athlete, "low_barrier", 0.5, 5.75).await;
    }
    let before = advice(&tour, athlete, ago(9)).await;
    assert!(before["missing"].as_array().unwrap().is_empty(), "{before}");

    let pain = stored(&tour.admin, record(athlete, "pain", ago(8), &json!({"reported_by": "guardian"}))).await;
    let hurt = advice(&tour, athlete, ago(7)).await;
    assert_eq!(hurt["decision"]["kind"], "rest_and_refer");
    assert_eq!(codes(&hurt["reasons"]), ["pain_reported", "until_cleared"]);
    assert_eq!(hurt["reasons"][0]["params"], json!({"report": "pain", "reported_on": ago(8)}));
    assert_eq!(hurt["permitted"]["closed"]["code"], "pain_reported");
    assert_eq!(hurt["permitted"]["barriers"], json!([]));
    let otherwise = json!({"on": ago(7), "outcome": "overridden", "reason": "Says it is fine", "barrier_kind": "wicket",
        "height_m": 0.3, "spacing_m": 5.0});
    let decisions = format!("/athletes/{athlete}/recommendation/decisions");
    let refused = tour.admin.post(&decisions, otherwise).await.expect_fault(422, "/outcome");
    assert_eq!(refused.body["errors"][0]["code"], "pain_reported");
    // Its confirmation ends nothing: only a clearance does.
    let confirm = |on: NaiveDate| json!({"on": on, "outcome": "accepted", "clears_return": true});
    tour.admin.post(&decisions, confirm(ago(7))).await.expect(201);
    assert_eq!(advice(&tour, athlete, ago(7)).await["decision"]["kind"], "rest_and_refer");

    stored(&tour.admin, record(athlete, "clearance", ago(6), &json!({"clears": pain}))).await;
    assert_eq!(advice(&tour, athlete, ago(7)).await["decision"]["kind"], "rest_and_refer", "as on that day");
    let back = advice(&tour, athlete, ago(6)).await;
    let decision = &back["decision"];
    assert_eq!((&decision["kind"], &decision["needs_confirmation"]), (&json!("lower_height"), &json!(true)));
    assert_eq!((&decision["barrier_kind"], &decision["height_m"]), (&json!("low_barrier"), &json!(0.4)));
    assert!(decision["spacing_m"].as_f64().unwrap() <= 5.5, "at least one step closer: {decision}");
    let returning = &back["reasons"][0];
    assert_eq!((&returning["code"], &returning["params"]["spacing_m"]), (&json!("returning"), &json!(5.75)));
    assert_eq!(returning["params"]["height_m"], 0.5);
    assert!(codes(&back["cautions"]).contains(&"after_report"));
    let missing = codes(&back["missing"]);
    assert!(missing.contains(&"sessions_back") && missing.contains(&"coach_confirmation"), "{missing:?}");

    tour.admin.post(&decisions, confirm(ago(6))).await.expect(201);
    let confirmed = advice(&tour, athlete, ago(5)).await;
    assert_eq!(confirmed["decision"]["needs_confirmation"], false);
    assert_eq!(confirmed["decision"]["spacing_m"], decision["spacing_m"]);
    let spacing = decision["spacing_m"].as_f64().unwrap();
    for (session, on, more) in [(2, ago(4), Some(1)), (3, ago(1), None)] {
        runs(&tour, session, athlete, "low_barrier", 0.4, spacing).await;
        let after = advice(&tour, athlete, on).await;
        let sessions = after["missing"].as_array().unwrap().iter().find(|one| one["code"] == "sessions_back");
        assert_eq!(sessions.map(|one| one["params"]["sessions_more"].clone()), more.map(|n: u32| json!(n)), "{after}");
        // The advice that was accepted with the return stands for its week; what the rules say beside it steps up.
        let rules = after["decision"]["word"]["rules_kind"].as_str().or(after["decision"]["kind"].as_str());
        let steps = rules.unwrap().starts_with("step_up");
        assert_eq!(steps, more.is_none(), "{after}");
    }
}

#[sqlx::test]
async fn a_restriction_that_ends_by_itself_still_waits_for_a_coach(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    train(&tour).await;
    let today = Utc::now().date_naive();
    let athlete = &tour.athletes[3];
    restrict(&tour.admin, athlete, today, today + Duration::days(6)).await;
    let resting = advice(&tour, athlete, today + Duration::days(6)).await;
    assert_eq!(
        (&resting["decision"]["kind"], &resting["permitted"]["closed"]["code"]),
        (&json!("rest_and_refer"), &json!("restricted"))
    );
    let back = advice(&tour, athlete, today + Duration::days(7)).await;
    assert_eq!((&back["decision"]["height_m"], &back["decision"]["needs_confirmation"]), (&json!(0.3), &json!(true)));
    let group = tour.admin.get(&format!("/groups/{}/recommendations?on={today}", tour.group)).await.expect(200).body;
    let rest = group["counts"].as_array().unwrap().iter().find(|one| one["kind"] == "rest_and_refer").unwrap();
    assert_eq!(rest["athletes"], 1);
    // The whole plan leaves them out, and a lane of their own is none.
    let session = json!({"held_on": today, "state": "planned", "group_ids": [tour.group], "venue_id": tour.venue});
    let session = tour.admin.post("/sessions", session).await.expect(201).id();
    let asked = json!({"lanes": 4, "capacity": 8, "barriers": {"min": 4, "max": 4}, "athlete_ids": tour.athletes});
    let plan = planned(&tour.admin, &format!("/sessions/{session}/lane-plans"), asked).await.body;
    assert_eq!(plan["resting"][0]["athlete_id"], json!(athlete));
    assert!(!plan["lanes"].to_string().contains(athlete.as_str()));
}

#[sqlx::test]
async fn a_run_against_a_restriction_is_kept_and_flagged_by_route_and_by_push(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    let athlete = &tour.athletes[3];
    let from = tour.sessions[3].0;
    restrict(&tour.admin, athlete, from, from + Duration::days(9)).await;
    let free = runs(&tour, 2, athlete, "wicket", 0.3, 5.5).await;
    let against = runs(&tour, 3, athlete, "wicket", 0.3, 5.5).await;
    let pushed = create("run", run(&tour.sessions[3], athlete, 5.5, 4, 0));
    assert_eq!(statuses(&push(&tour.admin, std::slice::from_ref(&pushed)).await), [201]);
    assert_eq!(statuses(&push(&tour.admin, std::slice::from_ref(&pushed)).await), [200], "a repeat is the same run");
    let again = tour.admin.post("/runs", json!({"runs": against})).await.expect(200).body;
    assert!(again["results"].as_array().unwrap().iter().all(|one| one["status"] == "unchanged"), "{again}");
    let mut phone = Phone::default();
    phone.pull(&tour.admin, 2_000).await;
    for (id, flag) in [(&free[0]["id"], None), (&against[0]["id"], Some(true)), (&pushed["id"], Some(true))] {
        let id = id.as_str().unwrap();
        let read = tour.admin.get(&format!("/runs/{id}")).await.expect(200).body;
        assert_eq!(read.get("while_restricted"), flag.map(Value::from).as_ref(), "{read}");
        let copied = &phone.copy[&("run".to_owned(), id.to_owned())];
        assert_eq!(copied.get("while_restricted"), flag.map(Value::from).as_ref(), "{copied}");
    }
}

#[sqlx::test]
async fn a_wet_session_keeps_to_soft_barriers_one_step_closer_and_can_be_said_at_the_trackside(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    train(&tour).await;
    let stock = json!({"barrier_kind": "hurdle", "heights_m": [0.4, 0.6], "count": 20});
    tour.admin.post("/equipment", stock).await.expect(201);
    let today = Utc::now().date_naive();
    let athlete = &tour.athletes[3];
    let dry = advice(&tour, athlete, today).await;
    assert!(dry["decision"]["spacing_m"].as_f64().unwrap() >= 5.75, "{dry}");
    let session = json!({"held_on": today, "state": "planned", "group_ids": [tour.group], "venue_id": tour.venue});
    let session = tour.admin.post("/sessions", session).await.expect(201);
    let path = format!("/sessions/{}", session.id());
    tour.admin.patch(&path, session.header("etag"), json!({"surface": "icy"})).await.expect_fault(422, "/surface");
    let wet = tour.admin.patch(&path, session.header("etag"), json!({"surface": "wet"})).await.expect(200);
    assert_eq!(wet.body["surface"], "wet");
    let soft = advice(&tour, athlete, today).await;
    assert_eq!((&soft["decision"]["kind"], &soft["decision"]["spacing_m"]), (&json!("step_in"), &json!(5.5)));
    assert!(codes(&soft["reasons"]).contains(&"surface") && codes(&soft["cautions"]).contains(&"wet_surface"));
    assert_eq!(codes(&soft["missing"]), ["dry_surface"]);
    assert!(!soft["permitted"]["barriers"].to_string().contains("hurdle"));
    let other_day = advice(&tour, athlete, today + Duration::days(1)).await;
    assert!(!codes(&other_day["cautions"]).contains(&"wet_surface"), "of its own day alone");
    let asked = json!({"lanes": 4, "capacity": 8, "barriers": {"min": 4, "max": 4}, "athlete_ids": tour.athletes});
    let plan = planned(&tour.admin, &format!("{path}/lane-plans"), asked).await.body;
    assert!(codes(&plan["cautions"]).contains(&"wet_surface"));
    for lane in plan["lanes"].as_array().unwrap() {
        assert_ne!(lane["barrier_kind"], "hurdle");
        for placed in lane["athletes"].as_array().unwrap() {
            let advised = &placed["advised"]["spacing_m"];
            assert!(lane["spacing_m"].as_f64() <= advised.as_f64(), "{placed}");
            assert!(codes(&placed["cautions"]).contains(&"wet_surface"));
        }
    }
    // By phone: uneven, and then dry again.
    let rev = wet.body["rev"].clone();
    let id = session.id();
    let edit = |rev: &Value, data: Value| item("PATCH", "session", &id, json!({"if_match": rev, "data": data}));
    let done = push(&tour.admin, &[edit(&rev, json!({"surface": "uneven"}))]).await.remove(0);
    assert_eq!(done["status"], 200, "{done}");
    assert!(codes(&advice(&tour, athlete, today).await["cautions"]).contains(&"uneven_surface"));
    let rev = done["rev"].clone();
    let done = push(&tour.admin, &[edit(&rev, json!({"surface": null}))]).await.remove(0);
    assert_eq!(done["status"], 200, "{done}");
    assert_eq!(advice(&tour, athlete, today).await["decision"], dry["decision"]);
}

/// The groups of athlete and session must meet in one that the asker sees.
#[sqlx::test]
async fn the_surface_of_a_session_that_is_hidden_is_not_told(pool: PgPool) {
    let squad = crate::sync_pull::squad(pool).await;
    let today = Utc::now().date_naive();
    let read = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await;
    let both = json!({"group_ids": [squad.mine, squad.other]});
    squad.admin.patch(&format!("/athletes/{}", squad.athlete), read.header("etag"), both).await.expect(200);
    let wet = json!({"held_on": today, "state": "planned", "group_ids": [squad.other], "surface": "wet"});
    squad.admin.post("/sessions", wet).await.expect(201);
    let path = format!("/athletes/{}/recommendation", squad.athlete);
    let told = async |caller: &crate::support::Caller| {
        codes(&caller.get(&path).await.expect(200).body["cautions"]).contains(&"wet_surface")
    };
    assert!(told(&squad.admin).await && !told(&squad.coach).await);
}

#[sqlx::test]
async fn nobody_with_an_open_report_is_entered_in_a_race_test_or_drawn(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let tour = begin(&app).await;
    let (day, session) = tour.sessions[3].clone();
    let [well, ill, hurt] = [&tour.athletes[0], &tour.athletes[1], &tour.athletes[2]];
    let race = json!({"session_id": session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
        "approach_m": 11, "spacing_m": 6.5}});
    let race = tour.admin.post("/race-tests", race).await.expect(201);
    let entries = format!("/race-tests/{}/entries", race.id());
    let both = json!({"athlete_ids": [well, ill], "coach_accepts": [well, ill]});
    let entered = tour.admin.put(&entries, race.header("etag"), both).await.expect(200);
    stored(&tour.admin, record(ill, "illness", day - Duration::days(4), &json!({}))).await;
    stored(&tour.admin, record(hurt, "injury", day - Duration::days(4), &json!({}))).await;
    // What was read before the report is stale: whoever draws is told first.
    let all = json!({"athlete_ids": [well, ill], "coach_accepts": [well, ill]});
    let stale = tour.admin.put(&entries, entered.header("etag"), all).await.expect(412);
    assert_eq!(stale.body["current"]["entries"][1]["readiness"]["overtaken"], true, "{}", stale.body);
    let entered = tour.admin.get(&format!("/race-tests/{}", race.id())).await.expect(200);
    // No coach's word opens a report.
    let all = json!({"athlete_ids": [well, ill, hurt], "coach_accepts": [well, ill, hurt]});
    let refused = tour.admin.put(&entries, entered.header("etag"), all).await.expect_fault(422, "/athlete_ids/2");
    assert_eq!(refused.body["errors"][0]["code"], "pain_reported");
    let heats = tour.admin.path(&format!("/race-tests/{}/heats", race.id()));
    let headers = [("if-match", entered.header("etag"))];
    let drawn = tour.admin.call(reqwest::Method::POST, &heats, &headers, Some(json!({"lanes": 4}))).await.expect(200);
    assert_eq!(drawn.body["not_placed"][0]["athlete_id"], json!(ill));
}
