//! Progress of athletes and squads: figures that follow from the runs by hand, where they come from, and who sees them.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};

struct Squad {
    admin: Caller,
    coach: Caller,
    stranger: Caller,
    group: String,
    mira: String,
    noor: String,
    /// The last training day; the others lie 3, 7, 10 ... days before.
    day: NaiveDate,
    sessions: Vec<(NaiveDate, String)>,
}

/// A day's runs of one athlete: spacing, intervals held of four, barriers hit.
type Ran = (f64, i64, i64);

async fn squad(pool: PgPool) -> Squad {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&group]).await;
    let stranger = admin.member("Other Coach", "coach", &[&other]).await;
    // The club's own target: six barriers of 0.60 m, 7.00 m apart.
    let age = json!({"ruleset": "UKA-2024", "age_group": "Ours", "rule": "end_of_year", "valid_from": "2026-01-01", "source": "us"});
    admin.post("/age-groups", age).await.expect(201);
    let spec = json!({"ruleset": "UKA-2024", "event_code": "60H", "environment": "indoor", "sex": "X", "age_group": "Ours",
        "race_distance_m": 60, "barriers": 6, "height_m": 0.6, "to_first_m": 12, "between_m": 7, "run_in_m": 13,
        "valid_from": "2026-01-01", "source": "us"});
    admin.post("/competition-specs", spec).await.expect(201);
    let athlete = async |name: &str| {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.58, "measured_on": "2026-01-10"}]});
        admin.post("/athletes", body).await.expect(201).id()
    };
    let (mira, noor) = (athlete("=Mira").await, athlete("Noor").await);
    let day = Utc::now().date_naive() - Duration::days(1);
    let mut sessions = Vec::new();
    for back in [24, 21, 17, 14, 10, 7, 3, 0] {
        let on = day - Duration::days(back);
        let body = json!({"held_on": on, "state": "held", "group_ids": [group]});
        sessions.push((on, coach.post("/sessions", body).await.expect(201).id()));
    }
    Squad { admin, coach, stranger, group, mira, noor, day, sessions }
}

impl Squad {
    /// Two runs of five low barriers on each of the last training days, one entry a day.
    async fn train(&self, athlete: &str, days: &[Ran]) {
        let first = self.sessions.len() - days.len();
        for ((on, session), (spacing, held, hits)) in self.sessions[first..].iter().zip(days) {
            let run = |hits: i64| {
                json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete,
                    "run_at": format!("{on}T12:00:00Z"), "barrier_kind": "low_barrier", "height_m": 0.5,
                    "spacing_m": spacing, "barriers": 5, "hits": hits,
                    "intervals": {"held": held, "over_reached": 4 - held}})
            };
            let sent = json!({"runs": [run(*hits), run(0)]});
            let done = self.coach.post("/runs", sent).await.expect(200);
            assert_eq!(done.body["results"][0]["status"], "created", "{}", done.body);
        }
    }

    /// Barriers up to the height of the target.
    async fn own_barriers(&self) {
        let low = json!({"barrier_kind": "low_barrier", "heights_m": [0.5, 0.6], "count": 24});
        self.admin.post("/equipment", low).await.expect(201);
    }

    fn period(&self, days: i64) -> String {
        format!("from={}&to={}", self.day - Duration::days(days - 1), self.day)
    }

    async fn athlete(&self, query: &str) -> Answer {
        self.coach.get(&format!("/athletes/{}/progression?{query}", self.mira)).await
    }

    async fn group(&self, query: &str) -> Answer {
        self.coach.get(&format!("/groups/{}/progression?{query}", self.group)).await
    }

    /// The rows that an address of the service lists.
    async fn rows(&self, href: &Value) -> Vec<Value> {
        let answer = self.coach.call(Method::GET, &format!("{}&limit=200", href.as_str().unwrap()), &[], None).await;
        answer.expect(200).body["items"].as_array().unwrap().clone()
    }
}

fn close(value: &Value, expected: f64) {
    assert!((value.as_f64().unwrap() - expected).abs() < 0.000_6, "{value} {expected}");
}

