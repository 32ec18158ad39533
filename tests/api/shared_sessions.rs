//! What another group rests on is not taken from it: sessions of several groups, their race tests and plans, and athletes
//! in several groups, by the ordinary routes and by push alike.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};
use crate::sync_pull::{Phone, athlete, run};
use crate::sync_push::{create, item, push};

struct Shared {
    admin: Caller,
    coach: Caller,
    other: Caller,
    /// Both groups' coach.
    both: Caller,
    mine: String,
    others: String,
    athlete: String,
    hidden: String,
    session: String,
    day: NaiveDate,
}

/// By its own route, or by push.
#[derive(Clone, Copy, Debug)]
enum Way {
    Route,
    Push,
}

const WAYS: [Way; 2] = [Way::Route, Way::Push];

async fn shared(pool: PgPool) -> Shared {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (mine, others) = (admin.group("Mine").await, admin.group("Others").await);
    let coach = admin.member("Own Coach", "coach", &[&mine]).await;
    let other = admin.member("Other Coach", "coach", &[&others]).await;
    let both = admin.member("Both Coach", "coach", &[&mine, &others]).await;
    let (seen, hidden) = (athlete(&admin, "Mine", &[&mine]).await, athlete(&admin, "Theirs", &[&others]).await);
    let day = Utc::now().date_naive() - Duration::days(3);
    let mut club =
        Shared { admin, coach, other, both, mine, others, athlete: seen, hidden, session: String::new(), day };
    club.session = club.new_session().await;
    club
}

impl Shared {
    async fn new_session(&self) -> String {
        let body = json!({"held_on": self.day, "state": "held", "group_ids": [self.mine, self.others]});
        self.admin.post("/sessions", body).await.expect(201).id()
    }

    /// What a caller is answered to a change or, without one, a deletion of the current version: status and sentence.
    async fn edit(&self, caller: &Caller, way: Way, kind: &str, path: &str, change: Option<Value>) -> (u64, String) {
        let now = self.admin.get(path).await.expect(200);
        let (rev, id) = (now.body["rev"].clone(), now.id());
        match way {
            Way::Route => {
                let tag = format!("\"{rev}\"");
                let answer = match change {
                    Some(change) => caller.patch(path, &tag, change).await,
                    None => caller.delete(path, &tag).await,
                };
                // A deletion is answered without a body.
                let status = if answer.status == 204 { 200 } else { answer.status.into() };
                (status, answer.body["detail"].as_str().unwrap_or_default().to_owned())
            }
            Way::Push => {
                let named = |data: Value| json!({"if_match": rev, "base_rev": rev, "data": data});
                let one = match change {
                    Some(change) => item("PATCH", kind, &id, named(change)),
                    None => item("DELETE", kind, &id, json!({"if_match": rev})),
                };
                let result = push(caller, &[one]).await.remove(0);
                let detail = result["problem"]["detail"].as_str().unwrap_or_default();
                (result["status"].as_u64().unwrap(), detail.to_owned())
            }
        }
    }

    async fn change(&self, caller: &Caller, way: Way, change: Value) -> (u64, String) {
        self.edit(caller, way, "session", &format!("/sessions/{}", self.session), Some(change)).await
    }

    async fn delete(&self, caller: &Caller, way: Way) -> (u64, String) {
        self.edit(caller, way, "session", &format!("/sessions/{}", self.session), None).await
    }

    async fn present(&self, athletes: &[&String]) {
        let path = format!("/sessions/{}/attendance", self.session);
        let tag = self.admin.get(&path).await.expect(200).header("etag").to_owned();
        self.admin.put(&path, &tag, json!({"present": athletes})).await.expect(200);
    }

