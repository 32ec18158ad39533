//! The board of a squad: who stands where, what holds them up and since when, and that every number leads to its rows.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};
use crate::sync_push::{create, push, statuses};

struct Squad {
    admin: Caller,
    coach: Caller,
    stranger: Caller,
    group: String,
    other: String,
    day: NaiveDate,
}

impl Squad {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group]).await;
        let stranger = admin.member("Other Coach", "coach", &[&other]).await;
        let low = json!({"barrier_kind": "low_barrier", "heights_m": [0.5, 0.6], "count": 24});
        admin.post("/equipment", low).await.expect(201);
        Self { admin, coach, stranger, group, other, day: Utc::now().date_naive() }
    }

    async fn athlete(&self, name: &str, birth: &str, measured: i64) -> String {
        let on = self.day - Duration::days(measured);
        let body = json!({"display_name": name, "sex": "F", "birth_date": birth, "group_ids": [self.group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.58, "measured_on": on}]});
        self.admin.post("/athletes", body).await.expect(201).id()
    }

    /// A session so many days ago, with those who came.
    async fn session(&self, back: i64, came: &[&str]) -> String {
        let held_on = self.day - Duration::days(back);
        let body = json!({"held_on": held_on, "state": "held", "group_ids": [self.group]});
        let id = self.coach.post("/sessions", body).await.expect(201).id();
        if !came.is_empty() {
            let present = json!({"present": came});
            self.coach.put(&format!("/sessions/{id}/attendance"), "", present).await.expect(200);
        }
        id
    }

    async fn run(&self, athlete: &str, session: &str, back: i64, runs: usize) {
        let on = self.day - Duration::days(back);
        let run = |_| {
            json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete,
                "run_at": format!("{on}T00:00:01Z"), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5,
                "barriers": 5, "intervals": {"held": 4}})
        };
        let all: Vec<Value> = (0..runs).map(run).collect();
        let done = self.coach.post("/runs", json!({"runs": all})).await.expect(200);
        assert_eq!(done.body["results"][0]["status"], "created", "{}", done.body);
    }

    async fn rate(&self, athlete: &str, back: i64, ratings: Value) {
        let at = format!("{}T00:00:01Z", self.day - Duration::days(back));
        let one = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "assessed_at": at, "ratings": ratings});
        self.coach.post("/assessments", json!({"assessments": [one]})).await.expect(200);
    }

    async fn board(&self) -> Value {
        self.coach.get(&format!("/groups/{}/board", self.group)).await.expect(200).body
    }

    async fn rows(&self, href: &Value) -> Vec<Value> {
        let answer = self.coach.call(Method::GET, href.as_str().unwrap(), &[], None).await.expect(200);
        answer.body["items"].as_array().cloned().unwrap_or_default()
    }
}

fn row<'a>(board: &'a Value, athlete: &str) -> &'a Value {
    board["athletes"].as_array().unwrap().iter().find(|one| one["athlete_id"] == athlete).unwrap()
}

