//! What no lane, measurement or policy may be: refused with the field and the remedy, by route and by push alike, but for what
//! a phone recorded, which is filed and left out of the advice.

use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Caller, TestApp};
use crate::sync_push::{create, push, statuses};

pub struct Squad {
    pub admin: Caller,
    pub session: String,
    pub plans: String,
    pub athletes: Vec<String>,
}

/// Three older athletes whose race has an approach of 12 m and six barriers, and three younger ones with 10 m and five.
pub async fn squad(pool: PgPool) -> Squad {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Mine").await;
    let year = i32::try_from(Utc::now().date_naive().format("%Y").to_string().parse::<i64>().unwrap()).unwrap();
    for (name, ages, first, between, run_in, barriers) in
        [("Older", (12, 20), 12.0, 7.0, 13.0, 6), ("Younger", (8, 11), 10.0, 6.0, 16.0, 5)]
    {
        let age = json!({"ruleset": "UKA-2024", "age_group": name, "rule": "end_of_year", "min_age": ages.0, "max_age": ages.1,
            "valid_from": "2026-01-01", "source": "us"});
        admin.post("/age-groups", age).await.expect(201);
        let distance = first + between * f64::from(barriers - 1) + run_in;
        let spec = json!({"ruleset": "UKA-2024", "event_code": format!("{distance}H"), "environment": "indoor", "sex": "X",
            "age_group": name, "race_distance_m": distance, "barriers": barriers, "height_m": 0.6, "to_first_m": first,
            "between_m": between, "run_in_m": run_in, "valid_from": "2026-01-01", "source": "us"});
        admin.post("/competition-specs", spec).await.expect(201);
    }
    let venue = json!({"name": "Harbour Park", "environment": "outdoor", "straight_m": 60, "lanes": 6});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 24});
    admin.post("/equipment", wickets).await.expect(201);
    let mut athletes = Vec::new();
    for (n, (age, stature)) in
        [(14, 1.66), (14, 1.67), (14, 1.65), (10, 1.36), (10, 1.37), (10, 1.35)].into_iter().enumerate()
    {
        let on = Utc::now().date_naive() - Duration::days(30);
        let body = json!({"display_name": format!("Athlete {n}"), "sex": "F", "birth_year": year - age, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": stature, "measured_on": on}]});
        athletes.push(admin.post("/athletes", body).await.expect(201).id());
    }
    let body = json!({"held_on": Utc::now().date_naive(), "state": "planned", "group_ids": [group], "venue_id": venue});
    let session = admin.post("/sessions", body).await.expect(201).id();
    Squad { plans: format!("/sessions/{session}/lane-plans"), session, admin, athletes }
}

impl Squad {
    pub fn wish(&self, change: &Value) -> Value {
        let mut body =
            json!({"lanes": 4, "capacity": 4, "barriers": {"min": 4, "max": 5}, "athlete_ids": self.athletes});
        body.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        body
    }
}

#[sqlx::test]
async fn a_plan_without_an_approach_a_run_out_or_an_end_is_refused_with_the_remedy(pool: PgPool) {
    let squad = squad(pool).await;
    for (change, pointer, code, words) in [
        (json!({"approach_m": 0}), "/approach_m", "out_of_range", "5"),
        (json!({"run_out_m": 3}), "/run_out_m", "unsafe", "stopping"),
        (json!({"barriers": {"min": 4, "max": 12}}), "/barriers/max", "unsafe", "races over 5"),
    ] {
        let refused = squad.admin.post(&squad.plans, squad.wish(&change)).await.expect(422);
        let fault = &refused.body["errors"][0];
        assert_eq!((&fault["pointer"], &fault["code"]), (&json!(pointer), &json!(code)), "{}", refused.body);
        assert!(fault["detail"].as_str().unwrap().contains(words), "{fault}");
    }
    let most = squad.wish(&json!({"barriers": {"min": 2, "max": 8}, "run_out_m": 9}));
    squad.admin.post(&squad.plans, most).await.expect(201);
}

#[sqlx::test]
async fn each_lane_has_the_approach_of_those_who_run_there_on_every_sheet(pool: PgPool) {
    let squad = squad(pool).await;
    let plan = squad.admin.post(&squad.plans, squad.wish(&json!({}))).await.expect(201);
    let lanes = plan.body["lanes"].as_array().unwrap();
    let older = |one: &Value| squad.athletes[..3].iter().any(|id| one["athlete_id"] == **id);
    let sheet = format!("{}/{}/set-out", squad.plans, plan.body["id"].as_str().unwrap());
    let marks = squad.admin.get(&sheet).await.expect(200).body;
    let mut seen = Vec::new();
    for (lane, marks) in lanes.iter().zip(marks["lanes"].as_array().unwrap()) {
        let here = lane["athletes"].as_array().unwrap();
        let grown = here.iter().filter(|one| older(one)).count();
        let approach = if grown * 2 >= here.len() { 12.0 } else { 10.0 };
        assert_eq!(lane["approach_m"], json!(approach), "{lane}");
        let first = marks["marks"].as_array().unwrap().iter().find(|mark| mark["mark"] == "barrier").unwrap();
        assert_eq!(first["at_m"], json!(approach));
        seen.push(approach);
    }
    assert!(seen.contains(&12.0) && seen.contains(&10.0), "{seen:?}");
    let csv =
        squad.admin.call(Method::GET, &squad.admin.path(&sheet), &[("accept", "text/csv")], None).await.expect(200);
    let csv = String::from_utf8(csv.bytes).unwrap();
    assert!(csv.contains("12.00") && csv.contains("10.00"), "{csv}");
    let same = squad.admin.post(&squad.plans, squad.wish(&json!({"approach_m": 11}))).await.expect(201);
    assert!(same.body["lanes"].as_array().unwrap().iter().all(|lane| lane["approach_m"] == 11.0));
    let like = json!({"like": {"lane_plan_id": plan.body["id"], "unless_saves": 0.5}});
    let kept = squad.admin.post(&squad.plans, squad.wish(&like)).await.expect(201);
    assert_eq!(kept.body["changed_lanes"], 0, "the lanes are the same, whoever gave them their approach");
}

#[sqlx::test]
async fn strides_that_a_coach_counts_reach_the_approach_in_advice_plan_and_every_sheet(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let before = admin.post(&squad.plans, squad.wish(&json!({}))).await.expect(201).body;
    for (n, athlete) in squad.athletes.iter().enumerate() {
        let path = format!("/athletes/{athlete}");
        let tag = admin.get(&path).await.header("etag").to_owned();
        admin.patch(&path, &tag, json!({"approach_strides": 3})).await.expect_fault(422, "/approach_strides");
        let changed =
            admin.patch(&path, &tag, json!({"approach_strides": if n < 3 { 8 } else { 6 }})).await.expect(200);
        assert_eq!(changed.body["approach_strides"], if n < 3 { 8 } else { 6 });
    }
    // Eight strides in the proportion of the race, 12 m to 7 m; six of the younger, two long ones less than 10 m to 6 m.
    let tenths = |m: f64| (m * 10.0).round() / 10.0;
    let older = |spacing: f64| tenths(spacing * 12.0 / 7.0).max(5.0);
    let younger = |spacing: f64| tenths(spacing * 10.0 / 6.0 - 2.0 * 0.235 * spacing).max(5.0);
    for (n, athlete) in squad.athletes.iter().enumerate() {
        let advice = admin.get(&format!("/athletes/{athlete}/recommendation")).await.expect(200).body;
        for lane in [&advice["decision"], &advice["decision"]["fitting_lane"]] {
            let spacing = lane["spacing_m"].as_f64().unwrap();
            let wanted = if n < 3 { older(spacing) } else { younger(spacing) };
            let off = (lane["approach_m"].as_f64().unwrap() - wanted).abs();
            assert!(off < 0.101, "{lane} {wanted}");
        }
    }
    let plan = admin.post(&squad.plans, squad.wish(&json!({}))).await.expect(201).body;
    let path = format!("{}/{}/set-out", squad.plans, plan["id"].as_str().unwrap());
    let sheet = admin.get(&path).await.expect(200).body;
    let form = async |accept: &str| {
        let answer = admin.call(Method::GET, &admin.path(&path), &[("accept", accept)], None).await.expect(200);
        String::from_utf8(answer.bytes).unwrap()
    };
    let (csv, svg) = (form("text/csv").await, form("image/svg+xml").await);
    for (lane, marks) in plan["lanes"].as_array().unwrap().iter().zip(sheet["lanes"].as_array().unwrap()) {
        let (spacing, approach) = (lane["spacing_m"].as_f64().unwrap(), lane["approach_m"].as_f64().unwrap());
        let near = |wanted: f64| (approach - wanted).abs() < 0.101;
        assert!(near(older(spacing)) || near(younger(spacing)), "{lane}");
        let first = marks["marks"].as_array().unwrap().iter().find(|mark| mark["mark"] == "barrier").unwrap();
        assert_eq!(first["at_m"], lane["approach_m"]);
        let text = format!("{approach:.2}");
        assert!(csv.contains(&text) && svg.contains(&text), "{text} {csv}");
    }
    // A lane that stays from an earlier plan stays where it is.
    let like = json!({"like": {"lane_plan_id": before["id"], "unless_saves": 300.0}});
    let kept = admin.post(&squad.plans, squad.wish(&like)).await.expect(201).body;
    assert_eq!(kept["changed_lanes"], 0, "{kept}");
    let stood = |plan: &Value, lane: &Value| {
        let same = |one: &&Value| one["lane"] == lane["lane"] && one["spacing_m"] == lane["spacing_m"];
        plan["lanes"].as_array().unwrap().iter().find(same).map(|one| one["approach_m"].clone())
    };
    for lane in kept["lanes"].as_array().unwrap() {
        let was = stood(&before, lane).unwrap();
        let room = was.as_f64().unwrap() <= lane["approach_m"].as_f64().unwrap();
        assert!(lane["approach_m"] == was || !room, "{lane} {was}");
    }
}

#[sqlx::test]
async fn a_lane_recipe_to_be_run_needs_an_approach_by_route_and_push_and_a_drill_does_not(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let recipe = |name: &str, spacing: f64, approach: f64| {
        json!({"name": name, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": spacing, "approach_m": approach,
            "barriers": 5})
    };
    let refused = admin.post("/barrier-configurations", recipe("A", 6.0, 0.0)).await.expect_fault(422, "/approach_m");
    assert_eq!(refused.body["errors"][0]["code"], "unsafe");
    let pushed = push(&admin, &[create("barrier_configuration", recipe("B", 6.0, 4.9))]).await;
    assert_eq!(statuses(&pushed), [422]);
    admin.post("/barrier-configurations", recipe("Walkover", 1.0, 0.0)).await.expect(201);
    admin.post("/barrier-configurations", recipe("Run", 6.0, 5.0)).await.expect(201);
}

#[sqlx::test]
async fn a_policy_that_switches_a_safeguard_off_is_refused_with_the_reason(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let tag = admin.get("").await.header("etag").to_owned();
    for (policy, pointer) in [
        (json!({"min_intervals": 1}), "/policy/min_intervals"),
        (json!({"min_hold_mean": 0.6, "min_hold_p05": 0.3}), "/policy/min_hold_mean"),
        (json!({"min_hold_p05": 0.1}), "/policy/min_hold_p05"),
        (json!({"max_hit_share": 0.3, "lower_height_hit_share": 0.4}), "/policy/max_hit_share"),
        (json!({"lower_height_hit_share": 1.0}), "/policy/lower_height_hit_share"),
        (json!({"step_in_hold_mean": 0.0}), "/policy/step_in_hold_mean"),
        (json!({"first_lane_hold": 0.2}), "/policy/first_lane_hold"),
        (json!({"recompute_after_days": 90}), "/policy/recompute_after_days"),
        (json!({"step_in_held_share": 0.1}), "/policy/step_in_held_share"),
        (json!({"step_back_intervals": 100}), "/policy/step_back_intervals"),
        (json!({"start": {"stature_novice": 6.0}}), "/policy/start/stature_novice"),
        (json!({"start": {"sprint_50m_sd_m": 0.1}}), "/policy/start/sprint_50m_sd_m"),
    ] {
        let refused = admin.patch("", &tag, json!({"policy": policy})).await.expect_fault(422, pointer);
        let fault = &refused.body["errors"][0];
        assert!(fault["code"] == "unsafe" && fault["detail"].as_str().unwrap().contains(": "), "{fault}");
    }
    let both = admin.patch("", &tag, json!({"policy": {"min_hold_after_step": 0.5, "step_in_hold_mean": 0.2}})).await;
    assert_eq!(both.expect(422).faults(), ["/policy/min_hold_after_step", "/policy/step_in_hold_mean"]);
}

#[sqlx::test]
async fn where_a_club_lets_estimates_start_counts_alike_in_advice_plan_cards_progress_and_board(pool: PgPool) {
    let squad = squad(pool).await;
    let (admin, child) = (&squad.admin, &squad.athletes[0]);
    let group = admin.get(&format!("/athletes/{child}")).await.body["group_ids"][0].as_str().unwrap().to_owned();
    // Everywhere the limit, or the lane that follows from it.
    let told = async || {
        let advice = admin.get(&format!("/athletes/{child}/recommendation")).await.expect(200).body;
        let lane = advice["decision"]["spacing_m"].clone();
        let of = |list: &Value| list.as_array().unwrap().iter().find(|one| one["athlete_id"] == **child).cloned();
        let board = admin.get(&format!("/groups/{group}/board")).await.expect(200).body;
        let row = of(&board["athletes"]).unwrap();
        let progress = admin.get(&format!("/athletes/{child}/progression")).await.expect(200).body;
        let plan = admin.post(&squad.plans, squad.wish(&json!({}))).await.expect(201).body;
        let place = plan["lanes"].as_array().unwrap().iter().find_map(|one| of(&one["athletes"])).unwrap();
        let cards = admin.get(&format!("/sessions/{}/cards", squad.session)).await.expect(200).body;
        let card = of(&cards["cards"]).unwrap();
        let list = admin.get(&format!("/groups/{group}/recommendations")).await.expect(200).body;
        let short = of(&list["athletes"]).unwrap();
        let lanes =
            [&row["proposed"]["spacing_m"], &place["advised"]["spacing_m"], &card["next_step"]["to"]["spacing_m"]];
        assert!(lanes.iter().all(|one| **one == lane), "{lane}: {lanes:?}");
        assert_eq!(progress["decision"], advice["decision"]["kind"], "{progress}");
        let limit = advice["estimate"]["comfortable_limit_m"]["mean"].as_f64().unwrap();
        for other in [&row["now"]["comfortable_limit_m"], &short["comfortable_limit_m"]] {
            assert!((other.as_f64().unwrap() - limit).abs() < 2e-3, "{limit}: {other}");
        }
        limit
    };
    let usual = told().await;
    let tag = admin.get("").await.header("etag").to_owned();
    let start = json!({"policy": {"start": {"stature_novice": 4.2}}});
    let changed = admin.patch("", &tag, start.clone()).await.expect(200);
    assert_eq!(changed.body["policy"], start["policy"]);
    let own = told().await;
    assert!((own - usual * 4.2 / 4.65).abs() < 0.03, "{usual} {own}");
    let back = json!({"policy": {"start": {"stature_novice": 4.65}}});
    admin.patch("", changed.header("etag"), back).await.expect(200);
    assert!((told().await - usual).abs() < 1e-9);
}

#[sqlx::test]
async fn a_measurement_that_cannot_be_is_refused_by_route_filed_by_push_and_left_out_of_the_advice(pool: PgPool) {
    let squad = squad(pool).await;
    let (admin, child) = (&squad.admin, &squad.athletes[3]);
    let today = Utc::now().date_naive();
    let path = format!("/athletes/{child}/measurements");
    let fast = |value: f64| json!({"kind": "sprint_30m_s", "value": value, "measured_on": today});
    admin.post(&path, fast(3.0)).await.expect_fault(422, "/value");
    let refused = admin.post(&path, fast(3.7)).await.expect_fault(422, "/value");
    assert_eq!(refused.body["errors"][0]["code"], "implausible");
    let tall = json!({"kind": "stature_m", "value": 2.2, "measured_on": today});
    admin.post(&path, tall.clone()).await.expect_fault(422, "/value");
    let groups = admin.get(&format!("/athletes/{child}")).await.body["group_ids"].clone();
    let four = json!({"display_name": "Four", "sex": "M", "birth_date": today - Duration::days(4 * 365 + 30),
        "group_ids": groups, "experience": "novice", "measurements": [fast(4.9)]});
    admin.post("/athletes", four).await.expect_fault(422, "/measurements/0/value");
    let csv = "display_name,sex,birth_year,groups,experience,sprint_30m_s\nFive,F,2019,Mine,novice,3.7\n".to_owned();
    let rows = admin.bytes(Method::POST, "/athletes/import?dry_run=true", "text/csv", csv.into()).await;
    assert!(rows.body.to_string().contains("implausible"), "{}", rows.body);
    let advice = format!("/athletes/{child}/recommendation");
    let before = admin.get(&advice).await.expect(200).body;
    let mut sent = fast(3.7);
    sent["athlete_id"] = json!(child);
    let pushed = push(admin, &[create("measurement", sent)]).await;
    assert_eq!(statuses(&pushed), [201], "what the track measured is not lost");
    assert_eq!(admin.get(&path).await.expect(200).body["items"].as_array().unwrap().len(), 2);
    let after = admin.get(&advice).await.expect(200).body;
    assert_eq!(before["estimate"]["prior_basis"], after["estimate"]["prior_basis"]);
    assert_eq!(before["estimate"]["comfortable_limit_m"], after["estimate"]["comfortable_limit_m"]);
    admin.post(&path, fast(5.4)).await.expect(201);
}

#[sqlx::test]
async fn a_rare_measurement_is_asked_about_once_filed_from_a_phone_and_counts_when_confirmed(pool: PgPool) {
    let squad = squad(pool).await;
    let (admin, child) = (&squad.admin, &squad.athletes[3]);
    let today = Utc::now().date_naive();
    let path = format!("/athletes/{child}/measurements");
    let advice = format!("/athletes/{child}/recommendation");
    let fast = json!({"kind": "sprint_30m_s", "value": 4.7, "measured_on": today});
    let with = |base: &Value, change: Value| {
        let mut body = base.clone();
        body.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        body
    };
    let usual = json!({"kind": "sprint_30m_s", "value": 5.6, "measured_on": today - Duration::days(20)});
    let usual = admin.post(&path, usual).await.expect(201);
    assert!(usual.body.get("implausible").is_none() && usual.body.get("confirmed").is_none(), "{}", usual.body);
    let before = admin.get(&advice).await.expect(200).body["estimate"].clone();

    let refused = admin.post(&path, fast.clone()).await.expect_fault(422, "/value");
    let fault = &refused.body["errors"][0];
    assert!(fault["code"] == "confirm" && fault["detail"].as_str().unwrap().contains("`confirmed`"), "{fault}");
    let impossible = with(&fast, json!({"value": 3.7, "confirmed": true}));
    let refused = admin.post(&path, impossible.clone()).await.expect_fault(422, "/value");
    assert_eq!(refused.body["errors"][0]["code"], "implausible", "nobody confirms what cannot be");

    for (sent, id) in [&fast, &impossible].into_iter().zip(["a phone's", "a slip"]) {
        let pushed = push(admin, &[create("measurement", with(sent, json!({"athlete_id": child})))]).await;
        assert_eq!(statuses(&pushed), [201], "{id}");
    }
    let list = admin.get(&path).await.expect(200).body["items"].clone();
    let filed: Vec<&Value> = list.as_array().unwrap().iter().filter(|one| one["implausible"] == true).collect();
    assert_eq!(filed.len(), 2, "{list}");
    let feed = admin.get("/changes?types=measurement").await.expect(200).body;
    let seen = feed["changes"].as_array().unwrap().iter().filter(|one| one["data"]["implausible"] == true).count();
    assert_eq!(seen, 2, "{feed}");
    let asked = admin.get(&advice).await.expect(200).body["estimate"].clone();
    assert_eq!(asked, before, "advice rests on the time before");

    let right = admin.post(&path, with(&fast, json!({"confirmed": true}))).await.expect(201);
    assert!(right.body["confirmed"] == true && right.body.get("implausible").is_none(), "{}", right.body);
    let pushed = with(&fast, json!({"athlete_id": child, "confirmed": true, "value": 4.75}));
    assert_eq!(statuses(&push(admin, &[create("measurement", pushed)]).await), [201]);
    let list = admin.get(&path).await.expect(200).body["items"].clone();
    assert_eq!(list.as_array().unwrap().iter().filter(|one| one["implausible"] == true).count(), 2, "{list}");
    let after = admin.get(&advice).await.expect(200).body["estimate"].clone();
    assert_ne!(after["comfortable_limit_m"], before["comfortable_limit_m"], "a faster child takes longer strides");
}

#[sqlx::test]
async fn a_row_or_a_new_athlete_with_a_rare_measurement_is_refused_until_it_is_confirmed(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Mine").await;
    let born = Utc::now().date_naive() - Duration::days(10 * 365 + 30);
    let csv = format!("display_name,sex,birth_date,groups,experience,stature_m\nTall,F,{born},Mine,novice,1.65\n");
    let import = |query: &'static str| {
        let body = csv.clone().into();
        let admin = &admin;
        async move { admin.bytes(Method::POST, &format!("/athletes/import{query}"), "text/csv", body).await }
    };
    let refused = import("").await.expect(422);
    let fault = &refused.body["errors"][0];
    assert_eq!(
        (&fault["pointer"], &fault["code"]),
        (&json!("/rows/2/stature_m"), &json!("confirm")),
        "{}",
        refused.body
    );
    import("?confirmed=true").await.expect(201);
    let measured = |more: &Value| {
        let mut one = json!({"kind": "stature_m", "value": 1.65, "measured_on": Utc::now().date_naive()});
        one.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        json!({"display_name": "Other", "sex": "F", "birth_date": born, "group_ids": [group], "experience": "novice",
            "measurements": [one]})
    };
    admin.post("/athletes", measured(&json!({}))).await.expect_fault(422, "/measurements/0/value");
    let made = admin.post("/athletes", measured(&json!({"confirmed": true}))).await.expect(201);
    assert_eq!(made.body["measurements"][0]["confirmed"], true);
}
