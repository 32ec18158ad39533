//! Two clubs with something of every kind in every place, and everybody who calls.

use std::collections::{BTreeMap, HashMap};
use std::sync::Mutex;

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::archives;
use crate::document::Operation;
use crate::fixtures;
use crate::people::{PASSWORD, Person};
use crate::send::{Answer, Ask};
use crate::service::Service;
use crate::text;

/// Who may see something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Scope {
    /// The first group of the club.
    Own,
    /// Its second group.
    Other,
    /// What both groups share.
    Shared,
    /// Every member of the club.
    Club,
    /// The admins of the club.
    Admin,
    /// The other club.
    South,
    /// Nobody any more.
    Nobody,
}

/// One record of each kind that belongs together, by the names that path parameters have.
#[derive(Clone, Debug)]
pub struct Place {
    pub name: &'static str,
    pub scope: Scope,
    pub ids: BTreeMap<String, String>,
}

impl Place {
    pub fn id(&self, name: &str) -> &str {
        self.ids.get(name).unwrap_or_else(|| panic!("{}: no {name}", self.name))
    }

    /// The path of an operation with this place's ids.
    pub fn fill(&self, path: &str) -> String {
        let mut filled = path.to_owned();
        for (name, id) in &self.ids {
            filled = filled.replace(&format!("{{{name}}}"), id);
        }
        filled
    }
}

/// A record that a caller can get.
#[derive(Clone, Debug)]
pub struct Record {
    pub path: String,
    pub scope: Scope,
}

/// The world.
pub struct World {
    pub service: &'static Service,
    pub client: reqwest::Client,
    pub people: Vec<Person>,
    pub places: Vec<Place>,
    /// Who may see each id and marker.
    seen: Mutex<HashMap<String, Scope>>,
    /// Who each account is.
    accounts: HashMap<String, String>,
    pub day: NaiveDate,
}

static MARKS: Mutex<u32> = Mutex::new(0);

/// A marker that no other text has.
fn next_mark() -> String {
    let mut marks = MARKS.lock().unwrap();
    *marks += 1;
    format!("{}{:06}", text::MARK, *marks)
}

impl World {
    /// Makes the world through the API.
    pub async fn make() -> Self {
        let mut world = Self::apart().await;
        world.furnish("shared", Scope::Shared).await;
        world.leave().await;
        world
    }

    /// The world without anything that two groups share, and before anybody leaves.
    async fn apart() -> Self {
        let service = Service::shared().await;
        let mut world = Self {
            service,
            client: reqwest::Client::builder().pool_max_idle_per_host(16).build().unwrap(),
            people: Vec::new(),
            places: Vec::new(),
            seen: Mutex::default(),
            accounts: HashMap::new(),
            day: Utc::now().date_naive() - Duration::days(2),
        };
        world.found_clubs().await;
        for (name, scope) in [
            ("own", Scope::Own),
            ("other", Scope::Other),
            ("south", Scope::South),
            ("gone own", Scope::Own),
            ("gone other", Scope::Other),
        ] {
            world.furnish(name, scope).await;
        }
        world.delete("gone own").await;
        world.delete("gone other").await;
        world
    }

    /// The world for what has nothing to do with sharing.
    pub async fn simple() -> Self {
        let world = Self::apart().await;
        world.leave().await;
        world
    }

    pub fn place(&self, name: &str) -> &Place {
        self.places.iter().find(|place| place.name == name).unwrap_or_else(|| panic!("no place {name}"))
    }

    pub fn person(&self, name: &str) -> &Person {
        self.people.iter().find(|person| person.name == name).unwrap_or_else(|| panic!("nobody is called {name}"))
    }

    /// A new text that only those of the scope may see.
    pub fn mark(&self, scope: Scope) -> String {
        let mark = next_mark();
        self.seen.lock().unwrap().insert(mark.clone(), scope);
        mark
    }

    /// Says who may see an id.
    pub fn note(&self, id: &str, scope: Scope) {
        self.seen.lock().unwrap().insert(id.to_lowercase(), scope);
    }

    /// Who may see an id; none for one that nobody has.
    pub fn scope_of(&self, id: &str) -> Option<Scope> {
        self.seen.lock().unwrap().get(id).copied()
    }

