//! Sessions, attendance, runs and assessments.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, walk};

struct Squad {
    app: TestApp,
    admin: Caller,
    coach: Caller,
    stranger: Caller,
    group: String,
    other_group: String,
    athletes: Vec<String>,
    hidden: String,
    session: String,
    day: NaiveDate,
}

async fn athlete(admin: &Caller, name: &str, group: &str) -> String {
    let body =
        json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"});
    admin.post("/athletes", body).await.expect(201).id()
}

async fn squad(pool: PgPool) -> Squad {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (group, other_group) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&group]).await;
    let stranger = admin.member("Other Coach", "coach", &[&other_group]).await;
    let mut athletes = Vec::new();
    for n in 0..3 {
        athletes.push(athlete(&admin, &format!("Athlete {n}"), &group).await);
    }
    let hidden = athlete(&admin, "Hidden", &other_group).await;
    let day = Utc::now().date_naive() - Duration::days(3);
    let session = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let session = coach.post("/sessions", session).await.expect(201).id();
    Squad { app, admin, coach, stranger, group, other_group, athletes, hidden, session, day }
}

impl Squad {
    fn run(&self) -> Value {
        json!({"id": Uuid::now_v7(), "session_id": self.session, "athlete_id": self.athletes[0],
            "run_at": format!("{}T17:00:00Z", self.day), "barrier_kind": "low_barrier", "height_m": 0.5,
            "spacing_m": 6.25, "approach_m": 12, "barriers": 5, "hits": 1, "lead_leg": "left",
            "intervals": {"held": 3, "over_reached": 1}, "touchdown_times_s": [2.5, 3.61, null, 5.8, 6.95],
            "timing_method": "video", "video_fps": 60, "note": "Looked down"})
    }

    fn rating(&self) -> Value {
        json!({"id": Uuid::now_v7(), "athlete_id": self.athletes[0], "session_id": self.session,
            "assessed_at": format!("{}T18:00:00Z", self.day), "ratings": {"lead_leg": 2, "arms": 0}})
    }

    async fn record(&self, runs: &[Value]) -> Vec<Value> {
        let answer = self.coach.post("/runs", json!({"runs": runs})).await.expect(200);
        answer.body["results"].as_array().unwrap().clone()
    }

    async fn stored(&self) -> Vec<Value> {
        self.admin.get("/runs?limit=200&superseded=true").await.expect(200).body["items"].as_array().unwrap().clone()
    }
}

fn with(mut body: Value, change: &Value) -> Value {
    body.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
    body
}

fn statuses(results: &[Value]) -> Vec<&str> {
    results.iter().map(|result| result["status"].as_str().unwrap()).collect()
}

#[sqlx::test]
async fn a_session_is_created_read_changed_and_deleted(pool: PgPool) {
    let squad = squad(pool).await;
    let id = Uuid::now_v7();
    let block = json!({"stage": "walkover", "drill": "Trail leg", "sets": 2});
    let body =
        json!({"id": id, "held_on": squad.day, "state": "planned", "group_ids": [squad.group], "blocks": [block]});
    let created = squad.coach.post("/sessions", body.clone()).await.expect(201);
    assert_eq!(created.body["blocks"][0], block);
    let seq = squad.admin.seq().await;
    squad.coach.post("/sessions", body.clone()).await.expect(200);
    squad.coach.post("/sessions", with(body, &json!({"state": "held"}))).await.expect(409);
    assert_eq!(squad.admin.seq().await, seq);
    let path = format!("/sessions/{id}");
    squad.coach.patch(&path, "", json!({"state": "held"})).await.expect(428);
    squad.coach.patch(&path, "\"1\"", json!({"state": "held"})).await.expect(412);
    let changed =
        squad.coach.patch(&path, created.header("etag"), json!({"state": "held", "weather_note": "Dry"})).await;
    let changed = changed.expect(200);
    assert_eq!((&changed.body["state"], &changed.body["weather_note"]), (&json!("held"), &json!("Dry")));
    let same = [("if-none-match", changed.header("etag"))];
    squad.coach.call(Method::GET, &squad.coach.path(&path), &same, None).await.expect(304);
    squad.stranger.get(&path).await.expect(404);
    squad.coach.delete(&path, changed.header("etag")).await.expect(204);
    squad.coach.get(&path).await.expect(404);
    squad.record(&[squad.run()]).await;
    let used = squad.coach.get(&format!("/sessions/{}", squad.session)).await.expect(200);
    squad.coach.delete(&format!("/sessions/{}", squad.session), used.header("etag")).await.expect(409);
}

