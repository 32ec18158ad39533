//! What comes after a plan or a draw and is neither a report nor a decision: another status, a fall that is told late, another surface;
//! and who no longer rests.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::bounds::{Squad, squad};
use crate::pushed_plans::{place, placed, sent};
use crate::race_tests;
use crate::support::Caller;
use crate::sync_pull::Phone;
use crate::sync_push::{create, item, push, statuses};
use crate::wellbeing::{record, stored};

/// What a sheet says of somebody whom something reached.
const SINCE: &str = "what came since changes this: plan or draw anew";

async fn change(caller: &Caller, path: &str, change: Value) {
    let tag = caller.get(path).await.expect(200).header("etag").to_owned();
    caller.patch(path, &tag, change).await.expect(200);
}

async fn set_status(caller: &Caller, athlete: &str, status: &str) {
    change(caller, &format!("/athletes/{athlete}"), json!({"status": status})).await;
}

/// What a phone has that pulled before, beside one that begins now.
async fn alike(caller: &Caller, phone: &mut Phone) {
    phone.pull(caller, 500).await;
    let mut fresh = Phone::default();
    fresh.pull(caller, 500).await;
    assert_eq!(phone.copy, fresh.copy, "what was sent anew is what is there");
}

fn marked(plan: &Value) -> Vec<&str> {
    let those = placed(plan).into_iter().filter(|one| one["overtaken"] == true);
    those.map(|one| one["athlete_id"].as_str().unwrap()).collect()
}

fn resting<'a>(plan: &'a Value, athlete: &str) -> &'a Value {
    plan["resting"].as_array().unwrap().iter().find(|one| one["athlete_id"] == athlete).unwrap()
}

impl Squad {
    async fn page(&self, plan: &Value) -> String {
        let path = format!("{}/{}/set-out.html", self.plans, plan["id"].as_str().unwrap());
        String::from_utf8(self.admin.get(&path).await.expect(200).bytes).unwrap()
    }

    async fn move_to(&self, day: NaiveDate) {
        change(&self.admin, &format!("/sessions/{}", self.session), json!({"held_on": day})).await;
    }

    /// A session of the same groups on another day.
    async fn earlier(&self, day: NaiveDate) -> String {
        let groups = self.admin.get(&format!("/sessions/{}", self.session)).await.expect(200).body["group_ids"].clone();
        let body = json!({"held_on": day, "state": "held", "group_ids": groups});
        self.admin.post("/sessions", body).await.expect(201).id()
    }
}

#[sqlx::test]
async fn who_rests_or_leaves_after_a_plan_is_marked_in_every_form_and_who_comes_back_is_not(pool: PgPool) {
    let squad = squad(pool).await;
    let (admin, gone) = (&squad.admin, squad.athletes[1].as_str());
    let plan = squad.planned().await;
    let mut phone = Phone::default();
    phone.pull(admin, 500).await;
    let mut last = plan.clone();
    for status in ["resting", "left"] {
        set_status(admin, gone, status).await;
        let seen = squad.plan(&plan["id"]).await;
        assert_eq!(marked(&seen), [gone], "{seen}");
        assert_eq!(place(&seen, gone)["not_permitted"]["code"], status);
        assert!(seen["rev"].as_i64() > last["rev"].as_i64(), "phones are sent it anew");
        let [.., sheet, csv, svg] = squad.everywhere(&plan["id"]).await;
        assert!(sheet.contains("\"overtaken\":true") && sheet.contains(&format!("\"code\":\"{status}\"")), "{sheet}");
        assert!(csv.contains("does not run: ") && svg.contains("does not run"), "{csv}");
        assert!(squad.page(&plan).await.contains("Does not run: "));
        let list = admin.get(&squad.plans).await.expect(200).body;
        assert_eq!(place(&list["items"][0], gone)["overtaken"], true);
        last = seen;
    }
    alike(admin, &mut phone).await;
    // An edit that was made before the phone knew is made on another version.
    let edit = json!({"if_match": plan["rev"], "data": {"run_out_m": 12.0}});
    let refused = push(admin, &[item("PATCH", "lane_plan", plan["id"].as_str().unwrap(), edit)]).await;
    assert_eq!(statuses(&refused), [412], "{refused:?}");
    assert_eq!(place(&refused[0]["current"]["data"], gone)["overtaken"], true);
    // A status says nothing of the days before it was set.
    let today = Utc::now().date_naive();
    squad.move_to(today - Duration::days(1)).await;
    assert!(marked(&squad.plan(&plan["id"]).await).is_empty());
    squad.move_to(today + Duration::days(1)).await;
    assert_eq!(marked(&squad.plan(&plan["id"]).await), [gone]);
    // Who trains again stands where the plan has them; nothing else came.
    set_status(admin, gone, "active").await;
    assert!(marked(&squad.plan(&plan["id"]).await).is_empty());
    alike(admin, &mut phone).await;
}

