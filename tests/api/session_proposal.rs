//! A proposed session: who does what when, made the session's own by PATCH, and seen by nobody who may not.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};

struct Evening {
    admin: Caller,
    coach: Caller,
    stranger: Caller,
    group: String,
    other: String,
    day: NaiveDate,
    session: String,
}

impl Evening {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group]).await;
        let stranger = admin.member("Other Coach", "coach", &[&other]).await;
        for (kind, height, count) in [("wicket", 0.3, 20), ("low_barrier", 0.4, 14)] {
            let row = json!({"barrier_kind": kind, "heights_m": [height], "count": count});
            admin.post("/equipment", row).await.expect(201);
        }
        let day = Utc::now().date_naive();
        let session = json!({"held_on": day, "state": "planned", "group_ids": [group, other]});
        let session = admin.post("/sessions", session).await.expect(201).id();
        Self { admin, coach, stranger, group, other, day, session }
    }

    async fn athlete(&self, name: &str, group: &str) -> String {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
        self.admin.post("/athletes", body).await.expect(201).id()
    }

    async fn propose(&self, caller: &Caller, query: &str) -> Value {
        caller.get(&format!("/sessions/{}/proposal{query}", self.session)).await.expect(200).body
    }
}

fn names(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|one| one["display_name"].as_str().unwrap()).collect()
}

#[sqlx::test]
async fn a_proposal_adds_up_and_becomes_the_sessions_own_by_patch(pool: PgPool) {
    let evening = Evening::new(pool).await;
    let (mira, noor) = (evening.athlete("Mira", &evening.group).await, evening.athlete("Noor", &evening.group).await);
    let hurt = evening.athlete("Tam", &evening.group).await;
    let at = format!("{}T00:00:01Z", evening.day - Duration::days(3));
    let secure = json!({"id": Uuid::now_v7(), "athlete_id": noor, "assessed_at": at, "ratings": {"lead_leg": 2, "trail_leg": 2, "walkover": 2}});
    evening.coach.post("/assessments", json!({"assessments": [secure]})).await.expect(200);
    let report = json!({"id": Uuid::now_v7(), "athlete_id": hurt, "kind": "pain", "reported_on": evening.day, "reported_by": "athlete"});
    evening.coach.post("/wellbeing-records", json!({"wellbeing_records": [report]})).await.expect(200);
    let found = evening.propose(&evening.coach, "?minutes=90&coaches=2").await;
    let (blocks, explained) = (found["blocks"].as_array().unwrap(), found["explained"].as_array().unwrap());
    assert_eq!((&blocks[0]["drill"], &blocks[0]["minutes"]), (&json!("Warm-up"), &json!(15)));
    let ends = blocks.iter().map(|one| one["start_min"].as_u64().unwrap() + one["minutes"].as_u64().unwrap()).max();
    assert_eq!((json!(ends), &found["short_by_min"]), (found["ends_min"].clone(), &json!(0)));
    assert!(ends.unwrap() <= 90, "{found}");
    assert_eq!(names(&found["resting"]), ["Tam"]);
    let of = |who: &str| -> Vec<&str> {
        let does = |one: &&Value| one["drill"].is_string() && names(&one["athletes"]).contains(&who);
        explained.iter().filter(does).map(|one| one["drill"].as_str().unwrap()).collect()
    };
    assert_eq!(of("Mira"), ["wall_lead_leg", "wall_trail_leg", "first_walkover", "wicket_lane"], "{explained:?}");
    assert_eq!(of("Noor"), ["marching_walkover", "cycle", "wicket_lane"]);
    assert!(of("Tam").is_empty());
    for one in explained.iter().filter(|one| one["drill"].is_string()) {
        assert!(one["teaches"].is_string() && one["source"].is_string(), "{one}");
    }
    let walkover = explained.iter().find(|one| one["drill"] == "first_walkover").unwrap();
    let block = &blocks[usize::try_from(walkover["block"].as_u64().unwrap()).unwrap()];
    assert_eq!((&block["barriers"], &block["spacing_m"], &block["height_m"]), (&json!(6), &json!(1.0), &json!(0.4)));
    assert_eq!((&block["side"], &walkover["supervised"]), (&json!("each"), &json!(true)));
    let cycle = explained.iter().find(|one| one["drill"] == "cycle").unwrap();
    assert_eq!(cycle["foot_lengths"], 15.0);
    assert_eq!(found["equipment"], json!({"barrier_kind": "low_barrier", "height_m": 0.4, "carry": 6, "lacking": 0}));
    let spacings: Vec<f64> =
        found["moves"].as_array().unwrap().iter().map(|one| one["spacing_m"].as_f64().unwrap()).collect();
    assert_eq!(spacings.len(), 2, "{found}");
    assert!(found["common_practice"].as_str().unwrap().contains("common practice"));
    // The coach shortens one block and takes the rest as it is.
    let path = format!("/sessions/{}", evening.session);
    let tag = evening.coach.get(&path).await.expect(200).header("etag").to_owned();
    let mut own = blocks.clone();
    own[1]["sets"] = json!(2);
    let kept = evening.coach.patch(&path, &tag, json!({"blocks": own})).await.expect(200).body;
    assert_eq!(kept["blocks"], json!(own));
    assert!(!kept.to_string().contains(&mira), "blocks name nobody");
    let changes = evening.coach.get("/changes?types=session").await.expect(200).body.to_string();
    assert!(changes.contains("first_walkover") || changes.contains("First walkovers"), "phones carry it: {changes}");
}

