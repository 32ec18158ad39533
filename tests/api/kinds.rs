//! Clients choose ids, so records of different kinds may have the same one. Whatever is made under the id of something
//! else, in sight or not, is a record of its own: it opens, changes and destroys nothing.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};
use crate::sync_pull::Phone;
use crate::sync_push::{batch, create, item};

/// The types that clients make under an id of their choice: their word, and who makes them in this test.
const MADE: [(&str, Maker); 16] = [
    ("athlete", Maker::Coach),
    ("session", Maker::Coach),
    ("measurement", Maker::Coach),
    ("run", Maker::Coach),
    ("assessment", Maker::Coach),
    ("decision", Maker::Coach),
    ("wellbeing_record", Maker::Coach),
    ("lane_plan", Maker::Coach),
    ("race_test", Maker::Coach),
    ("race_result", Maker::Coach),
    ("barrier_configuration", Maker::Coach),
    ("group", Maker::Admin),
    ("venue", Maker::Admin),
    ("equipment", Maker::Admin),
    ("age_group", Maker::Admin),
    ("competition_spec", Maker::Admin),
];
/// The types whose ids clients do not choose: derived from a pair, or made by the service.
const NOT_CHOSEN: [&str; 3] = ["attendance", "race_entry", "club"];
/// The types that are seen by every member.
const CLUB_WIDE: [&str; 5] = ["barrier_configuration", "venue", "equipment", "age_group", "competition_spec"];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Maker {
    Coach,
    Admin,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    Route,
    Push,
}

/// A record by type and id.
type Key = (String, String);
/// What a caller holds, and what they are answered under a path about the record of a type and id.
type View = (BTreeMap<Key, Value>, BTreeMap<String, (Key, u16, Value)>);

/// What made records belong to: nothing of it is compared but itself.
struct Ground {
    group: String,
    athlete: String,
    session: String,
    race: String,
    /// A stored lane plan of the session, as phones send it.
    plan: Value,
    day: NaiveDate,
}

/// What came of making records under taken ids.
#[derive(Default)]
struct Made {
    records: BTreeSet<Key>,
    /// The types of the facts that wait for an admin.
    held: Vec<String>,
}

struct Club {
    admin: Caller,
    own: Caller,
    other: Caller,
    viewer: Caller,
    /// The admin of the other club.
    south: Caller,
    ground: Ground,
    /// Every record that there was, by type and id, with the ids of what phones do not carry.
    victims: BTreeSet<Key>,
    /// Those of another club: their ids are free in this one.
    foreign: BTreeSet<Key>,
}

fn athlete(name: &str, group: &str) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"})
}