#[sqlx::test]
async fn sessions_are_filtered_and_paged_latest_first(pool: PgPool) {
    let squad = squad(pool).await;
    for n in 0..6 {
        let group = if n % 2 == 0 { &squad.group } else { &squad.other_group };
        let body = json!({"held_on": squad.day - Duration::days(n), "state": "planned", "group_ids": [group]});
        squad.admin.post("/sessions", body).await.expect(201);
    }
    let walked = walk(&squad.admin, "/sessions", 3, async |_| {}).await;
    assert_eq!(walked.len(), 7);
    let days = squad.admin.get("/sessions").await.body["items"].as_array().unwrap().clone();
    assert!(days.windows(2).all(|pair| pair[0]["held_on"].as_str() >= pair[1]["held_on"].as_str()));
    let count = async |caller: &Caller, query: &str| {
        caller.get(&format!("/sessions{query}")).await.expect(200).body["items"].as_array().unwrap().len()
    };
    assert_eq!(count(&squad.coach, "").await, 4);
    assert_eq!(count(&squad.admin, "?state=held").await, 1);
    assert_eq!(count(&squad.admin, &format!("?group_id={}", squad.other_group)).await, 3);
    assert_eq!(count(&squad.admin, &format!("?from={}&to={}", squad.day - Duration::days(1), squad.day)).await, 3);
    squad.admin.get("/sessions?state=open").await.expect_fault(400, "state");
    squad.admin.get("/sessions?from=monday").await.expect_fault(400, "from");
}

#[sqlx::test]
async fn broken_sessions_name_the_field_and_groups_of_others_are_refused(pool: PgPool) {
    let squad = squad(pool).await;
    let good = json!({"held_on": squad.day, "state": "planned", "group_ids": [squad.group]});
    for (change, pointer) in [
        (json!({"held_on": "9999-01-01"}), "/held_on"),
        (json!({"held_on": squad.day + Duration::days(30), "state": "held"}), "/held_on"),
        (json!({"state": "open"}), "/state"),
        (json!({"group_ids": []}), "/group_ids"),
        (json!({"group_ids": [Uuid::now_v7()]}), "/group_ids"),
        (json!({"venue_id": Uuid::now_v7()}), "/venue_id"),
        (json!({"weather_note": ""}), "/weather_note"),
        (json!({"blocks": [{"stage": "flying", "drill": "x"}]}), "/blocks/0/stage"),
        (json!({"blocks": [{"stage": "walkover", "drill": ""}]}), "/blocks/0/drill"),
        (json!({"blocks": [{"stage": "walkover", "drill": "x", "sets": 0}]}), "/blocks/0/sets"),
    ] {
        squad.coach.post("/sessions", with(good.clone(), &change)).await.expect_fault(422, pointer);
    }
    squad.coach.post("/sessions", with(good.clone(), &json!({"held_on": 7}))).await.expect_fault(400, "/held_on");
    squad.stranger.post("/sessions", good.clone()).await.expect_fault(422, "/group_ids");
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.group]).await;
    viewer.post("/sessions", good).await.expect(403);
    assert_eq!(squad.admin.get("/sessions").await.body["items"].as_array().unwrap().len(), 1);
}