#[sqlx::test]
async fn who_stood_eight_sessions_behind_an_unrated_criterion_shows_up(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.athlete("Mira", "2013-05-17", 10).await, squad.athlete("Noor", "2013-05-18", 10).await);
    let secure = json!({"lead_leg": 2, "trail_leg": 2, "walkover": 2});
    squad.rate(&noor, 40, secure).await;
    for back in [28, 24, 21, 17, 14, 10, 7, 3] {
        squad.session(back, &[&mira, &noor]).await;
    }
    squad.rate(&mira, 12, json!({"trail_leg": 2, "walkover": 1})).await;
    let board = squad.board().await;
    let behind = board["behind"].as_array().unwrap();
    let of = |athlete: &str, word: &str| -> Vec<&Value> {
        let fits =
            |one: &&Value| one["athlete_id"] == athlete && one["held_up_by"]["text"].as_str().unwrap().contains(word);
        behind.iter().filter(fits).map(|one| &one["held_up_by"]).collect()
    };
    let [lead] = of(&mira, "lead leg")[..] else { panic!("{board}") };
    assert_eq!((&lead["code"], &lead["sessions"]), (&json!("rating"), &json!(8)));
    assert_eq!((&lead["since"], &lead["at_least"]), (&json!(squad.day - Duration::days(28)), &json!(false)));
    let since = squad.day - Duration::days(28);
    let says = format!("A step up needs the lead leg rated secure (not rated yet). So for 8 sessions, since {since}.");
    assert_eq!(lead["text"], says);
    assert!(of(&mira, "trail leg").is_empty(), "rated secure since: {board}");
    // Rated below secure, which does not begin anew.
    let [walkover] = of(&mira, "walkover")[..] else { panic!("{board}") };
    assert_eq!(walkover["sessions"], 8);
    assert_eq!(squad.rows(&walkover["href"]).await.len(), 1, "the assessment behind it");
    assert!(of(&noor, "rated").is_empty(), "{board}");
    let first = squad.coach.get(&format!("/athletes/{mira}/recommendation")).await.expect(200).body;
    let row = row(&board, &mira);
    assert_eq!((&row["stage"], &row["decision"]), (&first["decision"]["stage"], &first["decision"]["kind"]));
    let rung = board["ladder"].as_array().unwrap().iter().find(|rung| rung["stage"] == row["stage"]).unwrap();
    assert!(
        rung["athlete_ids"].as_array().unwrap().contains(&json!(mira))
            && rung["names"].as_array().unwrap().contains(&json!("Mira"))
    );
    let on_rungs: u64 = board["ladder"].as_array().unwrap().iter().map(|rung| rung["athletes"].as_u64().unwrap()).sum();
    assert_eq!(on_rungs, 2);
    assert_eq!(board["cautions"].as_array().unwrap().len(), 10);
}

#[sqlx::test]
async fn a_report_holds_up_since_its_day_and_a_word_says_what_it_holds_back(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.athlete("Mira", "2013-05-17", 10).await, squad.athlete("Noor", "2013-05-18", 10).await);
    for athlete in [&mira, &noor] {
        squad.rate(athlete, 20, json!({"lead_leg": 2, "trail_leg": 2, "walkover": 2})).await;
    }
    for back in [14, 10, 7] {
        let session = squad.session(back, &[&mira]).await;
        squad.run(&noor, &session, back, 3).await;
    }
    let reported_on = squad.day - Duration::days(11);
    let report = json!({"id": Uuid::now_v7(), "athlete_id": mira, "kind": "pain", "reported_on": reported_on, "reported_by": "athlete"});
    squad.coach.post("/wellbeing-records", json!({"wellbeing_records": [report]})).await.expect(200);
    let advice = squad.coach.get(&format!("/athletes/{noor}/recommendation")).await.expect(200).body;
    assert_eq!(advice["decision"]["kind"], "change_barrier_kind", "{advice}");
    let word = json!({"outcome": "overridden", "reason": "one more week",
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5});
    squad.coach.post(&format!("/athletes/{noor}/recommendation/decisions"), word).await.expect(201);
    let board = squad.board().await;
    let rests = row(&board, &mira);
    let first = &rests["held_up_by"][0];
    assert_eq!((&first["code"], &first["since"]), (&json!("pain_reported"), &json!(reported_on)));
    assert_eq!(first["sessions"], 2, "ten and seven days ago");
    assert_eq!(squad.rows(&first["href"]).await.len(), 1);
    assert_eq!(rests["decision"], "rest_and_refer");
    let stays = row(&board, &noor);
    assert_eq!(
        (&stays["coach_word"]["holds_back"], &stays["coach_word"]["rules_decision"]),
        (&json!(true), &json!("change_barrier_kind"))
    );
    assert_eq!((&stays["coach_word"]["on"], &stays["coach_word"]["at"]["spacing_m"]), (&json!(squad.day), &json!(5.5)));
    assert_eq!(board["ready"], json!([]));
}

