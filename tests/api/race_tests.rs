//! Race tests from entries over heats to results and personal bests.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp, walk};
use crate::wellbeing::restrict;

pub struct Squad {
    pub admin: Caller,
    pub coach: Caller,
    pub stranger: Caller,
    pub group: String,
    other_group: String,
    pub athletes: Vec<String>,
    pub hidden: String,
    pub session: String,
    pub day: NaiveDate,
}

async fn athlete(admin: &Caller, name: &str, group: &str, sprint_50m_s: Option<f64>, day: NaiveDate) -> String {
    let measurements: Vec<Value> =
        sprint_50m_s.iter().map(|s| json!({"kind": "sprint_50m_s", "value": s, "measured_on": day})).collect();
    let body = json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice",
        "measurements": measurements});
    admin.post("/athletes", body).await.expect(201).id()
}

pub async fn squad(pool: PgPool) -> Squad {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (group, other_group) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&group]).await;
    let stranger = admin.member("Other Coach", "coach", &[&other_group]).await;
    let day = Utc::now().date_naive() - Duration::days(3);
    let mut athletes = Vec::new();
    for (n, sprint) in [Some(7.2), Some(7.4), Some(7.9), Some(8.4), None].into_iter().enumerate() {
        athletes.push(athlete(&admin, &format!("Athlete {n}"), &group, sprint, day).await);
    }
    let hidden = athlete(&admin, "Hidden", &other_group, Some(7.6), day).await;
    let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 110, "lanes": 3});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let session = json!({"held_on": day, "state": "held", "group_ids": [group, other_group], "venue_id": venue});
    let session = admin.post("/sessions", session).await.expect(201).id();
    Squad { admin, coach, stranger, group, other_group, athletes, hidden, session, day }
}

pub fn with(mut body: Value, change: &Value) -> Value {
    body.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
    body
}

