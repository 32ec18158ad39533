//! Who came, who missed what, and what counts: one rule for load, last seen, boards, progress, cards and lane plans, whatever a session
//! is marked as.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};
use crate::unusable::{record, withdraw};

struct Squad {
    admin: Caller,
    coach: Caller,
    group: String,
    other: String,
    day: NaiveDate,
    mira: String,
    noor: String,
}

impl Squad {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group, &other]).await;
        let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 30});
        admin.post("/equipment", wickets).await.expect(201);
        let athlete = async |name: &str| {
            let body = json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [group],
                "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
            admin.post("/athletes", body).await.expect(201).id()
        };
        let (mira, noor) = (athlete("Mira").await, athlete("Noor").await);
        Self { admin, coach, group, other, day: Utc::now().date_naive(), mira, noor }
    }

    fn ago(&self, days: i64) -> NaiveDate {
        self.day - Duration::days(days)
    }

    /// A session so many days ago, marked so, with those on its list.
    async fn session(&self, back: i64, state: &str, came: &[&str]) -> String {
        let body = json!({"held_on": self.ago(back), "state": state, "group_ids": [self.group]});
        let id = self.coach.post("/sessions", body).await.expect(201).id();
        if !came.is_empty() {
            let present = json!({"present": came});
            self.coach.put(&format!("/sessions/{id}/attendance"), "", present).await.expect(200);
        }
        id
    }

    async fn run(&self, athlete: &str, session: &str, back: i64) -> Value {
        let run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete,
            "run_at": format!("{}T00:00:01Z", self.ago(back)), "barrier_kind": "wicket", "height_m": 0.3,
            "spacing_m": 5.5, "barriers": 5, "intervals": {"held": 4}});
        record(&self.coach, &run).await;
        run
    }

    async fn mark(&self, session: &str, state: &str) {
        let path = format!("/sessions/{session}");
        let tag = self.coach.get(&path).await.expect(200).header("etag").to_owned();
        self.coach.patch(&path, &tag, json!({"state": state})).await.expect(200);
    }

    async fn of_group(&self, what: &str) -> Value {
        self.coach.get(&format!("/groups/{}/{what}", self.group)).await.expect(200).body
    }
}

fn row<'a>(body: &'a Value, athlete: &str) -> &'a Value {
    body["athletes"].as_array().unwrap().iter().find(|one| one["athlete_id"] == athlete).unwrap()
}

#[sqlx::test]
async fn whoever_ran_in_a_session_that_broke_off_came_and_nobody_missed_it(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.mira.as_str(), squad.noor.as_str());
    squad.session(30, "held", &[mira, noor]).await;
    for back in [12, 9, 6] {
        squad.session(back, "held", &[noor]).await;
    }
    let off = squad.session(2, "held", &[]).await;
    let runs = [squad.run(mira, &off, 2).await, squad.run(mira, &off, 2).await];
    squad.mark(&off, "cancelled").await;
    let today = squad.session(0, "planned", &[]).await;

    let board = squad.of_group("board").await;
    assert_eq!(board["sessions"].as_array().unwrap().len(), 4, "none that nobody missed: {board}");
    let seen = row(&board, mira);
    assert_eq!((&seen["last_seen"], &seen["sessions_came"]), (&json!(squad.ago(2)), &json!(1)), "{seen}");
    assert_eq!((&seen["load"]["week"]["runs"], &seen["now"]["days"]), (&json!(2), &json!(2)), "{seen}");
    let progress = squad.of_group("progression").await;
    let attendance = &progress["attendance"];
    assert_eq!((&attendance["sessions_held"], &attendance["sessions_recorded"]), (&json!(4), &json!(4)));
    assert_eq!((&attendance["present"], &attendance["share"]), (&json!(5), &json!(0.625)), "{attendance}");
    let came = row(&progress, mira);
    assert_eq!((&came["sessions_present"], &came["load"]["runs"]), (&json!(2), &json!(2)), "{came}");
    assert!(came["session_ids"].as_array().unwrap().contains(&json!(off)));
    let cards = squad.coach.get(&format!("/sessions/{today}/cards")).await.expect(200).body;
    assert_eq!(cards["not_expected"], json!([]), "she was there two days ago");
    let card = cards["cards"].as_array().unwrap().iter().find(|one| one["athlete_id"] == mira).unwrap();
    assert_eq!(card["last_time"]["on"], json!(squad.ago(2)));

    // What did not happen is withdrawn, and counts nowhere.
    for run in &runs {
        withdraw(&squad.coach, run).await;
    }
    let board = squad.of_group("board").await;
    assert_eq!((&row(&board, mira)["last_seen"], &board["load"]["runs"]), (&json!(squad.ago(30)), &json!(0)));
    assert_eq!(row(&squad.of_group("progression").await, mira)["sessions_present"], 1);
    let cards = squad.coach.get(&format!("/sessions/{today}/cards")).await.expect(200).body;
    let missed = &cards["not_expected"][0];
    assert_eq!((&missed["athlete_id"], &missed["last_seen_on"]), (&json!(mira), &json!(squad.ago(30))), "{cards}");
}