    /// A race test of the session with these athletes entered, by an admin: its path.
    async fn race(&self, athletes: &[&String]) -> String {
        let body = json!({"session_id": self.session, "name": "Test", "dimensions": {"race_distance_m": 60, "barriers": 6,
            "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}});
        let race = self.admin.post("/race-tests", body).await.expect(201);
        let path = format!("/race-tests/{}", race.id());
        let entries = format!("{path}/entries");
        self.admin
            .put(&entries, race.header("etag"), json!({"athlete_ids": athletes, "coach_accepts": athletes}))
            .await
            .expect(200);
        path
    }
}

#[sqlx::test]
async fn a_coach_does_not_take_another_group_out_of_a_session(pool: PgPool) {
    let club = shared(pool).await;
    let path = format!("/sessions/{}", club.session);
    let before = club.admin.get(&path).await.expect(200).body;
    for way in WAYS {
        let (status, detail) = club.change(&club.coach, way, json!({"group_ids": [club.mine]})).await;
        assert_eq!(status, 403, "{way:?}: {detail}");
        assert!(detail.contains(&club.others) && detail.contains("admin"), "{detail}");
    }
    let mut whole = before.clone();
    let fields = whole.as_object_mut().unwrap();
    fields.remove("id");
    fields.remove("rev");
    fields.insert("group_ids".to_owned(), json!([club.mine]));
    let replaced = item("PUT", "session", &club.session, json!({"if_match": before["rev"], "data": whole}));
    assert_eq!(push(&club.coach, &[replaced]).await[0]["status"], 403);
    assert_eq!(club.admin.get(&path).await.expect(200).body, before);
    club.other.get(&path).await.expect(200);
    // Each may take their own group out, and who has both, either.
    for (way, caller, stays) in [(Way::Route, &club.coach, &club.others), (Way::Push, &club.both, &club.mine)] {
        let mut club = Shared { session: club.new_session().await, ..club_of(&club) };
        let (status, detail) = club.change(caller, way, json!({"group_ids": [stays]})).await;
        assert_eq!(status, 200, "{detail}");
        club.session.clear();
    }
}

fn club_of(club: &Shared) -> Shared {
    Shared {
        admin: club.admin.clone(),
        coach: club.coach.clone(),
        other: club.other.clone(),
        both: club.both.clone(),
        mine: club.mine.clone(),
        others: club.others.clone(),
        athlete: club.athlete.clone(),
        hidden: club.hidden.clone(),
        session: club.session.clone(),
        day: club.day,
    }
}

#[sqlx::test]
async fn a_group_whose_athletes_have_records_stays_in_the_session(pool: PgPool) {
    let club = shared(pool).await;
    club.present(&[&club.athlete]).await;
    for way in WAYS {
        for caller in [&club.coach, &club.admin] {
            let (status, detail) = club.change(caller, way, json!({"group_ids": [club.others]})).await;
            assert_eq!(status, 409, "{way:?}: {detail}");
            assert!(detail.contains("attendance") && detail.contains("cancelled"), "{detail}");
        }
        // The other group has none.
        let (status, detail) = club.change(&club.admin, way, json!({"group_ids": [club.mine]})).await;
        assert_eq!(status, 200, "{detail}");
        club.change(&club.admin, way, json!({"group_ids": [club.mine, club.others]})).await;
    }
    // An athlete of both is still in the session.
    let path = format!("/athletes/{}", club.athlete);
    let tag = club.admin.get(&path).await.expect(200).header("etag").to_owned();
    club.admin.patch(&path, &tag, json!({"group_ids": [club.mine, club.others]})).await.expect(200);
    let (status, detail) = club.change(&club.coach, Way::Push, json!({"group_ids": [club.others]})).await;
    assert_eq!(status, 200, "{detail}");
}

#[sqlx::test]
async fn a_session_of_several_groups_is_deleted_by_who_has_all_of_them_while_nothing_rests_on_it(pool: PgPool) {
    let mut club = shared(pool).await;
    for way in WAYS {
        for caller in [&club.coach, &club.other] {
            let (status, detail) = club.delete(caller, way).await;
            assert_eq!(status, 403, "{way:?}: {detail}");
            assert!(detail.contains("admin"), "{detail}");
        }
    }
    for way in WAYS {
        for caller in [club.both.clone(), club.admin.clone()] {
            let (status, detail) = club.delete(&caller, way).await;
            assert_eq!(status, 200, "{way:?}: {detail}");
            club.session = club.new_session().await;
        }
    }
}

#[sqlx::test]
async fn a_session_with_records_is_cancelled_and_keeps_them(pool: PgPool) {
    let mut club = shared(pool).await;
    let record = async |club: &Shared, what: &str| match what {
        "attendance" => club.present(&[&club.hidden]).await,
        "runs" => {
            let body = json!({"runs": [run(&club.session, &club.hidden, club.day)]});
            club.admin.post("/runs", body).await.expect(200);
        }
        "assessments" => {
            let rating = json!({"id": Uuid::now_v7(), "athlete_id": club.hidden, "session_id": club.session,
                "assessed_at": format!("{}T18:00:00Z", club.day), "ratings": {"arms": 2}});
            club.admin.post("/assessments", json!({"assessments": [rating]})).await.expect(200);
        }
        _ => {
            club.race(&[&club.hidden]).await;
        }
    };
    for what in ["attendance", "runs", "assessments", "race tests"] {
        record(&club, what).await;
        for way in WAYS {
            let (status, detail) = club.delete(&club.admin, way).await;
            assert_eq!(status, 409, "{what} by {way:?}: {detail}");
            assert!(detail.contains(what) && detail.contains("cancelled"), "{what}: {detail}");
        }
        club.session = club.new_session().await;
    }
    record(&club, "attendance").await;
    record(&club, "runs").await;
    let (mut phone, path) = (Phone::default(), format!("/sessions/{}", club.session));
    phone.pull(&club.other, 500).await;
    for way in WAYS {
        let (status, detail) = club.change(&club.coach, way, json!({"state": "cancelled"})).await;
        assert_eq!(status, 403, "one group's coach, {way:?}: {detail}");
        for state in ["cancelled", "held"] {
            let (status, detail) = club.change(&club.both, way, json!({"state": state})).await;
            assert_eq!(status, 200, "{way:?}: {detail}");
            assert_eq!(club.coach.get(&path).await.expect(200).body["state"], state);
            let listed = club.other.get(&format!("/sessions?state={state}&limit=200")).await.expect(200).body;
            assert!(listed["items"].as_array().unwrap().iter().any(|one| one["id"] == club.session.as_str()));
            phone.pull(&club.other, 500).await;
            assert_eq!(phone.copy[&("session".to_owned(), club.session.clone())]["state"], state);
            assert_eq!((phone.ids("run").len(), phone.ids("attendance").len()), (2, 2), "the records stay");
        }
    }
    // What a phone recorded meanwhile is still filed.
    club.change(&club.admin, Way::Route, json!({"state": "cancelled"})).await;
    let late = json!({"runs": [run(&club.session, &club.athlete, club.day)]});
    assert_eq!(club.coach.post("/runs", late).await.expect(200).body["results"][0]["status"], "created");
}

#[sqlx::test]
async fn a_race_test_with_athletes_of_another_group_is_not_deleted(pool: PgPool) {
    let club = shared(pool).await;
    for way in WAYS {
        let race = club.race(&[&club.athlete, &club.hidden]).await;
        let before = club.admin.get(&race).await.expect(200).body;
        for caller in [&club.coach, &club.other] {
            let (status, detail) = club.edit(caller, way, "race_test", &race, None).await;
            assert_eq!(status, 403, "{way:?}: {detail}");
            assert!(!detail.contains(&club.hidden) && detail.contains("admin"), "{detail}");
        }
        assert_eq!(club.admin.get(&race).await.expect(200).body, before);
        let (status, detail) = club.edit(&club.both, way, "race_test", &race, None).await;
        assert_eq!(status, 200, "{way:?}: {detail}");
        let own = club.race(&[&club.athlete]).await;
        let (status, detail) = club.edit(&club.coach, way, "race_test", &own, None).await;
        assert_eq!(status, 200, "{way:?}: {detail}");
    }
}

#[sqlx::test]
async fn a_lane_plan_with_athletes_of_another_group_keeps_them_and_is_not_deleted(pool: PgPool) {
    let club = shared(pool).await;
    let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 6});
    let venue = club.admin.post("/venues", venue).await.expect(201).id();
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 16});
    club.admin.post("/equipment", stock).await.expect(201);
    club.change(&club.admin, Way::Route, json!({"venue_id": venue})).await;
    let asked = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 6}, "objective": "total"});
    let plans = format!("/sessions/{}/lane-plans", club.session);
    for way in WAYS {
        club.present(&[&club.athlete, &club.hidden]).await;
        let plan = club.admin.post(&plans, asked.clone()).await.expect(201);
        let path = format!("{plans}/{}", plan.id());
        let (status, detail) = club.edit(&club.coach, way, "lane_plan", &path, None).await;
        assert_eq!(status, 403, "{way:?}: {detail}");
        assert!(!detail.contains(&club.hidden) && detail.contains("admin"), "{detail}");
        // Whom its editor does not see stays where they are.
        let mut mine = plan.body.clone();
        for lane in mine["lanes"].as_array_mut().unwrap() {
            lane["athletes"].as_array_mut().unwrap().retain(|one| one["athlete_id"] == club.athlete.as_str());
        }
        mine.as_object_mut().unwrap().retain(|name, _| !matches!(name.as_str(), "id" | "rev"));
        mine["session_id"] = json!(club.session);
        mine["resting"] = json!([]);
        let named = json!({"if_match": plan.body["rev"], "data": mine});
        let replaced = item("PUT", "lane_plan", &plan.id(), named);
        assert_eq!(push(&club.coach, &[replaced]).await[0]["status"], 200);
        let ids = |plan: &Value| -> Vec<Value> {
            let lanes = plan["lanes"].as_array().unwrap().iter();
            lanes.flat_map(|lane| lane["athletes"].as_array().unwrap()).map(|one| one["athlete_id"].clone()).collect()
        };
        let after = club.admin.get(&path).await.expect(200).body;
        assert_eq!(ids(&after), ids(&plan.body));
        assert!(ids(&after).contains(&json!(club.hidden)));
        let (status, detail) = club.edit(&club.both, way, "lane_plan", &path, None).await;
        assert_eq!(status, 200, "{way:?}: {detail}");
        club.present(&[&club.athlete]).await;
        let own = club.admin.post(&plans, asked.clone()).await.expect(201).id();
        let (status, detail) = club.edit(&club.coach, way, "lane_plan", &format!("{plans}/{own}"), None).await;
        assert_eq!(status, 200, "{way:?}: {detail}");
    }
}