impl Squad {
    pub fn race(&self) -> Value {
        json!({"session_id": self.session, "name": "Autumn test", "dimensions": {"race_distance_m": 60, "barriers": 6,
            "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}})
    }

    /// A race test with these athletes entered: its path and tag.
    pub async fn entered(&self, athletes: &[String]) -> (String, String) {
        let created = self.coach.post("/race-tests", self.race()).await.expect(201);
        let path = format!("/race-tests/{}", created.id());
        let entries = format!("{path}/entries");
        let set = self
            .coach
            .put(&entries, created.header("etag"), json!({"athlete_ids": athletes, "coach_accepts": athletes}))
            .await;
        let set = set.expect(200);
        (path, set.header("etag").to_owned())
    }

    pub async fn draw(&self, path: &str, tag: &str, body: Value) -> Answer {
        let path = self.coach.path(&format!("{path}/heats"));
        self.coach.call(Method::POST, &path, &[("if-match", tag)], Some(body)).await
    }

    pub async fn record(&self, path: &str, results: &[Value]) -> Vec<String> {
        let answer = self.coach.post(&format!("{path}/results"), json!({"results": results})).await.expect(200);
        let status = |one: &Value| one["status"].as_str().unwrap().to_owned();
        answer.body["results"].as_array().unwrap().iter().map(status).collect()
    }

    pub async fn results(&self, path: &str) -> Value {
        self.coach.get(&format!("{path}/results")).await.expect(200).body
    }
}

pub fn finish(athlete: &str, time: f64) -> Value {
    json!({"id": Uuid::now_v7(), "athlete_id": athlete, "status": "finished", "final_time_s": time})
}

pub fn codes(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect()
}

/// The athletes of each heat, as shown.
pub fn shown(heats: &Value) -> Vec<Vec<(i64, Option<String>)>> {
    let lane = |lane: &Value| (lane["lane"].as_i64().unwrap(), lane["athlete_id"].as_str().map(str::to_owned));
    heats["heats"]
        .as_array()
        .unwrap()
        .iter()
        .map(|heat| heat["lanes"].as_array().unwrap().iter().map(lane).collect())
        .collect()
}

#[sqlx::test]
async fn a_race_test_is_planned_read_changed_and_deleted(pool: PgPool) {
    let squad = squad(pool).await;
    let id = Uuid::now_v7();
    let body = json!({"id": id, "session_id": squad.session,
        "spec": {"ruleset": "WA", "event_code": "100H", "age_group": "U18", "sex": "F"}});
    let created = squad.coach.post("/race-tests", body.clone()).await.expect(201);
    let spec = &created.body["specification"];
    // World Athletics, U18 women over 100 m.
    assert_eq!((&spec["height_m"], &spec["spacing_m"], &spec["run_in_m"]), (&json!(0.762), &json!(8.5), &json!(10.5)));
    assert_eq!((&created.body["name"], &created.body["state"]), (&json!("100H"), &json!("planned")));
    assert_eq!(created.body["held_on"], json!(squad.day));
    squad.coach.post("/race-tests", body.clone()).await.expect(200);
    squad.coach.post("/race-tests", with(body, &json!({"name": "Other"}))).await.expect(409);
    let path = format!("/race-tests/{id}");
    squad.coach.patch(&path, "", json!({"state": "held"})).await.expect(428);
    squad.coach.patch(&path, "\"1\"", json!({"state": "held"})).await.expect(412);
    let changed =
        squad.coach.patch(&path, created.header("etag"), json!({"state": "held", "timing_method": "gate"})).await;
    let changed = changed.expect(200);
    assert_eq!((&changed.body["state"], &changed.body["timing_method"]), (&json!("held"), &json!("gate")));
    let read = squad.stranger.get(&path).await.expect(200);
    assert_eq!(read.body, changed.body, "the session is of both groups");
    let same = [("if-none-match", changed.header("etag"))];
    squad.coach.call(Method::GET, &squad.coach.path(&path), &same, None).await.expect(304);
    let of_session = squad.coach.get(&format!("/sessions/{}", squad.session)).await.expect(200);
    squad.admin.delete(&format!("/sessions/{}", squad.session), of_session.header("etag")).await.expect(409);
    squad.coach.delete(&path, changed.header("etag")).await.expect(204);
    squad.coach.get(&path).await.expect(404);
}

#[sqlx::test]
async fn what_a_race_test_cannot_be_is_refused_field_by_field(pool: PgPool) {
    let squad = squad(pool).await;
    let own = squad.race()["dimensions"].clone();
    let post = async |change: Value| squad.coach.post("/race-tests", with(squad.race(), &change)).await;
    post(json!({"session_id": Uuid::now_v7()})).await.expect_fault(422, "/session_id");
    post(json!({"dimensions": null})).await.expect_fault(422, "/spec");
    post(json!({"spec": {"event_code": "75H", "age_group": "U15"}})).await.expect_fault(422, "/spec");
    post(json!({"dimensions": with(own.clone(), &json!({"spacing_m": 11}))}))
        .await
        .expect_fault(422, "/dimensions/race_distance_m");
    post(json!({"dimensions": with(own, &json!({"height_m": 2}))})).await.expect_fault(422, "/dimensions/height_m");
    post(json!({"timing_method": "eye"})).await.expect_fault(422, "/timing_method");
    let named = json!({"dimensions": null, "spec": {"ruleset": "WA", "event_code": "100H", "age_group": "NOBODY"}});
    post(named).await.expect_fault(422, "/spec");
}

#[sqlx::test]
async fn race_tests_are_listed_latest_first(pool: PgPool) {
    let squad = squad(pool).await;
    for n in 0..4 {
        let group = if n % 2 == 0 { &squad.group } else { &squad.other_group };
        let session = json!({"held_on": squad.day - Duration::days(n), "state": "held", "group_ids": [group]});
        let session = squad.admin.post("/sessions", session).await.expect(201).id();
        squad.admin.post("/race-tests", with(squad.race(), &json!({"session_id": session}))).await.expect(201);
    }
    assert_eq!(walk(&squad.admin, "/race-tests", 3, async |_| {}).await.len(), 4);
    let seen = squad.coach.get("/race-tests").await.expect(200);
    let days: Vec<&str> =
        seen.body["items"].as_array().unwrap().iter().map(|one| one["held_on"].as_str().unwrap()).collect();
    assert_eq!(days.len(), 2, "only sessions of the own group");
    assert!(days[0] > days[1]);
    let one = squad.coach.get(&format!("/race-tests?to={}", days[1])).await.expect(200);
    assert_eq!(one.body["items"].as_array().unwrap().len(), 1);
}

#[sqlx::test]
async fn entries_of_other_groups_stay_and_a_restricted_athlete_is_refused(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.entered(&squad.athletes[..2]).await;
    let entries = format!("{path}/entries");
    let put = async |tag: &str, ids: Vec<&String>| {
        squad.coach.put(&entries, tag, json!({"athlete_ids": ids, "coach_accepts": ids})).await
    };
    put("", vec![&squad.athletes[0]]).await.expect(428);
    put("\"1\"", vec![&squad.athletes[0]]).await.expect(412);
    put(&tag, vec![&squad.hidden]).await.expect_fault(422, "/athlete_ids/0");
    put(&tag, vec![&squad.athletes[0], &squad.athletes[0]]).await.expect_fault(422, "/athlete_ids/1");
    let theirs = json!({"athlete_ids": [squad.hidden], "coach_accepts": [squad.hidden]});
    // The list that a coach replaces is the one that they read: another's tag stands for other people.
    squad.stranger.put(&entries, &tag, theirs.clone()).await.expect(412);
    let own = squad.stranger.get(&path).await.header("etag").to_owned();
    let set = squad.stranger.put(&entries, &own, theirs).await.expect(200);
    assert_eq!(set.body["athlete_ids"], json!([squad.hidden]), "a coach sees the own group only");
    let fresh = squad.coach.get(&path).await.header("etag").to_owned();
    let again = put(&fresh, vec![&squad.athletes[0]]).await.expect(200);
    assert_eq!(again.body["athlete_ids"], json!([squad.athletes[0]]));
    let all = squad.admin.get(&path).await.expect(200);
    assert_eq!(all.body["athlete_ids"].as_array().unwrap().len(), 2, "the hidden one stays");
    restrict(&squad.admin, &squad.athletes[1], squad.day, squad.day + Duration::days(10)).await;
    let refused = put(again.header("etag"), vec![&squad.athletes[0], &squad.athletes[1]]).await;
    let refused = refused.expect_fault(422, "/athlete_ids/1");
    assert_eq!(refused.body["errors"][0]["code"], "restricted");
}

#[sqlx::test]
async fn heats_are_balanced_drawn_and_repeated_from_their_seed(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.entered(&squad.athletes).await;
    squad.coach.get(&format!("{path}/heats")).await.expect(404);
    squad.draw(&path, "\"1\"", json!({})).await.expect(412);
    squad.draw(&path, &tag, json!({"seeding": "odd"})).await.expect_fault(422, "/seeding");
    squad.draw(&path, &tag, json!({"heats": 1})).await.expect_fault(422, "/heats");
    let pin = json!([{"athlete_id": squad.athletes[0], "heat": 3}]);
    squad.draw(&path, &tag, json!({"pins": pin})).await.expect_fault(422, "/pins/0");
    let hidden = json!([{"athlete_id": squad.hidden, "heat": 1}]);
    squad.draw(&path, &tag, json!({"pins": hidden})).await.expect_fault(422, "/pins/0/athlete_id");
    let ask = json!({"seed": 7, "handicap": true, "pins": [{"athlete_id": squad.athletes[0], "heat": 2, "lane": 1}],
        "apart": [[squad.athletes[2], squad.athletes[3]]]});
    let drawn = squad.draw(&path, &tag, ask.clone()).await.expect(200);
    let heats = shown(&drawn.body);
    let mut sizes: Vec<usize> = heats.iter().map(Vec::len).collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [2, 3], "three lanes of the venue");
    assert!(heats[1].contains(&(1, Some(squad.athletes[0].clone()))), "the pin holds");
    let together = |heat: &Vec<(i64, Option<String>)>| {
        squad.athletes[2..4].iter().all(|one| heat.iter().any(|(_, id)| id.as_ref() == Some(one)))
    };
    assert!(!heats.iter().any(together));
    assert!(drawn.body["lane_rule"].as_str().unwrap().contains("World Athletics"));
    assert!(drawn.body["cautions"].as_array().unwrap().len() >= 10);
    for heat in drawn.body["heats"].as_array().unwrap() {
        let lanes = heat["lanes"].as_array().unwrap();
        let known: Vec<f64> = lanes.iter().filter_map(|lane| lane["expected"]["time_s"].as_f64()).collect();
        let slowest = known.iter().copied().fold(0.0, f64::max);
        for lane in lanes {
            match (lane["expected"]["time_s"].as_f64(), lane["start_offset_s"].as_f64()) {
                (Some(time), Some(offset)) => assert!((time + offset - slowest).abs() < 1e-6, "all finish together"),
                (Some(_), None) => assert_eq!(known.len(), 1),
                (None, offset) => {
                    assert_eq!(offset, None, "no handicap without an expected time");
                    assert!(lane["handicap_note"].as_str().unwrap().starts_with("No expected time"));
                }
            }
        }
    }
    let again = squad.draw(&path, drawn.header("etag"), ask).await.expect(200);
    assert_eq!(shown(&again.body), heats, "the same seed, the same draw");
    let read = squad.coach.get(&format!("{path}/heats")).await.expect(200);
    assert_eq!(read.body, again.body);
    let file = squad.coach.path(&format!("{path}/heats"));
    let file = squad.coach.call(Method::GET, &file, &[("accept", "text/csv")], None).await.expect(200);
    assert!(file.header("content-type").starts_with("text/csv"));
    let theirs = squad.stranger.get(&format!("{path}/heats")).await.expect(200);
    assert!(shown(&theirs.body).concat().iter().all(|(_, id)| id.is_none()), "another group's coach sees lanes only");
    let made_up = squad.draw(&path, again.header("etag"), json!({})).await.expect(200);
    assert!(made_up.body["request"]["seed"].is_u64(), "a seed that was made up is shown");
}

#[sqlx::test]
async fn every_other_lane_stays_free_and_a_new_restriction_rests(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.entered(&squad.athletes[..4]).await;
    restrict(&squad.admin, &squad.athletes[1], squad.day, squad.day).await;
    let ask = json!({"lanes": 6, "every_other_lane": true, "seeding": "like_times", "lane_draw": "lots"});
    let drawn = squad.draw(&path, &tag, ask).await.expect(200);
    let lanes: Vec<i64> = shown(&drawn.body).concat().iter().map(|(lane, _)| *lane).collect();
    assert_eq!(lanes, [1, 3, 5]);
    assert_eq!(drawn.body["not_placed"][0]["athlete_id"], json!(squad.athletes[1]));
}

#[sqlx::test]
async fn results_are_recorded_once_corrected_and_withdrawn(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, _) = squad.entered(&squad.athletes).await;
    let [first, second] = [finish(&squad.athletes[0], 11.2), finish(&squad.athletes[1], 11.5)];
    let broken = with(finish(&squad.athletes[2], 12.0), &json!({"status": "did_not_start"}));
    let foreign = finish(&squad.hidden, 12.0);
    let sent = [first.clone(), second.clone(), broken, foreign];
    assert_eq!(squad.record(&path, &sent).await, ["created", "created", "rejected", "rejected"]);
    let other = with(first.clone(), &json!({"final_time_s": 10.0}));
    assert_eq!(squad.record(&path, &[first.clone(), other]).await, ["unchanged", "rejected"]);
    let better = with(finish(&squad.athletes[0], 11.3), &json!({"supersedes": first["id"]}));
    assert_eq!(squad.record(&path, std::slice::from_ref(&better)).await, ["created"]);
    let late = with(finish(&squad.athletes[0], 11.4), &json!({"supersedes": first["id"]}));
    let wrong = with(finish(&squad.athletes[1], 11.4), &json!({"supersedes": better["id"]}));
    assert_eq!(squad.record(&path, &[late, wrong]).await, ["held", "rejected"]);
    let gone = with(finish(&squad.athletes[1], 11.5), &json!({"supersedes": second["id"], "void": true}));
    assert_eq!(squad.record(&path, &[gone]).await, ["created"]);
    let results = squad.results(&path).await;
    let left = results["results"].as_array().unwrap();
    assert_eq!(left.len(), 1);
    assert_eq!((&left[0]["id"], &left[0]["final_time_s"]), (&better["id"], &json!(11.3)));
    let third = finish(&squad.athletes[2], 12.0);
    let fixed = with(finish(&squad.athletes[2], 12.1), &json!({"supersedes": third["id"]}));
    assert_eq!(squad.record(&path, &[third, fixed]).await, ["created", "created"]);
    let read = squad.coach.get(&path).await.expect(200);
    squad.coach.delete(&path, read.header("etag")).await.expect(409);
}

#[sqlx::test]
async fn results_are_placed_compared_with_the_best_and_with_the_schedule(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.entered(&squad.athletes).await;
    let [a, b, c] = [0, 1, 2].map(|n| squad.athletes[n].as_str());
    let drawn = squad.draw(&path, &tag, json!({"lanes": 5, "handicap": true, "seed": 1})).await.expect(200);
    let of = |athlete: &str| {
        let lanes = drawn.body["heats"][0]["lanes"].as_array().unwrap();
        lanes.iter().find(|lane| lane["athlete_id"] == athlete).unwrap().clone()
    };
    let (fast, slow) = (of(a), of(c));
    let expected = slow["expected"]["time_s"].as_f64().unwrap();
    // The fast one wins on time; the slow one, half a second better than expected, wins across the line.
    let times = json!([2.6, 3.8, 5.0, null, 7.4, 8.6]);
    let one =
        with(finish(a, fast["expected"]["time_s"].as_f64().unwrap()), &json!({"heat": 1, "touchdown_times_s": times}));
    let two = with(finish(c, ((expected - 0.5) * 1e3).round() / 1e3), &json!({"heat": 1}));
    let out =
        json!({"id": Uuid::now_v7(), "athlete_id": b, "heat": 1, "status": "did_not_finish", "fell": true, "hits": 2});
    assert_eq!(squad.record(&path, &[one, two, out]).await, ["created"; 3]);
    let results = squad.results(&path).await;
    let rows = results["results"].as_array().unwrap();
    let pick = |name: &str| rows.iter().map(|row| row[name].clone()).collect::<Vec<_>>();
    assert_eq!(pick("athlete_id"), [json!(a), json!(c), json!(b)]);
    assert_eq!(pick("place"), [json!(1), json!(2), Value::Null]);
    assert_eq!(pick("heat_place"), [json!(1), json!(2), Value::Null]);
    assert_eq!(pick("handicap_place"), [json!(2), json!(1), Value::Null]);
    assert_eq!(rows[1]["gap_to_expected_s"], json!(-0.5));
    assert_eq!(rows[0]["against_best"], json!({"kind": "first", "personal_best": true}));
    let splits = rows[0]["splits"].as_array().unwrap();
    assert_eq!(splits.len(), 6);
    assert_eq!((splits[3]["time_s"].clone(), splits[3]["difference_s"].clone()), (Value::Null, Value::Null));
    let gap = splits[5]["time_s"].as_f64().unwrap() - splits[5]["scheduled_s"].as_f64().unwrap();
    assert!((gap - splits[5]["difference_s"].as_f64().unwrap()).abs() < 2e-3);
    let codes: Vec<&str> =
        results["cautions"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"after_fall") && codes.contains(&"supports_coach"));
    // A fall in a race counts like one in training until a coach clears the return.
    let (path, tag) = squad.entered(&squad.athletes).await;
    let next = squad.draw(&path, &tag, json!({"lanes": 5, "seed": 1})).await.expect(200);
    let lanes = next.body["heats"][0]["lanes"].as_array().unwrap();
    let warned = |lane: &Value| lane["cautions"].to_string().contains("after_fall");
    for lane in lanes {
        assert_eq!(warned(lane), lane["athlete_id"] == b, "{lane}");
    }
}

