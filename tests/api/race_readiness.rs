//! A race test asks first: who is ready, who is entered all the same, who is not; and no split costs a final time.

use chrono::Duration;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::race_tests::{Squad, codes, finish, shown, squad, with};
use crate::sync_pull::Phone;
use crate::sync_push::{create, push, statuses};
use crate::unusable::{REMEDY, TEXT, misdate};
use crate::wellbeing::restrict;

impl Squad {
    /// The first athlete, rated secure, with two sessions over low barriers of 0.50 m, 6.50 m apart, all held.
    async fn trained(&self) -> &str {
        let stock = json!({"barrier_kind": "low_barrier", "heights_m": [0.5], "count": 12});
        self.admin.post("/equipment", stock).await.expect(201);
        let rating = json!({"id": Uuid::now_v7(), "athlete_id": self.athletes[0],
            "assessed_at": format!("{}T17:00:00Z", self.day), "ratings": {"lead_leg": 2, "trail_leg": 2, "walkover": 2}});
        self.coach.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
        let earlier = self.day - Duration::days(4);
        let body = json!({"held_on": earlier, "state": "held", "group_ids": [self.group]});
        let before = self.admin.post("/sessions", body).await.expect(201).id();
        let run = |session: &str, day| {
            json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": self.athletes[0],
                "run_at": format!("{day}T17:00:00Z"), "barrier_kind": "low_barrier", "height_m": 0.5, "spacing_m": 6.5,
                "barriers": 6, "hits": 0, "intervals": {"held": 5}})
        };
        let runs: Vec<Value> = (0..4).flat_map(|_| [run(&before, earlier), run(&self.session, self.day)]).collect();
        self.coach.post("/runs", json!({"runs": runs})).await.expect(200);
        &self.athletes[0]
    }

    /// A race test over what `trained` runs: its path and tag.
    async fn low_race(&self) -> (String, String) {
        let dimensions = json!({"race_distance_m": 60, "barriers": 6, "height_m": 0.5, "approach_m": 11.5,
            "spacing_m": 6.5, "discounted": true});
        let created = self.coach.post("/race-tests", with(self.race(), &json!({"dimensions": dimensions}))).await;
        let created = created.expect(201);
        (format!("/race-tests/{}", created.id()), created.header("etag").to_owned())
    }
}

#[sqlx::test]
async fn who_is_ready_is_entered_and_who_is_not_needs_the_coach_s_word(pool: PgPool) {
    let squad = squad(pool).await;
    let ready = squad.trained().await.to_owned();
    let (path, tag) = squad.low_race().await;
    let entries = format!("{path}/entries");
    let both = json!({"athlete_ids": [ready, squad.athletes[1]]});
    let refused = squad.coach.put(&entries, &tag, both.clone()).await.expect_fault(422, "/athlete_ids/1");
    let fault = &refused.body["errors"][0];
    assert_eq!((refused.faults().len(), &fault["code"]), (1, &json!("not_ready")), "{}", refused.body);
    let detail = fault["detail"].as_str().unwrap();
    assert!(detail.contains("coach_accepts") && detail.contains("lead leg"), "{detail}");
    let foreign = with(both.clone(), &json!({"coach_accepts": [squad.hidden]}));
    squad.coach.put(&entries, &tag, foreign).await.expect_fault(422, "/coach_accepts/0");
    let accepted = with(both, &json!({"coach_accepts": [ready, squad.athletes[1]]}));
    let set = squad.coach.put(&entries, &tag, accepted).await.expect(200);
    let entry = |id: &str| {
        let all = set.body["entries"].as_array().unwrap();
        all.iter().find(|one| one["athlete_id"] == id).unwrap().clone()
    };
    let (first, second) = (entry(&ready), entry(&squad.athletes[1]));
    assert_eq!((&first["coach_accepts"], &second["coach_accepts"]), (&json!(false), &json!(true)));
    let (first, second) = (&first["readiness"], &second["readiness"]);
    assert_eq!((&first["ready"], &first["last"]["height_m"]), (&json!(true), &json!(0.5)), "{first}");
    let hold = first["hold_mean"].as_f64().unwrap();
    assert!(hold >= 0.8 && first.get("wall").is_none());
    let all = first["hold_all"].as_f64().unwrap();
    assert!(hold.powi(5) - 1e-3 <= all && all < hold, "all five intervals: {all}");
    assert_eq!((&second["ready"], &second["stage"]), (&json!(false), &json!("mobility")), "{second}");
    assert_eq!(second["wall"]["code"], "kind_above_advice");
    assert!(codes(&second["missing"]).contains(&"rating") && codes(&second["cautions"]).contains(&"not_ready"));
    assert!(!codes(&first["cautions"]).contains(&"not_ready"));
    assert!(squad.stranger.get(&path).await.expect(200).body["entries"].as_array().unwrap().is_empty());

    // Heats, start list and phones repeat it.
    let drawn = squad.draw(&path, set.header("etag"), json!({"seed": 1})).await.expect(200);
    let lanes = drawn.body["heats"][0]["lanes"].as_array().unwrap();
    let lane = lanes.iter().find(|one| one["athlete_id"] == *squad.athletes[1]).unwrap();
    assert_eq!(lane["coach_accepts"], true);
    assert!(codes(&lane["cautions"]).contains(&"not_ready") && codes(&drawn.body["cautions"]).contains(&"not_ready"));
    let file = squad.coach.path(&format!("{path}/heats"));
    let file = squad.coach.call(Method::GET, &file, &[("accept", "text/csv")], None).await.expect(200);
    let text = String::from_utf8(file.bytes).unwrap();
    assert!(text.contains("on a coach's word only"), "{text}");
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let record = phone.copy.values().find(|one| one["athlete_id"] == *squad.athletes[1] && one.get("lane").is_some());
    let record = record.unwrap();
    assert_eq!((&record["coach_accepts"], &record["readiness"]["ready"]), (&json!(true), &json!(false)), "{record}");
}