#[sqlx::test]
async fn attendance_is_a_set_that_is_replaced(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/sessions/{}/attendance", squad.session);
    let all = json!({"present": squad.athletes});
    let first = squad.coach.put(&path, "", all.clone()).await.expect(200);
    let seq = squad.admin.seq().await;
    squad.coach.put(&path, "", all).await.expect(200);
    assert_eq!(squad.admin.seq().await, seq, "the same list changes nothing");
    let fewer = json!({"present": [squad.athletes[0], squad.athletes[0]]});
    squad.coach.put(&path, "", fewer.clone()).await.expect(428);
    squad.coach.put(&path, "\"1\"", fewer.clone()).await.expect(412);
    let second = squad.coach.put(&path, first.header("etag"), fewer).await.expect(200);
    assert_eq!(second.body["present"], json!([squad.athletes[0]]));
    assert_eq!(squad.admin.seq().await, seq + 2, "only the two who left changed");
    let unknown = json!({"present": [squad.athletes[0], squad.hidden]});
    squad.coach.put(&path, second.header("etag"), unknown).await.expect_fault(422, "/present/1");
    assert_eq!(squad.coach.get(&path).await.expect(200).body, second.body);
    squad.stranger.get(&path).await.expect(404);
}

#[sqlx::test]
async fn a_run_is_recorded_read_back_whole_and_repeated_safely(pool: PgPool) {
    let squad = squad(pool).await;
    let run = squad.run();
    let first = squad.record(std::slice::from_ref(&run)).await;
    assert_eq!(statuses(&first), ["created"]);
    let read = squad.coach.get(&format!("/runs/{}", run["id"].as_str().unwrap())).await.expect(200);
    for (field, value) in run.as_object().unwrap() {
        if field != "intervals" && field != "run_at" && field != "approach_m" {
            assert_eq!(&read.body[field], value, "{field}");
        }
    }
    assert_eq!(read.body["intervals"], json!({"held": 3, "over_reached": 1, "crowded": 0, "broken": 0}));
    assert_eq!(read.body["rev"], first[0]["rev"]);
    let seq = squad.admin.seq().await;
    let again = squad.record(std::slice::from_ref(&run)).await;
    assert_eq!((statuses(&again), &again[0]["rev"]), (vec!["unchanged"], &first[0]["rev"]));
    let other = squad.record(&[with(run, &json!({"hits": 2}))]).await;
    assert_eq!(statuses(&other), ["rejected"]);
    assert_eq!(other[0]["problem"]["status"], 409);
    assert_eq!(squad.admin.seq().await, seq, "a repeat raises no change number");
    squad.stranger.get(&format!("/runs/{}", again[0]["id"].as_str().unwrap())).await.expect(404);
}