#[sqlx::test]
async fn personal_bests_go_by_course_and_timing_and_feed_the_next_heats(pool: PgPool) {
    let squad = squad(pool).await;
    let me = &squad.athletes[0];
    let (path, _) = squad.entered(&squad.athletes[..1]).await;
    let gate = with(finish(me, 11.44), &json!({"timing_method": "gate"}));
    squad.record(&path, &[finish(me, 11.2), gate]).await;
    let bests = squad.coach.get(&format!("/athletes/{me}/personal-bests")).await.expect(200);
    let items = bests.body["items"].as_array().unwrap();
    let found: Vec<(&Value, &Value)> = items.iter().map(|one| (&one["timing_class"], &one["final_time_s"])).collect();
    assert_eq!(found, [(&json!("hand"), &json!(11.2)), (&json!("electronic"), &json!(11.44))]);
    squad.stranger.get(&format!("/athletes/{me}/personal-bests")).await.expect(404);
    let (second, tag) = squad.entered(&squad.athletes[..1]).await;
    let drawn = squad.draw(&second, &tag, json!({})).await.expect(200);
    let expected = &drawn.body["heats"][0]["lanes"][0]["expected"];
    assert_eq!((&expected["basis"], &expected["time_s"]), (&json!("recent_tests"), &json!(11.2)));
    squad.record(&second, &[finish(me, 11.05)]).await;
    let results = squad.results(&second).await;
    let best = &results["results"][0]["against_best"];
    assert_eq!(*best, json!({"kind": "improved", "personal_best": true, "difference_s": -0.15}));
}