#[sqlx::test]
async fn the_surface_that_counts_for_a_race_is_that_of_its_own_session(pool: PgPool) {
    let squad = squad(pool).await;
    let ready = squad.trained().await.to_owned();
    let (path, tag) = squad.low_race().await;
    let elsewhere = json!({"held_on": squad.day, "state": "planned", "group_ids": [squad.group], "surface": "wet"});
    squad.admin.post("/sessions", elsewhere).await.expect(201);
    let entries = format!("{path}/entries");
    let entered = json!({"athlete_ids": [ready]});
    let set = squad.coach.put(&entries, &tag, entered.clone()).await.expect(200);
    let readiness = &set.body["entries"][0]["readiness"];
    assert_eq!(readiness["ready"], true, "{readiness}");
    assert!(!codes(&readiness["cautions"]).contains(&"wet_surface"), "wet elsewhere: {readiness}");
    let session = format!("/sessions/{}", squad.session);
    let version = squad.admin.get(&session).await.header("etag").to_owned();
    squad.admin.patch(&session, &version, json!({"surface": "wet"})).await.expect(200);
    let tag = squad.coach.get(&path).await.expect(200).header("etag").to_owned();
    let drawn = squad.draw(&path, &tag, json!({"seed": 1})).await;
    assert!(drawn.status == 409 || codes(&drawn.body["cautions"]).contains(&"wet_surface"), "{}", drawn.body);
}

