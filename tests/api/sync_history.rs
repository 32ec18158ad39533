//! What a phone keeps that asked for recent history only: by the day the records are about, whenever they came.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{Duration, NaiveDate, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::token::Keys;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::race_tests::finish;
use crate::support::Caller;
use crate::sync_pull::{Phone, Squad, run, squad};
use crate::sync_push::{create, push, statuses};

/// The types that are about a day, and those of them that are about the day of a session.
const OF_SESSIONS: [&str; 6] = ["attendance", "lane_plan", "race_entry", "race_result", "race_test", "run"];

struct Histories {
    squad: Squad,
    from: NaiveDate,
    /// Up to date all the while, and reads in small pages.
    phone: Phone,
}

impl Histories {
    async fn session(&self, day: NaiveDate) -> String {
        let state = if day > Utc::now().date_naive() { "planned" } else { "held" };
        let body = json!({"held_on": day, "state": state, "group_ids": [self.squad.mine]});
        self.squad.coach.post("/sessions", body).await.expect(201).id()
    }

    /// Whoever was up to date and whoever copies afresh keep the same; what that is of a session, by type.
    async fn alike(&mut self, session: &str) -> Vec<String> {
        self.phone.pull(&self.squad.coach, 3).await;
        let mut fresh = Phone::asking(self.phone.wish.clone());
        fresh.pull(&self.squad.coach, 500).await;
        assert_eq!(self.phone.copy, fresh.copy);
        let tests: Vec<String> = fresh
            .copy
            .iter()
            .filter(|((kind, _), data)| kind == "race_test" && data["session_id"] == session)
            .map(|((_, id), _)| id.clone())
            .collect();
        let of =
            |data: &Value| data["session_id"] == session || tests.iter().any(|id| data["race_test_id"] == json!(id));
        let mut kinds: Vec<String> =
            fresh.copy.iter().filter(|(_, data)| of(data)).map(|((kind, _), _)| kind.clone()).collect();
        kinds.dedup();
        kinds
    }

    /// Everything that can be recorded and planned in a session; the clock of the phone that recorded it was wrong.
    async fn fill(&self, by: &Caller, session: &str, clock: NaiveDate) {
        let athlete = &self.squad.athlete;
        let rating = json!({"athlete_id": athlete, "session_id": session, "assessed_at": format!("{clock}T17:00:00Z"),
            "ratings": {"arms": 2}});
        let facts = [create("run", run(session, athlete, clock)), create("assessment", rating)];
        assert_eq!(statuses(&push(by, &facts).await), [201, 201]);
        by.put(&format!("/sessions/{session}/attendance"), "", json!({"present": [athlete]})).await.expect(200);
        self.race(by, session).await;
        let wish = json!({"lanes": 1, "capacity": 4, "straight_m": 110, "barriers": {"min": 4, "max": 5}, "athlete_ids": [athlete]});
        by.post(&format!("/sessions/{session}/lane-plans"), wish).await.expect(201);
    }

