//! Rhythm: the calculators, the rhythm of a recorded run, a club's own schedule.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};

fn question(change: Value) -> Value {
    let mut body = json!({"spacing_m": 8.5, "touchdown_times_s": [2.6, 3.6, 4.62, 5.61, 6.64], "timing_method": "video",
        "video_fps": 60});
    for (name, value) in change.as_object().unwrap() {
        body[name] = value.clone();
    }
    body
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("no list: {value}")).iter().map(|one| one.as_f64().unwrap()).collect()
}

fn close(value: &Value, wanted: f64) {
    let found = value.as_f64().unwrap_or_else(|| panic!("no number: {value}"));
    assert!((found - wanted).abs() < 1e-6, "{found} instead of {wanted}");
}

#[sqlx::test]
async fn touchdown_times_are_analysed_without_signing_in(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let found = app.post("/v1/rhythm/analysis", question(json!({}))).await.expect(200).body;
    let intervals = found["intervals"].as_array().unwrap();
    assert_eq!(intervals.len(), 4);
    close(&intervals[0]["time_s"], 1.0);
    close(&intervals[0]["speed_mps"], 8.5);
    close(&intervals[0]["stride_rate_hz"], 4.0);
    close(&intervals[0]["time_sd_s"], 0.0068);
    assert_eq!((&intervals[0]["interval"], &intervals[0]["flags"]), (&json!(1), &json!([])));
    assert_eq!((&found["intervals_used"], &found["findings"]), (&json!(4), &json!([])));
    close(&found["mean"]["time_s"], 1.01);
    close(&found["mean"]["time_sd_s"], 0.0017);
    assert_eq!(found["consistency_cv"], found["consistency"]["cv"]);
    assert_eq!(found["fade_s_per_interval"], found["fade"]["slope_s"]);
    assert!(found["fade"]["p05"].as_f64() <= found["fade"]["slope_s"].as_f64());
    assert_eq!(found["versus_schedule"], Value::Null);
    // A stopwatch cannot tell this spread from its own.
    let by_hand = question(json!({"timing_method": "hand", "video_fps": null}));
    let by_hand = app.post("/v1/rhythm/analysis", by_hand).await.expect(200).body;
    assert_eq!(by_hand["consistency"]["distinguishable"], false);
    close(&by_hand["consistency_cv"], 0.0);
    close(&by_hand["intervals"][0]["time_sd_s"], 0.1);
}

#[sqlx::test]
async fn broken_values_are_reported_each_with_a_code_and_nothing_is_filled_in(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let times = json!([2.6, null, 4.6, 5.6, 7.6, 8.6, 8.5, 9.6, 9.7]);
    let found = app.post("/v1/rhythm/analysis", question(json!({"touchdown_times_s": times}))).await.expect(200).body;
    let findings = found["findings"].as_array().unwrap();
    let codes: Vec<(u64, &str)> =
        findings.iter().map(|one| (one["touchdown"].as_u64().unwrap(), one["code"].as_str().unwrap())).collect();
    assert_eq!(codes, [(2, "missing"), (5, "forgotten_tap"), (7, "not_monotonic"), (9, "too_short")]);
    assert!(findings.iter().all(|one| one["text"].as_str().unwrap().ends_with('.')));
    let used: Vec<bool> =
        found["intervals"].as_array().unwrap().iter().map(|one| one["used"].as_bool().unwrap()).collect();
    assert_eq!(used, [false, false, true, false, false, false, false, false]);
    assert_eq!(found["intervals"][0]["time_s"], Value::Null);
    assert_eq!(found["intervals"][3]["flags"], json!(["forgotten_tap"]));
    assert_eq!(found["intervals"][3]["speed_mps"], Value::Null);
    for empty in ["consistency_cv", "consistency", "fade_s_per_interval", "fade"] {
        assert_eq!(found[empty], Value::Null, "{empty}");
        assert!(found.as_object().unwrap().contains_key(empty));
    }
}

