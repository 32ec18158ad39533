//! Trackside: the card of each athlete, notes of sessions and athletes, and runs that name their lane.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};
use crate::sync_pull::Phone;
use crate::sync_push::{create, item, push, statuses};
use crate::wellbeing::{record, stored};

struct Track {
    admin: Caller,
    coach: Caller,
    stranger: Caller,
    group: String,
    other: String,
    day: NaiveDate,
    session: String,
}

impl Track {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group]).await;
        let stranger = admin.member("Other Coach", "coach", &[&other]).await;
        let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 30});
        admin.post("/equipment", wickets).await.expect(201);
        let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 80, "lanes": 6});
        let venue = admin.post("/venues", venue).await.expect(201).id();
        let day = Utc::now().date_naive();
        let session = json!({"held_on": day, "state": "planned", "group_ids": [group, other], "venue_id": venue});
        let session = admin.post("/sessions", session).await.expect(201).id();
        Self { admin, coach, stranger, group, other, day, session }
    }

    async fn athlete(&self, name: &str, group: &str) -> String {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
        self.admin.post("/athletes", body).await.expect(201).id()
    }

    async fn plan(&self) -> Value {
        let wish = json!({"lanes": 3, "capacity": 4, "barriers": {"min": 4, "max": 5}});
        self.coach.post(&format!("/sessions/{}/lane-plans", self.session), wish).await.expect(201).body
    }

    async fn cards(&self, caller: &Caller) -> Value {
        caller.get(&format!("/sessions/{}/cards", self.session)).await.expect(200).body
    }

    fn run(&self, athlete: &str, more: Value) -> Value {
        let mut run = json!({"id": Uuid::now_v7(), "session_id": self.session, "athlete_id": athlete,
            "run_at": format!("{}T00:00:01Z", self.day), "intervals": {"held": 4}});
        run.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        run
    }

    async fn record(&self, run: &Value) -> Value {
        self.coach.post("/runs", json!({"runs": [run]})).await.expect(200).body["results"][0].clone()
    }
}

fn card<'a>(cards: &'a Value, athlete: &str) -> &'a Value {
    cards["cards"].as_array().unwrap().iter().find(|one| one["athlete_id"] == athlete).unwrap()
}

#[sqlx::test]
async fn the_latest_plan_is_the_one_that_came_last_whatever_its_id(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let wish = |id: &str| json!({"id": id, "lanes": 3, "capacity": 4, "barriers": {"min": 4, "max": 5}});
    let path = format!("/sessions/{}/lane-plans", track.session);
    let plans = ["f6f0c1d2-3b4a-4c5d-9e6f-7a8b9c0d1e2f", "06f0c1d2-3b4a-4c5d-9e6f-7a8b9c0d1e2f"];
    for plan in plans {
        track.coach.post(&path, wish(plan)).await.expect(201);
        let cards = track.cards(&track.coach).await;
        assert_eq!(card(&cards, &mira)["today"]["lane_plan_id"], plan, "the lanes that were set out last");
    }
}

