//! A club with one record of everything, and for each operation a request that succeeds there.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use chrono::{Duration, NaiveDate, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::token::Opaque;
use lanewright::resources::exports;
use reqwest::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use super::Operation;
use crate::archives;
use crate::oauth::{self, BACK};
use crate::second_factor;
use crate::support::{Answer, Caller, PASSWORD, TestApp};
use crate::sync_push::{create, item};

/// The club.
#[derive(Clone)]
pub struct Stage {
    pub app: TestApp,
    pub admin: Caller,
    pub day: NaiveDate,
    /// One record of each kind, by the name of its path parameter.
    pub ids: BTreeMap<&'static str, String>,
    /// Where the session's link leads.
    sheets: String,
    count: Arc<AtomicUsize>,
    turns: Arc<AtomicUsize>,
}

/// A request.
#[derive(Clone, Debug)]
pub struct Case {
    pub method: Method,
    pub path: String,
    pub headers: Vec<(&'static str, String)>,
    pub body: Option<Vec<u8>>,
    /// The records that it makes, by their ids.
    pub makes: Vec<String>,
}

impl Case {
    /// Sends it; in vain for ever is a failure.
    pub async fn send(&self, app: &TestApp) -> Answer {
        let headers: Vec<(&str, &str)> = self.headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let sent = app.send(self.method.clone(), &self.path, &headers, self.body.clone());
        let answer = tokio::time::timeout(std::time::Duration::from_mins(1), sent).await;
        answer.unwrap_or_else(|_| panic!("{} {} hangs", self.method, self.path))
    }

    /// Sends it so many times at once.
    pub async fn crowd(&self, app: &TestApp, count: usize) -> Vec<Answer> {
        let sent: Vec<_> = (0..count)
            .map(|_| {
                let (case, app) = (self.clone(), app.clone());
                tokio::spawn(async move { case.send(&app).await })
            })
            .collect();
        let mut answers = Vec::with_capacity(count);
        for one in sent {
            answers.push(one.await.unwrap());
        }
        answers
    }
}

fn new_id() -> String {
    Uuid::now_v7().to_string()
}

impl Stage {
    /// Founds the club.
    pub async fn new(app: &TestApp) -> Self {
        let admin = app.admin_of("North").await;
        let day = Utc::now().date_naive() - Duration::days(2);
        let mut stage = Self {
            app: app.clone(),
            ids: BTreeMap::new(),
            sheets: String::new(),
            count: Arc::default(),
            turns: Arc::default(),
            day,
            admin: admin.clone(),
        };
        let group = admin.group("Mine").await;
        stage.ids.extend([("club_id", admin.club.clone()), ("group_id", group)]);
        let made = [
            ("venue_id", "create_venue"),
            ("equipment_id", "create_equipment"),
            ("barrier_configuration_id", "create_barrier_configuration"),
            ("age_group_id", "create_age_group"),
            ("competition_spec_id", "create_competition_spec"),
            ("athlete_id", "create_athlete"),
            ("session_id", "create_session"),
            ("measurement_id", "create_measurement"),
            ("run_id", "create_runs"),
            ("assessment_id", "create_assessments"),
            ("wellbeing_record_id", "create_wellbeing_records"),
            ("decision_id", "create_decision"),
            ("lane_plan_id", "create_lane_plan"),
            ("race_test_id", "create_race_test"),
        ];
        for (name, operation) in made {
            let id = stage.made(operation).await;
            stage.ids.insert(name, id);
        }
        let app = stage.app().await;
        stage.ids.insert("app_id", app.id());
        let export = stage.export().await;
        stage.ids.insert("export_id", export);
        let invitation = stage.invitation("viewer").await;
        stage.ids.insert("invitation_id", invitation.id());
        let link = stage.link().await;
        stage.ids.insert("link_id", link.id());
        let feed = stage.feed().await.id();
        stage.ids.insert("feed_id", feed);
        link.body["sheets_href"].as_str().unwrap().clone_into(&mut stage.sheets);
        let held = stage.held().await;
        stage.ids.insert("held_item_id", held);
        let devices = admin.get("/sync-devices").await.expect(200);
        stage.ids.insert("sync_device_id", devices.body["items"][0]["id"].as_str().unwrap().to_owned());
        stage.ids.insert("member_id", admin.account.clone());
        stage
    }