    /// What a text holds that the caller may not see, other than what they sent.
    pub fn leaks(&self, who: Option<&Person>, sent: &[String], bytes: &[u8]) -> Vec<String> {
        let seen = self.seen.lock().unwrap();
        let hidden = |trace: &String| {
            let scope = seen.get(trace)?;
            let own = who.is_some_and(|who| who.account == *trace || self.accounts.get(trace) == Some(&who.account));
            let may = own || who.is_some_and(|who| who.sees(*scope));
            (!may && !sent.contains(trace)).then(|| format!("{trace} ({scope:?})"))
        };
        text::traces(bytes).iter().filter_map(hidden).collect()
    }

    async fn found_clubs(&mut self) {
        let north = self.sign_up("admin", Scope::Admin, true).await;
        let south = self.sign_up("south admin", Scope::South, true).await;
        self.people = vec![north, south];
        for (group, scope) in [("own", Scope::Own), ("other", Scope::Other)] {
            let name = self.mark(scope);
            let id = self.create("admin", "groups", json!({"name": name})).await;
            // The id of a group stands in what is shared with it; its name does not.
            self.note(&id, Scope::Club);
            self.new_place(group, scope, "admin", &id);
        }
        let name = self.mark(Scope::South);
        let id = self.create("south admin", "groups", json!({"name": name})).await;
        self.note(&id, Scope::South);
        self.new_place("south", Scope::South, "south admin", &id);
        let (own, other) = (self.place("own").id("group_id").to_owned(), self.place("other").id("group_id").to_owned());
        for (name, role, groups) in [
            ("coach", "coach", vec![&own]),
            ("other coach", "coach", vec![&other]),
            ("both coach", "coach", vec![&own, &other]),
            ("viewer", "viewer", vec![&own]),
            ("other viewer", "viewer", vec![&other]),
            ("leaver", "coach", vec![&own]),
        ] {
            let mut person = self.sign_up(name, Scope::Admin, false).await;
            let body = json!({"email": person.email, "role": role, "group_ids": groups});
            let invitation = self.call("admin", Method::POST, "/invitations", body).await.expect(201).json();
            let accepted = Ask::new("POST", "/v1/invitations/accept")
                .token(&person.token)
                .json(&json!({"token": invitation["token"]}));
            accepted.send(self).await.expect(200);
            person.join(self.person("admin").club.clone(), name);
            self.people.push(person);
        }
        let stranger = self.sign_up("stranger", Scope::Nobody, false).await;
        self.people.push(stranger);
    }

    fn new_place(&mut self, name: &'static str, scope: Scope, admin: &str, group: &str) {
        let club = self.person(admin).club.clone();
        let ids = BTreeMap::from([("club_id".to_owned(), club), ("group_id".to_owned(), group.to_owned())]);
        self.places.push(Place { name, scope, ids });
    }

    async fn sign_up(&mut self, name: &'static str, scope: Scope, with_club: bool) -> Person {
        let mark = self.mark(scope);
        let email = format!("{mark}.{}@people.example", Uuid::now_v7().simple());
        let mut body = json!({"email": email, "password": PASSWORD, "display_name": mark});
        let club_scope = if scope == Scope::South { Scope::South } else { Scope::Club };
        if with_club {
            body["club"] = json!({"name": self.mark(club_scope), "time_zone": "Europe/London", "ruleset": "UKA"});
        }
        let answer = Ask::new("POST", "/v1/auth/sign-up").json(&body).send(self).await.expect(201).json();
        let person = Person::of(self.service, name, &email, &answer);
        self.note(&person.account, scope);
        self.accounts.insert(mark, person.account.clone());
        self.accounts.insert(person.device.clone(), person.account.clone());
        self.note(&person.device, scope);
        if with_club {
            self.note(&person.club, club_scope);
        }
        person
    }

    /// Calls a path of the caller's club.
    pub async fn call(&self, who: &str, method: Method, path: &str, body: Value) -> Answer {
        let person = self.person(who);
        let path = format!("/v1/clubs/{}{path}", person.club);
        let ask = Ask::new(method.as_str(), &path).token(&person.token).header("if-match", "*");
        (if body.is_null() { ask } else { ask.json(&body) }).send(self).await
    }

    async fn create(&self, who: &str, path: &str, body: Value) -> String {
        let answer = self.call(who, Method::POST, &format!("/{path}"), body).await;
        answer.expect(201).json()["id"].as_str().unwrap().to_owned()
    }