#[sqlx::test]
async fn every_broken_field_of_a_run_is_named(pool: PgPool) {
    let squad = squad(pool).await;
    let seq = squad.admin.seq().await;
    let late = format!("{}T00:00:00Z", Utc::now().date_naive() + Duration::days(400));
    let south = squad.app.admin_of("South").await;
    let foreign_group = south.group("South").await;
    let foreign = athlete(&south, "Foreign", &foreign_group).await;
    for (change, pointer) in [
        (json!({"barrier_kind": "wall"}), "/barrier_kind"),
        (json!({"height_m": 7}), "/height_m"),
        (json!({"height_m": -0.5}), "/height_m"),
        (json!({"spacing_m": 0.2}), "/spacing_m"),
        (json!({"spacing_m": 6.00001}), "/spacing_m"),
        (json!({"approach_m": 51}), "/approach_m"),
        (json!({"barriers": 0, "touchdown_times_s": []}), "/barriers"),
        (json!({"intervals": {"held": 3}}), "/intervals"),
        (json!({"intervals": {"held": 5, "crowded": -1}}), "/intervals/crowded"),
        (json!({"hits": 6}), "/hits"),
        (json!({"lead_leg": "middle"}), "/lead_leg"),
        (json!({"touchdown_times_s": [2.5, 3.6]}), "/touchdown_times_s"),
        (json!({"touchdown_times_s": [2.5, 2.4, 3.5, 4.6, 5.7]}), "/touchdown_times_s/1"),
        (json!({"timing_method": null}), "/timing_method"),
        (json!({"timing_method": "sundial"}), "/timing_method"),
        (json!({"video_fps": null}), "/video_fps"),
        (json!({"timing_method": "tap"}), "/video_fps"),
        (json!({"note": ""}), "/note"),
        (json!({"run_at": late}), "/run_at"),
        (json!({"run_at": "2026-01-01T00:00:00Z"}), "/run_at"),
        (json!({"session_id": Uuid::now_v7()}), "/session_id"),
        (json!({"athlete_id": squad.hidden}), "/athlete_id"),
        (json!({"athlete_id": foreign}), "/athlete_id"),
        (json!({"supersedes": Uuid::now_v7()}), "/supersedes"),
        (json!({"void": true}), "/void"),
    ] {
        let results = squad.record(&[with(squad.run(), &change)]).await;
        assert_eq!(statuses(&results), ["rejected"], "{change}");
        let errors = results[0]["problem"]["errors"].as_array().unwrap();
        let pointers: Vec<&str> = errors.iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
        assert_eq!(pointers, [format!("/runs/0{pointer}")], "{change}");
    }
    let post = async |body: Value| squad.coach.post("/runs", body).await;
    post(json!({"runs": [with(squad.run(), &json!({"height_m": "tall"}))]}))
        .await
        .expect_fault(400, "/runs/0/height_m");
    post(json!({"runs": [with(squad.run(), &json!({"colour": 1}))]})).await.expect_fault(400, "/runs/0/colour");
    post(json!({"runs": []})).await.expect_fault(422, "/runs");
    post(json!({"runs": vec![squad.run(); 501]})).await.expect_fault(422, "/runs");
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.group]).await;
    let after_joining = squad.admin.seq().await;
    viewer.post("/runs", json!({"runs": [squad.run()]})).await.expect(403);
    assert_eq!(squad.stored().await, Vec::<Value>::new());
    assert_eq!(squad.admin.seq().await, after_joining);
    assert!(after_joining > seq);
}

#[sqlx::test]
async fn a_broken_item_at_any_place_leaves_the_others_stored_in_any_order(pool: PgPool) {
    let squad = squad(pool).await;
    for place in 0..4 {
        let mut runs: Vec<Value> = (0..4).map(|_| squad.run()).collect();
        runs[place]["height_m"] = json!(7);
        let results = squad.record(&runs).await;
        let expected: Vec<&str> = (0..4).map(|at| if at == place { "rejected" } else { "created" }).collect();
        assert_eq!(statuses(&results), expected);
        let ids: Vec<&Value> = results.iter().map(|result| &result["id"]).collect();
        assert_eq!(ids, runs.iter().map(|run| &run["id"]).collect::<Vec<_>>(), "in the order of the request");
        let before = squad.stored().await;
        runs.reverse();
        squad.record(&runs).await;
        assert_eq!(squad.stored().await, before, "another order changes nothing");
    }
    let run = squad.run();
    let twice = squad.record(&[run.clone(), run.clone(), with(run, &json!({"hits": 0}))]).await;
    assert_eq!(statuses(&twice), ["created", "unchanged", "rejected"]);
    assert_eq!(squad.stored().await.len(), 13);
}

#[sqlx::test]
async fn a_correction_supersedes_and_a_withdrawal_voids(pool: PgPool) {
    let squad = squad(pool).await;
    let first = squad.run();
    squad.record(std::slice::from_ref(&first)).await;
    let fixed = with(squad.run(), &json!({"supersedes": first["id"], "hits": 0}));
    let again = with(squad.run(), &json!({"supersedes": first["id"]}));
    let of_other = with(squad.run(), &json!({"supersedes": first["id"], "athlete_id": squad.athletes[1]}));
    assert_eq!(statuses(&squad.record(&[of_other, fixed.clone(), again]).await), ["rejected", "created", "held"]);
    assert_eq!(statuses(&squad.record(std::slice::from_ref(&fixed)).await), ["unchanged"]);
    let current = squad.coach.get("/runs").await.expect(200);
    assert_eq!(current.body["items"].as_array().unwrap().len(), 1);
    assert_eq!(current.body["items"][0]["id"], fixed["id"]);
    let void = with(squad.run(), &json!({"supersedes": fixed["id"], "void": true}));
    assert_eq!(statuses(&squad.record(&[void]).await), ["created"]);
    assert_eq!(squad.coach.get("/runs").await.body["items"], json!([]));
    assert_eq!(squad.stored().await.len(), 3);
    let recommendation = format!("/athletes/{}/recommendation", squad.athletes[0]);
    assert_eq!(squad.coach.get(&recommendation).await.expect(200).body["estimate"]["evidence"]["runs"], 0);
}