#[sqlx::test]
async fn touchdown_times_of_runs_give_an_expected_time(pool: PgPool) {
    let squad = squad(pool).await;
    let run = json!({"id": Uuid::now_v7(), "session_id": squad.session, "athlete_id": squad.athletes[4],
        "run_at": format!("{}T17:00:00Z", squad.day), "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 7,
        "approach_m": 11.5, "barriers": 6, "hits": 0, "fell": true, "intervals": {"held": 5},
        "touchdown_times_s": [2.6, 3.8, 5.0, 6.2, 7.4, 8.6], "timing_method": "video", "video_fps": 60});
    let steady = with(run.clone(), &json!({"id": Uuid::now_v7(), "fell": false}));
    squad.coach.post("/runs", json!({"runs": [run, steady]})).await.expect(200);
    let (path, tag) = squad.entered(&squad.athletes[4..]).await;
    let drawn = squad.draw(&path, &tag, json!({})).await.expect(200);
    let lane = &drawn.body["heats"][0]["lanes"][0];
    assert_eq!(lane["expected"]["basis"], "rhythm");
    let time = lane["expected"]["time_s"].as_f64().unwrap();
    assert!((10.0..11.5).contains(&time), "8.6 s to the last touchdown and a run-in of 13.5 m: {time}");
    assert!(codes(&lane["cautions"]).contains(&"after_fall"), "a fall that no coach cleared goes with the athlete");
}

#[sqlx::test]
async fn a_deleted_athlete_leaves_the_entries_and_the_words_go(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.entered(&squad.athletes[..2]).await;
    squad.draw(&path, &tag, json!({})).await.expect(200);
    squad.record(&path, &[with(finish(&squad.athletes[0], 11.2), &json!({"note": "Sore knee"}))]).await;
    let person = format!("/athletes/{}", squad.athletes[0]);
    let read = squad.admin.get(&person).await.expect(200);
    squad.admin.delete(&person, read.header("etag")).await.expect(204);
    let left = squad.coach.get(&path).await.expect(200);
    assert_eq!(left.body["athlete_ids"], json!([squad.athletes[1]]));
    assert_ne!(left.header("etag"), tag, "phones learn of it");
    assert_eq!(squad.results(&path).await["results"], json!([]));
    let heats = squad.coach.get(&format!("{path}/heats")).await.expect(200);
    assert!(!heats.body.to_string().contains("Athlete 0"));
}