#[sqlx::test]
async fn an_athletes_figures_are_those_that_the_runs_give_by_hand(pool: PgPool) {
    let squad = squad(pool).await;
    squad.own_barriers().await;
    let spacings = [5.5, 5.5, 5.75, 5.75, 6.0, 6.0, 6.25, 6.25];
    squad.train(&squad.mira, &spacings.map(|spacing| (spacing, 4, i64::from(spacing > 6.1)))).await;
    let found = squad.athlete(&squad.period(25)).await.expect(200).body;
    let load = &found["load"];
    assert_eq!(
        (&load["runs"], &load["intervals"], &load["held"], &load["barriers"]),
        (&json!(16), &json!(64), &json!(64), &json!(80))
    );
    assert_eq!((&load["hits"], &load["falls"]), (&json!(2), &json!(0)));
    close(&load["hits_per_100_barriers"], 2.5);
    assert_eq!(squad.rows(&found["runs_href"]).await.len(), 16);
    // The median slope of the 28 pairs of days: the mean of the 14th and the 15th.
    let days = [0.0, 3.0, 7.0, 10.0, 14.0, 17.0, 21.0, 24.0_f64].map(|day| day / 7.0);
    let mut slopes: Vec<f64> =
        (0..8).flat_map(|i| (0..i).map(move |j| (spacings[i] - spacings[j]) / (days[i] - days[j]))).collect();
    slopes.sort_by(f64::total_cmp);
    close(&found["spacing_slope"]["per_week_m"], f64::midpoint(slopes[13], slopes[14]));
    let points = found["points"].as_array().unwrap();
    assert_eq!(points.len(), 8);
    for (point, (on, _)) in points.iter().zip(&squad.sessions) {
        assert_eq!(point["on"], json!(on));
        close(&point["load"]["held_share"], 1.0);
        let rows = squad.rows(&point["runs_href"]).await;
        assert_eq!(rows.len(), 2);
        assert!(rows.iter().all(|row| row["run_at"].as_str().unwrap().starts_with(&on.to_string())));
    }
    let advice =
        squad.coach.get(&format!("/athletes/{}/recommendation?on={}", squad.mira, squad.day)).await.expect(200).body;
    let (limit, advised) = (&points[7]["comfortable_limit_m"], &advice["estimate"]["comfortable_limit_m"]);
    for figure in ["mean", "p05", "p95"] {
        close(&limit[figure], advised[figure].as_f64().unwrap());
    }
    assert_eq!((&found["stage"], &found["decision"]), (&advice["decision"]["stage"], &advice["decision"]["kind"]));
    assert_eq!(found["cautions"], advice["cautions"]);
    assert_eq!(found["plateau"]["state"], "moving");
    let before = points[0]["comfortable_limit_m"]["mean"].as_f64().unwrap();
    close(&found["limit_change_m"], limit["mean"].as_f64().unwrap() - before);
    let target = &found["target"];
    assert_eq!((&target["event_code"], &target["spacing_m"]), (&json!("60H"), &json!(7.0)));
    close(&found["spacing_of_target"], 6.25 / 7.0);
    let forecast = &found["forecast"];
    close(&forecast["spacing_gap_m"], 0.75);
    close(&forecast["height_gap_m"], 0.1);
    assert_eq!(found["forecast_notes"][0]["code"], "training_goes_on");
    assert!(found["forecast_notes"][0]["text"].as_str().unwrap().contains("8 training days"));
    let dates: Vec<&str> =
        ["p05", "p25", "p50", "p75", "p95"].iter().filter_map(|p| forecast["reached_by"][p].as_str()).collect();
    assert!(dates.is_sorted() && dates.iter().all(|date| *date >= squad.day.to_string().as_str()));
    assert_eq!(forecast["status"], "not_before_gate", "nobody rated the athlete: {forecast}");
    assert!(dates.is_empty() && forecast["if_passed_today"]["p50"].is_string(), "{forecast}");
    let held_up = found["held_up_by"].as_array().unwrap();
    let text = "A step up needs the trail leg rated secure (not rated yet).";
    assert!(held_up.len() == 3 && held_up.iter().any(|one| one["text"] == text && one["code"] == "rating"));
}