    /// A race test of a session, with an entry and a result.
    async fn race(&self, by: &Caller, session: &str) {
        let athlete = &self.squad.athlete;
        let race = json!({"session_id": session, "name": "Test", "dimensions": {"race_distance_m": 60, "barriers": 6,
            "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}});
        let race = by.post("/race-tests", race).await.expect(201);
        let path = format!("/race-tests/{}", race.id());
        let entered = json!({"athlete_ids": [athlete], "coach_accepts": [athlete]});
        by.put(&format!("{path}/entries"), race.header("etag"), entered).await.expect(200);
        by.post(&format!("{path}/results"), json!({"results": [finish(athlete, 11.5)]})).await.expect(200);
    }

    async fn hold(&self, session: &str, day: NaiveDate) {
        let path = format!("/sessions/{session}");
        let tag = self.squad.coach.get(&path).await.header("etag").to_owned();
        self.squad.coach.patch(&path, &tag, json!({"held_on": day})).await.expect(200);
    }
}

async fn histories(pool: PgPool) -> Histories {
    let squad = squad(pool).await;
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    squad.admin.post("/equipment", stock).await.expect(201);
    let from = Utc::now().date_naive() - Duration::days(10);
    let phone = Phone::asking(format!("&history_from={from}"));
    Histories { squad, from, phone }
}

#[sqlx::test]
async fn late_facts_about_earlier_days_are_alike_on_all_phones(pool: PgPool) {
    let mut club = histories(pool).await;
    let day = Duration::days(1);
    let (old, recent) = (club.session(club.from - day).await, club.session(club.from).await);
    assert!(club.alike(&old).await.is_empty());
    // What arrives now about then is not kept, and what is about a day that is kept is, whatever the clock of its phone said.
    club.fill(&club.squad.coach, &old, club.from).await;
    assert!(club.alike(&old).await.is_empty());
    club.fill(&club.squad.coach, &recent, club.from - day).await;
    let mut all: Vec<&str> = OF_SESSIONS.to_vec();
    all.insert(0, "assessment");
    assert_eq!(club.alike(&recent).await, all);
    assert!(club.phone.copy.contains_key(&("session".to_owned(), old)), "sessions come whole");
}

#[sqlx::test]
async fn what_has_a_day_of_its_own_is_kept_by_that_day(pool: PgPool) {
    let mut club = histories(pool).await;
    let rating = |day: NaiveDate| {
        create(
            "assessment",
            json!({"athlete_id": club.squad.athlete, "assessed_at": format!("{day}T00:00:00Z"),
            "ratings": {"arms": 2}}),
        )
    };
    let decided = |day: NaiveDate| {
        create("decision", json!({"athlete_id": club.squad.athlete, "outcome": "accepted", "on": day}))
    };
    let before = club.from - Duration::days(1);
    let items = [rating(before), rating(club.from), decided(before), decided(club.from)];
    club.phone.pull(&club.squad.coach, 500).await;
    assert_eq!(statuses(&push(&club.squad.coach, &items).await), [201; 4]);
    club.alike("").await;
    assert_eq!(club.phone.ids("assessment"), [items[1]["id"].as_str().unwrap()]);
    assert_eq!(club.phone.ids("decision"), [items[3]["id"].as_str().unwrap()]);
}

#[sqlx::test]
async fn a_race_test_planned_for_a_day_to_come_is_there(pool: PgPool) {
    let mut club = histories(pool).await;
    let ahead = Utc::now().date_naive() + Duration::days(20);
    // Also for a phone that asks for the days to come alone.
    club.phone.wish = format!("&history_from={ahead}");
    let session = club.session(ahead).await;
    let race = json!({"session_id": session, "name": "Test", "dimensions": {"race_distance_m": 60, "barriers": 6,
        "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}});
    club.squad.coach.post("/race-tests", race).await.expect(201);
    assert_eq!(club.alike(&session).await, ["race_test"]);
}

#[sqlx::test]
async fn what_was_recorded_in_a_session_moves_with_its_day(pool: PgPool) {
    let mut club = histories(pool).await;
    let (long_ago, lately) = (club.from - Duration::days(30), club.from + Duration::days(2));
    let session = club.session(long_ago).await;
    club.fill(&club.squad.coach, &session, long_ago).await;
    assert!(club.alike(&session).await.is_empty());
    club.hold(&session, lately).await;
    let mut all: Vec<&str> = OF_SESSIONS.to_vec();
    all.insert(0, "assessment");
    assert_eq!(club.alike(&session).await, all);
    club.hold(&session, long_ago).await;
    assert!(club.alike(&session).await.is_empty());
    // Whoever carries everything keeps everything, and facts are not written anew.
    let mut whole = Phone::default();
    whole.pull(&club.squad.coach, 500).await;
    let revs: Vec<Value> =
        whole.copy.iter().filter(|((kind, _), _)| kind == "run").map(|(_, one)| one["rev"].clone()).collect();
    club.hold(&session, lately).await;
    whole.pull(&club.squad.coach, 500).await;
    assert!(!revs.is_empty());
    let after: Vec<Value> =
        whole.copy.iter().filter(|((kind, _), _)| kind == "run").map(|(_, one)| one["rev"].clone()).collect();
    assert_eq!(after, revs);
}

/// An athlete in two groups runs in a session of the other one: their coach reads what they ran, in the feed as by its
/// route, under a session that is and stays somebody else's.
#[sqlx::test]
async fn a_fact_from_a_session_of_another_group_is_read_with_its_athlete(pool: PgPool) {
    let club = histories(pool).await;
    let Histories { squad, .. } = &club;
    let path = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"group_ids": [squad.mine, squad.other]})).await.expect(200);
    let body = json!({"held_on": squad.day, "state": "held", "group_ids": [squad.other]});
    let session = squad.admin.post("/sessions", body).await.expect(201).id();
    club.fill(&squad.admin, &session, squad.day).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    squad.coach.get(&format!("/sessions/{session}")).await.expect(404);
    assert!(!phone.ids("session").contains(&session.as_str()));
    assert!(phone.ids("race_test").is_empty() && phone.ids("lane_plan").is_empty(), "they follow the session");
    for (kind, route) in [("run", "/runs"), ("assessment", "/assessments")] {
        let listed = squad.coach.get(&format!("{route}?athlete_id={}", squad.athlete)).await.expect(200).body;
        let listed = listed["items"].as_array().unwrap();
        assert_eq!(listed.len(), 1, "{kind}");
        let id = listed[0]["id"].as_str().unwrap();
        let read = squad.coach.get(&format!("{route}/{id}")).await.expect(200).body;
        assert_eq!((&read, &read), (&listed[0], &phone.copy[&(kind.to_owned(), id.to_owned())]));
        assert_eq!(read["session_id"], json!(session));
    }
    for kind in ["attendance", "race_entry", "race_result"] {
        assert_eq!(phone.ids(kind).len(), 1, "{kind}");
    }
    let result = phone.copy.iter().find(|((kind, _), _)| kind == "race_result").unwrap().1;
    let race = result["race_test_id"].as_str().unwrap().to_owned();
    squad.coach.get(&format!("/race-tests/{race}")).await.expect(404);
    let bests = squad.coach.get(&format!("/athletes/{}/personal-bests", squad.athlete)).await.expect(200).body;
    assert_eq!(bests["items"][0]["race_test_id"], json!(race), "its day and course stand there");
    assert_eq!(bests["items"][0]["held_on"], json!(squad.day));
    // Once the session is theirs as well, it comes, and what follows it.
    let path = format!("/sessions/{session}");
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"group_ids": [squad.mine, squad.other]})).await.expect(200);
    phone.pull(&squad.coach, 500).await;
    assert!(phone.copy.contains_key(&("race_test".to_owned(), race.clone())));
    assert!(phone.ids("session").contains(&session.as_str()) && phone.ids("lane_plan").len() == 1);
}