#[sqlx::test]
async fn every_broken_field_of_a_question_is_named(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let ask = async |change: Value| app.post("/v1/rhythm/analysis", question(change)).await;
    let all =
        json!({"spacing_m": 0.5, "touchdown_times_s": [2.6, -1, 130], "timing_method": "eye", "target_time_s": 14});
    let answer = ask(all).await.expect(422);
    let named = ["/spacing_m", "/touchdown_times_s/1", "/touchdown_times_s/2", "/timing_method", "/event_code"];
    assert_eq!(answer.faults(), named);
    for (change, pointer) in [
        (json!({"touchdown_times_s": [2.6]}), "/touchdown_times_s"),
        (json!({"touchdown_times_s": vec![1.0; 21]}), "/touchdown_times_s"),
        (json!({"video_fps": null}), "/video_fps"),
        (json!({"video_fps": 5}), "/video_fps"),
        (json!({"timing_method": "tap"}), "/video_fps"),
        (json!({"spacing_m": 25}), "/spacing_m"),
        (json!({"event_code": "100H"}), "/target_time_s"),
        (json!({"event_code": "400H", "target_time_s": 60}), "/event_code"),
        (json!({"event_code": "100H", "target_time_s": 10}), "/target_time_s"),
        (json!({"approach_m": 13}), "/approach_m"),
        (
            json!({"event_code": "60H", "target_time_s": 9, "touchdown_times_s": [2.6, 3.6, 4.6, 5.6, 6.6, 7.6]}),
            "/touchdown_times_s",
        ),
    ] {
        ask(change).await.expect_fault(422, pointer);
    }
    for (change, pointer) in [
        (json!({"spacing_m": "wide"}), "/spacing_m"),
        (json!({"touchdown_times_s": [2.6, "3.6"]}), "/touchdown_times_s/1"),
        (json!({"colour": "red"}), "/colour"),
    ] {
        ask(change).await.expect_fault(400, pointer);
    }
    let unknown = ask(json!({"event_code": "400H", "target_time_s": 60})).await;
    assert!(unknown.body["errors"][0]["detail"].as_str().unwrap().contains("100H, 110H"), "{}", unknown.body);
}

#[sqlx::test]
async fn a_run_is_put_beside_the_schedule_of_a_target_time(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let schedule = app.get("/v1/rhythm/schedule?event_code=100H&final_time_s=14").await.expect(200).body;
    let scheduled = numbers(&schedule["touchdown_times_s"]);
    let late: Vec<f64> = scheduled[..6].iter().map(|time| time + 0.1).collect();
    let asked = question(json!({"touchdown_times_s": late, "event_code": "100H", "target_time_s": 14}));
    let found = app.post("/v1/rhythm/analysis", asked).await.expect(200).body;
    let versus = &found["versus_schedule"];
    assert_eq!((&versus["discounted"], &versus["event_code"]), (&json!(false), &json!("100H")));
    let rows = versus["touchdowns"].as_array().unwrap();
    assert_eq!(rows.len(), 6);
    for row in rows {
        assert!((row["difference_s"].as_f64().unwrap() - 0.1).abs() < 0.0015, "{row}");
    }
    assert!(rows[1]["interval_difference_s"].as_f64().unwrap().abs() < 0.0015);
    assert!(versus["cautions"].as_array().unwrap().len() > 5);
    assert!(versus["source"].as_str().unwrap().contains("common practice, no source"));
    // Closer barriers at the same speed take less time.
    let discounted = question(json!({"spacing_m": 8.0, "event_code": "110H", "target_time_s": 15}));
    let found = app.post("/v1/rhythm/analysis", discounted).await.expect(200).body;
    assert_eq!(found["versus_schedule"]["discounted"], true);
    let unit = found["versus_schedule"]["touchdowns"][1]["interval_scheduled_s"].as_f64().unwrap();
    // First interval of 15 s over 110 m by hand: 0.029 + 0.0765 x 15 = 1.1765 s on average, of which the first takes
    // 1 + 0.0325 x 0.81397 - 0.1575 x 17/48: 1.1420 s for 9.14 m.
    assert!((unit - 1.1420 * 8.0 / 9.14).abs() < 0.001, "{unit}");
}