#[sqlx::test]
async fn who_rests_in_a_plan_and_may_run_by_now_is_marked(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let [paused, hurt, well] = [0, 1, 2].map(|n| squad.athletes[n].as_str());
    let today = Utc::now().date_naive();
    set_status(admin, paused, "resting").await;
    let pain = stored(admin, record(hurt, "pain", today - Duration::days(2), &json!({}))).await;
    let plan = squad.planned().await;
    for (athlete, code) in [(paused, "resting"), (hurt, "pain_reported")] {
        let one = resting(&plan, athlete);
        assert_eq!((&one["not_permitted"]["code"], one.get("overtaken")), (&json!(code), None), "{one}");
    }
    let before = squad.page(&plan).await;
    assert!(!before.to_lowercase().contains(SINCE));
    let mut phone = Phone::default();
    phone.pull(admin, 500).await;

    stored(admin, record(hurt, "clearance", today, &json!({"clears": pain}))).await;
    set_status(admin, paused, "active").await;
    let seen = squad.plan(&plan["id"]).await;
    for athlete in [paused, hurt] {
        let one = resting(&seen, athlete);
        assert_eq!((&one["overtaken"], one.get("not_permitted")), (&json!(true), None), "{one}");
    }
    assert!(seen["rev"].as_i64() > plan["rev"].as_i64(), "phones are sent it anew");
    let [route, feed, ..] = squad.everywhere(&plan["id"]).await;
    assert!(route.contains("\"overtaken\":true") && feed.contains("\"overtaken\":true"));
    assert_eq!(squad.page(&plan).await.to_lowercase().matches(SINCE).count(), 2, "once for each");
    alike(admin, &mut phone).await;

    // A coach lets somebody rest who may run: nothing came since, whatever the phone says of it.
    let mut by_hand = sent(&seen);
    for lane in by_hand["lanes"].as_array_mut().unwrap() {
        lane["athletes"].as_array_mut().unwrap().retain(|one| one["athlete_id"] != well);
    }
    let wall = json!({"code": "left", "params": {}, "text": "Made up."});
    let more = json!({"athlete_id": well, "display_name": "?", "explanation": "Tired.", "overtaken": true, "not_permitted": wall});
    by_hand["resting"].as_array_mut().unwrap().push(more);
    assert_eq!(statuses(&push(admin, &[create("lane_plan", by_hand.clone())]).await), [201]);
    let kept = squad.plan(&by_hand["id"]).await;
    let one = resting(&kept, well);
    assert_eq!((one.get("overtaken"), one.get("not_permitted")), (None, None), "{one}");
    // A plan made anew has everybody in a lane.
    let anew = squad.planned().await;
    assert!(anew["resting"].as_array().unwrap().is_empty() && marked(&anew).is_empty(), "{anew}");
}