#[sqlx::test]
async fn a_session_that_nobody_marked_as_held_counts_by_who_came(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.mira.as_str(), squad.noor.as_str());
    squad.session(30, "held", &[mira, noor]).await;
    for back in [9, 6, 3] {
        squad.session(back, "planned", &[noor]).await;
    }
    // Nobody came to this one, as far as anybody noted.
    squad.session(1, "planned", &[]).await;
    let today = squad.session(0, "planned", &[]).await;
    let board = squad.of_group("board").await;
    let sessions = board["sessions"].as_array().unwrap();
    assert_eq!((sessions.len(), &sessions[0]["held_on"]), (4, &json!(squad.ago(3))), "{board}");
    assert_eq!(
        (&row(&board, noor)["last_seen"], &row(&board, noor)["sessions_came"]),
        (&json!(squad.ago(3)), &json!(4))
    );
    let listed = squad.coach.call(reqwest::Method::GET, sessions[0]["href"].as_str().unwrap(), &[], None).await;
    assert_eq!(listed.expect(200).body["items"][0]["id"], sessions[0]["session_id"]);
    let attendance = squad.of_group("progression").await["attendance"].clone();
    assert_eq!(
        (&attendance["sessions_held"], &attendance["sessions_recorded"]),
        (&json!(1), &json!(4)),
        "{attendance}"
    );
    assert_eq!(attendance["share"], 0.625);
    let cards = squad.coach.get(&format!("/sessions/{today}/cards")).await.expect(200).body;
    assert_eq!(cards["not_expected"][0]["athlete_id"], mira, "the same sessions were missed");
}

#[sqlx::test]
async fn the_lanes_of_a_session_that_was_cancelled_served_nobody(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let before = squad.session(3, "held", &[]).await;
    let wish = |lanes: u32, capacity: u32| {
        json!({"lanes": lanes, "capacity": capacity, "rounds": 1, "barriers": {"min": 4, "max": 5}, "straight_m": 60,
            "athlete_ids": [squad.mira, squad.noor]})
    };
    let plan = async |session: &str, wish: Value| {
        squad.coach.post(&format!("/sessions/{session}/lane-plans"), wish).await.expect(201).body
    };
    let waited = plan(&before, wish(1, 1)).await["resting"][0].clone();
    assert_eq!(waited["waiting"], "no_place", "{waited}");
    let today = squad.session(0, "planned", &[]).await;
    let weight = async || {
        let plan = plan(&today, wish(2, 2)).await;
        let placed = plan["lanes"].as_array().unwrap().iter().flat_map(|lane| lane["athletes"].as_array().unwrap());
        placed.clone().find(|one| one["athlete_id"] == waited["athlete_id"]).unwrap()["weight"].as_f64().unwrap()
    };
    assert!((weight().await - 2.0).abs() < 1e-9, "whoever waited comes first");
    squad.mark(&before, "cancelled").await;
    assert!((weight().await - 1.0).abs() < 1e-9, "nobody waited for lanes that were never set out");
}

#[sqlx::test]
async fn who_missed_a_session_is_told_by_those_of_their_own_groups(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mira, noor) = (squad.mira.as_str(), squad.noor.as_str());
    let body = json!({"display_name": "Kai", "sex": "M", "birth_year": 2013, "group_ids": [squad.other],
        "experience": "novice"});
    let kai = squad.admin.post("/athletes", body).await.expect(201).id();
    squad.session(20, "held", &[mira, noor]).await;
    for back in [6, 4, 2] {
        let body = json!({"held_on": squad.ago(back), "state": "held", "group_ids": [squad.other]});
        let session = squad.coach.post("/sessions", body).await.expect(201).id();
        let present = json!({"present": [kai]});
        squad.coach.put(&format!("/sessions/{session}/attendance"), "", present).await.expect(200);
    }
    let both = json!({"held_on": squad.day, "state": "planned", "group_ids": [squad.group, squad.other]});
    let both = squad.coach.post("/sessions", both).await.expect(201).id();
    let missing = async || {
        let cards = squad.coach.get(&format!("/sessions/{both}/cards")).await.expect(200).body;
        assert_eq!(cards["people_from"], "groups");
        let missing = cards["not_expected"].as_array().unwrap().clone();
        missing.iter().map(|one| one["athlete_id"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(missing().await, Vec::<String>::new(), "the sessions of others are none that they missed");
    for back in [9, 8] {
        squad.session(back, "held", &[noor]).await;
    }
    assert_eq!(missing().await, Vec::<String>::new(), "two of their own are not three");
    squad.session(7, "held", &[noor]).await;
    assert_eq!(missing().await, [mira]);
}