#[sqlx::test]
async fn a_schedule_ends_at_the_final_time_and_says_where_it_comes_from(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let answer = app.get("/v1/rhythm/schedule?event_code=110H&final_time_s=14").await.expect(200);
    assert_eq!(answer.header("cache-control"), "public, max-age=3600");
    let found = answer.body;
    let (times, intervals) = (numbers(&found["touchdown_times_s"]), numbers(&found["interval_times_s"]));
    assert_eq!((times.len(), intervals.len()), (10, 9));
    // Common practice, no source: 1.01 + 0.110 x 14 and nine times 0.029 + 0.0765 x 14 more.
    assert!((times[0] - 2.55).abs() < 1e-9 && (times[9] - 12.45).abs() < 1e-9);
    let sum = times[0] + intervals.iter().sum::<f64>() + found["run_in_s"].as_f64().unwrap();
    assert!((sum - 14.0).abs() < 1e-9);
    close(&found["finish_s"], 14.0);
    assert_eq!(numbers(&found["valid_range_s"]), [12.8, 25.0]);
    let source = found["source"].as_str().unwrap();
    assert!(source.contains("common practice, no source") && source.contains("design choice"));
    assert_eq!(found["calibration"], Value::Null);
    assert!(found["cautions"].as_array().unwrap().len() > 5);
    let narrow = "/v1/rhythm/schedule?event_code=60H&final_time_s=12&spacing_m=7&barriers=6";
    let narrow = app.get(narrow).await.expect(200).body;
    assert_eq!(
        narrow["course"],
        json!({"race_distance_m": 60.0, "barriers": 6, "approach_m": 12.0, "spacing_m": 7.0,
        "run_in_m": 13.0})
    );
    assert!(narrow["courses"].as_array().unwrap().len() > 3);
}