#[sqlx::test]
async fn a_batch_may_correct_what_it_records(pool: PgPool) {
    let squad = squad(pool).await;
    let (first, broken) = (squad.run(), with(squad.run(), &json!({"height_m": 7})));
    let fixed = with(squad.run(), &json!({"supersedes": first["id"], "hits": 0}));
    let gone = with(squad.run(), &json!({"supersedes": fixed["id"], "void": true}));
    let late = with(squad.run(), &json!({"supersedes": first["id"]}));
    let lost = with(squad.run(), &json!({"supersedes": broken["id"]}));
    let batch = [first.clone(), broken, fixed, first, gone, late, lost];
    let expected = ["created", "rejected", "created", "unchanged", "created", "held", "rejected"];
    let results = squad.record(&batch).await;
    assert_eq!(statuses(&results), expected, "{results:?}");
    assert_eq!(results[3]["rev"], results[0]["rev"]);
    let pointers = [1, 5, 6].map(|at| results[at]["problem"]["errors"][0]["pointer"].as_str().unwrap().to_owned());
    assert_eq!(pointers, ["/runs/1/height_m", "/runs/5/supersedes", "/runs/6/supersedes"]);
    assert_eq!(squad.stored().await.len(), 3);
    let again = squad.record(&batch).await;
    let repeated = ["unchanged", "rejected", "unchanged", "unchanged", "unchanged", "held", "rejected"];
    assert_eq!(statuses(&again), repeated);
    let first = squad.rating();
    let fixed = with(squad.rating(), &json!({"supersedes": first["id"]}));
    let answer = squad.coach.post("/assessments", json!({"assessments": [first, fixed]})).await.expect(200);
    assert_eq!(statuses(answer.body["results"].as_array().unwrap()), ["created", "created"]);
}

#[sqlx::test]
async fn runs_are_listed_for_those_who_may_see_them(pool: PgPool) {
    let squad = squad(pool).await;
    let other = json!({"held_on": squad.day, "state": "held", "group_ids": [squad.other_group]});
    let other = squad.admin.post("/sessions", other).await.expect(201).id();
    let hidden = with(squad.run(), &json!({"athlete_id": squad.hidden, "session_id": other}));
    let runs = [squad.run(), with(squad.run(), &json!({"athlete_id": squad.athletes[1]})), hidden];
    squad.admin.post("/runs", json!({"runs": runs})).await.expect(200);
    let count = async |caller: &Caller, query: &str| {
        caller.get(&format!("/runs{query}")).await.expect(200).body["items"].as_array().unwrap().len()
    };
    assert_eq!(
        (count(&squad.admin, "").await, count(&squad.coach, "").await, count(&squad.stranger, "").await),
        (3, 2, 1)
    );
    assert_eq!(count(&squad.admin, &format!("?athlete_id={}", squad.athletes[1])).await, 1);
    assert_eq!(count(&squad.admin, &format!("?session_id={other}")).await, 1);
    assert_eq!(count(&squad.admin, &format!("?from={}", squad.day + Duration::days(1))).await, 0);
    assert_eq!(walk(&squad.admin, "/runs", 1, async |_| {}).await.len(), 3);
}