#[sqlx::test]
async fn a_passed_gate_gives_the_race_test_and_the_steps_on_the_way_their_dates(pool: PgPool) {
    let squad = squad(pool).await;
    squad.own_barriers().await;
    let spacings = [5.5, 5.5, 5.75, 5.75, 6.0, 6.0, 6.25, 6.25];
    squad.train(&squad.mira, &spacings.map(|spacing| (spacing, 4, 0))).await;
    let at = format!("{}T12:00:00Z", squad.day - Duration::days(2));
    let ratings = json!({"lead_leg": 2, "trail_leg": 2, "walkover": 2});
    let one = json!({"id": Uuid::now_v7(), "athlete_id": squad.mira, "assessed_at": at, "ratings": ratings});
    squad.coach.post("/assessments", json!({"assessments": [one]})).await.expect(200);
    let found = squad.athlete(&squad.period(25)).await.expect(200).body;
    let (forecast, steps) = (&found["forecast"], found["next_steps"].as_array().unwrap());
    assert_ne!(forecast["status"], "not_before_gate", "{forecast}");
    assert!(forecast.get("if_passed_today").is_none());
    assert_eq!(found["held_up_by"], json!([]));
    let day = |step: &Value| step["advised_by"]["p50"].as_str().unwrap().to_owned();
    assert!(steps.len() == 2 && day(&steps[0]) <= day(&steps[1]), "{steps:?}");
    assert!(steps[0]["text"].as_str().unwrap().contains("% likely within 26 weeks"), "{steps:?}");
    assert!(steps[0]["probability_within_26_weeks"].as_f64().unwrap() >= 0.5, "{steps:?}");
    let group = squad.group(&squad.period(25)).await.expect(200).body;
    let row =
        group["athletes"].as_array().unwrap().iter().find(|one| one["athlete_id"] == found["athlete_id"]).unwrap();
    assert_eq!((&row["forecast"], &row["next_steps"]), (forecast, &found["next_steps"]));
}

#[sqlx::test]
async fn technique_says_which_assessments_it_rests_on(pool: PgPool) {
    let squad = squad(pool).await;
    let mut ids = Vec::new();
    for (back, rating) in
        [(20, json!({"trail_leg": 1, "arms": 2})), (10, json!({"trail_leg": 1})), (2, json!({"trail_leg": 2}))]
    {
        let (id, at) = (Uuid::now_v7(), format!("{}T12:00:00Z", squad.day - Duration::days(back)));
        let one = json!({"id": id, "athlete_id": squad.mira, "assessed_at": at, "ratings": rating});
        squad.coach.post("/assessments", json!({"assessments": [one]})).await.expect(200);
        ids.push(id);
    }
    let found = squad.athlete(&squad.period(25)).await.expect(200).body;
    let trail = &found["technique"][0];
    assert_eq!(
        (&trail["criterion"], &trail["direction"], &trail["count"]),
        (&json!("trail_leg"), &json!("up"), &json!(3))
    );
    assert_eq!((&trail["first"]["rating"], &trail["latest"]["rating"]), (&json!(1), &json!(2)));
    assert_eq!((&trail["first"]["assessment_id"], &trail["latest"]["assessment_id"]), (&json!(ids[0]), &json!(ids[2])));
    assert_eq!(found["technique"][1]["direction"], "once");
    let linked = squad.coach.call(Method::GET, trail["latest"]["href"].as_str().unwrap(), &[], None).await.expect(200);
    assert_eq!(linked.body["ratings"]["trail_leg"], 2);
    assert_eq!(squad.rows(&found["assessments_href"]).await.len(), 3);
    assert_eq!((&found["forecast"], &found["forecast_notes"][0]["code"]), (&Value::Null, &json!("no_runs")));
    let group = squad.group(&squad.period(25)).await.expect(200).body;
    let due = &group["assessments_due"];
    let criteria: Vec<&str> =
        due[0]["criteria"].as_array().unwrap().iter().map(|one| one["criterion"].as_str().unwrap()).collect();
    assert_eq!(criteria, ["lead_leg", "walkover", "take_off", "landing", "posture", "rhythm"]);
    assert_eq!(due[1]["criteria"].as_array().unwrap().len(), 7, "arms are not asked for");
    assert_eq!(group["without_data"], json!([squad.mira, squad.noor]));
}