#[sqlx::test]
async fn a_schedule_that_cannot_be_is_refused_with_what_could_be(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    for (query, parameter, words) in [
        ("event_code=110H", "final_time_s", "missing"),
        ("final_time_s=14", "event_code", "missing"),
        ("event_code=400H&final_time_s=60", "event_code", "100H, 110H, 50H"),
        ("event_code=110H&final_time_s=12.79", "final_time_s", "12.80 to 25.00"),
        ("event_code=110H&final_time_s=25.01", "final_time_s", "12.80 to 25.00"),
        ("event_code=110H&final_time_s=NaN", "final_time_s", "12.80 to 25.00"),
        ("event_code=110H&final_time_s=fast", "final_time_s", "invalid"),
        ("event_code=110H&final_time_s=14&spacing_m=8.5", "spacing_m", "spacing 9.14 m"),
        ("event_code=110H&final_time_s=14&barriers=9", "barriers", "10 barriers"),
    ] {
        let answer = app.get(&format!("/v1/rhythm/schedule?{query}")).await.expect_fault(400, parameter);
        let detail = answer.body["errors"][0]["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(words), "{query}: {detail}");
    }
}

#[sqlx::test]
async fn the_first_touchdowns_point_to_a_final_time_the_surer_the_more_there_are(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let schedule = app.get("/v1/rhythm/schedule?event_code=100H&final_time_s=15").await.expect(200).body;
    let times = schedule["touchdown_times_s"].as_array().unwrap().clone();
    let ask = async |count: usize, method: &str| {
        let body = json!({"event_code": "100H", "touchdown_times_s": times[..count], "timing_method": method});
        app.post("/v1/rhythm/final-time", body).await.expect(200).body
    };
    let width = |found: &Value| {
        let at = |name: &str| found["final_time_s"][name].as_f64().unwrap();
        assert!(at("p05") < at("p25") && at("p25") < at("p50") && at("p50") < at("p75") && at("p75") < at("p95"));
        assert!(at("p25") < 15.0 && 15.0 < at("p75"), "{found}");
        at("p95") - at("p05")
    };
    let (two, five, nine) = (ask(2, "gate").await, ask(5, "gate").await, ask(9, "gate").await);
    assert!(width(&two) > width(&five) && width(&five) > width(&nine));
    assert!(width(&ask(5, "hand").await) > width(&five));
    assert_eq!((&five["touchdowns_used"], &five["unusual"]), (&json!(5), &json!(false)));
    assert!(five["cautions"].as_array().unwrap().len() > 5);
    for (body, pointer) in [
        (json!({"event_code": "1H", "touchdown_times_s": [2.6], "timing_method": "tap"}), "/event_code"),
        (json!({"event_code": "100H", "touchdown_times_s": [], "timing_method": "tap"}), "/touchdown_times_s"),
        (json!({"event_code": "100H", "touchdown_times_s": [null], "timing_method": "tap"}), "/touchdown_times_s"),
        (json!({"event_code": "100H", "touchdown_times_s": [2.6, 2.5], "timing_method": "tap"}), "/touchdown_times_s"),
        (
            json!({"event_code": "60H", "touchdown_times_s": [2.6, 3.6, 4.6, 5.6, 6.6, 7.6], "timing_method": "tap"}),
            "/touchdown_times_s",
        ),
        (
            json!({"event_code": "100H", "touchdown_times_s": [1.0, 1.7, 2.4], "timing_method": "gate"}),
            "/touchdown_times_s",
        ),
        (json!({"event_code": "100H", "touchdown_times_s": [2.6], "timing_method": "video"}), "/video_fps"),
        (json!({"event_code": "100H", "touchdown_times_s": [2.6, 0], "timing_method": "tap"}), "/touchdown_times_s/1"),
    ] {
        app.post("/v1/rhythm/final-time", body).await.expect_fault(422, pointer);
    }
}

struct Squad {
    app: TestApp,
    admin: Caller,
    group: String,
    athlete: String,
    session: String,
    day: NaiveDate,
}

async fn squad(pool: PgPool) -> Squad {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let person =
        json!({"display_name": "A", "sex": "M", "birth_year": 2008, "group_ids": [group], "experience": "trained"});
    let athlete = admin.post("/athletes", person).await.expect(201).id();
    let day = Utc::now().date_naive() - Duration::days(2);
    let session = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let session = admin.post("/sessions", session).await.expect(201).id();
    Squad { app, admin, group, athlete, session, day }
}

impl Squad {
    async fn run(&self, times: Option<Value>) -> String {
        let id = Uuid::now_v7();
        let mut body = json!({"id": id, "session_id": self.session, "athlete_id": self.athlete,
            "run_at": self.day.and_hms_opt(12, 0, 0).unwrap().and_utc(), "barrier_kind": "hurdle", "height_m": 0.914,
            "spacing_m": 8.5, "barriers": 5, "intervals": {"held": 4}});
        if let Some(times) = times {
            body["touchdown_times_s"] = times;
            body["timing_method"] = json!("video");
            body["video_fps"] = json!(60);
        }
        let answer = self.admin.post("/runs", json!({"runs": [body]})).await.expect(200);
        assert_eq!(answer.body["results"][0]["status"], "created", "{}", answer.body);
        id.to_string()
    }

    async fn schedule(&self, caller: &Caller) -> Answer {
        caller.get("/rhythm/schedule?event_code=110H&final_time_s=14").await
    }

    /// Results of a 110 m race test, written as the race tests keep them: final time and touchdown times (ms).
    async fn results(&self, status: &str, fell: bool, results: &[(i32, Vec<Option<i32>>)]) -> Vec<Uuid> {
        let id = |text: &str| Uuid::parse_str(text).unwrap();
        let (club, test) = (id(&self.admin.club), Uuid::now_v7());
        let mut tx = self.app.pool.begin().await.unwrap();
        sqlx::raw_sql(sqlx::AssertSqlSafe(format!("set local app.club_id = '{club}'")))
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query(
            "insert into race_tests (club_id, id, session_id, name, state, event_code, race_distance_mm, barriers,
               height_mm, approach_mm, spacing_mm, discounted, timing_method, created_by, created_at, updated_at)
             values ($1, $2, $3, 'T', 'held', '110H', 110000, 10, 914, 13720, 9140, false, 'video', $4, now(), now())",
        )
        .bind(club)
        .bind(test)
        .bind(id(&self.session))
        .bind(id(&self.admin.account))
        .execute(&mut *tx)
        .await
        .unwrap();
        let mut ids = Vec::new();
        for (final_time, touchdowns) in results {
            ids.push(Uuid::now_v7());
            sqlx::query(
                "insert into race_results (club_id, id, race_test_id, athlete_id, status, final_time_ms,
                   touchdown_times_ms, timing_method, video_fps, hits, fell, recorded_by, created_at)
                 values ($1, $2, $3, $4, $5, $6, $7, 'video', 120, 0, $8, $9, now())",
            )
            .bind(club)
            .bind(ids[ids.len() - 1])
            .bind(test)
            .bind(id(&self.athlete))
            .bind(status)
            .bind(final_time)
            .bind(touchdowns)
            .bind(fell)
            .bind(id(&self.admin.account))
            .execute(&mut *tx)
            .await
            .unwrap();
        }
        tx.commit().await.unwrap();
        ids
    }
}