    /// Another number each time, for names.
    fn number(&self) -> usize {
        self.count.fetch_add(1, Ordering::Relaxed)
    }

    /// Nobody, or the athlete: the other way round each time.
    fn others(&self) -> Value {
        if self.turns.fetch_add(1, Ordering::Relaxed).is_multiple_of(2) {
            json!([])
        } else {
            json!([self.id("athlete_id")])
        }
    }

    fn id(&self, name: &str) -> &str {
        self.ids.get(name).unwrap_or_else(|| panic!("there is no {name}"))
    }

    /// Carries out a create and returns the id.
    pub async fn made(&self, operation: &str) -> String {
        let case = self.create(operation).unwrap_or_else(|| panic!("{operation} creates nothing"));
        let answer = case.send(&self.app).await;
        assert!(answer.status < 300, "{operation}: {} {}", answer.status, answer.body);
        case.makes[0].clone()
    }

    fn case(&self, method: Method, path: String, body: Option<&Value>) -> Case {
        let content = if method == Method::PATCH { "application/merge-patch+json" } else { "application/json" };
        let headers =
            vec![("authorization", format!("Bearer {}", self.admin.token)), ("content-type", content.to_owned())];
        let body = body.map(|body| serde_json::to_vec(body).unwrap());
        Case { method, path, headers, body, makes: Vec::new() }
    }

    fn post(&self, path: &str, body: &Value) -> Case {
        self.case(Method::POST, self.admin.path(path), Some(body))
    }

    /// A run of the club, with this id.
    pub fn run(&self, id: &str) -> Value {
        json!({"id": id, "session_id": self.id("session_id"), "athlete_id": self.id("athlete_id"),
            "run_at": format!("{}T12:00:00Z", self.day), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6,
            "barriers": 5, "intervals": {"held": 4}, "hits": 0, "fell": false,
            "touchdown_times_s": [2.6, 3.6, 4.62, 5.61, 6.64], "timing_method": "hand"})
    }

    pub fn assessment(&self, id: &str) -> Value {
        json!({"id": id, "athlete_id": self.id("athlete_id"), "assessed_at": format!("{}T12:00:00Z", self.day),
            "ratings": {"arms": 1}})
    }

    /// A restriction that was over long ago, so that the athlete goes on running.
    pub fn wellbeing(&self, id: &str) -> Value {
        json!({"id": id, "athlete_id": self.id("athlete_id"), "kind": "restriction", "reported_on": "2020-01-01",
            "until": "2020-01-02"})
    }

    pub fn result(&self, id: &str) -> Value {
        json!({"id": id, "athlete_id": self.id("athlete_id"), "status": "finished", "final_time_s": 12.5})
    }