#[sqlx::test]
async fn what_came_after_a_plan_stays_said_until_somebody_looked_at_whom_it_is_about(pool: PgPool) {
    let track = Track::new(pool.clone()).await;
    track.athlete("Mira", &track.group).await;
    let theirs = track.athlete("Theirs", &track.other).await;
    let path = format!("/sessions/{}/lane-plans", track.session);
    let wish = json!({"lanes": 3, "capacity": 4, "barriers": {"min": 4, "max": 5}});
    let plan = track.admin.post(&path, wish).await.expect(201).body;
    let id = plan["id"].as_str().unwrap();
    let place = async || {
        let plan = track.stranger.get(&format!("{path}/{id}")).await.expect(200).body;
        let lanes = plan["lanes"].as_array().unwrap().iter();
        let mut placed = lanes.flat_map(|lane| lane["athletes"].as_array().unwrap());
        placed.find(|one| one["athlete_id"] == theirs).unwrap().clone()
    };
    let pain = json!({"id": Uuid::now_v7(), "athlete_id": theirs, "kind": "pain", "reported_on": track.day,
        "reported_by": "athlete"});
    let told = track.stranger.post("/wellbeing-records", json!({"wellbeing_records": [pain]})).await.expect(200);
    assert_eq!(told.body["results"][0]["status"], "created");
    assert_eq!(place().await["overtaken"], true);
    let edit = async |caller: &Caller, run_out_m: f64| {
        let rev = caller.get(&format!("{path}/{id}")).await.expect(200).body["rev"].clone();
        let edit = item("PATCH", "lane_plan", id, json!({"if_match": rev, "data": {"run_out_m": run_out_m}}));
        assert_eq!(statuses(&push(caller, &[edit]).await), [200]);
    };
    // Their coach and the helpers must not lose the mark because somebody else moved the tape.
    edit(&track.coach, 15.0).await;
    assert_eq!(place().await["overtaken"], true);
    // Whoever sees everybody has everybody looked at.
    edit(&track.admin, 16.0).await;
    let one = place().await;
    assert_eq!((one.get("overtaken"), &one["not_permitted"]["code"]), (None, &json!("pain_reported")), "{one}");

    // A plan does not know what came while it was computed: it heeds what was there before it was read.
    let mut sent = plan.clone();
    sent.as_object_mut().unwrap().remove("rev");
    sent["id"] = json!(Uuid::now_v7());
    assert_eq!(statuses(&push(&track.admin, &[create("lane_plan", sent)]).await), [201]);
    let anew = track.plan().await;
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", track.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    let before: Vec<bool> = sqlx::query_scalar("select known_at < created_at from lane_plans where id <> $1")
        .bind(Uuid::parse_str(id).unwrap())
        .fetch_all(&mut *tx)
        .await
        .unwrap();
    assert_eq!(before, [true; 2], "{anew}");
}