#[sqlx::test]
async fn a_record_that_cannot_be_used_keeps_its_athlete_out_of_the_heats_and_nobody_else(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, _) = squad.entered(&squad.athletes[..3]).await;
    let entries = format!("{path}/entries");
    let tag = squad.stranger.get(&path).await.expect(200).header("etag").to_owned();
    let hidden = json!({"athlete_ids": [squad.hidden], "coach_accepts": [squad.hidden]});
    squad.stranger.put(&entries, &tag, hidden).await.expect(200);
    misdate(&squad.coach, &squad.athletes[0]).await;
    misdate(&squad.stranger, &squad.hidden).await;
    let tag = squad.coach.get(&path).await.expect(200).header("etag").to_owned();
    let drawn = squad.draw(&path, &tag, json!({"seed": 1})).await.expect(200);
    let placed: usize = shown(&drawn.body).iter().map(Vec::len).sum();
    assert_eq!(placed, 2, "{}", drawn.body);
    let [left_out] = drawn.body["not_placed"].as_array().unwrap().as_slice() else { panic!("{}", drawn.body) };
    assert_eq!(left_out["athlete_id"], json!(squad.athletes[0]));
    let why = left_out["explanation"].as_str().unwrap();
    assert!(why.contains(TEXT) && why.contains(REMEDY), "{why}");
    assert!(!drawn.body.to_string().contains(&squad.hidden), "{}", drawn.body);
    let file = squad.coach.path(&format!("{path}/heats"));
    let page = squad.coach.call(Method::GET, &file, &[("accept", "text/html")], None).await.expect(200);
    assert!(String::from_utf8(page.bytes).unwrap().contains(TEXT));
    let entrants = squad.coach.get(&path).await.expect(200);
    let entrant = |id: &str| {
        let all = entrants.body["entries"].as_array().unwrap();
        all.iter().find(|one| one["athlete_id"] == id).unwrap().clone()
    };
    let first = entrant(&squad.athletes[0]);
    assert_eq!((&first["unusable"]["code"], first.get("readiness")), (&json!("first_run"), None), "{first}");
    assert!(entrant(&squad.athletes[1]).get("unusable").is_none());
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let record =
        phone.copy.values().find(|one| one["athlete_id"] == *squad.athletes[0] && one.get("race_test_id").is_some());
    assert_eq!(record.unwrap()["unusable"], first["unusable"]);

    // Who comes in is looked at first.
    misdate(&squad.coach, &squad.athletes[3]).await;
    let four = json!({"athlete_ids": squad.athletes[..4], "coach_accepts": squad.athletes[..4]});
    let refused = squad.coach.put(&entries, entrants.header("etag"), four).await.expect_fault(422, "/athlete_ids/3");
    let fault = &refused.body["errors"][0];
    assert_eq!(fault["code"], "unusable_record");
    assert!(fault["detail"].as_str().unwrap().contains(REMEDY), "{fault}");
}

#[sqlx::test]
async fn what_is_reported_after_the_draw_stands_in_heats_start_list_entries_and_feed(pool: PgPool) {
    let squad = squad(pool).await;
    let ready = squad.trained().await.to_owned();
    let (path, tag) = squad.low_race().await;
    let entered = json!({"athlete_ids": [ready, squad.athletes[1]], "coach_accepts": [squad.athletes[1]]});
    let set = squad.coach.put(&format!("{path}/entries"), &tag, entered).await.expect(200);
    let drawn = squad.draw(&path, set.header("etag"), json!({"seed": 1})).await.expect(200);
    let lane_of = |body: &Value, id: &str| {
        let lanes = body["heats"].as_array().unwrap().iter().flat_map(|heat| heat["lanes"].as_array().unwrap());
        lanes.clone().find(|one| one["athlete_id"] == *id).unwrap().clone()
    };
    assert!(lane_of(&drawn.body, &ready).get("overtaken").is_none());
    let mut copy = Phone::default();
    copy.pull(&squad.coach, 500).await;

    for athlete in [&ready, &squad.athletes[1]] {
        restrict(&squad.admin, athlete, squad.day, squad.day).await;
    }
    let heats = squad.coach.get(&format!("{path}/heats")).await.expect(200).body;
    for athlete in [&ready, &squad.athletes[1]] {
        let lane = lane_of(&heats, athlete);
        assert_eq!(
            (&lane["overtaken"], &lane["not_permitted"]["code"]),
            (&json!(true), &json!("restricted")),
            "{lane}"
        );
        assert!(!codes(&lane["cautions"]).contains(&"not_ready"), "no word opens it: {lane}");
    }
    let list = squad.coach.path(&format!("{path}/heats"));
    let list = squad.coach.call(Method::GET, &list, &[("accept", "text/csv")], None).await.expect(200);
    let text = String::from_utf8(list.bytes).unwrap();
    assert_eq!(text.matches("does not run: ").count(), 2, "{text}");
    let entries = squad.coach.get(&path).await.expect(200).body["entries"].clone();
    assert!(entries.as_array().unwrap().iter().all(|one| one["readiness"]["ready"] == false), "{entries}");
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let record = phone.copy.values().find(|one| one["athlete_id"] == *ready && one.get("lane").is_some()).unwrap();
    assert_eq!(record["readiness"]["overtaken"], true, "{record}");
    // So has a phone that had them before.
    copy.pull(&squad.coach, 500).await;
    assert_eq!(copy.copy, phone.copy);

    // Drawn anew, nobody of them can run.
    let tag = squad.coach.get(&path).await.expect(200).header("etag").to_owned();
    squad.draw(&path, &tag, json!({"seed": 1})).await.expect(409);
}