#[sqlx::test]
async fn the_rhythm_of_a_recorded_run_is_shown_to_those_who_see_the_run(pool: PgPool) {
    let squad = squad(pool).await;
    let run = squad.run(Some(json!([2.6, 3.6, null, 5.61, 6.63]))).await;
    let path = format!("/runs/{run}/rhythm");
    let found = squad.admin.get(&path).await.expect(200).body;
    assert_eq!((&found["run_id"], &found["athlete_id"]), (&json!(run), &json!(squad.athlete)));
    let intervals = found["intervals"].as_array().unwrap();
    assert_eq!(intervals.len(), 4);
    close(&intervals[0]["speed_mps"], 8.5);
    assert_eq!(intervals[1]["flags"], json!(["missing"]));
    assert_eq!(found["intervals_used"], 2);
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.group]).await;
    assert_eq!(viewer.get(&path).await.expect(200).body, found);
    let other = squad.admin.group("Other").await;
    squad.admin.member("Other Coach", "coach", &[&other]).await.get(&path).await.expect(404);
    squad.app.admin_of("South").await.get(&path).await.expect(404);
    for unknown in [Uuid::now_v7().to_string(), "7".to_owned()] {
        squad.admin.get(&format!("/runs/{unknown}/rhythm")).await.expect(404);
    }
    let bare = squad.run(None).await;
    let refused = squad.admin.get(&format!("/runs/{bare}/rhythm")).await.expect(409);
    assert_eq!(refused.header("content-type"), "application/problem+json");
    assert!(refused.body["detail"].as_str().unwrap().contains("touchdown times"));
}