#[sqlx::test]
async fn a_plan_that_a_phone_sends_asks_for_nobody_whom_its_coach_does_not_see(pool: PgPool) {
    let club = shared(pool).await;
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 16});
    club.admin.post("/equipment", stock).await.expect(201);
    let asked = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 6}, "straight_m": 80,
        "athlete_ids": [club.athlete]});
    let plans = format!("/sessions/{}/lane-plans", club.session);
    let mut plan = club.coach.post(&plans, asked).await.expect(201).body;
    plan.as_object_mut().unwrap().retain(|name, _| !matches!(name.as_str(), "id" | "rev"));
    let sent = async |field: &str, value: Value| {
        let mut plan = plan.clone();
        plan["request"][field] = value;
        push(&club.coach, &[create("lane_plan", plan)]).await.remove(0)
    };
    // Whether somebody of another group or nobody at all: otherwise the plan, sent anew with what comes of everybody in it, would tell.
    for stranger in [club.hidden.clone(), Uuid::now_v7().to_string()] {
        for (field, value, pointer) in [
            ("athlete_ids", json!([club.athlete, stranger]), "/request/athlete_ids/1"),
            ("pins", json!([{"athlete_id": stranger, "lane": 1}]), "/request/pins/0/athlete_id"),
            ("apart", json!([[club.athlete, stranger]]), "/request/apart/0/1"),
        ] {
            let refused = sent(field, value).await;
            let fault = &refused["problem"]["errors"][0];
            assert_eq!((&refused["status"], &fault["pointer"]), (&json!(422), &json!(pointer)), "{refused}");
            assert_eq!(fault["code"], "unknown_id", "{refused}");
        }
    }
    assert_eq!(sent("pins", json!([{"athlete_id": club.athlete, "lane": 1}])).await["status"], 201);
}