#[sqlx::test]
async fn who_is_no_longer_ready_by_the_draw_is_placed_only_when_a_coach_accepts_it(pool: PgPool) {
    let squad = squad(pool).await;
    let ready = squad.trained().await.to_owned();
    let (path, tag) = squad.low_race().await;
    let entries = format!("{path}/entries");
    let accepted = json!({"athlete_ids": [ready, squad.athletes[1]], "coach_accepts": [squad.athletes[1]]});
    let set = squad.coach.put(&entries, &tag, accepted.clone()).await.expect(200);
    let same = squad.coach.put(&entries, set.header("etag"), accepted).await.expect(200);
    assert_eq!(same.header("etag"), set.header("etag"), "the same list changes nothing");
    let rating = json!({"id": Uuid::now_v7(), "athlete_id": ready, "assessed_at": format!("{}T20:00:00Z", squad.day),
        "ratings": {"lead_leg": 1}});
    squad.coach.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
    let drawn = squad.draw(&path, same.header("etag"), json!({"seed": 1})).await.expect(200);
    assert_eq!(shown(&drawn.body).concat().len(), 1, "the accepted one runs");
    let waiting = &drawn.body["not_placed"][0];
    assert_eq!(waiting["athlete_id"], json!(ready));
    assert!(waiting["explanation"].as_str().unwrap().contains("coach_accepts"), "{waiting}");
    let both = json!({"athlete_ids": [ready, squad.athletes[1]], "coach_accepts": [ready]});
    let tag = squad.coach.get(&path).await.expect(200).header("etag").to_owned();
    let set = squad.coach.put(&entries, &tag, both).await.expect(200);
    assert!(set.body["entries"].as_array().unwrap().iter().all(|one| one["coach_accepts"] == true), "{}", set.body);
    let drawn = squad.draw(&path, set.header("etag"), json!({"seed": 1})).await.expect(200);
    assert_eq!(shown(&drawn.body).concat().len(), 2);
}

#[sqlx::test]
async fn who_rests_or_would_race_past_the_target_is_not_entered_whatever_the_coach_says(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, tag) = squad.low_race().await;
    let person = format!("/athletes/{}", squad.athletes[2]);
    let put = async |tag: &str| {
        let body = json!({"athlete_ids": [squad.athletes[2]], "coach_accepts": [squad.athletes[2]]});
        squad.coach.put(&format!("{path}/entries"), tag, body).await
    };
    for (change, code) in [(json!({"status": "resting"}), "resting"), (json!({"status": "left"}), "left")] {
        let read = squad.admin.get(&person).await.expect(200);
        squad.admin.patch(&person, read.header("etag"), change).await.expect(200);
        let refused = put(&tag).await.expect_fault(422, "/athlete_ids/0");
        assert_eq!(refused.body["errors"][0]["code"], code);
    }
    let read = squad.admin.get(&person).await.expect(200);
    squad.admin.patch(&person, read.header("etag"), json!({"status": "active"})).await.expect(200);
    put(&tag).await.expect(200);
    restrict(&squad.admin, &squad.athletes[3], squad.day, squad.day).await;
    let body = json!({"athlete_ids": [squad.athletes[3]], "coach_accepts": [squad.athletes[3]]});
    let fresh = squad.coach.get(&path).await.expect(200).header("etag").to_owned();
    let refused = squad.coach.put(&format!("{path}/entries"), &fresh, body).await.expect_fault(422, "/athlete_ids/0");
    assert_eq!(refused.body["errors"][0]["code"], "restricted");
    let advice = squad.coach.get(&format!("{person}/recommendation?on={}", squad.day)).await.expect(200).body;
    let target = advice["target"]["height_m"].as_f64().unwrap();
    let higher =
        json!({"race_distance_m": 60, "barriers": 5, "height_m": target + 0.076, "approach_m": 11.5, "spacing_m": 7});
    let race = squad.coach.post("/race-tests", with(squad.race(), &json!({"dimensions": higher}))).await.expect(201);
    let body = json!({"athlete_ids": [squad.athletes[2]], "coach_accepts": [squad.athletes[2]]});
    let entries = format!("/race-tests/{}/entries", race.id());
    let refused = squad.coach.put(&entries, race.header("etag"), body).await.expect(422);
    assert_eq!(refused.body["errors"][0]["code"], "target_height", "{}", refused.body);
}