/// A copy that was cut by when records were stored begins again.
#[sqlx::test]
async fn a_token_from_before_the_day_counted_copies_afresh(pool: PgPool) {
    let mut club = histories(pool).await;
    let coach = &club.squad.coach;
    club.phone.pull(coach, 500).await;
    let token = club.phone.token.clone().unwrap();
    coach.get(&format!("/changes?sync_token={token}")).await.expect(200);
    let keys = Keys::load(&Db::lazy((*club.squad.app.pool.connect_options()).clone(), 1)).await.unwrap();
    let context = [&coach.club, &coach.account].map(|id| *id.parse::<Uuid>().unwrap().as_bytes()).concat();
    let sealed = URL_SAFE_NO_PAD.decode(token.strip_prefix("st1.").unwrap()).unwrap();
    let mut payload = keys.open(&context, &sealed).unwrap().to_vec();
    // After epoch, generation and types: the version, whose second highest bit says how history is cut.
    assert_eq!(payload[12], 0x40);
    payload[12] = 0;
    let older = format!("st1.{}", URL_SAFE_NO_PAD.encode(keys.seal(&context, &payload)));
    let refused = coach.get(&format!("/changes?sync_token={older}")).await.expect(410).body;
    assert_eq!(
        (&refused["type"], &refused["current"]["restart"]),
        (&json!("/problems/sync-token-expired"), &json!(true))
    );
}