#[sqlx::test]
async fn a_fall_marks_a_plan_however_late_it_is_told_until_a_coach_cleared_it_for_the_day(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let [ran, raced] = [0, 3].map(|n| squad.athletes[n].as_str());
    let long_ago = Utc::now().date_naive() - Duration::days(20);
    let session = squad.earlier(long_ago).await;
    let dimensions = json!({"race_distance_m": 50, "barriers": 5, "height_m": 0.5, "approach_m": 11, "spacing_m": 6.5,
        "discounted": true});
    let race = admin.post("/race-tests", json!({"session_id": session, "dimensions": dimensions})).await.expect(201);
    let plan = squad.planned().await;
    let mut phone = Phone::default();
    phone.pull(admin, 500).await;

    let run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": ran,
        "run_at": format!("{long_ago}T12:00:00Z"), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5,
        "barriers": 4, "hits": 1, "intervals": {"held": 3}, "fell": true});
    let filed = admin.post("/runs", json!({"runs": [run]})).await.expect(200).body;
    assert_eq!(filed["results"][0]["status"], "created", "{filed}");
    let result = json!({"id": Uuid::now_v7(), "athlete_id": raced, "status": "did_not_finish", "fell": true});
    let results = format!("/race-tests/{}/results", race.id());
    let filed = admin.post(&results, json!({"results": [result]})).await.expect(200).body;
    assert_eq!(filed["results"][0]["status"], "created", "{filed}");

    let seen = squad.plan(&plan["id"]).await;
    assert_eq!(marked(&seen).len(), 2, "{seen}");
    let advice = |athlete: &str| format!("/athletes/{athlete}/recommendation");
    for athlete in [ran, raced] {
        let one = place(&seen, athlete);
        assert_eq!((&one["overtaken"], one.get("not_permitted")), (&json!(true), None), "{one}");
        let advice = admin.get(&advice(athlete)).await.expect(200).body;
        assert_eq!(advice["decision"]["needs_confirmation"], true, "the advice counts it as well: {advice}");
    }
    let [.., csv, _] = squad.everywhere(&plan["id"]).await;
    assert!(csv.matches(SINCE).count() >= 2, "{csv}");
    alike(admin, &mut phone).await;

    // A session that was on another day takes its falls along.
    let days_ago = |days: i64| long_ago + Duration::days(20 - days);
    squad.move_to(days_ago(5)).await;
    for (day, fallen) in [(days_ago(1), 0), (long_ago, 2)] {
        change(admin, &format!("/sessions/{session}"), json!({"held_on": day})).await;
        assert_eq!(marked(&squad.plan(&plan["id"]).await).len(), fallen, "{day}");
        alike(admin, &mut phone).await;
    }
    squad.move_to(days_ago(0)).await;

    // Cleared, the first one comes down from the lane, and the other may run what the plan was made with.
    for athlete in [ran, raced] {
        let cleared = json!({"outcome": "accepted", "clears_return": true});
        admin.post(&format!("{}/decisions", advice(athlete)), cleared).await.expect(201);
    }
    let seen = squad.plan(&plan["id"]).await;
    assert_eq!(marked(&seen), [ran], "{seen}");
    alike(admin, &mut phone).await;
    let anew = squad.planned().await;
    assert!(marked(&squad.plan(&anew["id"]).await).is_empty());
}

/// Three who are drawn for a race of tomorrow.
struct Drawn {
    squad: race_tests::Squad,
    path: String,
    earlier: String,
    phone: Phone,
}

impl Drawn {
    async fn new(pool: PgPool) -> Self {
        let mut squad = race_tests::squad(pool).await;
        let tomorrow = Utc::now().date_naive() + Duration::days(1);
        let body = json!({"held_on": tomorrow, "state": "planned", "group_ids": [squad.group]});
        let session = squad.admin.post("/sessions", body).await.expect(201).id();
        let earlier = std::mem::replace(&mut squad.session, session);
        let (path, tag) = squad.entered(&squad.athletes[..3]).await;
        squad.draw(&path, &tag, json!({"lanes": 4, "seed": 1})).await.expect(200);
        let mut phone = Phone::default();
        phone.pull(&squad.coach, 500).await;
        Self { squad, path, earlier, phone }
    }

    async fn again(&self) -> Value {
        let tag = self.squad.coach.get(&self.path).await.expect(200).header("etag").to_owned();
        self.squad.draw(&self.path, &tag, json!({"lanes": 4, "seed": 1})).await.expect(200).body
    }

    async fn heats(&self) -> Value {
        self.squad.coach.get(&format!("{}/heats", self.path)).await.expect(200).body
    }

    async fn start_list(&self) -> String {
        let path = self.squad.coach.path(&format!("{}/heats", self.path));
        let list = self.squad.coach.call(Method::GET, &path, &[("accept", "text/csv")], None).await.expect(200);
        String::from_utf8(list.bytes).unwrap()
    }