#[sqlx::test]
async fn a_split_out_of_order_is_flagged_in_place_and_costs_no_final_time(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, _) = squad.entered(&squad.athletes[..3]).await;
    let times = json!([2.6, 3.8, 3.1, null, 7.4, 11.9]);
    let sent = with(finish(&squad.athletes[0], 11.2), &json!({"touchdown_times_s": times}));
    assert_eq!(squad.record(&path, std::slice::from_ref(&sent)).await, ["created"]);
    let race = path.trim_start_matches("/race-tests/");
    let mut pushed = with(finish(&squad.athletes[1], 11.4), &json!({"touchdown_times_s": times}));
    pushed["race_test_id"] = json!(race);
    let pushed = create("race_result", pushed);
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&pushed)).await), [201]);
    let unfinished = with(
        finish(&squad.athletes[2], 1.0),
        &json!({"status": "did_not_finish", "final_time_s": null, "touchdown_times_s": times}),
    );
    assert_eq!(squad.record(&path, &[unfinished]).await, ["created"]);
    let results = squad.results(&path).await;
    let rows = results["results"].as_array().unwrap();
    assert_eq!((&rows[0]["final_time_s"], &rows[1]["final_time_s"]), (&json!(11.2), &json!(11.4)));
    assert_eq!((&rows[0]["place"], &rows[1]["place"]), (&json!(1), &json!(2)));
    for row in &rows[..2] {
        assert_eq!(row["touchdown_times_s"], times, "stored as they were taken");
        let splits = row["splits"].as_array().unwrap();
        let found = |at: usize| splits[at].get("findings").map(codes).unwrap_or_default();
        assert!(found(2).contains(&"not_monotonic"), "{splits:?}");
        assert_eq!((found(3), found(5).contains(&"after_finish")), (vec!["missing"], true), "{splits:?}");
        assert!(found(0).is_empty() && splits[0]["scheduled_s"].is_number());
    }
    let third = rows[2]["splits"].as_array().unwrap();
    assert_eq!((third.len(), third[0].get("scheduled_s")), (6, None), "without a final time nothing is scheduled");
    assert!(codes(&third[2]["findings"]).contains(&"not_monotonic"));
    // A phone that missed the last taps sends what it has.
    let short = with(finish(&squad.athletes[0], 10.9), &json!({"touchdown_times_s": [2.6, 3.8, 5.0, 6.2]}));
    assert_eq!(squad.record(&path, &[short.clone(), short]).await, ["created", "unchanged"]);
    let first = squad.results(&path).await["results"][0].clone();
    assert_eq!((&first["final_time_s"], codes(&first["splits"][5]["findings"])), (&json!(10.9), vec!["missing"]));
    // What is no time at all is still refused, and says where.
    let wrong =
        with(finish(&squad.athletes[0], 11.2), &json!({"touchdown_times_s": [2.6, -1, null, null, null, null]}));
    assert_eq!(squad.record(&path, &[wrong]).await, ["rejected"]);
}