#[sqlx::test]
async fn fewer_minutes_leave_drills_out_and_say_so(pool: PgPool) {
    let evening = Evening::new(pool).await;
    evening.athlete("Mira", &evening.group).await;
    let short = evening.propose(&evening.coach, "?minutes=40").await;
    let left: Vec<&str> =
        short["left_out"].as_array().unwrap().iter().map(|one| one["drill"].as_str().unwrap()).collect();
    assert!(!left.is_empty() && !left.contains(&"wicket_lane"), "{short}");
    assert!(short["ends_min"].as_u64().unwrap() <= 40);
    let least = evening.propose(&evening.coach, "?minutes=20").await;
    assert_eq!(least["short_by_min"].as_u64().unwrap(), least["ends_min"].as_u64().unwrap() - 20);
    for (query, name) in [("?minutes=19", "minutes"), ("?coaches=0", "coaches"), ("?coaches=x", "coaches")] {
        let refused = evening.coach.get(&format!("/sessions/{}/proposal{query}", evening.session)).await.expect(400);
        assert_eq!(refused.faults(), [name]);
    }
}

#[sqlx::test]
async fn a_proposal_is_for_those_whom_its_reader_sees(pool: PgPool) {
    let evening = Evening::new(pool).await;
    let mira = evening.athlete("Mira", &evening.group).await;
    evening.athlete("Zoe", &evening.other).await;
    let theirs = evening.propose(&evening.stranger, "").await.to_string();
    assert!(theirs.contains("Zoe") && !theirs.contains("Mira") && !theirs.contains(&mira), "{theirs}");
    let private = json!({"held_on": evening.day, "state": "planned", "group_ids": [evening.group]});
    let private = evening.coach.post("/sessions", private).await.expect(201).id();
    evening.stranger.get(&format!("/sessions/{private}/proposal")).await.expect(404);
}

#[sqlx::test]
async fn every_broken_field_of_a_block_is_named(pool: PgPool) {
    let evening = Evening::new(pool).await;
    let path = format!("/sessions/{}", evening.session);
    let tag = evening.coach.get(&path).await.expect(200).header("etag").to_owned();
    let block = json!({"stage": "walkover", "drill": "Walk", "side": "middle", "spacing_m": 0.1, "height_m": 2.0, "rest_s": 2000,
        "start_min": 601, "minutes": 0});
    let refused = evening.coach.patch(&path, &tag, json!({"blocks": [block]})).await.expect(422);
    let pointers =
        ["rest_s", "start_min", "minutes", "side", "spacing_m", "height_m"].map(|name| format!("/blocks/0/{name}"));
    assert_eq!(refused.faults(), pointers);
}