#[sqlx::test]
async fn a_clubs_own_race_tests_move_its_schedule_and_nobody_elses(pool: PgPool) {
    let squad = squad(pool).await;
    let public = squad.app.get("/v1/rhythm/schedule?event_code=110H&final_time_s=14").await.expect(200).body;
    let before = squad.schedule(&squad.admin).await.expect(200).body;
    assert_eq!(before["touchdown_times_s"], public["touchdown_times_s"]);
    assert_eq!(before["calibration"]["series_used"], 0);
    close(&before["calibration"]["weights"]["touchdown_1"], 0.0);
    // Three races, each touchdown 0.1 s late; one that falls back; one without enough times.
    #[allow(clippy::cast_possible_truncation)] // a few thousand
    let usual: Vec<i32> =
        numbers(&public["touchdown_times_s"]).iter().map(|time| (time * 1000.0).round() as i32 + 100).collect();
    let late: Vec<Option<i32>> = usual.iter().copied().map(Some).collect();
    let mut gap = late.clone();
    gap[4] = None;
    let mut back = late.clone();
    back[5] = back[4];
    squad
        .results("finished", false, &[(14_000, late.clone()), (14_000, gap), (14_000, late.clone()), (14_000, back)])
        .await;
    let after = squad.schedule(&squad.admin).await.expect(200).body;
    let calibration = &after["calibration"];
    assert_eq!((&calibration["series_used"], &calibration["series_left_out"]), (&json!(3), &json!(1)), "{calibration}");
    let weight = calibration["weights"]["touchdown_1"].as_f64().unwrap();
    assert!(weight > 0.8 && weight < 1.0, "{weight}");
    let moved: Vec<f64> = numbers(&after["touchdown_times_s"])
        .iter()
        .zip(numbers(&public["touchdown_times_s"]))
        .map(|(club, public)| club - public)
        .collect();
    assert!(moved.iter().all(|by| (0.07..0.11).contains(by)), "{moved:?}");
    close(&after["finish_s"], 14.0);
    // Falls, disqualified races and withdrawn results do not count; another course keeps its schedule.
    squad.results("finished", true, &[(14_000, late.clone())]).await;
    squad.results("disqualified", false, &[(14_000, late.clone())]).await;
    let withdrawn = squad.results("finished", false, &[(14_000, late)]).await;
    let mut tx = squad.app.pool.begin().await.unwrap();
    let set = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(set)).execute(&mut *tx).await.unwrap();
    sqlx::query("update race_results set void = true where id = $1")
        .bind(withdrawn[0])
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    assert_eq!(squad.schedule(&squad.admin).await.expect(200).body, after);
    let women = squad.admin.get("/rhythm/schedule?event_code=100H&final_time_s=14").await.expect(200).body;
    assert_eq!(women["calibration"]["series_used"], 0);
    // Who does not see the athlete does not learn from their races.
    let coach = squad.admin.member("Own Coach", "coach", &[&squad.group]).await;
    assert_eq!(squad.schedule(&coach).await.expect(200).body, after);
    let other = squad.admin.group("Other").await;
    let other = squad.admin.member("Other Coach", "coach", &[&other]).await;
    assert_eq!(squad.schedule(&other).await.expect(200).body, before);
    let south = squad.app.admin_of("South").await;
    assert_eq!(squad.schedule(&south).await.expect(200).body, before);
    squad.admin.get("/rhythm/schedule?event_code=110H&final_time_s=5").await.expect_fault(400, "final_time_s");
    squad.admin.get("/rhythm/schedule?final_time_s=14").await.expect_fault(400, "event_code");
}

#[sqlx::test]
async fn stride_marks_and_beats_are_told_for_a_spacing_and_an_interval_time(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let marks = app.get("/v1/rhythm/stride-marks?spacing_m=8.5").await.expect(200).body;
    let rows = marks["marks"].as_array().unwrap();
    let words: Vec<&str> = rows.iter().map(|row| row["mark"].as_str().unwrap()).collect();
    assert_eq!(words, ["landing", "stride_1", "stride_2", "stride_3", "barrier"]);
    // Women's 100 m model: 1.00, 1.60, 2.00, 1.90 and 2.00 m.
    for (row, (step, share)) in rows.iter().zip([(1.0, 0.118), (1.6, 0.188), (2.0, 0.235), (1.9, 0.224), (2.0, 0.235)])
    {
        assert!((row["step_m"].as_f64().unwrap() - step).abs() < 0.011, "{row}");
        close(&row["share"], share);
    }
    close(&rows[4]["at_m"], 8.5);
    let cue = app.get("/v1/rhythm/cue?interval_time_s=1.08&intervals=2").await.expect(200).body;
    let beats = cue["beats"].as_array().unwrap();
    assert_eq!(beats.len(), 9);
    assert_eq!(beats[5], json!({"at_s": 1.35, "step": "stride_1", "interval": 2}));
    for (query, parameter) in [
        ("stride-marks?spacing_m=0.9", "spacing_m"),
        ("stride-marks", "spacing_m"),
        ("cue?interval_time_s=0.5&intervals=2", "interval_time_s"),
        ("cue?interval_time_s=1&intervals=20", "intervals"),
        ("cue?interval_time_s=1&intervals=-1", "intervals"),
    ] {
        app.get(&format!("/v1/rhythm/{query}")).await.expect_fault(400, parameter);
    }
}