#[sqlx::test]
async fn a_squads_figures_are_the_sums_of_its_athletes(pool: PgPool) {
    let squad = squad(pool).await;
    squad.train(&squad.mira, &[(5.5, 4, 1), (5.75, 4, 0), (6.0, 3, 0)]).await;
    squad.train(&squad.noor, &[(5.25, 2, 2)]).await;
    let session = &squad.sessions[0].1;
    let present = json!({"present": [squad.noor]});
    squad.coach.put(&format!("/sessions/{session}/attendance"), "", present).await.expect(200);
    let found = squad.group(&squad.period(28)).await.expect(200).body;
    assert_eq!(
        (&found["load"]["runs"], &found["load"]["hits"], &found["load"]["barriers"]),
        (&json!(8), &json!(3), &json!(40))
    );
    close(&found["load"]["hits_per_100_barriers"], 7.5);
    let weekly = &found["load_per_athlete_week"];
    close(&weekly["athlete_weeks"], 8.0);
    close(&weekly["intervals"], 4.0);
    close(&weekly["barriers"], 5.0);
    // Held eight times, recorded four times; Mira ran three times, Noor once and stood on one list.
    let attendance = &found["attendance"];
    assert_eq!(
        (&attendance["sessions_held"], &attendance["sessions_recorded"], &attendance["present"]),
        (&json!(8), &json!(4), &json!(5))
    );
    close(&attendance["share"], 0.625);
    assert_eq!(squad.rows(&attendance["sessions_href"]).await.len(), 8);
    let noor = &found["athletes"][1];
    assert_eq!((&noor["athlete_id"], &noor["sessions_present"]), (&json!(squad.noor), &json!(2)));
    assert_eq!(squad.rows(&noor["runs_href"]).await.len(), 2);
    for (list, what) in [("stages", "stage"), ("decisions", "decision")] {
        let counted = found[list].as_array().unwrap();
        assert_eq!(counted.iter().map(|one| one["athletes"].as_u64().unwrap()).sum::<u64>(), 2);
        for athlete in found["athletes"].as_array().unwrap() {
            let of = counted.iter().find(|one| one["what"] == athlete[what]).unwrap();
            assert!(of["athlete_ids"].as_array().unwrap().contains(&athlete["athlete_id"]));
        }
    }
    let full = found["athletes"][0]["progression_href"].as_str().unwrap();
    let full = squad.coach.call(Method::GET, full, &[], None).await.expect(200).body;
    assert_eq!(full["forecast"], found["athletes"][0]["forecast"]);
    assert_eq!(full["limit_change_m"], found["athletes"][0]["limit_change_m"]);
    assert_eq!(found["without_data"], json!([]));
    assert!(found["cautions"].as_array().unwrap().iter().any(|one| one["code"] == "supports_coach"));
}