/// The body of a new record of a type, as phones send it.
fn body(kind: &str, ground: &Ground, n: usize) -> Value {
    let Ground { group, athlete: of, session, race, plan, day } = ground;
    match kind {
        "athlete" => athlete(&format!("Made {n}"), group),
        "session" => json!({"held_on": day, "state": "held", "group_ids": [group]}),
        "measurement" => json!({"athlete_id": of, "kind": "stature_m", "value": 1.5, "measured_on": day}),
        "run" => json!({"session_id": session, "athlete_id": of, "run_at": format!("{day}T17:00:00Z"),
            "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "intervals": {"held": 4}}),
        "assessment" => json!({"athlete_id": of, "assessed_at": format!("{day}T18:00:00Z"), "ratings": {"arms": 2}}),
        "wellbeing_record" => json!({"athlete_id": of, "kind": "restriction", "reported_on": "2020-01-01",
            "until": "2020-01-02"}),
        "decision" => json!({"athlete_id": of, "outcome": "overridden", "reason": "Tired", "barrier_kind": "wicket",
            "height_m": 0.3, "spacing_m": 6.0}),
        "lane_plan" => plan.clone(),
        "race_test" => json!({"session_id": session, "name": format!("Made {n}"), "dimensions": {"race_distance_m": 60,
            "barriers": 6, "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}}),
        "race_result" => json!({"race_test_id": race, "athlete_id": of, "status": "finished", "final_time_s": 12.5}),
        "barrier_configuration" => json!({"name": format!("Made {n}"), "barrier_kind": "wicket", "height_m": 0.3,
            "spacing_m": 6, "approach_m": 12, "barriers": 5}),
        "group" => json!({"name": format!("Made {n}")}),
        "venue" => json!({"name": format!("Made {n}"), "environment": "outdoor", "straight_m": 60, "lanes": 6}),
        "equipment" => json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 16}),
        "age_group" => json!({"ruleset": format!("Made {n}"), "age_group": "Minnows", "min_age": 11, "max_age": 12,
            "rule": "end_of_year", "valid_from": "2026-01-01", "source": "League handbook"}),
        "competition_spec" => json!({"ruleset": format!("Made {n}"), "event_code": "75H", "environment": "outdoor",
            "sex": "F", "age_group": "U13", "race_distance_m": 75.0, "barriers": 8, "height_m": 0.685, "to_first_m": 11.5,
            "between_m": 7.5, "run_in_m": 11.0, "valid_from": "2026-01-01", "source": "County sheet 2025"}),
        other => panic!("say how a {other} is made"),
    }
}

/// Where records of a type have their routes.
fn folder(kind: &str) -> &'static str {
    match kind {
        "athlete" => "/athletes",
        "session" => "/sessions",
        "run" => "/runs",
        "assessment" => "/assessments",
        "wellbeing_record" => "/wellbeing-records",
        "race_test" => "/race-tests",
        "barrier_configuration" => "/barrier-configurations",
        "group" => "/groups",
        "venue" => "/venues",
        "equipment" => "/equipment",
        "age_group" => "/age-groups",
        "competition_spec" => "/competition-specs",
        other => panic!("say where a {other} lives"),
    }
}

/// Makes a record under an id by its own route; the status, that of the item where several go in one request.
async fn make(caller: &Caller, ground: &Ground, kind: &str, id: &str, n: usize) -> u16 {
    let mut body = body(kind, ground, n);
    body["id"] = json!(id);
    let fields = body.as_object_mut().unwrap();
    let of_batch = |answer: Answer| match answer.body["results"][0]["status"].as_str() {
        Some("created") => 201,
        Some("unchanged") => 200,
        _ => u16::try_from(answer.body["results"][0]["problem"]["status"].as_u64().unwrap_or(answer.status.into()))
            .unwrap(),
    };
    match kind {
        "run" => of_batch(caller.post("/runs", json!({"runs": [body]})).await),
        "assessment" => of_batch(caller.post("/assessments", json!({"assessments": [body]})).await),
        "wellbeing_record" => of_batch(caller.post("/wellbeing-records", json!({"wellbeing_records": [body]})).await),
        "race_result" => {
            fields.remove("race_test_id");
            of_batch(caller.post(&format!("/race-tests/{}/results", ground.race), json!({"results": [body]})).await)
        }
        "measurement" | "decision" => {
            fields.remove("athlete_id");
            let under = if kind == "decision" { "recommendation/decisions" } else { "measurements" };
            caller.post(&format!("/athletes/{}/{under}", ground.athlete), body).await.status
        }
        "lane_plan" => {
            let asked =
                json!({"id": id, "lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 6}, "objective": "total"});
            caller.post(&format!("/sessions/{}/lane-plans", ground.session), asked).await.status
        }
        _ => caller.post(folder(kind), body).await.status,
    }
}

/// What a caller's phone holds after a full copy.
async fn copy(caller: &Caller) -> BTreeMap<Key, Value> {
    let mut phone = Phone::default();
    phone.pull(caller, 2_000).await;
    phone.copy
}

/// Gives a group one record of each type, and deletes one of each that can be deleted: what is made is found in the copy.
async fn fill(admin: &Caller, name: &str, group: &str, day: NaiveDate) -> Ground {
    let post = async |path: &str, body: Value| admin.post(path, body).await.expect(201).id();
    let venue = json!({"name": name, "environment": "outdoor", "straight_m": 60, "lanes": 6});
    let venue = post("/venues", venue).await;
    let of = post("/athletes", athlete(name, group)).await;
    let session = json!({"held_on": day, "state": "held", "group_ids": [group], "venue_id": venue});
    let session = post("/sessions", session).await;
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": [of]})).await.expect(200);
    let mut ground = Ground {
        group: group.to_owned(),
        athlete: of.clone(),
        session: session.clone(),
        race: String::new(),
        plan: Value::Null,
        day,
    };
    ground.race = post("/race-tests", body("race_test", &ground, 0)).await;
    let race = format!("/race-tests/{}", ground.race);
    let tag = admin.get(&race).await.expect(200).header("etag").to_owned();
    admin.put(&format!("{race}/entries"), &tag, json!({"athlete_ids": [of], "coach_accepts": [of]})).await.expect(200);
    for kind in ["measurement", "run", "assessment", "decision", "race_result", "wellbeing_record"] {
        let status = make(admin, &ground, kind, &Uuid::now_v7().to_string(), 0).await;
        assert_eq!(status, 201, "{kind}");
    }
    let asked = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 6}, "objective": "total"});
    let plan = admin.post(&format!("/sessions/{session}/lane-plans"), asked).await.expect(201);
    ground.plan = copy(admin).await[&("lane_plan".to_owned(), plan.id())].clone();
    let fields = ground.plan.as_object_mut().unwrap();
    fields.remove("id");
    fields.remove("rev");
    ground
}

/// Makes one record of each type that can be deleted and deletes it.
async fn delete_some(admin: &Caller, ground: &Ground) -> BTreeSet<Key> {
    let mut gone = BTreeSet::new();
    for (kind, _) in MADE
        .iter()
        .filter(|(kind, _)| !matches!(*kind, "run" | "assessment" | "decision" | "race_result" | "wellbeing_record"))
    {
        let id = Uuid::now_v7().to_string();
        let made = create(kind, {
            let mut one = body(kind, ground, 9_999);
            one["id"] = json!(id);
            one
        });
        let rev = pushed(admin, &[made]).await.remove(0);
        assert_eq!(rev["status"], 201, "{kind}: {rev}");
        let delete = item("DELETE", kind, &id, json!({"if_match": rev["rev"]}));
        let done = pushed(admin, &[delete]).await.remove(0);
        assert_eq!(done["status"], 200, "{kind}: {done}");
        gone.insert(((*kind).to_owned(), id));
    }
    gone
}

/// A record without what a new report about somebody does to the plans and race entries that name them: it marks them, under a new
/// version.
fn but_reports(record: &Value) -> Value {
    let mut record = record.clone();
    match &mut record {
        Value::Object(fields) => {
            fields.remove("overtaken");
            if fields.contains_key("run_out_m") || fields.contains_key("readiness") {
                fields.remove("rev");
            }
            fields.values_mut().for_each(|value| *value = but_reports(value));
        }
        Value::Array(list) => list.iter_mut().for_each(|value| *value = but_reports(value)),
        _ => {}
    }
    record
}

async fn pushed(caller: &Caller, items: &[Value]) -> Vec<Value> {
    let answer = caller.post("/changes", batch(items)).await.expect(200);
    answer.body["results"].as_array().unwrap().clone()
}

async fn club(pool: PgPool) -> Club {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let day = Utc::now().date_naive() - Duration::days(3);
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 16});
    admin.post("/equipment", stock.clone()).await.expect(201);
    south.post("/equipment", stock).await.expect(201);
    let (mine, others) = (admin.group("Mine").await, admin.group("Others").await);
    let own = admin.member("Own Coach", "coach", &[&mine]).await;
    let other = admin.member("Other Coach", "coach", &[&others]).await;
    let viewer = admin.member("Viewer", "viewer", &[&others]).await;
    for caller in [&admin, &south] {
        for kind in ["barrier_configuration", "age_group", "competition_spec"] {
            let any = Ground {
                group: String::new(),
                athlete: String::new(),
                session: String::new(),
                race: String::new(),
                plan: Value::Null,
                day,
            };
            caller.post(folder(kind), body(kind, &any, 9_998)).await.expect(201);
        }
    }
    let hidden = fill(&admin, "Hidden", &mine, day).await;
    fill(&admin, "Seen", &others, day).await;
    let theirs = south.group("Theirs").await;
    fill(&south, "Theirs", &theirs, day).await;
    // Held for an admin: the viewer may not record.
    let held = pushed(&viewer, &[create("run", body("run", &hidden, 0))]).await.remove(0);
    assert_eq!(held["status"], 202, "{held}");
    let invitation = json!({"email": "late@people.example", "role": "coach", "group_ids": [mine]});
    let invitation = admin.post("/invitations", invitation).await.expect(201).id();
    let mut victims: BTreeSet<Key> = delete_some(&admin, &hidden).await;
    victims.extend(copy(&admin).await.into_keys());
    let foreign: BTreeSet<Key> = copy(&south).await.into_keys().collect();
    victims.extend(foreign.iter().cloned());
    let listed = types(&admin).await;
    for kind in &listed {
        assert!(victims.iter().any(|(one, _)| one == kind), "no {kind} whose id could be taken");
    }
    let held = admin.get("/held-items").await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    victims.extend([("invitation".to_owned(), invitation), ("held_item".to_owned(), held)]);
    victims.extend([&admin, &own, &other, &south].map(|one| ("member".to_owned(), one.account.clone())));
    let ground = fill(&admin, "Ground", &others, day).await;
    Club { admin, own, other, viewer, south, ground, victims, foreign }
}

