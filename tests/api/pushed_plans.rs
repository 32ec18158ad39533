//! Lane plans that a phone sends: kept, and each place in them judged; and what comes after a plan is said wherever it is read.

use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::bounds::{Squad, squad};
use crate::sync_push::{create, item, push, statuses};
use crate::unusable::{REMEDY, TEXT, misdate};
use crate::wellbeing::{record, restrict, stored};

/// A plan as a phone sends it, with an id of its own.
pub fn sent(plan: &Value) -> Value {
    let mut data = plan.clone();
    data["id"] = json!(Uuid::now_v7());
    data.as_object_mut().unwrap().remove("rev");
    data
}

pub fn placed(plan: &Value) -> Vec<&Value> {
    plan["lanes"].as_array().unwrap().iter().flat_map(|lane| lane["athletes"].as_array().unwrap()).collect()
}

pub fn place<'a>(plan: &'a Value, athlete: &str) -> &'a Value {
    placed(plan).into_iter().find(|one| one["athlete_id"] == athlete).unwrap()
}

impl Squad {
    pub async fn planned(&self) -> Value {
        self.admin.post(&self.plans, self.wish(&json!({}))).await.expect(201).body
    }

    pub async fn plan(&self, id: &Value) -> Value {
        self.admin.get(&format!("{}/{}", self.plans, id.as_str().unwrap())).await.expect(200).body
    }

    /// The plan as its own route, the feed and every sheet tell it.
    pub async fn everywhere(&self, id: &Value) -> [String; 5] {
        let feed = self.admin.get("/changes?types=lane_plan&limit=2000").await.expect(200).body;
        let carried = feed["changes"].as_array().unwrap().iter().find(|one| one["id"] == *id).unwrap();
        let path = format!("{}/{}/set-out", self.plans, id.as_str().unwrap());
        let form = async |accept: &str| {
            let headers = [("accept", accept)];
            let answer = self.admin.call(Method::GET, &self.admin.path(&path), &headers, None).await.expect(200);
            String::from_utf8(answer.bytes).unwrap()
        };
        let plan = self.plan(id).await;
        assert_eq!(carried["data"], plan, "the feed carries what the route answers");
        let sheet = self.admin.get(&path).await.expect(200).body.to_string();
        [plan.to_string(), carried.to_string(), sheet, form("text/csv").await, form("image/svg+xml").await]
    }
}