    /// The lanes that are marked, which entries, phone and start list tell alike.
    async fn marked(&mut self) -> Vec<Value> {
        let heats = self.heats().await;
        let lanes = heats["heats"].as_array().unwrap().iter().flat_map(|heat| heat["lanes"].as_array().unwrap());
        let lanes: Vec<Value> = lanes.filter(|lane| lane["overtaken"] == true).cloned().collect();
        alike(&self.squad.coach, &mut self.phone).await;
        let of_phone = self.phone.copy.values().filter(|one| one["readiness"]["overtaken"] == true);
        let placed = |one: &&Value| one.get("lane").is_some();
        assert_eq!(of_phone.filter(placed).count(), lanes.len(), "{heats}");
        let entries = self.squad.coach.get(&self.path).await.expect(200).body["entries"].clone();
        for lane in &lanes {
            let entry = entries.as_array().unwrap().iter().find(|one| one["athlete_id"] == lane["athlete_id"]).unwrap();
            assert_eq!(entry["readiness"]["overtaken"], true, "{entry}");
        }
        lanes
    }
}

#[sqlx::test]
async fn a_surface_that_changes_after_the_draw_marks_everybody_who_is_entered(pool: PgPool) {
    let mut race = Drawn::new(pool).await;
    assert!(race.marked().await.is_empty());
    let session = format!("/sessions/{}", race.squad.session);
    let rain =
        async |race: &Drawn, surface: Value| change(&race.squad.admin, &session, json!({"surface": surface})).await;
    rain(&race, json!("wet")).await;
    let lanes = race.marked().await;
    assert_eq!(lanes.len(), 3);
    for lane in &lanes {
        assert!(race_tests::codes(&lane["cautions"]).contains(&"wet_surface"), "{lane}");
    }
    assert!(race_tests::codes(&race.heats().await["cautions"]).contains(&"wet_surface"));
    assert_eq!(race.start_list().await.matches(SINCE).count(), 3);
    // Drawn anew they heed it, and a dry track is another one.
    race.again().await;
    assert!(race.marked().await.is_empty());
    rain(&race, Value::Null).await;
    let lanes = race.marked().await;
    assert_eq!(lanes.len(), 3);
    assert!(lanes.iter().all(|lane| !race_tests::codes(&lane["cautions"]).contains(&"wet_surface")), "{lanes:?}");
    rain(&race, json!("wet")).await;
    assert!(race.marked().await.is_empty(), "as it was drawn");
}

#[sqlx::test]
async fn a_fall_and_another_status_after_the_draw_mark_whom_they_are_about(pool: PgPool) {
    let mut race = Drawn::new(pool).await;
    let [fallen, gone] = [0, 1].map(|n| race.squad.athletes[n].clone());
    let run = json!({"id": Uuid::now_v7(), "session_id": race.earlier, "athlete_id": fallen,
        "run_at": format!("{}T17:00:00Z", race.squad.day), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5,
        "barriers": 4, "hits": 1, "intervals": {"held": 3}, "fell": true});
    race.squad.coach.post("/runs", json!({"runs": [run]})).await.expect(200);
    let lanes = race.marked().await;
    assert_eq!((lanes.len(), &lanes[0]["athlete_id"], lanes[0].get("not_permitted")), (1, &json!(fallen), None));
    set_status(&race.squad.admin, &gone, "left").await;
    let lanes = race.marked().await;
    let lane = lanes.iter().find(|lane| lane["athlete_id"] == *gone).unwrap();
    assert_eq!((lanes.len(), &lane["not_permitted"]["code"]), (2, &json!("left")), "{lane}");
    let list = race.start_list().await;
    assert!(list.contains("does not run: ") && list.contains(SINCE), "{list}");

    // Drawn anew, whoever left is not placed; when they come back, that is said.
    let heats = race.again().await;
    let waiting = &heats["not_placed"][0];
    assert_eq!((&waiting["athlete_id"], waiting.get("overtaken")), (&json!(gone), None), "{waiting}");
    assert!(race.marked().await.is_empty());
    set_status(&race.squad.admin, &gone, "active").await;
    let waiting = race.heats().await["not_placed"][0].clone();
    assert_eq!(waiting["overtaken"], true, "{waiting}");
    assert!(waiting["explanation"].as_str().unwrap().contains(SINCE), "{waiting}");
    assert!(race.marked().await.is_empty(), "nobody in a lane");
}