#[sqlx::test]
async fn numbers_lead_to_their_rows_and_stand_beside_last_season(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.athlete("Mira", "2013-05-17", 100).await, squad.athlete("Noor", "2013-05-18", 10).await);
    let year = 364;
    for (back, runs) in [(year + 20, 2), (year + 3, 3)] {
        let session = squad.session(back, &[]).await;
        squad.run(&mira, &session, back, runs).await;
    }
    for (back, runs) in [(24, 2), (12, 1), (3, 4), (1, 5)] {
        let session = squad.session(back, &[&noor]).await;
        squad.run(&mira, &session, back, runs).await;
    }
    squad.session(2, &[&noor]).await;
    let board = squad.board().await;
    let row = row(&board, &mira);
    let load = &row["load"];
    assert_eq!((&load["week"]["runs"], &load["week"]["intervals"]), (&json!(9), &json!(36)));
    assert_eq!((&load["four_weeks_before"]["runs"], &load["usual_intervals"]), (&json!(3), &json!(3.0)));
    assert_eq!((&load["jump"], &load["of_usual"]), (&json!(true), &json!(12.0)));
    assert_eq!(squad.rows(&load["week_href"]).await.len(), 9);
    assert_eq!(squad.rows(&load["before_href"]).await.len(), 3);
    assert_eq!(board["load_jumps"], json!([mira]));
    let codes: Vec<&str> =
        row["cautions"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"load_jump") && codes.contains(&"growth_pain_signs"), "{codes:?}");
    assert_eq!((&row["sessions_came"], &row["last_seen"]), (&json!(6), &json!(squad.day - Duration::days(1))));
    let sessions = board["sessions"].as_array().unwrap();
    assert_eq!(sessions.len(), 7);
    assert_eq!((&sessions[0]["present"], &sessions[1]["present"]), (&json!(2), &json!(1)));
    let linked = squad.rows(&sessions[1]["href"]).await;
    assert_eq!((linked.len(), &linked[0]["id"]), (1, &sessions[1]["session_id"]));
    let last = &row["last_season"];
    assert_eq!((&last["load"]["runs"], &last["days"]), (&json!(5), &json!(2)));
    assert_eq!(squad.rows(&last["runs_href"]).await.len(), 5);
    assert_eq!((&row["now"]["load"]["runs"], &row["now"]["days"]), (&json!(12), &json!(4)));
    assert_eq!(squad.rows(&row["now"]["runs_href"]).await.len(), 12);
    assert_eq!((&board["load"]["runs"], &board["last_season_load"]["runs"]), (&json!(12), &json!(5)));
    let then = squad.day - Duration::days(year);
    assert_eq!((&board["last_season_to"], &last["to"]), (&json!(then), &json!(then)));
    assert!(self::row(&board, &noor).get("last_season").is_none());
    let before: u64 =
        board["ladder"].as_array().unwrap().iter().map(|rung| rung["last_season"].as_u64().unwrap()).sum();
    assert_eq!(before, 1);
}