#[sqlx::test]
async fn a_pushed_plan_that_asks_too_much_of_somebody_is_kept_and_says_so_in_every_form(pool: PgPool) {
    let squad = squad(pool).await;
    let made = squad.planned().await;
    // Everybody in one lane, wider than any of them races, with figures that would hide it.
    let mut wide = sent(&made);
    let everybody: Vec<Value> = placed(&made).into_iter().cloned().collect();
    for lane in wide["lanes"].as_array_mut().unwrap() {
        lane["athletes"] = json!([]);
    }
    let first = &mut wide["lanes"][0];
    first["athletes"] = json!(everybody);
    first["spacing_m"] = json!(7.5);
    for one in first["athletes"].as_array_mut().unwrap() {
        one["hold_probability"] = json!(1.0);
        one["needs_confirmation"] = json!(false);
        one["cautions"] = json!([]);
        one["difference"] = json!("as advised");
        one["advised"] = json!({"barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 7.5, "hold_probability": 1.0});
    }
    let item = create("lane_plan", wide.clone());
    assert_eq!(statuses(&push(&squad.admin, std::slice::from_ref(&item)).await), [201], "the coach laid it out");
    let stored = squad.plan(&wide["id"]).await;
    for one in placed(&stored) {
        let athlete = one["athlete_id"].as_str().unwrap();
        assert_eq!(one["not_permitted"]["code"], "target_spacing", "{one}");
        assert_eq!((&one["needs_confirmation"], one.get("overtaken")), (&json!(true), None), "{one}");
        assert_eq!(one["advised"], place(&made, athlete)["advised"], "the advice is the service's");
        assert!(one["hold_probability"].as_f64().unwrap() < 0.9 && one["difference"] != "as advised", "{one}");
    }
    let [plan, feed, sheet, csv, svg] = squad.everywhere(&wide["id"]).await;
    assert!([plan, feed, sheet].iter().all(|form| form.contains("not_permitted")));
    let cards = squad.admin.get(&format!("/sessions/{}/cards", squad.session)).await.expect(200).body;
    for card in cards["cards"].as_array().unwrap() {
        assert_eq!(card["today"]["not_permitted"]["code"], "target_spacing", "{card}");
    }
    assert!(csv.contains("not permitted: ") && svg.contains("not permitted"), "{csv}");
    // The same plan again is the same plan, whatever stands beside its people.
    let mut again = item.clone();
    again["op_id"] = json!(Uuid::now_v7());
    assert_eq!(statuses(&push(&squad.admin, &[again]).await), [200]);
    // A change of something else keeps the mark, and moving them back takes it off.
    let id = wide["id"].as_str().unwrap();
    let change = |rev: &Value, data: Value| item_of("PATCH", id, json!({"if_match": rev, "data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[change(&stored["rev"], json!({"run_out_m": 11.0}))]).await), [200]);
    let kept = squad.plan(&wide["id"]).await;
    assert!(placed(&kept).iter().all(|one| one["not_permitted"].is_object()) && kept["run_out_m"] == 11.0, "{kept}");
    let back = change(&kept["rev"], json!({"lanes": made["lanes"]}));
    assert_eq!(statuses(&push(&squad.admin, &[back]).await), [200]);
    let back = squad.plan(&wide["id"]).await;
    assert!(placed(&back).iter().all(|one| one.get("not_permitted").is_none()), "{back}");
}

fn item_of(method: &str, id: &str, more: Value) -> Value {
    item(method, "lane_plan", id, more)
}

#[sqlx::test]
async fn a_pushed_lane_with_more_barriers_than_its_athletes_may_have_is_refused(pool: PgPool) {
    let squad = squad(pool).await;
    let made = squad.planned().await;
    for (barriers, code) in [(12, "unsafe"), (0, "out_of_range"), (21, "out_of_range")] {
        let mut long = sent(&made);
        long["lanes"][0]["barriers"] = json!(barriers);
        let refused = push(&squad.admin, &[create("lane_plan", long)]).await.remove(0);
        let fault = &refused["problem"]["errors"][0];
        assert_eq!((&refused["status"], &fault["pointer"]), (&json!(422), &json!("/lanes/0/barriers")), "{refused}");
        assert_eq!(fault["code"], code);
    }
    // No sheet and no card of the session could be drawn with lanes like these.
    for (field, value) in [("spacing_m", 0.0), ("approach_m", 999.0)] {
        let mut flat = sent(&made);
        flat["lanes"][0][field] = json!(value);
        let refused = push(&squad.admin, &[create("lane_plan", flat)]).await.remove(0);
        assert_eq!(
            (&refused["status"], &refused["problem"]["errors"][0]["pointer"]),
            (&json!(422), &json!("/lanes/0"))
        );
    }
    let mut odd = sent(&made);
    odd["lanes"][0]["spacing_m"] = json!(6.000_01);
    let refused = push(&squad.admin, &[create("lane_plan", odd)]).await.remove(0);
    assert_eq!(refused["status"], 422, "{refused}");
}

#[sqlx::test]
async fn a_pushed_plan_with_somebody_for_whom_nothing_can_be_computed_is_kept_and_names_them(pool: PgPool) {
    let squad = squad(pool).await;
    let made = squad.planned().await;
    let (one, other) = (squad.athletes[0].as_str(), squad.athletes[1].as_str());
    misdate(&squad.admin, one).await;
    let mut plan = sent(&made);
    // Who is left out is for the service to say.
    let claimed = json!({"athlete_id": other, "display_name": "Athlete 1",
        "unusable": {"code": "run", "text": "Nothing.", "remedy": "Nothing."}});
    plan["not_computed"] = json!([claimed]);
    assert_eq!(
        statuses(&push(&squad.admin, &[create("lane_plan", plan.clone())]).await),
        [201],
        "the coach laid it out"
    );
    let stored = squad.plan(&plan["id"]).await;
    let unlooked = place(&stored, one);
    assert_eq!((&unlooked["needs_confirmation"], unlooked.get("advised")), (&json!(true), None), "{unlooked}");
    assert!(unlooked.get("not_permitted").is_none() && place(&stored, other)["advised"].is_object(), "{stored}");
    let named = stored["not_computed"].as_array().unwrap();
    assert_eq!(
        (named.len(), &named[0]["athlete_id"], &named[0]["display_name"]),
        (1, &json!(one), &json!("Athlete 0"))
    );
    assert_eq!((&named[0]["unusable"]["text"], &named[0]["unusable"]["remedy"]), (&json!(TEXT), &json!(REMEDY)));
    // What is known of the athlete without any run is heeded all the same.
    let today = Utc::now().date_naive();
    restrict(&squad.admin, one, today, today + Duration::days(7)).await;
    let rev = squad.plan(&plan["id"]).await["rev"].clone();
    let change = json!({"if_match": rev, "data": {"run_out_m": 11.0}});
    let id = plan["id"].as_str().unwrap();
    assert_eq!(statuses(&push(&squad.admin, &[item_of("PATCH", id, change)]).await), [200]);
    let rests = squad.plan(&plan["id"]).await;
    assert_eq!(place(&rests, one)["not_permitted"]["code"], "restricted", "{rests}");
    assert_eq!(rests["not_computed"].as_array().unwrap().len(), 1);
}

#[sqlx::test]
async fn a_pushed_plan_with_an_unsafe_layout_is_refused_until_it_is_put_right(pool: PgPool) {
    let squad = squad(pool).await;
    let made = squad.planned().await;
    for (pointer, metres) in [("/lanes/0/approach_m", 2.0), ("/run_out_m", 1.0)] {
        let mut plan = sent(&made);
        *plan.pointer_mut(pointer).unwrap() = json!(metres);
        let refused = push(&squad.admin, &[create("lane_plan", plan)]).await.remove(0);
        let fault = &refused["problem"]["errors"][0];
        assert_eq!((&fault["pointer"], &fault["code"]), (&json!(pointer), &json!("unsafe")), "{refused}");
    }
    assert_eq!(statuses(&push(&squad.admin, &[create("lane_plan", sent(&made))]).await), [201]);
}

#[sqlx::test]
async fn a_plan_whose_session_comes_with_the_same_push_is_judged_as_well(pool: PgPool) {
    let squad = squad(pool).await;
    let made = squad.planned().await;
    let groups = squad.admin.get(&format!("/sessions/{}", squad.session)).await.body["group_ids"].clone();
    let on = Utc::now().date_naive();
    restrict(&squad.admin, &squad.athletes[0], on, on + Duration::days(3)).await;
    let session = json!({"id": Uuid::now_v7(), "held_on": on, "state": "planned", "group_ids": groups});
    let mut plan = sent(&made);
    plan["session_id"] = session["id"].clone();
    let id = plan["id"].clone();
    let results = push(&squad.admin, &[create("session", session.clone()), create("lane_plan", plan)]).await;
    assert_eq!(statuses(&results), [201, 201], "{results:?}");
    let path = format!("/sessions/{}/lane-plans/{}", session["id"].as_str().unwrap(), id.as_str().unwrap());
    let stored = squad.admin.get(&path).await.expect(200).body;
    let resting = place(&stored, &squad.athletes[0]);
    assert_eq!(resting["not_permitted"]["code"], "restricted", "{resting}");
    assert_eq!(resting.get("overtaken"), None, "it was known before the plan");
    assert!(placed(&stored).iter().filter(|one| one["not_permitted"].is_object()).count() == 1, "{stored}");
}

#[sqlx::test]
async fn a_plan_read_after_a_report_says_for_whom_it_no_longer_holds(pool: PgPool) {
    let squad = squad(pool).await;
    let (admin, hurt) = (&squad.admin, &squad.athletes[1]);
    let today = Utc::now().date_naive();
    let session = format!("/sessions/{}", squad.session);
    let move_to = async |day: chrono::NaiveDate| {
        let tag = admin.get(&session).await.header("etag").to_owned();
        admin.patch(&session, &tag, json!({"held_on": day})).await.expect(200);
    };
    move_to(today + Duration::days(2)).await;
    let plan = squad.planned().await;
    assert!(placed(&plan).iter().all(|one| one.get("overtaken").is_none()));
    let pain = stored(admin, record(hurt, "pain", today, &json!({}))).await;
    let marked = squad.plan(&plan["id"]).await;
    let one = place(&marked, hurt);
    assert_eq!((&one["overtaken"], &one["not_permitted"]["code"]), (&json!(true), &json!("pain_reported")), "{one}");
    assert_eq!(placed(&marked).iter().filter(|one| one["overtaken"] == true).count(), 1, "nobody else");
    assert!(marked["rev"].as_i64() > plan["rev"].as_i64(), "phones are sent it anew");
    let [.., sheet, csv, svg] = squad.everywhere(&plan["id"]).await;
    assert!(sheet.contains("pain_reported") && csv.contains("does not run: ") && svg.contains("does not run"), "{csv}");
    let list = admin.get(&squad.plans).await.expect(200).body;
    assert_eq!(place(&list["items"][0], hurt)["overtaken"], true);
    // An edit that was made before the phone knew is made on another version.
    let edit = json!({"if_match": plan["rev"], "data": {"run_out_m": 12.0}});
    let refused = push(admin, &[item_of("PATCH", plan["id"].as_str().unwrap(), edit)]).await;
    assert_eq!(statuses(&refused), [412], "{refused:?}");
    assert_eq!(place(&refused[0]["current"]["data"], hurt)["overtaken"], true);

    // Cleared by then, they come back in another lane; the plan is still the one of before.
    let cleared = record(hurt, "clearance", today, &json!({"clears": pain}));
    let clearance = stored(admin, cleared).await;
    let back = squad.plan(&plan["id"]).await;
    let one = place(&back, hurt);
    assert_eq!((&one["overtaken"], one.get("not_permitted")), (&json!(true), None), "{one}");
    let [.., csv, _] = squad.everywhere(&plan["id"]).await;
    assert!(csv.contains("plan or draw anew"), "{csv}");
    // On the day of the report itself they rest, and before it nothing was.
    move_to(today).await;
    assert_eq!(place(&squad.plan(&plan["id"]).await, hurt)["not_permitted"]["code"], "pain_reported");
    move_to(today - Duration::days(1)).await;
    assert_eq!(place(&squad.plan(&plan["id"]).await, hurt).get("overtaken"), None);
    move_to(today + Duration::days(2)).await;
    // A plan made anew heeds it.
    let anew = squad.planned().await;
    let one = place(&anew, hurt);
    assert_eq!((one.get("overtaken"), &one["needs_confirmation"]), (None, &json!(true)), "{one}");
    assert_eq!(place(&squad.plan(&anew["id"]).await, hurt).get("overtaken"), None);
    // What was withdrawn was nothing.
    stored(admin, record(hurt, "clearance", today, &json!({"clears": pain, "supersedes": clearance, "void": true})))
        .await;
    stored(admin, record(hurt, "pain", today, &json!({"supersedes": pain, "void": true}))).await;
    assert_eq!(place(&squad.plan(&plan["id"]).await, hurt).get("overtaken"), None);
}

#[sqlx::test]
async fn a_report_and_an_edit_of_a_plan_in_one_push_are_as_in_two(pool: PgPool) {
    let squad = squad(pool).await;
    let today = Utc::now().date_naive();
    for size in [1, 500] {
        let plan = squad.planned().await;
        let edit = json!({"if_match": plan["rev"], "data": {"run_out_m": 12.0}});
        let edit = item_of("PATCH", plan["id"].as_str().unwrap(), edit);
        let report = create("wellbeing_record", record(&squad.athletes[size % 6], "illness", today, &json!({})));
        let mut results = Vec::new();
        for cut in [report, edit].chunks(size) {
            results.extend(push(&squad.admin, cut).await);
        }
        assert_eq!(statuses(&results), [201, 412], "in pushes of {size}: {results:?}");
    }
}

#[sqlx::test]
async fn a_plan_read_after_a_decision_a_fall_or_rain_says_for_whom_it_no_longer_holds(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let [heeded, otherwise, fallen] = [0, 1, 2].map(|n| squad.athletes[n].as_str());
    let plan = squad.planned().await;
    let marked = async || {
        let plan = squad.plan(&plan["id"]).await;
        let those = placed(&plan).into_iter().filter(|one| one["overtaken"] == true);
        let mut those: Vec<usize> =
            those.map(|one| squad.athletes.iter().position(|id| one["athlete_id"] == **id).unwrap()).collect();
        those.sort_unstable();
        (those, plan)
    };
    let decide = async |athlete: &str, body: Value| {
        admin.post(&format!("/athletes/{athlete}/recommendation/decisions"), body).await.expect(201);
    };
    // What is accepted is what the plan was made with.
    decide(heeded, json!({"outcome": "accepted"})).await;
    let (none, seen) = marked().await;
    assert!(none.is_empty() && seen["rev"].as_i64() > plan["rev"].as_i64(), "phones are sent it anew: {seen}");
    let closer = place(&plan, otherwise)["advised"]["spacing_m"].as_f64().unwrap() - 0.5;
    decide(
        otherwise,
        json!({"outcome": "overridden", "reason": "Tired", "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": closer}),
    )
    .await;
    let (those, seen) = marked().await;
    assert_eq!((those, place(&seen, otherwise).get("not_permitted")), (vec![1], None));
    let [.., csv, _] = squad.everywhere(&plan["id"]).await;
    assert!(csv.contains("what came since changes this: plan or draw anew"), "{csv}");
    // An edit that was made before the phone knew is made on another version.
    let edit = json!({"if_match": plan["rev"], "data": {"run_out_m": 12.0}});
    assert_eq!(statuses(&push(admin, &[item_of("PATCH", plan["id"].as_str().unwrap(), edit)]).await), [412]);

    let run = json!({"id": Uuid::now_v7(), "session_id": squad.session, "athlete_id": fallen,
        "run_at": Utc::now(), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 4, "hits": 0,
        "intervals": {"held": 3}, "fell": true});
    let file = async |run: &Value| admin.post("/runs", json!({"runs": [run]})).await.expect(200);
    file(&run).await;
    assert_eq!(marked().await.0, [1, 2]);
    let mut withdrawn = run.clone();
    withdrawn["id"] = json!(Uuid::now_v7());
    withdrawn["supersedes"] = run["id"].clone();
    withdrawn["void"] = json!(true);
    file(&withdrawn).await;
    assert_eq!(marked().await.0, [1], "what was withdrawn was nothing");

    // Rain after the plan: it suits nobody, and its sheets say what everybody heeds.
    let rain = async |surface: Value| {
        let session = format!("/sessions/{}", squad.session);
        let tag = admin.get(&session).await.header("etag").to_owned();
        admin.patch(&session, &tag, json!({"surface": surface})).await.expect(200);
    };
    rain(json!("wet")).await;
    let (those, seen) = marked().await;
    assert_eq!(those.len(), placed(&seen).len(), "{seen}");
    let [route, feed, sheet, _, svg] = squad.everywhere(&plan["id"]).await;
    assert!([route, feed, sheet, svg].iter().all(|form| form.contains("is wet")), "{seen}");
    // The same plan sent by a phone now heeds it, and a dry track takes the mark off the old one.
    let again = sent(&plan);
    assert_eq!(statuses(&push(admin, &[create("lane_plan", again.clone())]).await), [201]);
    let kept = squad.plan(&again["id"]).await;
    assert!(kept["cautions"].as_array().unwrap().iter().any(|one| one["code"] == "wet_surface"), "{kept}");
    assert!(placed(&kept).iter().all(|one| one.get("overtaken").is_none()), "{kept}");
    rain(Value::Null).await;
    assert_eq!(marked().await.0, [1]);
    let dry = squad.plan(&again["id"]).await;
    assert!(
        placed(&dry).iter().all(|one| one["overtaken"] == true) && !dry.to_string().contains("wet_surface"),
        "{dry}"
    );
    // A plan made anew heeds all of it.
    let anew = squad.planned().await;
    let kept = squad.plan(&anew["id"]).await;
    assert!(placed(&kept).iter().all(|one| one.get("overtaken").is_none()), "{kept}");
    assert_eq!(place(&kept, otherwise)["advised"]["spacing_m"], json!(closer));
}

#[sqlx::test]
async fn a_decision_and_an_edit_of_a_plan_in_one_push_are_as_in_two(pool: PgPool) {
    let squad = squad(pool).await;
    for size in [1, 500] {
        let plan = squad.planned().await;
        let edit = json!({"if_match": plan["rev"], "data": {"run_out_m": 12.0}});
        let edit = item_of("PATCH", plan["id"].as_str().unwrap(), edit);
        let word = json!({"id": Uuid::now_v7(), "athlete_id": squad.athletes[size % 6], "outcome": "accepted"});
        let mut results = Vec::new();
        for cut in [create("decision", word), edit].chunks(size) {
            results.extend(push(&squad.admin, cut).await);
        }
        assert_eq!(statuses(&results), [201, 412], "in pushes of {size}: {results:?}");
    }
}

#[sqlx::test]
async fn a_plan_heeds_what_was_on_file_when_it_was_asked_for_and_not_what_came_while_it_was_made(pool: PgPool) {
    let squad = squad(pool.clone()).await;
    let made = squad.planned().await;
    assert_eq!(squad.plan(&made["id"]).await, made, "what is answered is what is read");
    let sent = sent(&made);
    assert_eq!(statuses(&push(&squad.admin, &[create("lane_plan", sent.clone())]).await), [201]);
    let edit = json!({"if_match": squad.plan(&sent["id"]).await["rev"], "data": {"run_out_m": 12.0}});
    let edit = item_of("PATCH", sent["id"].as_str().unwrap(), edit);
    assert_eq!(statuses(&push(&squad.admin, &[edit]).await), [200]);
    // Whatever is recorded between the two moments is marked.
    let sql = "select count(*) filter (where known_at < updated_at), count(*) from lane_plans";
    let mut tx = pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    let (before, all): (i64, i64) = sqlx::query_as(sql).fetch_one(&mut *tx).await.unwrap();
    assert_eq!((before, all), (2, 2));
}