    /// One record of every kind, made by the admin with the suite's own fixtures.
    async fn furnish(&mut self, name: &'static str, scope: Scope) {
        let admin = if scope == Scope::South { "south admin" } else { "admin" };
        if self.places.iter().all(|place| place.name != name) {
            let like = if scope == Scope::Other { "other" } else { "own" };
            let group = self.place(like).id("group_id").to_owned();
            self.new_place(name, scope, admin, &group);
        }
        let at = self.places.iter().position(|place| place.name == name).unwrap();
        if scope == Scope::Shared {
            let other = self.place("other").clone();
            for (here, there) in [("other_group_id", "group_id"), ("other_athlete_id", "athlete_id")] {
                self.places[at].ids.insert(here.to_owned(), other.id(there).to_owned());
            }
            let own = self.place("own").id("athlete_id").to_owned();
            self.places[at].ids.insert("own_athlete_id".to_owned(), own);
        }
        for (param, operation) in fixtures::ORDER {
            self.furnish_one(at, admin, param, operation).await;
        }
        self.exported(at, admin).await;
        let member = if scope == Scope::South { "south admin" } else { "viewer" };
        let (member, device) = (self.person(member).account.clone(), self.person(member).device.clone());
        self.places[at].ids.extend([("member_id".to_owned(), member), ("device_id".to_owned(), device)]);
        self.hold(at, admin).await;
    }

    async fn furnish_one(&mut self, at: usize, admin: &str, param: &str, operation: &str) {
        let place = self.places[at].clone();
        let operation = self.service.document.operation_of(operation);
        let body = fixtures::body(self, &operation.id, &place).unwrap();
        let ask = self.ask(operation, &place, self.person(admin)).json(&body);
        let answer = ask.send(self).await;
        assert!(answer.good(), "{} in {}: {}", operation.id, place.name, answer.text());
        let answered = answer.json();
        let lists = ["runs", "assessments", "wellbeing_records", "results"];
        let mut sent = lists.map(|list| &body[list][0]["id"]).into_iter().chain([&body["id"]]);
        let id = answered["id"].as_str().or_else(|| sent.find_map(Value::as_str));
        let Some(id) = id.filter(|_| !param.is_empty()) else { return };
        let scope = match (param, place.scope) {
            (_, Scope::South) => Scope::South,
            ("invitation_id" | "app_id" | "export_id", _) => Scope::Admin,
            ("venue_id" | "equipment_id" | "barrier_configuration_id" | "age_group_id" | "competition_spec_id", _) => {
                Scope::Club
            }
            (_, scope) => scope,
        };
        self.note(id, scope);
        self.places[at].ids.insert(param.to_owned(), id.to_owned());
    }