#[sqlx::test]
async fn progress_also_comes_as_a_table_and_as_a_chart(pool: PgPool) {
    let squad = squad(pool).await;
    squad.train(&squad.mira, &[(5.5, 4, 1), (5.75, 4, 0), (6.0, 3, 0)]).await;
    for path in [format!("/athletes/{}/progression", squad.mira), format!("/groups/{}/progression", squad.group)] {
        let path = squad.coach.path(&path);
        let get = async |accept: &str| squad.coach.call(Method::GET, &path, &[("accept", accept)], None).await;
        let table = get("text/csv").await.expect(200);
        assert_eq!(table.header("content-type"), "text/csv; charset=utf-8");
        let text = String::from_utf8(table.bytes.clone()).unwrap();
        assert!(text.starts_with("display_name,") && text.contains("\n'=Mira,"), "{text}");
        let chart = get("image/svg+xml").await.expect(200);
        assert_eq!(chart.header("content-type"), "image/svg+xml");
        let text = String::from_utf8(chart.bytes.clone()).unwrap();
        assert!(text.starts_with("<svg ") && text.contains("=Mira") && text.contains("</desc>"));
        let page = String::from_utf8(get("text/html").await.expect(200).bytes).unwrap();
        assert!(page.contains("<bdi dir=\"auto\">=Mira</bdi>") && page.contains("</html>"));
        assert_eq!(get("image/png").await.expect(406).header("content-type"), "application/problem+json");
        let tags = [table.header("etag"), chart.header("etag")];
        assert!(tags[0] != tags[1] && tags[0].starts_with('"'));
        let again = async |tag: &str| {
            squad.coach.call(Method::GET, &path, &[("accept", "text/csv"), ("if-none-match", tag)], None).await.status
        };
        assert_eq!((again(tags[0]).await, again(tags[1]).await), (304, 200));
        squad.train(&squad.noor, &[(5.5, 4, 0)]).await;
        assert_eq!(again(tags[0]).await, 200, "a new run makes a new answer");
    }
}

#[sqlx::test]
async fn a_period_must_make_sense_and_hidden_people_stay_hidden(pool: PgPool) {
    let squad = squad(pool).await;
    for (query, name) in [
        ("from=2026-02-01&to=2026-01-01", "from"),
        ("from=2023-01-01&to=2026-01-01", "from"),
        ("to=2199-01-01", "to"),
        ("from=1990-01-01&to=1990-02-01", "to"),
        ("from=yesterday", "from"),
    ] {
        squad.athlete(query).await.expect_fault(400, name);
        squad.group(query).await.expect_fault(400, name);
    }
    let today = squad.athlete("").await.expect(200).body;
    let days = |name: &str| today[name].as_str().unwrap().parse::<NaiveDate>().unwrap();
    assert_eq!((days("to") - days("from")).num_days(), 83, "twelve weeks, both ends included");
    let athlete = format!("/athletes/{}/progression", squad.mira);
    let group = format!("/groups/{}/progression", squad.group);
    squad.stranger.get(&athlete).await.expect(404);
    squad.stranger.get(&group).await.expect(404);
    let tag = squad.coach.get(&athlete).await.header("etag").to_owned();
    let known = [("if-none-match", tag.as_str())];
    squad.stranger.call(Method::GET, &squad.stranger.path(&athlete), &known, None).await.expect(404);
    squad.admin.get(&group).await.expect(200);
    squad.admin.get(&format!("/groups/{}/progression", Uuid::now_v7())).await.expect(404);
}

/// Over a wicket everybody has room left that the barriers of the race do not leave.
#[sqlx::test]
async fn a_chart_draws_the_limit_over_the_barriers_of_the_target_it_is_compared_with(pool: PgPool) {
    let squad = squad(pool).await;
    squad.train(&squad.mira, &[(5.5, 4, 1), (5.75, 4, 0), (6.0, 3, 0)]).await;
    let path = format!("/athletes/{}/progression", squad.mira);
    let json = squad.coach.get(&path).await.expect(200).body;
    let limit =
        json["points"].as_array().unwrap().iter().rev().find_map(|one| one["comfortable_limit_m"]["mean"].as_f64());
    let svg = squad.coach.get(&format!("{path}.svg")).await.expect(200);
    let svg = String::from_utf8(svg.bytes).unwrap();
    let said = svg.split("Comfortable limit over barriers of 0.60 m: ").nth(1).unwrap_or_else(|| panic!("{svg}"));
    let last: f64 = said.split(" m at first, ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    // 0.30 m higher, at a cost that is believed to be 0.2 to 2.6 m of spacing for each metre.
    let lower = limit.unwrap() - last;
    assert!((0.055..=0.785).contains(&lower), "{lower}");
    let page = squad.coach.get(&format!("{path}.html")).await.expect(200);
    let page = String::from_utf8(page.bytes).unwrap();
    assert!(page.contains("limit over 0.60 m") && page.contains("height of the target, 0.60 m"));
    assert_eq!(page.matches("<figure>").count(), 3, "spacing, height and held share, each with its own axis");
}
