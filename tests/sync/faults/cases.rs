//! A club with something of everything in it, and every kind of push that it may receive.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

use super::data::{batch, create, item, measured, pair, person, rating, rested, run, session, text, venue, with};
use crate::support::{Caller, TestApp};

/// What a caller does.
#[derive(Clone, Debug)]
pub enum Act {
    /// Hands these items in.
    Push(Vec<Value>),
    /// Posts to a path of the club.
    Post(String, Value),
}

/// One thing that somebody does.
#[derive(Clone)]
pub struct Case {
    pub name: String,
    pub who: Caller,
    pub act: Act,
}

fn id(item: &Value) -> String {
    text(item, "id")
}

fn race(session: &str) -> Value {
    json!({"session_id": session, "name": "Autumn test", "dimensions": {"race_distance_m": 60, "barriers": 6,
        "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}})
}

/// The club.
pub struct World {
    pub admin: Caller,
    pub coach: Caller,
    leaver: Caller,
    device: String,
    mine: String,
    other: String,
    athlete: String,
    /// Of the other group, so the coach does not see them.
    hidden: String,
    day: NaiveDate,
    /// Records by type, each with its version and data.
    stored: Vec<Value>,
    /// Records that nothing refers to, by type.
    spare: Vec<Value>,
    held: Vec<Value>,
}

impl World {
    pub async fn make(app: &TestApp) -> Self {
        let admin = app.admin_of("North").await;
        let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&mine]).await;
        let leaver = admin.member("A Leaver", "coach", &[&mine]).await;
        let day = Utc::now().date_naive() - Duration::days(3);
        let mut world = Self {
            athlete: String::new(),
            hidden: String::new(),
            device: String::new(),
            stored: Vec::new(),
            spare: Vec::new(),
            held: Vec::new(),
            admin,
            coach,
            leaver,
            mine,
            other,
            day,
        };
        world.fill().await;
        world
    }

    async fn fill(&mut self) {
        let athletes =
            [create("athlete", person("Seen", &self.mine)), create("athlete", person("Hidden", &self.other))];
        (self.athlete, self.hidden) = (id(&athletes[0]), id(&athletes[1]));
        self.handed_in(&athletes).await;
        for spare in [false, true] {
            let session = create("session", session(self.day, &self.mine));
            let there = self.attendance(&id(&session));
            let mut items = vec![session.clone(), there];
            items.extend(Self::plain(if spare { "Spare" } else { "Used" }));
            items.extend(self.facts(&id(&session)));
            let race = create("race_test", race(&id(&session)));
            if !spare {
                items.push(create("race_result", self.result(&id(&race))));
            }
            items.insert(1, race);
            self.handed_in(&items).await;
            let all = if spare { &mut self.spare } else { &mut self.stored };
            all.extend(items);
        }
        let lone = [create("session", session(self.day, &self.mine)), create("athlete", person("Lone", &self.mine))];
        self.handed_in(&lone).await;
        self.spare.splice(0..0, lone);
        let join = Self::membership(&self.other, &self.athlete);
        self.handed_in(std::slice::from_ref(&join)).await;
        self.spare.push(join);
        self.planned().await;
        let gone = Self::plain("Gone").remove(0);
        self.handed_in(std::slice::from_ref(&gone)).await;
        let rev = self.rev(&gone).await;
        self.handed_in(&[item("DELETE", "venue", &id(&gone), json!({"if_match": rev}))]).await;
        self.stored.insert(0, gone);
        self.hold().await;
    }

    /// Lane plans as the service computes them.
    async fn planned(&mut self) {
        let session = self.of("session");
        let wanted = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80,
            "athlete_ids": [self.athlete]});
        for spare in [false, true] {
            let made = self.admin.post(&format!("/sessions/{session}/lane-plans"), wanted.clone()).await.expect(201);
            let mut data = made.body.clone();
            data.as_object_mut().unwrap().retain(|name, _| name != "id" && name != "rev");
            let made = item("PUT", "lane_plan", &made.id(), json!({"data": data}));
            if spare { self.spare.push(made) } else { self.stored.push(made) }
        }
    }

    /// Facts for the holding area, and a device.
    async fn hold(&mut self) {
        let orphan = Uuid::now_v7().to_string();
        self.held = vec![
            create("run", run(&self.of("session"), &self.hidden, self.day)),
            create("run", run(&orphan, &self.athlete, self.day)),
            create("run", run(&self.of("session"), &self.hidden, self.day)),
        ];
        let answer = self.coach.post("/changes", batch(&self.held)).await.expect(200);
        assert!(answer.body["results"].as_array().unwrap().iter().all(|one| one["status"] == 202), "{answer:?}");
        let member = self.admin.path(&format!("/members/{}", self.leaver.account));
        let tag = self.admin.call(reqwest::Method::GET, &member, &[], None).await.expect(200);
        let tag = [("if-match", tag.header("etag"))];
        self.admin.call(reqwest::Method::DELETE, &member, &tag, None).await.expect(204);
        let devices = self.admin.get("/sync-devices").await.expect(200);
        self.device = devices.body["items"][0]["id"].as_str().unwrap().to_owned();
    }

    async fn handed_in(&self, items: &[Value]) {
        let answer = self.admin.post("/changes", batch(items)).await.expect(200);
        let done = |one: &Value| one["status"].as_u64().is_some_and(|status| status < 202);
        assert!(answer.body["results"].as_array().unwrap().iter().all(done), "{}", answer.body);
    }

    /// The id of the record of a type that others refer to.
    fn of(&self, kind: &str) -> String {
        id(self.stored.iter().rev().find(|one| one["type"] == kind).unwrap())
    }

    fn attendance(&self, session: &str) -> Value {
        let data = json!({"session_id": session, "athlete_id": self.athlete});
        item("PUT", "attendance", &pair(session, &self.athlete), json!({"if_none_match": "*", "data": data}))
    }

    fn membership(group: &str, athlete: &str) -> Value {
        let data = json!({"group_id": group, "athlete_id": athlete});
        item("PUT", "group_membership", &pair(group, athlete), json!({"if_none_match": "*", "data": data}))
    }

    /// Records that stand by themselves.
    fn plain(name: &str) -> Vec<Value> {
        vec![
            create("venue", venue(name)),
            create("equipment", json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 20, "note": name})),
            create(
                "barrier_configuration",
                json!({"name": name, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "approach_m": 12,
                    "barriers": 5}),
            ),
            create("group", json!({"name": name})),
            create(
                "age_group",
                json!({"ruleset": name, "age_group": "U12", "max_age": 11, "rule": "school_year",
                    "valid_from": "2026-01-01", "source": "Club rules"}),
            ),
            create(
                "competition_spec",
                json!({"ruleset": name, "event_code": "50H", "environment": "outdoor", "sex": "F", "age_group": "U12",
                    "race_distance_m": 50, "barriers": 5, "height_m": 0.5, "to_first_m": 11, "between_m": 6.5,
                    "run_in_m": 13, "valid_from": "2026-01-01", "source": "Club rules"}),
            ),
        ]
    }

    fn facts(&self, session: &str) -> Vec<Value> {
        vec![
            create("run", run(session, &self.athlete, self.day)),
            create("assessment", rating(session, &self.athlete, self.day)),
            create("measurement", measured(&self.athlete, self.day)),
            create("wellbeing_record", rested(&self.athlete)),
            create("decision", json!({"athlete_id": self.athlete, "outcome": "accepted"})),
        ]
    }

    fn result(&self, race: &str) -> Value {
        json!({"race_test_id": race, "athlete_id": self.athlete, "status": "finished", "final_time_s": 12.84})
    }

    /// The version of a record.
    async fn rev(&self, item: &Value) -> i64 {
        let kind = item["type"].as_str().unwrap();
        // A membership has the version of its athlete.
        let (kind, id) = match kind {
            "group_membership" => ("athlete", item["data"]["athlete_id"].as_str().unwrap().to_owned()),
            _ => (kind, id(item)),
        };
        let page = self.admin.get(&format!("/changes?types={kind}&limit=2000")).await.expect(200);
        let changes = page.body["changes"].as_array().unwrap();
        changes.iter().find(|one| one["id"] == id).unwrap()["rev"].as_i64().unwrap()
    }

    fn case(name: impl Into<String>, who: &Caller, items: Vec<Value>) -> Case {
        Case { name: name.into(), who: who.clone(), act: Act::Push(items) }
    }

    /// A new record of each type.
    pub fn creates(&self) -> Vec<Case> {
        let mut items = Self::plain("New");
        items.extend(self.facts(&self.of("session")));
        items.push(create("race_test", race(&self.of("session"))));
        items.push(create("race_result", self.result(&self.of("race_test"))));
        items.push(create("athlete", person("New", &self.mine)));
        items.push(create("session", session(self.day, &self.mine)));
        let plan = self.stored.iter().find(|one| one["type"] == "lane_plan").unwrap();
        items.push(create("lane_plan", plan["data"].clone()));
        let lone = id(&self.spare[0]);
        items.push(self.attendance(&lone));
        items.push(Self::membership(&self.other, &id(&self.spare[1])));
        let name = |item: &Value| format!("create {}", item["type"].as_str().unwrap());
        items.into_iter().map(|item| Self::case(name(&item), &self.admin, vec![item])).collect()
    }

    /// An edit and a removal of each type that has them.
    pub async fn edits(&self) -> Vec<Case> {
        let mut cases = Vec::new();
        for record in self.stored.iter().filter(|one| one["if_none_match"] == "*" || one["type"] == "lane_plan") {
            let (kind, id) = (record["type"].as_str().unwrap(), id(record));
            let change = match kind {
                "venue" | "barrier_configuration" | "group" => json!({"name": "Changed"}),
                "equipment" => json!({"note": "Changed"}),
                "age_group" | "competition_spec" => json!({"source": "Changed"}),
                "race_test" => json!({"state": "held"}),
                "session" => json!({"weather_note": "Changed", "group_ids": [self.mine, self.other]}),
                "lane_plan" => json!({"run_out_m": 11.0}),
                _ => continue,
            };
            if kind == "venue" && record["data"]["name"] == "Gone" {
                let late = item("PATCH", kind, &id, json!({"if_match": 1, "data": change}));
                cases.push(Self::case("change what was deleted", &self.admin, vec![late]));
                continue;
            }
            let rev = self.rev(record).await;
            let named = json!({"if_match": rev});
            // Both ways lead to the same code for every type: each type goes one of them.
            let edit = if cases.len() % 2 == 0 {
                item("PATCH", kind, &id, with(named, &json!({"data": change})))
            } else {
                item("PUT", kind, &id, with(named, &json!({"data": with(record["data"].clone(), &change)})))
            };
            cases.push(Self::case(format!("{} {kind}", text(&edit, "method")), &self.admin, vec![edit]));
        }
        cases.extend(self.merges().await);
        for record in self
            .spare
            .iter()
            .filter(|one| !matches!(one["type"].as_str(), Some("run" | "assessment" | "decision" | "wellbeing_record")))
        {
            let kind = record["type"].as_str().unwrap();
            let mut more = json!({"if_match": self.rev(record).await});
            if kind == "group_membership" {
                more["data"] = record["data"].clone();
            }
            // The session with runs in it cannot go.
            if kind != "session" || id(record) == id(&self.spare[0]) {
                cases.push(Self::case(
                    format!("delete {kind}"),
                    &self.admin,
                    vec![item("DELETE", kind, &id(record), more)],
                ));
            }
        }
        cases
    }

    /// Merges of an athlete: one that goes in, and one that loses in part.
    async fn merges(&self) -> [Case; 2] {
        let seen = json!({"type": "athlete", "id": self.athlete});
        let rev = self.rev(&seen).await;
        let merge = self.patch(json!({"preferred_lead_leg": "left", "status": "resting"}), rev);
        // Made before the athlete joined the other group.
        let before = rev - 1;
        let old = self.patch(json!({"group_ids": [self.mine], "display_name": "Renamed"}), before);
        [Self::case("merge", &self.coach, vec![merge]), Self::case("merge in part", &self.admin, vec![old])]
    }

    /// Corrections, withdrawals, facts that are held, what an admin decides, and much at once.
    pub async fn others(&self) -> Vec<Case> {
        let session = self.of("session");
        let mut cases = Vec::new();
        let facts = [
            ("run", run(&session, &self.athlete, self.day)),
            ("assessment", rating(&session, &self.athlete, self.day)),
            ("race_result", self.result(&self.of("race_test"))),
        ];
        for (kind, fact) in facts {
            let before = self.of(kind);
            for (name, change) in [("correct", json!({"note": "Corrected"})), ("withdraw", json!({"void": true}))] {
                let data = with(with(fact.clone(), &json!({"supersedes": before})), &change);
                cases.push(Self::case(format!("{name} {kind}"), &self.coach, vec![create(kind, data)]));
            }
        }
        let first = create("run", run(&session, &self.athlete, self.day));
        let mut again = create("run", run(&session, &self.athlete, self.day));
        again["data"]["supersedes"] = first["id"].clone();
        let mut twice = create("run", run(&session, &self.athlete, self.day));
        twice["data"]["supersedes"] = first["id"].clone();
        cases.push(Self::case("record, correct and correct again", &self.coach, vec![first, again, twice]));
        let many = (0..101).map(|_| create("run", run(&session, &self.athlete, self.day))).collect();
        cases.push(Self::case("more than one transaction takes", &self.coach, many));
        let hidden = create("run", run(&session, &self.hidden, self.day));
        cases.push(Self::case("hold run", &self.coach, vec![hidden]));
        let mut measured = self.facts(&session).remove(2);
        measured["data"]["athlete_id"] = json!(self.hidden);
        cases.push(Self::case("hold measurement", &self.coach, vec![measured]));
        cases.push(Self::case("hold what a leaver recorded", &self.leaver, self.facts(&session)));
        cases.push(Self::case("mixed batch", &self.coach, self.mixed().await));
        cases.push(Self::case("two transactions", &self.coach, self.chain().await));
        let place = [json!({}), json!({"group_id": self.mine})];
        for (fact, place) in self.held.iter().zip(place) {
            cases.push(self.post(&format!("/held-items/{}/accept", id(fact)), place));
        }
        let reject = format!("/held-items/{}/reject", id(&self.held[2]));
        cases.push(self.post(&reject, json!({"reason": "Not ours"})));
        cases.push(self.post(&format!("/sync-devices/{}/resync", self.device), json!({})));
        cases
    }

    fn patch(&self, data: Value, rev: i64) -> Value {
        item("PATCH", "athlete", &self.athlete, json!({"base_rev": rev, "data": data}))
    }

    /// Two edits of one athlete, which never share a transaction, with a run between.
    async fn chain(&self) -> Vec<Value> {
        let rev = self.rev(&json!({"type": "athlete", "id": self.athlete})).await;
        let leg = |leg: &str| self.patch(json!({"preferred_lead_leg": leg}), rev);
        vec![leg("left"), create("run", run(&self.of("session"), &self.athlete, self.day)), leg("right")]
    }

    fn post(&self, path: &str, body: Value) -> Case {
        Case { name: path.to_owned(), who: self.admin.clone(), act: Act::Post(path.to_owned(), body) }
    }

    async fn mixed(&self) -> Vec<Value> {
        let session = create("session", session(self.day, &self.mine));
        let mut items = vec![session.clone(), self.attendance(&id(&session))];
        items.extend(self.facts(&id(&session)));
        items.extend(self.facts(&self.of("session")));
        items.push(create("run", run(&self.of("session"), &self.hidden, self.day)));
        items.push(self.merges().await[0].act.items().remove(0));
        let mut poison = create("run", run(&id(&session), &self.athlete, self.day));
        poison["data"]["height_m"] = json!("tall");
        items.push(poison);
        items.push(Self::plain("Mixed").remove(2));
        items
    }
}

impl Act {
    fn items(&self) -> Vec<Value> {
        match self {
            Self::Push(items) => items.clone(),
            Self::Post(..) => Vec::new(),
        }
    }
}