    /// Waits until the archive of a place's export is there: what is read of it stays the same from then on.
    async fn exported(&self, at: usize, admin: &str) {
        let path = format!("/exports/{}", self.places[at].id("export_id"));
        for _ in 0..1_800 {
            if self.call(admin, Method::GET, &path, Value::Null).await.expect(200).json()["state"] == "ready" {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        panic!("no archive is made for {path}");
    }

    /// A fact of a session that nobody knows is held for an admin, and the phone is noted.
    async fn hold(&mut self, at: usize, admin: &str) {
        let place = self.places[at].clone();
        let admins = if place.scope == Scope::South { Scope::South } else { Scope::Admin };
        let mut run = fixtures::body(self, "create_runs", &place).unwrap()["runs"][0].take();
        let held = Uuid::now_v7().to_string();
        run["id"] = json!(held);
        run["session_id"] = json!(Uuid::now_v7());
        // Once it is filed, those of the place see it.
        run["note"] = json!(self.mark(place.scope));
        let mut stale = json!({"op_id": Uuid::now_v7(), "method": "PATCH", "type": "athlete", "id": place.id("athlete_id"), "base_rev": 0});
        stale["data"] = json!({"display_name": self.mark(admins)});
        let put = json!({"op_id": Uuid::now_v7(), "method": "PUT", "type": "run", "id": held, "if_none_match": "*", "data": run});
        let push = json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": Utc::now(), "items": [put, stale]});
        let results = self.call(admin, Method::POST, "/changes", push).await.expect(200).json();
        assert_eq!(results["results"][0]["status"], 202, "{results}");
        self.note(&held, place.scope);
        let devices = self.call(admin, Method::GET, "/sync-devices", Value::Null).await.expect(200).json();
        let device = devices["items"][0]["id"].as_str().unwrap().to_owned();
        self.note(&device, admins);
        let ids = [("held_item_id".to_owned(), held), ("sync_device_id".to_owned(), device)];
        self.places[at].ids.extend(ids);
    }

    /// Deletes what can be deleted of a place; its group stays. What holds results stays too, so a session and a race
    /// test without any go in their stead.
    async fn delete(&mut self, name: &'static str) {
        let at = self.places.iter().position(|place| place.name == name).unwrap();
        for (param, operation) in [
            ("session_id", "create_session"),
            ("race_test_id", "create_race_test"),
            ("lane_plan_id", "create_lane_plan"),
        ] {
            self.furnish_one(at, "admin", param, operation).await;
        }
        let place = self.place(name).clone();
        for operation in fixtures::DELETED {
            let operation = self.service.document.operation_of(operation);
            let answer = self.ask(operation, &place, self.person("admin")).send(self).await;
            assert!(answer.good(), "{} in {name}: {}", operation.id, answer.text());
        }
    }

    /// One member leaves the club.
    async fn leave(&self) {
        let path = format!("/members/{}", self.person("leaver").account);
        self.call("admin", Method::DELETE, &path, Value::Null).await.expect(204);
    }

    /// A call of an operation on a place's records, without a body.
    #[allow(clippy::unused_self)] // reads as a question to the world
    pub fn ask(&self, operation: &Operation, place: &Place, who: &Person) -> Ask {
        let mut ask = Ask::new(&operation.method, &place.fill(&operation.path)).named(&operation.id).by(who);
        for (name, value) in operation.needed_query() {
            ask = ask.query(&name, &value);
        }
        if let Some((name, value)) = fixtures::query(&operation.id, place) {
            ask = ask.query(name, &value);
        }
        if operation.if_match {
            ask = ask.header("if-match", "*");
        }
        ask
    }

    /// A valid call of an operation on a place's records.
    pub fn valid(&self, operation: &Operation, place: &Place, who: &Person) -> Ask {
        let ask = self.ask(operation, place, who);
        let Some((media, _)) = &operation.body else { return ask };
        let body = fixtures::body(self, &operation.id, place)
            .unwrap_or_else(|| panic!("{}: tests/hostile/fixtures.rs has no body for it", operation.id));
        let ask = ask.header("content-type", media);
        match body {
            Value::String(text) if media.ends_with("sheet") => ask.bytes(workbook(&text)),
            Value::String(name) if media.ends_with("zip") => ask.bytes(archives::of_athlete(&name)),
            Value::String(text) => ask.bytes(text.into_bytes()),
            body => ask.bytes(body.to_string().into_bytes()),
        }
    }

    /// The records that a place's ids lead to.
    pub fn records(&self, place: &Place) -> Vec<Record> {
        let document = &self.service.document;
        let leads = |operation: &&Operation| {
            operation.reads()
                && operation.in_club()
                && operation.path.ends_with('}')
                && operation.path_params.iter().all(|param| place.ids.contains_key(param))
        };
        document
            .operations
            .iter()
            .filter(leads)
            .map(|operation| {
                let last = operation.path_params.last().unwrap().as_str();
                let scope = match last {
                    _ if place.scope == Scope::South => Scope::South,
                    "member_id" | "app_id" | "export_id" => Scope::Admin,
                    "club_id"
                    | "venue_id"
                    | "equipment_id"
                    | "barrier_configuration_id"
                    | "age_group_id"
                    | "competition_spec_id" => Scope::Club,
                    "group_id" if place.scope == Scope::Shared => Scope::Own,
                    _ => place.scope,
                };
                Record { path: place.fill(&operation.path), scope }
            })
            .collect()
    }
}

/// The lines of a CSV file as a workbook.
fn workbook(lines: &str) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (row, line) in (0..).zip(lines.lines()) {
        for (column, cell) in (0..).zip(line.split(',')) {
            sheet.write_string(row, column, cell).unwrap();
        }
    }
    book.save_to_buffer().unwrap()
}