#[sqlx::test]
async fn an_athlete_of_another_group_too_is_neither_deleted_nor_taken_out_of_it(pool: PgPool) {
    let club = shared(pool).await;
    let shared = athlete(&club.admin, "Both", &[&club.mine, &club.others]).await;
    let path = format!("/athletes/{shared}");
    let before = club.admin.get(&path).await.expect(200).body;
    for way in WAYS {
        let (status, detail) = club.edit(&club.coach, way, "athlete", &path, None).await;
        assert_eq!(status, 403, "{way:?}: {detail}");
        let change = json!({"group_ids": [club.mine]});
        let (status, detail) = club.edit(&club.coach, way, "athlete", &path, Some(change)).await;
        assert_eq!(status, 403, "{way:?}: {detail}");
    }
    let (group, id): (Uuid, Uuid) = (club.others.parse().unwrap(), shared.parse().unwrap());
    let pair = Uuid::new_v5(&group, id.as_bytes()).to_string();
    let leave = json!({"if_match": before["rev"], "data": {"group_id": group, "athlete_id": id}});
    assert_eq!(push(&club.coach, &[item("DELETE", "group_membership", &pair, leave)]).await[0]["status"], 403);
    assert_eq!(club.admin.get(&path).await.expect(200).body, before);
}

#[sqlx::test]
async fn a_group_or_venue_in_use_is_not_deleted_by_anybody(pool: PgPool) {
    let club = shared(pool).await;
    let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 6});
    let venue = club.admin.post("/venues", venue).await.expect(201).id();
    club.change(&club.admin, Way::Route, json!({"venue_id": venue})).await;
    for way in WAYS {
        for (kind, path) in [("group", format!("/groups/{}", club.others)), ("venue", format!("/venues/{venue}"))] {
            let (status, detail) = club.edit(&club.admin, way, kind, &path, None).await;
            assert_eq!(status, 409, "{kind} by {way:?}: {detail}");
            let (status, _) = club.edit(&club.coach, way, kind, &path, None).await;
            assert_eq!(status, 403, "{kind} by {way:?}");
        }
    }
}