#[sqlx::test]
async fn the_weeks_of_runs_give_an_expected_time_when_no_time_is_on_file(pool: PgPool) {
    let squad = squad(pool).await;
    let runs: Vec<Value> = (0..4)
        .map(|_| {
            json!({"id": Uuid::now_v7(), "session_id": squad.session, "athlete_id": squad.athletes[4],
                "run_at": format!("{}T17:00:00Z", squad.day), "barrier_kind": "low_barrier", "height_m": 0.5,
                "spacing_m": 6.5, "barriers": 6, "hits": 0, "intervals": {"held": 5}})
        })
        .collect();
    let (before, tag) = squad.entered(&squad.athletes[4..]).await;
    let drawn = squad.draw(&before, &tag, json!({})).await.expect(200);
    assert_eq!(drawn.body["heats"][0]["lanes"][0].get("expected"), None, "nothing was run");
    squad.coach.post("/runs", json!({"runs": runs})).await.expect(200);
    let (path, tag) = squad.entered(&squad.athletes[4..]).await;
    let drawn = squad.draw(&path, &tag, json!({})).await.expect(200);
    let expected = &drawn.body["heats"][0]["lanes"][0]["expected"];
    assert_eq!(expected["basis"], "limit");
    assert!((9.0..13.0).contains(&expected["time_s"].as_f64().unwrap()), "{expected}");
}

#[sqlx::test]
async fn nobody_is_entered_over_far_more_barriers_than_their_race_has(pool: PgPool) {
    let squad = squad(pool).await;
    let ready = squad.trained().await.to_owned();
    let dimensions = json!({"race_distance_m": 100, "barriers": 13, "height_m": 0.5, "approach_m": 11.5, "spacing_m": 6.5,
        "discounted": true});
    let created =
        squad.coach.post("/race-tests", with(squad.race(), &json!({"dimensions": dimensions}))).await.expect(201);
    let entries = format!("/race-tests/{}/entries", created.id());
    for accepts in [json!([]), json!([ready])] {
        let asked = json!({"athlete_ids": [ready], "coach_accepts": accepts});
        let refused =
            squad.coach.put(&entries, created.header("etag"), asked).await.expect_fault(422, "/athlete_ids/0");
        assert_eq!(refused.body["errors"][0]["code"], "unsafe", "{}", refused.body);
    }
}

#[sqlx::test]
async fn a_race_against_a_restriction_is_kept_and_flagged_by_route_and_by_push(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, _) = squad.low_race().await;
    let [free, raced, stayed, pushed] = [0, 1, 2, 3].map(|at| squad.athletes[at].as_str());
    for athlete in [raced, stayed, pushed] {
        restrict(&squad.admin, athlete, squad.day, squad.day).await;
    }
    let absent = json!({"id": Uuid::now_v7(), "athlete_id": stayed, "status": "did_not_start"});
    let results = [finish(free, 12.5), finish(raced, 12.6), absent];
    assert_eq!(squad.record(&path, &results).await, ["created", "created", "created"]);
    assert_eq!(squad.record(&path, &results).await, ["unchanged", "unchanged", "unchanged"], "a repeat is the same");
    let race = path.rsplit('/').next().unwrap();
    let by_phone = create(
        "race_result",
        json!({"race_test_id": race, "athlete_id": pushed, "status": "finished", "final_time_s": 12.7}),
    );
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&by_phone)).await), [201]);
    let listed = squad.results(&path).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 2_000).await;
    let flags = [(&results[0], None), (&results[1], Some(true)), (&results[2], None), (&by_phone, Some(true))];
    for (sent, flag) in flags {
        let flag = flag.map(Value::from);
        let row = listed["results"].as_array().unwrap().iter().find(|one| one["id"] == sent["id"]).unwrap();
        assert_eq!(row.get("while_restricted"), flag.as_ref(), "{row}");
        let copied = &phone.copy[&("race_result".to_owned(), sent["id"].as_str().unwrap().to_owned())];
        assert_eq!(copied.get("while_restricted"), flag.as_ref(), "{copied}");
    }
    // A time that was run is a time, and whoever reads it is told.
    for (athlete, time, flag) in [(free, 12.5, None), (raced, 12.6, Some(Value::from(true)))] {
        let bests = squad.coach.get(&format!("/athletes/{athlete}/personal-bests")).await.expect(200).body;
        let best = &bests["items"][0];
        assert_eq!((&best["final_time_s"], best.get("while_restricted")), (&json!(time), flag.as_ref()), "{best}");
    }
}