#[sqlx::test]
async fn assessments_are_recorded_corrected_and_checked_like_runs(pool: PgPool) {
    let squad = squad(pool).await;
    let record = async |items: &[Value]| {
        let answer = squad.coach.post("/assessments", json!({"assessments": items})).await.expect(200);
        answer.body["results"].as_array().unwrap().clone()
    };
    let first = squad.rating();
    assert_eq!(statuses(&record(std::slice::from_ref(&first)).await), ["created"]);
    let seq = squad.admin.seq().await;
    assert_eq!(statuses(&record(std::slice::from_ref(&first)).await), ["unchanged"]);
    assert_eq!(squad.admin.seq().await, seq);
    let read = squad.coach.get(&format!("/assessments/{}", first["id"].as_str().unwrap())).await.expect(200);
    assert_eq!(read.body["ratings"], json!({"lead_leg": 2, "arms": 0}));
    for (change, pointer) in [
        (json!({"ratings": {}}), "/ratings"),
        (json!({"ratings": {"rhythm": 4}}), "/ratings/rhythm"),
        (json!({"assessed_at": "2199-01-01T00:00:00Z"}), "/assessed_at"),
        (json!({"athlete_id": squad.hidden}), "/athlete_id"),
        (json!({"session_id": Uuid::now_v7()}), "/session_id"),
        (json!({"supersedes": Uuid::now_v7()}), "/supersedes"),
        (json!({"void": true}), "/void"),
        (json!({"note": ""}), "/note"),
    ] {
        let results = record(&[with(squad.rating(), &change)]).await;
        assert_eq!(results[0]["problem"]["errors"][0]["pointer"], format!("/assessments/0{pointer}"), "{change}");
    }
    let fixed = with(squad.rating(), &json!({"supersedes": first["id"]}));
    assert_eq!(statuses(&record(std::slice::from_ref(&fixed)).await), ["created"]);
    let listed = squad.coach.get("/assessments").await.expect(200);
    assert_eq!(listed.body["items"][0]["id"], fixed["id"]);
    assert_eq!(listed.body["items"].as_array().unwrap().len(), 1);
    squad.stranger.get(&format!("/assessments/{}", fixed["id"].as_str().unwrap())).await.expect(404);
    assert_eq!(squad.stranger.get("/assessments").await.body["items"], json!([]));
}

#[sqlx::test]
async fn assessments_are_listed_by_when_they_were_for_whoever_sees_them(pool: PgPool) {
    let squad = squad(pool).await;
    // Ids in another order than time, two at one moment, somebody whom the coach does not see, and one without a session.
    let at = |days: i64, athlete: &str| {
        let day = squad.day - Duration::days(days);
        let session = if days == 0 { json!(squad.session) } else { Value::Null };
        let change = json!({"athlete_id": athlete, "assessed_at": format!("{day}T18:00:00Z"), "session_id": session});
        with(squad.rating(), &change)
    };
    let [a, b, c] = [0, 1, 2].map(|n| squad.athletes[n].as_str());
    let made: Vec<Value> =
        [(1, a), (9, b), (4, c), (9, a), (0, b), (6, &squad.hidden)].map(|(days, athlete)| at(days, athlete)).into();
    squad.admin.post("/assessments", json!({"assessments": made})).await.expect(200);
    let ids = |order: &[usize]| order.iter().map(|n| made[*n]["id"].as_str().unwrap()).collect::<Vec<_>>();
    let listed =
        async |who: &Caller, query: &str, size| walk(who, &format!("/assessments{query}"), size, async |_| {}).await;
    for size in [1, 2, 50] {
        assert_eq!(listed(&squad.admin, "", size).await, ids(&[1, 3, 5, 2, 0, 4]), "{size}");
        assert_eq!(listed(&squad.coach, "", size).await, ids(&[1, 3, 2, 0, 4]), "{size}");
        assert_eq!(listed(&squad.coach, &format!("?athlete_id={a}"), size).await, ids(&[3, 0]), "{size}");
        assert_eq!(listed(&squad.coach, &format!("?session_id={}", squad.session), size).await, ids(&[4]), "{size}");
        let days = |from: i64, to: i64| [from, to].map(|days| squad.day - Duration::days(days));
        let [from, to] = days(6, 1);
        for (who, order) in [(&squad.admin, &[5, 2, 0][..]), (&squad.coach, &[2, 0])] {
            assert_eq!(listed(who, &format!("?from={from}&to={to}"), size).await, ids(order), "{size}");
        }
    }
}