/// The types that the service syncs, in its own words.
async fn types(caller: &Caller) -> BTreeSet<String> {
    let refused = caller.get("/changes?types=nothing").await.expect(400);
    let detail = refused.body["errors"][0]["detail"].as_str().unwrap().to_owned();
    let list = detail.split("one of ").nth(1).unwrap_or_else(|| panic!("{detail}"));
    list.split(", ").map(|word| word.trim().to_owned()).collect()
}

impl Club {
    fn callers(&self) -> [(&'static str, &Caller); 5] {
        [
            ("admin", &self.admin),
            ("own coach", &self.own),
            ("other coach", &self.other),
            ("viewer", &self.viewer),
            ("admin of the other club", &self.south),
        ]
    }

    /// What each caller's phone holds, and what each is answered about every record by its own routes.
    async fn snapshot(&self) -> Vec<View> {
        let mut all = Vec::new();
        for (_, caller) in self.callers() {
            let mut answers = BTreeMap::new();
            for (kind, id) in &self.victims {
                let paths = match kind.as_str() {
                    "athlete" => vec![
                        format!("/athletes/{id}"),
                        format!("/athletes/{id}/recommendation"),
                        format!("/athletes/{id}/personal-bests"),
                        format!("/runs?athlete_id={id}"),
                    ],
                    "session" => vec![
                        format!("/sessions/{id}"),
                        format!("/sessions/{id}/attendance"),
                        format!("/sessions/{id}/lane-plans"),
                    ],
                    "race_test" => vec![
                        format!("/race-tests/{id}"),
                        format!("/race-tests/{id}/results"),
                        format!("/race-tests/{id}/heats"),
                    ],
                    "member" => vec![format!("/members/{id}")],
                    "club" => vec![String::new()],
                    "invitation" => vec!["/invitations".to_owned()],
                    "held_item" => vec!["/held-items".to_owned()],
                    "measurement" | "decision" | "lane_plan" | "race_result" | "attendance" | "race_entry" => continue,
                    _ => vec![format!("{}/{id}", folder(kind))],
                };
                for path in paths {
                    let answer = caller.get(&path).await;
                    let mut body = answer.body;
                    // The request's own id.
                    if let Some(fields) = body.as_object_mut() {
                        fields.remove("instance");
                    }
                    answers.insert(path, ((kind.clone(), id.clone()), answer.status, body));
                }
            }
            all.push((copy(caller).await, answers));
        }
        all
    }

    /// Makes a record of every type under the id of every other record.
    async fn make_all(&self, way: Way) -> Made {
        let (mut made, mut pairs) = (Made::default(), BTreeSet::new());
        for (kind, maker) in MADE {
            let caller = if maker == Maker::Admin { &self.admin } else { &self.other };
            let under: Vec<&Key> = self.victims.iter().collect();
            let statuses = match way {
                Way::Route => {
                    let mut statuses = Vec::new();
                    for (n, (_, id)) in under.iter().enumerate() {
                        statuses.push(make(caller, &self.ground, kind, id, n + 1).await);
                    }
                    statuses
                }
                Way::Push => {
                    let one = |(n, (_, id)): (usize, &&Key)| {
                        let mut data = body(kind, &self.ground, n + 1);
                        data["id"] = json!(id);
                        create(kind, data)
                    };
                    let items: Vec<Value> = under.iter().enumerate().map(one).collect();
                    let results = pushed(caller, &items).await;
                    results.iter().map(|one| u16::try_from(one["status"].as_u64().unwrap()).unwrap()).collect()
                }
            };
            for ((of, id), status) in under.into_iter().zip(statuses) {
                assert!(status < 500, "a {kind} under the id of a {of}: {status}");
                let key = (kind.to_owned(), id.clone());
                // Groups are scopes beside the club, whose id they cannot have.
                let taken = self.victims.contains(&key) && !self.foreign.contains(&key);
                if taken || (kind, of.as_str()) == ("group", "club") && id == &self.admin.club {
                    assert_ne!(status, 201, "a second {kind} under the id {id}");
                    made.held.extend((status == 202).then(|| kind.to_owned()));
                    continue;
                }
                assert_eq!(status, 201, "a {kind} under the id {id} of a {of}");
                pairs.insert((kind, of.clone()));
                made.records.insert(key);
            }
        }
        for kind in types(&self.admin).await {
            for (maker, _) in MADE {
                let own = maker == kind || (maker, kind.as_str()) == ("group", "club");
                assert!(own || pairs.contains(&(maker, kind.clone())), "no {maker} was made under the id of a {kind}");
            }
        }
        made.held.sort_unstable();
        made
    }

    /// What a caller is answered is as before; but who was told nothing under the id of another club's record reads what
    /// was made of the same type under it, when they see that.
    fn answers_are_as_they_were(&self, (name, caller): (&str, &Caller), made: &Made, old: &View, new: &View) {
        assert_eq!(old.1.keys().collect::<Vec<_>>(), new.1.keys().collect::<Vec<_>>());
        for (path, answer) in &old.1 {
            let (key, status, body) = &new.1[path];
            if path == "/held-items" && name == "admin" {
                self.facts_wait((&answer.2["items"], &body["items"]), &made.held);
                continue;
            }
            if !made.records.contains(key) || caller.club == self.south.club || !new.0.contains_key(key) {
                let (body, old) = (but_reports(body), but_reports(&answer.2));
                assert_eq!((key, status, body), (&answer.0, &answer.1, old), "{name}: GET {path}");
                continue;
            }
            assert!(self.foreign.contains(key) && !old.0.contains_key(key), "{name} held {key:?} before");
            if path.ends_with(&key.1) && path.starts_with(folder(&key.0)) {
                assert_eq!((*status, body["id"].as_str()), (200, Some(key.1.as_str())), "{name}: GET {path}: {body}");
                let copied = new.0[key].as_object().unwrap().iter();
                for (field, value) in copied.filter(|(field, _)| !body[field.as_str()].is_null()) {
                    assert_eq!(&body[field], value, "{name}: GET {path}: {field}");
                }
            }
        }
    }

    /// What waited for an admin waits as it did, and beside it the facts of the coach who may not learn that ids are taken.
    fn facts_wait(&self, (old, new): (&Value, &Value), held: &[String]) {
        let (old, new) = (old.as_array().unwrap(), new.as_array().unwrap());
        assert!(old.iter().all(|one| new.contains(one)), "{old:?} {new:?}");
        let mut kinds = Vec::new();
        for one in new.iter().filter(|one| !old.contains(one)) {
            assert_eq!((&one["member_id"], &one["reason"]), (&json!(self.other.account), &json!("reference")), "{one}");
            assert!(self.victims.iter().all(|(_, id)| one["id"] != id.as_str()), "{one} has the id of a record");
            kinds.push(one["type"].as_str().unwrap().to_owned());
        }
        kinds.sort_unstable();
        assert_eq!(kinds, held);
    }

    /// Deletes whatever was made and can be deleted.
    async fn destroy(&self, made: &BTreeSet<Key>) {
        // Children before what they belong to is not needed: none was put below another.
        let mut deleted = 0;
        let revs = copy(&self.admin).await;
        for (kind, maker) in MADE {
            if matches!(kind, "run" | "assessment" | "decision" | "race_result" | "wellbeing_record") {
                continue;
            }
            let caller = if maker == Maker::Admin { &self.admin } else { &self.other };
            let of_kind = made.iter().filter(|(one, _)| one == kind);
            let delete = |key: &Key| {
                let copy = revs.get(key).unwrap_or_else(|| panic!("{key:?} is not in the admin's copy"));
                item("DELETE", kind, &key.1, json!({"if_match": copy["rev"]}))
            };
            let items: Vec<Value> = of_kind.map(delete).collect();
            for result in pushed(caller, &items).await {
                assert_eq!(result["status"], 200, "{kind}: {result}");
                deleted += 1;
            }
        }
        assert!(deleted > 500, "{deleted}");
    }
}

async fn nothing_is_opened_changed_or_destroyed(pool: PgPool, way: Way) {
    let club = club(pool).await;
    let listed = types(&club.admin).await;
    let covered: BTreeSet<String> = MADE.iter().map(|(kind, _)| *kind).chain(NOT_CHOSEN).map(str::to_owned).collect();
    assert_eq!(listed, covered, "a new type belongs into MADE or NOT_CHOSEN");
    let before = club.snapshot().await;
    let mut phones = Vec::new();
    for (_, caller) in club.callers() {
        let mut phone = Phone::default();
        phone.pull(caller, 500).await;
        phones.push(phone);
    }
    let made = club.make_all(way).await;
    assert_eq!(way == Way::Push, !made.held.is_empty(), "{:?}", made.held);
    for destroyed in [false, true] {
        if destroyed {
            club.destroy(&made.records).await;
        }
        let after = club.snapshot().await;
        let states = before.iter().zip(&after).zip(club.callers());
        for (((old, new), (name, caller)), phone) in states.zip(&mut phones) {
            for (key, record) in &old.0 {
                assert_eq!(new.0.get(key).map(but_reports), Some(but_reports(record)), "{name}'s copy of {key:?}");
            }
            for key in new.0.keys().filter(|key| !old.0.contains_key(*key)) {
                assert!(made.records.contains(key), "{name} sees {key:?}");
                let theirs = name != "own coach" || CLUB_WIDE.contains(&key.0.as_str());
                assert!(theirs && caller.club != club.south.club, "{name} sees {key:?} of another group or club");
            }
            club.answers_are_as_they_were((name, caller), &made, old, new);
            phone.pull(caller, 500).await;
            assert_eq!(phone.copy.keys().collect::<Vec<_>>(), new.0.keys().collect::<Vec<_>>(), "{name}'s phone");
            assert_eq!(phone.copy, new.0, "{name}'s phone");
        }
    }
}

#[sqlx::test]
async fn what_is_made_by_route_under_the_id_of_another_kind_is_a_record_of_its_own(pool: PgPool) {
    nothing_is_opened_changed_or_destroyed(pool, Way::Route).await;
}

#[sqlx::test]
async fn what_is_pushed_under_the_id_of_another_kind_is_a_record_of_its_own(pool: PgPool) {
    nothing_is_opened_changed_or_destroyed(pool, Way::Push).await;
}

#[sqlx::test]
async fn an_athlete_whose_id_was_taken_by_a_session_is_still_erased(pool: PgPool) {
    let club = club(pool).await;
    let (_, id) = club.victims.iter().find(|(kind, id)| kind == "athlete" && *id != club.ground.athlete).unwrap();
    let session = json!({"id": id, "held_on": club.ground.day, "state": "planned", "group_ids": [club.ground.group]});
    let answer = club.other.post("/sessions", session).await;
    let path = format!("/athletes/{id}");
    let athlete = club.admin.get(&path).await;
    if athlete.status == 200 {
        answer.expect(201);
        club.admin.delete(&path, athlete.header("etag")).await.expect(204);
        club.admin.get(&path).await.expect(404);
        club.other.get(&format!("/sessions/{id}")).await.expect(200);
    }
}

#[sqlx::test]
async fn a_group_never_has_the_id_of_another_scope(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    for id in [admin.club.clone(), Uuid::nil().to_string()] {
        admin.post("/groups", json!({"id": id, "name": "Everybody"})).await.expect_fault(422, "/id");
        let group = item("PUT", "group", &id, json!({"if_none_match": "*", "data": {"name": "Everybody"}}));
        assert_eq!(pushed(&admin, &[group]).await[0]["status"], 422);
    }
}