#[sqlx::test]
async fn a_card_tells_last_time_todays_lane_what_to_watch_and_the_next_step(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let before = track.day - Duration::days(4);
    let body = json!({"held_on": before, "state": "held", "group_ids": [track.group]});
    let earlier = track.coach.post("/sessions", body).await.expect(201).id();
    let run = json!({"id": Uuid::now_v7(), "session_id": earlier, "athlete_id": mira, "run_at": format!("{before}T00:00:01Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 5, "intervals": {"held": 3, "over_reached": 1}});
    assert_eq!(track.record(&run).await["status"], "created");
    let rated = json!({"id": Uuid::now_v7(), "athlete_id": mira, "assessed_at": format!("{before}T00:00:01Z"),
        "ratings": {"lead_leg": 2, "trail_leg": 1, "rhythm": 1}, "note": "Trail knee drops"});
    track.coach.post("/assessments", json!({"assessments": [rated]})).await.expect(200);
    let plan = track.plan().await;
    let cards = track.cards(&track.coach).await;
    assert_eq!((&cards["people_from"], cards["cautions"].as_array().unwrap().len()), (&json!("groups"), 10));
    let card = card(&cards, &mira);
    let last = &card["last_time"];
    assert_eq!((&last["on"], &last["intervals"], &last["held"]), (&json!(before), &json!(4), &json!(3)));
    let rows = track.coach.call(Method::GET, last["runs_href"].as_str().unwrap(), &[], None).await.expect(200);
    assert_eq!(rows.body["items"][0]["id"], run["id"]);
    let lane = plan["lanes"].as_array().unwrap().iter().find(|lane| lane["athletes"][0]["athlete_id"] == mira).unwrap();
    let today = &card["today"];
    assert_eq!((&today["lane_plan_id"], &today["lane"], &today["round"]), (&plan["id"], &lane["lane"], &lane["round"]));
    assert_eq!(today["configuration"]["spacing_m"], lane["spacing_m"]);
    assert_eq!((&today["approach_m"], &today["approach_strides"]), (&lane["approach_m"], &json!(8)));
    let path = format!("/athletes/{mira}");
    let tag = track.coach.get(&path).await.header("etag").to_owned();
    track.coach.patch(&path, &tag, json!({"approach_strides": 6})).await.expect(200);
    let counted = track.cards(&track.coach).await;
    let counted = &self::card(&counted, &mira)["today"];
    assert_eq!(counted.get("approach_strides"), None, "six strides do not end where this lane begins: {counted}");
    let spacing = lane["spacing_m"].as_f64().unwrap();
    let strides = today["strides_m"].as_array().unwrap();
    for (at, share) in strides.iter().zip([0.118, 0.306, 0.541, 0.765]) {
        assert!((at.as_f64().unwrap() - share * spacing).abs() < 0.006, "{strides:?}");
    }
    let watch = &card["watch"];
    assert_eq!((&watch["criterion"], &watch["rating"]), (&json!("trail_leg"), &json!(1)));
    assert!(watch["text"].as_str().unwrap().contains("twice as many lead drills"), "{watch}");
    assert!(watch["source"].as_str().unwrap().contains("clinic"), "{watch}");
    assert_eq!(card["notes"][0]["note"], "Trail knee drops");
    let advice = track.coach.get(&format!("/athletes/{mira}/recommendation")).await.expect(200).body;
    assert_eq!(card["next_step"]["decision"], advice["decision"]["kind"]);
    assert_eq!(card["next_step"]["explanation"], advice["explanation"]);
    let codes: Vec<&str> =
        card["cautions"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"thin_evidence"), "{codes:?}");
}

#[sqlx::test]
async fn cards_are_for_those_who_came_and_only_for_those_whom_their_reader_sees(pool: PgPool) {
    let track = Track::new(pool).await;
    let (mira, noor) = (track.athlete("Mira", &track.group).await, track.athlete("Noor", &track.group).await);
    let zoe = track.athlete("Zoe", &track.other).await;
    let names = |cards: &Value| -> Vec<String> {
        cards["cards"].as_array().unwrap().iter().map(|one| one["display_name"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(names(&track.cards(&track.coach).await), ["Mira", "Noor"]);
    assert_eq!(names(&track.cards(&track.stranger).await), ["Zoe"]);
    let path = format!("/sessions/{}/attendance", track.session);
    track.admin.put(&path, "", json!({"present": [mira, zoe]})).await.expect(200);
    let cards = track.cards(&track.coach).await;
    assert_eq!((names(&cards), &cards["people_from"]), (vec!["Mira".to_owned()], &json!("attendance")));
    let text = cards.to_string();
    assert!(!text.contains(&zoe) && !text.contains("Zoe") && !text.contains(&noor), "{text}");
    assert_eq!(names(&track.cards(&track.admin).await), ["Mira", "Zoe"]);
    // Pain since the plan was made outranks the lane that it gave.
    let plan = track.plan().await;
    assert_eq!(card(&track.cards(&track.coach).await, &mira)["today"]["lane_plan_id"], plan["id"]);
    let report = json!({"id": Uuid::now_v7(), "athlete_id": mira, "kind": "pain", "reported_on": track.day, "reported_by": "athlete"});
    track.coach.post("/wellbeing-records", json!({"wellbeing_records": [report]})).await.expect(200);
    let cards = track.cards(&track.coach).await;
    let rests = card(&cards, &mira);
    assert!(rests.get("today").is_none() && rests["no_lane"].is_string(), "{rests}");
    assert_eq!(rests["next_step"]["decision"], "rest_and_refer");
    let private = json!({"held_on": track.day, "state": "planned", "group_ids": [track.group]});
    let private = track.coach.post("/sessions", private).await.expect(201).id();
    track.stranger.get(&format!("/sessions/{private}/cards")).await.expect(404);
}

#[sqlx::test]
async fn a_rest_that_is_over_is_no_reason_any_more(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    track.athlete("Kai", &track.group).await;
    let more = json!({"until": track.day + Duration::days(9)});
    let rest = stored(&track.coach, record(&mira, "restriction", track.day - Duration::days(2), &more)).await;
    track.plan().await;
    let no_lane = async || card(&track.cards(&track.coach).await, &mira)["no_lane"].as_str().unwrap().to_owned();
    assert!(no_lane().await.contains("restriction stands"), "{}", no_lane().await);
    stored(&track.coach, record(&mira, "clearance", track.day, &json!({"clears": rest}))).await;
    assert_eq!(no_lane().await, "Rested when the lanes were planned, and may run now: plan anew.");
}

#[sqlx::test]
async fn a_rating_and_a_note_count_on_the_day_of_the_clubs_clocks(pool: PgPool) {
    let track = Track::new(pool).await;
    let tag = track.admin.get("").await.header("etag").to_owned();
    track.admin.patch("", &tag, json!({"time_zone": "America/Los_Angeles"})).await.expect(200);
    let mira = track.athlete("Mira", &track.group).await;
    let day = track.day - Duration::days(3);
    let next = day + Duration::days(1);
    let body = json!({"held_on": day, "state": "held", "group_ids": [track.group]});
    let session = track.coach.post("/sessions", body).await.expect(201).id();
    // Half past six in the evening, when it is the next day in Greenwich already.
    let rated = json!({"id": Uuid::now_v7(), "athlete_id": mira, "assessed_at": format!("{next}T02:30:00Z"),
        "ratings": {"lead_leg": 2, "trail_leg": 1}, "note": "Trail knee drops"});
    track.coach.post("/assessments", json!({"assessments": [rated]})).await.expect(200);
    let cards = track.coach.get(&format!("/sessions/{session}/cards")).await.expect(200).body;
    let card = card(&cards, &mira);
    assert_eq!((&card["watch"]["criterion"], &card["notes"][0]["on"]), (&json!("trail_leg"), &json!(day)));
    let list = async |from: NaiveDate, to: NaiveDate| {
        let path = format!("/assessments?athlete_id={mira}&from={from}&to={to}");
        track.coach.get(&path).await.expect(200).body["items"].as_array().unwrap().len()
    };
    let before = day - Duration::days(1);
    assert_eq!((list(before, before).await, list(day, day).await, list(next, next).await), (0, 1, 0));
    let due = async |on: NaiveDate| {
        let path = format!("/groups/{}/board?from={}&to={on}", track.group, day - Duration::days(30));
        let board = track.coach.get(&path).await.expect(200).body;
        let rows = board["due"]["assessments"].as_array().unwrap().clone();
        let all = rows.iter().flat_map(|one| one["criteria"].as_array().unwrap().clone());
        all.filter(|one| one["criterion"] == "trail_leg").count()
    };
    assert_eq!((due(before).await, due(day).await), (1, 0), "rated on that day, and not before");
    let progress = format!("/athletes/{mira}/progression?from={}&to={day}", day - Duration::days(30));
    let progress = track.coach.get(&progress).await.expect(200).body;
    assert_eq!(progress["technique"][0]["latest"]["on"], json!(day), "{progress}");
}

#[sqlx::test]
async fn whoever_ran_came_whether_or_not_anybody_noted_it(pool: PgPool) {
    let track = Track::new(pool).await;
    let (mira, kai) = (track.athlete("Mira", &track.group).await, track.athlete("Kai", &track.group).await);
    let mut last = (String::new(), track.day);
    for back in [16, 12, 8, 4] {
        let day = track.day - Duration::days(back);
        let body = json!({"held_on": day, "state": "held", "group_ids": [track.group]});
        let session = track.coach.post("/sessions", body).await.expect(201).id();
        let present = if back == 16 { vec![&mira, &kai] } else { vec![&kai] };
        track.coach.put(&format!("/sessions/{session}/attendance"), "", json!({"present": present})).await.expect(200);
        last = (session, day);
    }
    let missed = track.cards(&track.coach).await;
    assert_eq!(missed["not_expected"][0]["athlete_id"], json!(mira));
    let (session, day) = last;
    let run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": mira, "run_at": format!("{day}T00:00:01Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 5, "intervals": {"held": 4}});
    assert_eq!(track.record(&run).await["status"], "created");
    let came = track.cards(&track.coach).await;
    assert_eq!((&came["not_expected"], card(&came, &mira)["last_time"]["on"].clone()), (&json!([]), json!(day)));
    let board = track.coach.get(&format!("/groups/{}/board", track.group)).await.expect(200).body;
    let row = board["athletes"].as_array().unwrap().iter().find(|one| one["athlete_id"] == mira.as_str()).unwrap();
    assert_eq!(row["last_seen"], json!(day), "the board says the same");
}

#[sqlx::test]
async fn a_session_and_an_athlete_can_be_noted(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let path = format!("/sessions/{}", track.session);
    let read = track.coach.get(&path).await.expect(200);
    let tag = read.header("etag").to_owned();
    track.coach.patch(&path, &tag, json!({"note": " "})).await.expect_fault(422, "/note");
    let noted = track.coach.patch(&path, &tag, json!({"note": "Lane 3 is worn at 20 m"})).await.expect(200);
    assert_eq!(noted.body["note"], "Lane 3 is worn at 20 m");
    assert_eq!(track.cards(&track.stranger).await["note"], "Lane 3 is worn at 20 m");
    let at = format!("{}T00:00:01Z", track.day);
    let note = json!({"id": Uuid::now_v7(), "athlete_id": mira, "session_id": track.session, "assessed_at": at, "note": "Brave today"});
    let empty = json!({"id": Uuid::now_v7(), "athlete_id": mira, "assessed_at": at});
    let results = track.coach.post("/assessments", json!({"assessments": [note, empty]})).await.expect(200).body;
    assert_eq!(
        (&results["results"][0]["status"], &results["results"][1]["status"]),
        (&json!("created"), &json!("rejected"))
    );
    let mut corrected = note.clone();
    corrected["id"] = json!(Uuid::now_v7());
    corrected["supersedes"] = note["id"].clone();
    corrected["note"] = json!("Brave, and tired at the end");
    track.coach.post("/assessments", json!({"assessments": [corrected]})).await.expect(200);
    let cards = track.cards(&track.coach).await;
    assert_eq!(card(&cards, &mira)["notes"].as_array().unwrap().len(), 1);
    assert_eq!(card(&cards, &mira)["notes"][0]["note"], "Brave, and tired at the end");
    let advice = track.coach.get(&format!("/athletes/{mira}/recommendation")).await.expect(200).body;
    assert_eq!(advice["decision"]["stage"], "mobility", "a note rates nothing");
}

#[sqlx::test]
async fn a_run_that_names_its_lane_takes_what_stands_there(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let plan = track.plan().await;
    let lane = &plan["lanes"][0];
    let held = lane["barriers"].as_i64().unwrap() - 1;
    let place = json!({"lane_plan_id": plan["id"], "lane": lane["lane"]});
    let run = track.run(&mira, json!({"lane": place, "intervals": {"held": held}}));
    assert_eq!(track.record(&run).await["status"], "created");
    let read = track.coach.get(&format!("/runs/{}", run["id"].as_str().unwrap())).await.expect(200).body;
    for field in ["barrier_kind", "height_m", "spacing_m", "approach_m", "barriers"] {
        assert_eq!(read[field], lane[field], "{field}");
    }
    assert_eq!(read["lane"], json!({"lane_plan_id": plan["id"], "lane": lane["lane"], "round": 1}));
    // What is said stands.
    let closer = track.run(&mira, json!({"lane": place, "spacing_m": 5.0, "barriers": 3, "intervals": {"held": 2}}));
    assert_eq!(track.record(&closer).await["status"], "created");
    let read = track.coach.get(&format!("/runs/{}", closer["id"].as_str().unwrap())).await.expect(200).body;
    assert_eq!((&read["spacing_m"], &read["barriers"], &read["height_m"]), (&json!(5.0), &json!(3), &lane["height_m"]));
    // The plan goes; what was run there is sent again all the same.
    let path = format!("/sessions/{}/lane-plans/{}", track.session, plan["id"].as_str().unwrap());
    let tag = track.coach.get(&path).await.expect(200).header("etag").to_owned();
    track.coach.delete(&path, &tag).await.expect(204);
    assert_eq!(track.record(&run).await["status"], "unchanged");
    let anew = track.record(&track.run(&mira, json!({"lane": place}))).await;
    assert_eq!(
        (&anew["status"], &anew["problem"]["errors"][0]["pointer"]),
        (&json!("rejected"), &json!("/runs/0/lane"))
    );
    let said = json!({"lane": place, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 5});
    assert_eq!(track.record(&track.run(&mira, said)).await["status"], "created", "all of it is said");
    let nothing = track.record(&track.run(&mira, json!({}))).await;
    let pointers: Vec<&str> =
        nothing["problem"]["errors"].as_array().unwrap().iter().map(|one| one["pointer"].as_str().unwrap()).collect();
    assert_eq!(pointers, ["/runs/0/barrier_kind", "/runs/0/height_m", "/runs/0/spacing_m", "/runs/0/barriers"]);
}

#[sqlx::test]
async fn a_lane_of_a_hidden_session_or_of_another_is_none(pool: PgPool) {
    let track = Track::new(pool).await;
    let (mira, zoe) = (track.athlete("Mira", &track.group).await, track.athlete("Zoe", &track.other).await);
    let private = json!({"held_on": track.day, "state": "planned", "group_ids": [track.group]});
    let private = track.coach.post("/sessions", private).await.expect(201).id();
    let wish = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80});
    let hidden = track.coach.post(&format!("/sessions/{private}/lane-plans"), wish).await.expect(201).body;
    let place = json!({"lane_plan_id": hidden["id"], "lane": hidden["lanes"][0]["lane"]});
    let unknown = json!({"lane_plan_id": Uuid::now_v7(), "lane": 1});
    let problem = async |caller: &Caller, run: Value| {
        let answer = caller.post("/runs", json!({"runs": [run]})).await.expect(200).body;
        answer["results"][0]["problem"]["errors"].clone()
    };
    let of_hidden = problem(&track.stranger, track.run(&zoe, json!({"lane": place}))).await;
    assert_eq!(of_hidden, problem(&track.stranger, track.run(&zoe, json!({"lane": unknown}))).await);
    assert_eq!(
        problem(&track.coach, track.run(&mira, json!({"lane": place}))).await,
        of_hidden,
        "a plan of another session"
    );
    let out = problem(
        &track.coach,
        track.run(
            &mira,
            json!({"lane": {"lane_plan_id": hidden["id"], "lane": 13},
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 5}),
        ),
    )
    .await;
    assert_eq!(out[0]["pointer"], "/runs/0/lane/lane");
}

#[sqlx::test]
async fn a_pushed_run_that_names_its_lane_is_filed_and_held_once_the_plan_is_gone(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let plan = track.plan().await;
    let lane = &plan["lanes"][0];
    let place = json!({"lane_plan_id": plan["id"], "lane": lane["lane"]});
    let held = json!({"held": lane["barriers"].as_i64().unwrap() - 1});
    let sent = |more: Value| {
        let mut data = track.run(&mira, json!({"lane": place, "intervals": held}));
        data.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        create("run", data)
    };
    let first = sent(json!({}));
    assert_eq!(statuses(&push(&track.coach, std::slice::from_ref(&first)).await), [201]);
    let read = track.coach.get(&format!("/runs/{}", first["id"].as_str().unwrap())).await.expect(200).body;
    assert_eq!((&read["spacing_m"], &read["lane"]["round"]), (&lane["spacing_m"], &json!(1)));
    let path = format!("/sessions/{}/lane-plans/{}", track.session, plan["id"].as_str().unwrap());
    let tag = track.coach.get(&path).await.expect(200).header("etag").to_owned();
    track.coach.delete(&path, &tag).await.expect(204);
    let whole = json!({"barrier_kind": lane["barrier_kind"], "height_m": lane["height_m"], "spacing_m": lane["spacing_m"],
        "barriers": lane["barriers"]});
    assert_eq!(statuses(&push(&track.coach, &[sent(json!({})), sent(whole)]).await), [202, 201]);
}

#[sqlx::test]
async fn a_run_keeps_the_id_of_a_plan_that_is_gone(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let plan = track.plan().await;
    let lane = &plan["lanes"][0];
    let held = json!({"held": lane["barriers"].as_i64().unwrap() - 1});
    let place = json!({"lane_plan_id": plan["id"], "lane": lane["lane"]});
    let ran = create("run", track.run(&mira, json!({"lane": place, "intervals": held})));
    assert_eq!(statuses(&push(&track.coach, std::slice::from_ref(&ran)).await), [201]);
    let path = format!("/sessions/{}/lane-plans/{}", track.session, plan["id"].as_str().unwrap());
    let tag = track.coach.get(&path).await.expect(200).header("etag").to_owned();
    track.coach.delete(&path, &tag).await.expect(204);
    let mut phone = Phone::default();
    phone.pull(&track.coach, 500).await;
    assert!(phone.ids("lane_plan").is_empty());
    let copy = &phone.copy[&("run".to_owned(), ran["id"].as_str().unwrap().to_owned())];
    assert_eq!(copy["lane"]["lane_plan_id"], plan["id"]);
}

#[sqlx::test]
async fn a_session_and_an_athlete_can_be_noted_by_push(pool: PgPool) {
    let track = Track::new(pool).await;
    let mira = track.athlete("Mira", &track.group).await;
    let rev = track.coach.get(&format!("/sessions/{}", track.session)).await.expect(200).body["rev"].clone();
    let note = json!({"athlete_id": mira, "session_id": track.session, "assessed_at": format!("{}T00:00:01Z", track.day),
        "note": "Brave today"});
    let edit = item("PATCH", "session", &track.session, json!({"if_match": rev, "data": {"note": "Lane 3 is worn"}}));
    assert_eq!(statuses(&push(&track.coach, &[edit, create("assessment", note)]).await), [200, 201]);
    let cards = track.cards(&track.coach).await;
    assert_eq!(
        (&cards["note"], &card(&cards, &mira)["notes"][0]["note"]),
        (&json!("Lane 3 is worn"), &json!("Brave today"))
    );
}