    /// The body of a create, with a new id.
    #[allow(clippy::too_many_lines)] // one arm an operation
    pub fn body(&self, operation: &str) -> Option<(String, Value)> {
        let (n, athlete) = (self.number(), self.ids.get("athlete_id"));
        let (group, session) = (self.ids.get("group_id"), self.ids.get("session_id"));
        let (path, body) = match operation {
            "create_group" => ("/groups".to_owned(), json!({"name": format!("Group {n}")})),
            "create_venue" => (
                "/venues".to_owned(),
                json!({"name": format!("Venue {n}"), "environment": "outdoor", "straight_m": 80, "lanes": 4}),
            ),
            "create_equipment" => {
                ("/equipment".to_owned(), json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 20}))
            }
            "create_barrier_configuration" => (
                "/barrier-configurations".to_owned(),
                json!({"name": format!("Recipe {n}"),
                "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "approach_m": 12, "barriers": 5}),
            ),
            "create_age_group" => (
                "/age-groups".to_owned(),
                json!({"ruleset": "X", "age_group": format!("G{n}"),
                "rule": "end_of_year", "valid_from": "2026-01-01", "source": "us"}),
            ),
            "create_competition_spec" => (
                "/competition-specs".to_owned(),
                json!({"ruleset": "X", "event_code": "60H",
                "environment": "indoor", "sex": "X", "age_group": format!("G{n}"), "race_distance_m": 60, "barriers": 6,
                "height_m": 0.6, "to_first_m": 12, "between_m": 7, "run_in_m": 13, "valid_from": "2026-01-01",
                "source": "us"}),
            ),
            "adopt_competition_specs" => (
                "/competition-specs/adopt".to_owned(),
                json!({"from": "WA", "valid_from": "2026-01-01", "age_groups": [{"from": "U18", "to": format!("W{n}")}]}),
            ),
            "create_athlete" => (
                "/athletes".to_owned(),
                json!({"display_name": format!("Runner {n}"), "sex": "F",
                "birth_year": 2012, "group_ids": [group?], "experience": "novice",
                "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": self.day}]}),
            ),
            "create_measurement" => (
                format!("/athletes/{}/measurements", athlete?),
                json!({"kind": "sprint_30m_s", "value": 5.1, "measured_on": self.day}),
            ),
            "create_consent" => (
                format!("/athletes/{}/consents", athlete?),
                json!({"purpose": "sharing_with_apps", "act": if n.is_multiple_of(2) { "given" } else { "withdrawn" },
                "on": self.day, "by": "guardian"}),
            ),
            "create_session" => {
                ("/sessions".to_owned(), json!({"held_on": self.day, "state": "held", "group_ids": [group?]}))
            }
            "create_decision" => {
                (format!("/athletes/{}/recommendation/decisions", athlete?), json!({"outcome": "accepted"}))
            }
            "create_lane_plan" => (
                format!("/sessions/{}/lane-plans", session?),
                json!({"lanes": 2, "capacity": 4,
                "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [athlete?]}),
            ),
            "create_race_test" => (
                "/race-tests".to_owned(),
                json!({"session_id": session?,
                "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5, "approach_m": 11, "spacing_m": 6.5}}),
            ),
            _ => return None,
        };
        Some((path, body))
    }

    /// A request that makes records with new ids, for each operation where the client chooses them.
    pub fn create(&self, operation: &str) -> Option<Case> {
        let id = new_id();
        let batch = |name: &str, path: String, fact: Value| {
            let mut case = self.post(&path, &json!({name: [fact]}));
            case.makes = vec![id.clone()];
            Some(case)
        };
        match operation {
            "create_runs" => return batch("runs", "/runs".to_owned(), self.run(&id)),
            "create_assessments" => return batch("assessments", "/assessments".to_owned(), self.assessment(&id)),
            "create_wellbeing_records" => {
                return batch("wellbeing_records", "/wellbeing-records".to_owned(), self.wellbeing(&id));
            }
            "create_race_results" => {
                let path = format!("/race-tests/{}/results", self.id("race_test_id"));
                return batch("results", path, self.result(&id));
            }
            _ => {}
        }
        let (path, mut body) = self.body(operation)?;
        if operation == "adopt_competition_specs" {
            return Some(self.post(&path, &body));
        }
        body["id"] = json!(id);
        let mut case = self.post(&path, &body);
        case.makes = vec![id];
        Some(case)
    }

    /// An app that the club admits.
    async fn app(&self) -> Answer {
        let scopes = ["squad.read", "session.write", "sync"];
        let body =
            json!({"name": format!("Trackside Cards {}", self.number()), "redirect_uris": [BACK], "scopes": scopes});
        self.admin.post("/apps", body).await.expect(201)
    }

    /// A request of a client of OAuth.
    fn form(&self, path: String, fields: &[(&str, &str)]) -> Case {
        let mut case = self.case(Method::POST, path, None);
        case.headers = vec![("content-type", "application/x-www-form-urlencoded".to_owned())];
        case.body = Some(form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish().into_bytes());
        case
    }

    async fn invitation(&self, role: &str) -> Answer {
        let email = format!("guest{}@people.example", self.number());
        self.invite(&email, role).await
    }

    async fn invite(&self, email: &str, role: &str) -> Answer {
        let groups = if role == "admin" { json!([]) } else { json!([self.id("group_id")]) };
        self.admin.post("/invitations", json!({"email": email, "role": role, "group_ids": groups})).await.expect(201)
    }

    /// A link of the session, which may have only so many: those that were made for earlier requests go.
    async fn link(&self) -> Answer {
        let path = format!("/sessions/{}/links", self.id("session_id"));
        let links = self.admin.get(&path).await.expect(200).body;
        let links: Vec<&str> =
            links["items"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap()).collect();
        for id in links.iter().filter(|id| links.len() > 10 && self.ids.get("link_id").is_some_and(|own| own != *id)) {
            self.admin.delete(&format!("{path}/{id}"), "").await;
        }
        self.admin.post(&path, json!({})).await.expect(201)
    }

    /// A calendar feed of the admin, who may have only so many: those that were made for earlier requests go.
    async fn feed(&self) -> Answer {
        let feeds = self.admin.get("/calendar-feeds").await.expect(200).body;
        let feeds: Vec<&str> =
            feeds["items"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap()).collect();
        for id in feeds.iter().filter(|id| feeds.len() > 5 && self.ids.get("feed_id").is_none_or(|own| own != *id)) {
            self.admin.delete(&format!("/calendar-feeds/{id}"), "").await;
        }
        self.admin.post("/calendar-feeds", json!({})).await.expect(201)
    }

    /// An export of the athlete, whose club may have only so many: those that were made for earlier requests go.
    async fn export(&self) -> String {
        let exports = self.admin.get("/exports").await.expect(200).body;
        let exports: Vec<&str> =
            exports["items"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap()).collect();
        for id in
            exports.iter().filter(|id| exports.len() > 10 && self.ids.get("export_id").is_some_and(|own| own != *id))
        {
            self.admin.delete(&format!("/exports/{id}"), "").await;
        }
        self.admin.post("/exports", json!({"athlete_id": self.id("athlete_id")})).await.expect(201).id()
    }

    /// Makes every archive that is due.
    async fn make_archives(&self) {
        let db = Db::lazy((*self.app.pool.connect_options()).clone(), 2);
        while exports::make(&db, Utc::now() + Duration::hours(1)).await.unwrap().is_some() {}
    }

    /// A person of their own.
    async fn person(&self) -> Caller {
        self.app.person(&format!("Person {}", self.number())).await
    }

    /// What a mail to somebody holds.
    async fn mailed(&self, person: &Caller, purpose: &str) -> String {
        let account: Uuid = person.account.parse().unwrap();
        let (secret, token) = Opaque::new(account).unwrap();
        sqlx::query(
            "insert into mail_links (account_id, token_hash, purpose, address, created_at, expires_at)
             values ($1, $2, $3, $4, now(), now() + interval '1 hour')",
        )
        .bind(account)
        .bind(token.hash)
        .bind(purpose)
        .bind(&person.email)
        .execute(&self.app.pool)
        .await
        .unwrap();
        secret
    }

    /// A fact of an unknown session, held for an admin.
    async fn held(&self) -> String {
        let mut lost = self.run(&new_id());
        lost["session_id"] = json!(new_id());
        let fact = create("run", lost);
        let sent = self.admin.post("/changes", Self::envelope(std::slice::from_ref(&fact))).await.expect(200);
        assert_eq!(sent.body["results"][0]["status"], 202, "{}", sent.body);
        fact["id"].as_str().unwrap().to_owned()
    }

    pub fn envelope(items: &[Value]) -> Value {
        json!({"device_id": new_id(), "schema": 1, "sent_at": Utc::now(), "items": items})
    }

    /// A push with everything that a phone sends, each kind once, in an order that turns with every call.
    pub fn push(&self) -> Case {
        let (group, session, athlete) = (self.id("group_id"), self.id("session_id"), self.id("athlete_id"));
        let there = Uuid::new_v5(&session.parse().unwrap(), athlete.parse::<Uuid>().unwrap().as_bytes());
        let inside = Uuid::new_v5(&group.parse().unwrap(), athlete.parse::<Uuid>().unwrap().as_bytes());
        let plain = |kind: &str, operation: &str| create(kind, self.body(operation).unwrap().1);
        let mut measured = self.body("create_measurement").unwrap().1;
        measured["athlete_id"] = json!(athlete);
        let mut result = self.result(&new_id());
        result["race_test_id"] = json!(self.id("race_test_id"));
        let mut items = vec![
            create("run", self.run(&new_id())),
            create("assessment", self.assessment(&new_id())),
            create("wellbeing_record", self.wellbeing(&new_id())),
            create("race_result", result),
            create("measurement", measured),
            create("decision", json!({"athlete_id": athlete, "outcome": "accepted"})),
            plain("group", "create_group"),
            plain("venue", "create_venue"),
            plain("equipment", "create_equipment"),
            plain("barrier_configuration", "create_barrier_configuration"),
            plain("age_group", "create_age_group"),
            plain("competition_spec", "create_competition_spec"),
            plain("session", "create_session"),
            plain("race_test", "create_race_test"),
            item(
                "PUT",
                "attendance",
                &there.to_string(),
                json!({"if_none_match": "*", "data": {"session_id": session, "athlete_id": athlete}}),
            ),
            item(
                "PUT",
                "group_membership",
                &inside.to_string(),
                json!({"if_none_match": "*", "data": {"group_id": group, "athlete_id": athlete}}),
            ),
            item("PATCH", "athlete", athlete, json!({"base_rev": 1_000_000, "data": {"preferred_lead_leg": "left"}})),
        ];
        let turn = self.number() % items.len();
        items.rotate_left(turn);
        if turn % 2 == 1 {
            items.reverse();
        }
        self.post("/changes", &Self::envelope(&items))
    }

    /// A request of this operation that succeeds here; what it needs and uses up is made first.
    pub async fn request(&self, operation: &Operation) -> Case {
        // One account here asks as often as a hundred do; the limits have tests of their own.
        sqlx::query("delete from throttles").execute(&self.app.pool).await.unwrap();
        if let Some(case) = self.create(&operation.id) {
            return case;
        }
        let mut path = operation.path.clone();
        for (name, value) in &self.ids {
            path = path.replace(&format!("{{{name}}}"), value);
        }
        if operation.id.starts_with("get_race_heats") {
            let heats = self
                .other(
                    "create_race_heats",
                    path.trim_end_matches(".csv").trim_end_matches(".html").trim_end_matches(".pdf").to_owned(),
                )
                .await;
            heats.send(&self.app).await.expect(200);
        }
        if operation.id.starts_with("get_session_sheets") {
            let (_, ending) = operation.path.split_once("sheets").unwrap_or_default();
            path = self.sheets.replace("sheets?", &format!("sheets{ending}?"));
        }
        if operation.id == "get_export_archive" {
            self.make_archives().await;
        }
        if operation.id == "get_calendar" {
            self.feed().await.body["href"].as_str().unwrap().clone_into(&mut path);
        }
        match operation.method {
            Method::GET => self.case(Method::GET, path + query(self, &operation.id).as_str(), None),
            Method::PATCH => self.patch(&operation.id, path).await,
            Method::DELETE => self.delete(&operation.id).await,
            _ => self.other(&operation.id, path).await,
        }
    }

    async fn patch(&self, operation: &str, path: String) -> Case {
        let n = self.number();
        let body = match operation {
            "update_club" => json!({"name": format!("North {n}")}),
            "update_group" => json!({"name": format!("Mine {n}")}),
            "update_venue" => json!({"name": format!("Hall {n}")}),
            "update_equipment" => json!({"count": 20 + n % 50}),
            "update_barrier_configuration" => json!({"name": format!("Lane {n}")}),
            "update_age_group" | "update_competition_spec" => json!({"source": format!("page {n}")}),
            "update_athlete" => json!({"display_name": format!("Runner anew {n}")}),
            "update_session" => json!({"weather_note": format!("Wind {n}")}),
            "update_race_test" => json!({"name": format!("Test {n}")}),
            "update_retention" => json!({"runs_days": 1_000 + n % 100}),
            "update_app" => json!({"name": format!("Cards {n}")}),
            "update_member" => {
                let member = self.admin.member(&format!("Member {n}"), "viewer", &[self.id("group_id")]).await;
                let path = self.admin.path(&format!("/members/{}", member.account));
                let body = json!({"role": "coach"});
                return with(self.case(Method::PATCH, path, Some(&body)), "if-match", "*");
            }
            other => panic!("{other} has no case"),
        };
        with(self.case(Method::PATCH, path, Some(&body)), "if-match", "*")
    }

    /// A request that deletes a record made for it, with as much as possible of what others write resting on it.
    #[allow(clippy::too_many_lines)] // one arm for each operation
    async fn delete(&self, operation: &str) -> Case {
        let made = async |what: &str| self.made(what).await;
        let path = match operation {
            "delete_group" => format!("/groups/{}", made("create_group").await),
            "delete_venue" => format!("/venues/{}", made("create_venue").await),
            "delete_equipment" => format!("/equipment/{}", made("create_equipment").await),
            "delete_barrier_configuration" => {
                format!("/barrier-configurations/{}", made("create_barrier_configuration").await)
            }
            "delete_age_group" => format!("/age-groups/{}", made("create_age_group").await),
            "delete_competition_spec" => format!("/competition-specs/{}", made("create_competition_spec").await),
            "delete_session" => format!("/sessions/{}", made("create_session").await),
            "delete_race_test" => format!("/race-tests/{}", made("create_race_test").await),
            "delete_athlete" => {
                let athlete = made("create_athlete").await;
                let entries = format!("/race-tests/{}/entries", self.id("race_test_id"));
                let body = json!({"athlete_ids": [self.id("athlete_id"), athlete],
                    "coach_accepts": [self.id("athlete_id"), athlete]});
                self.admin.put(&entries, "*", body).await.expect(200);
                let (path, mut plan) = self.body("create_lane_plan").unwrap();
                plan["athlete_ids"] = json!([self.id("athlete_id"), athlete]);
                self.admin.post(&path, plan).await.expect(201);
                format!("/athletes/{athlete}")
            }
            "delete_measurement" => {
                let id = made("create_measurement").await;
                format!("/athletes/{}/measurements/{id}", self.id("athlete_id"))
            }
            "delete_lane_plan" => {
                format!("/sessions/{}/lane-plans/{}", self.id("session_id"), made("create_lane_plan").await)
            }
            "delete_calendar_feed" => format!("/calendar-feeds/{}", self.feed().await.id()),
            "delete_export" => format!("/exports/{}", self.export().await),
            "delete_app" => format!("/apps/{}", self.app().await.id()),
            "disconnect_app" => {
                return self.case(Method::DELETE, format!("/v1/me/apps/{}", self.id("app_id")), None);
            }
            "cancel_club_deletion" => {
                // Asked for unless an earlier request did.
                self.admin.post("/deletion", json!({"password": PASSWORD})).await;
                "/deletion".to_owned()
            }
            "delete_session_link" => {
                format!("/sessions/{}/links/{}", self.id("session_id"), self.link().await.id())
            }
            "delete_invitation" => format!("/invitations/{}", self.invitation("coach").await.id()),
            "delete_member" => {
                let name = format!("Leaver {}", self.number());
                let member = self.admin.member(&name, "admin", &[]).await;
                format!("/members/{}", member.account)
            }
            "leave_club" => {
                let leaver =
                    self.admin.member(&format!("Leaver {}", self.number()), "coach", &[self.id("group_id")]).await;
                let mut case = self.case(Method::DELETE, format!("/v1/me/clubs/{}", self.admin.club), None);
                case.headers[0].1 = format!("Bearer {}", leaver.token);
                return case;
            }
            "delete_device" => {
                let person = self.person().await;
                let path = format!("/v1/me/devices/{}", device_of(&person).await);
                return by(self.case(Method::DELETE, path, None), &person);
            }
            "sign_out_everywhere" => {
                return by(self.case(Method::DELETE, "/v1/me/devices".to_owned(), None), &self.person().await);
            }
            other => panic!("{other} has no case"),
        };
        with(self.case(Method::DELETE, self.admin.path(&path), None), "if-match", "*")
    }

    /// What is no plain create, edit or deletion.
    #[allow(clippy::too_many_lines)] // one arm for each operation
    async fn other(&self, operation: &str, path: String) -> Case {
        let n = self.number();
        let post = |path: String, body: &Value| self.case(Method::POST, path, Some(body));
        match operation {
            "push_changes" => self.push(),
            "accept_held_item" => {
                let path = format!("/held-items/{}/accept", self.held().await);
                self.post(&path, &json!({"session_id": self.id("session_id")}))
            }
            "reject_held_item" => {
                let path = format!("/held-items/{}/reject", self.held().await);
                self.post(&path, &json!({"reason": "Twice"}))
            }
            "resync_device" => self.post(&format!("/sync-devices/{}/resync", self.id("sync_device_id")), &json!({})),
            "sign_up" => {
                let email = format!("new{n}@people.example");
                post(path, &json!({"email": email, "password": PASSWORD, "display_name": "New"}))
            }
            "sign_in" => {
                let person = self.person().await;
                post(path, &json!({"email": person.email, "password": PASSWORD, "device_name": "Phone"}))
            }
            "refresh" | "sign_out" => {
                let person = self.person().await;
                post(path, &json!({"refresh_token": person.refresh}))
            }
            "change_password" => {
                let person = self.person().await;
                let mut case = post(path, &json!({"current": PASSWORD, "new": format!("{PASSWORD} and {n} more")}));
                case.headers[0].1 = format!("Bearer {}", person.token);
                case
            }
            "request_password_reset" => post(path, &json!({"email": format!("forgetful{n}@people.example")})),
            "reset_password" => {
                let token = self.mailed(&self.person().await, "reset").await;
                post(path, &json!({"token": token, "new": format!("{PASSWORD} and {n} more")}))
            }
            "confirm_address" => {
                let token = self.mailed(&self.person().await, "confirm").await;
                post(path, &json!({"token": token}))
            }
            "request_confirmation" | "set_language" | "change_email" | "begin_second_factor" | "rename_device" => {
                let person = self.person().await;
                let path = path.replace("{device_id}", &device_of(&person).await);
                let body = match operation {
                    "set_language" => json!({"language": "de"}),
                    "change_email" => json!({"email": format!("moved{n}@people.example"), "password": PASSWORD}),
                    "begin_second_factor" => json!({"password": PASSWORD}),
                    "rename_device" => json!({"name": "Tablet at the track"}),
                    _ => Value::Null,
                };
                let method =
                    if matches!(operation, "set_language" | "rename_device") { Method::PUT } else { Method::POST };
                let body = (!body.is_null()).then_some(&body);
                by(self.case(method, path, body), &person)
            }
            "confirm_second_factor" => {
                let person = self.person().await;
                let secret = second_factor::begin(&person).await;
                by(post(path, &json!({"code": second_factor::code(&secret, 0)})), &person)
            }
            "check_second_factor" | "renew_recovery_codes" | "remove_second_factor" => {
                let person = self.person().await;
                let (secret, _) = second_factor::set_up(&person).await;
                let mut body = json!({"code": second_factor::code(&secret, 1)});
                if operation == "remove_second_factor" {
                    body["password"] = json!(PASSWORD);
                }
                by(post(path, &body), &person)
            }
            "delete_account" => by(post(path, &json!({"password": PASSWORD})), &self.person().await),
            "request_club_deletion" => {
                // Taken back where an earlier request asked for it.
                self.admin.delete("/deletion", "").await;
                post(path, &json!({"password": PASSWORD}))
            }
            "set_club_security" => self.case(Method::PUT, path, Some(&json!({"admins_second_factor": false}))),
            "create_club" => {
                post(path, &json!({"name": format!("Club {n}"), "time_zone": "Europe/London", "ruleset": "UKA-2024"}))
            }
            "create_invitation" => {
                let email = format!("invited{n}@people.example");
                post(path, &json!({"email": email, "role": "coach", "group_ids": [self.id("group_id")]}))
            }
            "create_calendar_feed" => {
                // Made and left, so that there is room.
                let _ = self.feed().await;
                post(path, &json!({}))
            }
            "turn_groups" => {
                let group = self.admin.group(&format!("Next {n}")).await;
                let moved = json!({"to_group_id": group, "athlete_ids": [self.id("athlete_id")]});
                let back = json!({"group_id": group, "season": "2027 outdoor"});
                post(path, &json!({"moves": [moved], "groups": [back]}))
            }
            "create_app" => {
                let scopes = ["squad.read", "session.write", "sync"];
                post(path, &json!({"name": "Trackside Cards", "redirect_uris": [BACK], "scopes": scopes}))
            }
            "create_import" => {
                let path = format!("{path}?group_id={}", self.id("group_id"));
                let mut case = post(path, &Value::Null);
                "application/zip".clone_into(&mut case.headers[1].1);
                case.body = Some(archives::of_athlete(&format!("Comer {n}")));
                case
            }
            "create_export" => {
                // Made and left, so that there is room.
                let _ = self.export().await;
                post(path, &json!({"id": new_id()}))
            }
            "fetch_app_token" | "revoke_app_token" => {
                let client = self.app().await.body["client_id"].as_str().unwrap().to_owned();
                let fields = oauth::first_token(&self.admin, &client, BACK).await;
                let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
                if operation == "fetch_app_token" {
                    return self.form(path, &fields);
                }
                let tokens = self.form("/oauth/token".to_owned(), &fields).send(&self.app).await.expect(200).body;
                let token = tokens["refresh_token"].as_str().unwrap().to_owned();
                self.form(path, &[("client_id", &client), ("token", &token)])
            }
            "create_session_link" => {
                // Made and left, so that there is room.
                let _ = self.link().await;
                post(path, &json!({}))
            }
            "accept_invitation" => {
                let person = self.person().await;
                let token = self.invite(&person.email, "coach").await.body["token"].clone();
                let mut case = post(path, &json!({"token": token}));
                case.headers[0].1 = format!("Bearer {}", person.token);
                case
            }
            "import_athletes" => {
                let mut case = post(path, &Value::Null);
                "text/csv".clone_into(&mut case.headers[1].1);
                let group = self.id("group_id");
                let rows: Vec<String> =
                    (0..5).map(|row| format!("Row {n} {row},F,2013-05-17,{group},novice\n")).collect();
                case.body =
                    Some(format!("display_name,sex,birth_date,groups,experience\n{}", rows.concat()).into_bytes());
                case
            }
            "import_athletes_xlsx" => {
                let mut case = post(path, &Value::Null);
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet".clone_into(&mut case.headers[1].1);
                let mut book = rust_xlsxwriter::Workbook::new();
                let sheet = book.add_worksheet();
                let name = format!("Sheet row {n}");
                for (column, (head, cell)) in (0..).zip([
                    ("display_name", name.as_str()),
                    ("sex", "F"),
                    ("birth_date", "2013-05-17"),
                    ("groups", self.id("group_id")),
                    ("experience", "novice"),
                ]) {
                    sheet.write_string(0, column, head).unwrap().write_string(1, column, cell).unwrap();
                }
                case.body = Some(book.save_to_buffer().unwrap());
                case
            }
            "set_attendance" => {
                with(self.case(Method::PUT, path, Some(&json!({"present": self.others()}))), "if-match", "*")
            }
            "set_race_entries" => {
                let others = self.others();
                let body = json!({"athlete_ids": others, "coach_accepts": others});
                with(self.case(Method::PUT, path, Some(&body)), "if-match", "*")
            }
            "create_race_heats" => {
                let entries = format!("/race-tests/{}/entries", self.id("race_test_id"));
                let body = json!({"athlete_ids": [self.id("athlete_id")], "coach_accepts": [self.id("athlete_id")]});
                self.admin.put(&entries, "*", body).await.expect(200);
                with(post(path, &json!({"lanes": 4, "seed": 7})), "if-match", "*")
            }
            "analyse_rhythm" => post(
                path,
                &json!({"spacing_m": 8.5, "touchdown_times_s": [2.6, 3.6, 4.62, 5.61, 6.64], "timing_method": "video",
                    "video_fps": 60}),
            ),
            "forecast_final_time" => post(
                path,
                &json!({"event_code": "100H", "touchdown_times_s": [2.6, 3.6, 4.62, 5.61, 6.64], "timing_method": "hand"}),
            ),
            other => panic!("{other} has no case"),
        }
    }
}

/// The same by somebody else.
fn by(mut case: Case, person: &Caller) -> Case {
    case.headers[0].1 = format!("Bearer {}", person.token);
    case
}

/// The only device of somebody who has just signed up.
async fn device_of(person: &Caller) -> String {
    let devices = person.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    devices.body["items"][0]["id"].as_str().unwrap().to_owned()
}

fn with(mut case: Case, name: &'static str, value: &str) -> Case {
    case.headers.push((name, value.to_owned()));
    case
}

/// What a read must be asked for.
fn query(stage: &Stage, operation: &str) -> String {
    match operation {
        "list_published_specs" => "?ruleset=UKA-2024&sex=F&birth_date=2012-05-01".to_owned(),
        "list_applicable_specs" => format!("?athlete_id={}", stage.id("athlete_id")),
        "get_rhythm_schedule"
        | "get_club_rhythm_schedule"
        | "get_club_rhythm_schedule_html"
        | "get_club_rhythm_schedule_pdf" => "?event_code=100H&final_time_s=15".to_owned(),
        "get_stride_marks" => "?spacing_m=8.5".to_owned(),
        "get_rhythm_cue" | "get_rhythm_cue_wav" => "?interval_time_s=1.08&intervals=2".to_owned(),
        _ => String::new(),
    }
}