#[sqlx::test]
async fn what_is_due_is_named_with_its_day(pool: PgPool) {
    let squad = Squad::new(pool).await;
    // Under a rule set of the club's own, the group ends on the birthday itself.
    let birthday = squad.day + Duration::days(30);
    let born = birthday.format("%Y").to_string().parse::<i32>().unwrap() - 13;
    let birth = birthday.with_day_of(born);
    for (name, ages, height) in [("Younger", (12, 12), 0.5), ("Older", (13, 14), 0.6)] {
        let group = json!({"ruleset": "UKA-2024", "age_group": name, "min_age": ages.0, "max_age": ages.1,
            "rule": "day_of_competition", "valid_from": "2020-01-01", "source": "us"});
        squad.admin.post("/age-groups", group).await.expect(201);
        let spec = json!({"ruleset": "UKA-2024", "event_code": format!("60H{}", &name[..1]), "environment": "indoor",
            "sex": "X", "age_group": name, "race_distance_m": 60, "barriers": 6, "height_m": height, "to_first_m": 12,
            "between_m": 7, "run_in_m": 13, "valid_from": "2020-01-01", "source": "us"});
        squad.admin.post("/competition-specs", spec).await.expect(201);
    }
    let mira = squad.athlete("Mira", &birth.to_string(), 100).await;
    squad.rate(&mira, 90, json!({"lead_leg": 2})).await;
    // A slip of the pen that advice does not rest on is no measurement.
    let slip = json!({"athlete_id": mira, "kind": "stature_m", "value": 2.2, "measured_on": squad.day});
    assert_eq!(statuses(&push(&squad.admin, &[create("measurement", slip)]).await), [201]);
    let board = squad.board().await;
    let due = &board["due"];
    let measured = squad.day - Duration::days(100);
    let stature = &due["measurements"][0];
    assert_eq!(
        (&stature["measurement"], &stature["since"]),
        (&json!("stature"), &json!(measured + Duration::days(85)))
    );
    assert_eq!((&due["measurements"][1]["measurement"], due["measurements"][1].get("since")), (&json!("sprint"), None));
    let listed = squad.coach.call(Method::GET, stature["measurements_href"].as_str().unwrap(), &[], None).await;
    assert_eq!(listed.expect(200).body["items"][1]["measured_on"], json!(measured), "latest first");
    let lead = &due["assessments"][0]["criteria"][0];
    assert_eq!((&lead["criterion"], &lead["since"]), (&json!("lead_leg"), &json!(squad.day - Duration::days(90 - 85))));
    let change = &due["specification_changes"][0];
    assert_eq!((&change["from"], &change["cause"]), (&json!(birthday), &json!("birthday")));
    assert_eq!((&change["target"]["height_m"], &change["target"]["applies_from"]), (&json!(0.6), &json!(birthday)));
    assert_eq!(row(&board, &mira)["next_target"], change["target"]);
    let looked_up = squad.coach.call(Method::GET, change["specs_href"].as_str().unwrap(), &[], None).await.expect(200);
    assert!(looked_up.body["current"].to_string().contains("60HO"), "{}", looked_up.body);
}

#[sqlx::test]
async fn a_board_is_for_those_who_see_the_group_and_holds_nobody_else(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let mira = squad.athlete("Mira", "2013-05-17", 10).await;
    let body = json!({"display_name": "Zoltan", "sex": "M", "birth_year": 2012, "group_ids": [squad.other], "experience": "novice"});
    let zoltan = squad.admin.post("/athletes", body).await.expect(201).id();
    let shared =
        json!({"held_on": squad.day - Duration::days(1), "state": "held", "group_ids": [squad.group, squad.other]});
    let session = squad.admin.post("/sessions", shared).await.expect(201).id();
    let present = json!({"present": [mira, zoltan]});
    squad.admin.put(&format!("/sessions/{session}/attendance"), "", present).await.expect(200);
    let path = format!("/groups/{}/board", squad.group);
    squad.stranger.get(&path).await.expect(404);
    let answer = squad.coach.get(&path).await.expect(200);
    let text = answer.body.to_string();
    assert!(text.contains(&mira) && !text.contains(&zoltan) && !text.contains("Zoltan"), "{text}");
    assert_eq!(answer.body["sessions"][0]["present"], 1, "its own athletes only");
    let tag = answer.header("etag").to_owned();
    let again = squad.coach.call(Method::GET, &squad.coach.path(&path), &[("if-none-match", &tag)], None).await;
    assert_eq!(again.status, 304);
    squad.coach.get(&format!("{path}?from=2026-13-01")).await.expect(400);
}

/// The same day of another year; 29 February becomes the day before.
trait OfYear {
    fn with_day_of(self, year: i32) -> NaiveDate;
}

impl OfYear for NaiveDate {
    fn with_day_of(self, year: i32) -> NaiveDate {
        use chrono::Datelike as _;
        self.with_year(year).unwrap_or_else(|| self.pred_opt().unwrap().with_year(year).unwrap())
    }
}
