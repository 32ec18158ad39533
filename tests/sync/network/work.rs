//! What people do on their phones, from what these show.

use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::world::World;
use crate::phone::{Parked, Phone};

/// A new athlete.
pub fn athlete(name: &str, groups: &[Uuid]) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": groups, "experience": "novice",
        "status": "active"})
}

/// A new venue.
pub fn venue(name: &str, lanes: u32) -> Value {
    json!({"name": name, "environment": "outdoor", "straight_m": 80.0, "lanes": lanes})
}

fn run(session: Uuid, athlete: Uuid, at: &str, hits: u32) -> Value {
    json!({"session_id": session, "athlete_id": athlete, "run_at": at, "barrier_kind": "wicket", "height_m": 0.3,
        "spacing_m": 6.25, "barriers": 5, "hits": hits, "fell": false, "intervals": {"held": 3, "broken": 1}})
}

/// A plan that was asked for these people: the first two are in its first lane, which every plan has, the others rest.
fn plan(session: Uuid, lanes: u32, people: &[Uuid]) -> Value {
    let placed = |id: &Uuid| json!({"athlete_id": id, "display_name": "?", "regret": 0.25, "hold_probability": 0.5});
    let (running, resting) = people.split_at(people.len().min(2));
    let lane = |lane| {
        let people = if lane == 1 { running } else { &[] };
        json!({"lane": lane, "round": 1, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.25, "approach_m": 12.0,
        "barriers": 5, "athletes": people.iter().map(placed).collect::<Vec<_>>()})
    };
    let request = json!({"lanes": lanes, "capacity": 8, "barriers": {"min": 4, "max": 6}, "objective": "total",
        "athlete_ids": people});
    let rests = |id: &Uuid| json!({"athlete_id": id, "explanation": "Comes back on Monday"});
    json!({"session_id": session, "request": request, "lanes": (1..=lanes).map(lane).collect::<Vec<_>>(), "resting": resting.iter().map(rests).collect::<Vec<_>>(),
        "total_regret": 0.5, "largest_regret": 0.25, "proven_optimal": true, "lower_bound": 0.25, "alternatives": [],
        "stock_used": [], "run_out_m": 10.0, "cautions": []})
}

impl World {
    pub fn one(&mut self, ids: &[Uuid]) -> Option<Uuid> {
        let count = u32::try_from(ids.len()).ok().filter(|count| *count > 0)?;
        Some(ids[self.dice.pick(count) as usize])
    }

    pub fn name(&mut self, club: usize, what: &str) -> String {
        self.clubs[club].names += 1;
        format!("{what} {}", self.clubs[club].names)
    }

    /// The time that a fact claims: within its session, or whatever the phone's clock says.
    fn claimed(&mut self, device: usize, phone: &Phone, session: Uuid) -> String {
        if self.plan.claims && self.dice.chance(0.02) {
            let at = chrono::DateTime::from_timestamp_millis(self.clock(device)).unwrap_or_default();
            return at.to_rfc3339();
        }
        let day = phone
            .data("session", session)
            .map_or_else(|| self.today().to_string(), |data| data["held_on"].as_str().unwrap_or_default().to_owned());
        format!("{day}T00:{:02}:00Z", self.dice.pick(60))
    }

    /// Counts what a phone recorded after its first so many items.
    fn count(&mut self, phone: &Phone, recorded: i64) {
        self.figures.items += u64::try_from(phone.recorded() - recorded).unwrap();
        self.figures.edits += phone.edits_after(recorded);
    }

    /// Somebody works for a while.
    pub fn work(&mut self, device: usize) {
        let Some(mut phone) = self.devices[device].phone.take() else { return };
        let recorded = phone.recorded();
        let busy = self.plan.load && self.devices[device].club == 0;
        if busy {
            self.record_runs(device, &mut phone, self.plan.burst);
        }
        for _ in 0..=self.dice.pick(10) {
            self.do_something(device, &mut phone);
        }
        self.count(&phone, recorded);
        self.devices[device].phone = Some(phone);
    }

    /// A session that a phone shows and that is not ahead.
    pub fn held(&mut self, phone: &Phone) -> Option<Uuid> {
        let session = self.one(&phone.ids("session"))?;
        let today = self.today().to_string();
        let held = |data: &Value| data["held_on"].as_str().is_some_and(|day| day <= today.as_str());
        phone.data("session", session).is_some_and(|data| held(&data)).then_some(session)
    }

    /// Records up to so many runs of a session.
    fn record_runs(&mut self, device: usize, phone: &mut Phone, most: u32) {
        let (Some(session), athletes) = (self.held(phone), phone.ids("athlete")) else { return };
        let at = self.claimed(device, phone, session);
        for _ in 0..=self.dice.pick(most) {
            let Some(athlete) = self.one(&athletes) else { return };
            let (id, data) = (self.id(), run(session, athlete, &at, self.dice.pick(3)));
            phone.record("run", id, data.clone());
            if self.dice.chance(0.05) {
                self.clubs[self.devices[device].club].facts.push(("run".to_owned(), id, data));
            }
        }
    }

    fn do_something(&mut self, device: usize, phone: &mut Phone) {
        let club = self.devices[device].club;
        let busy = self.plan.load && club == 0;
        // Under load runs come in bursts, so the rest is something else.
        let what = if busy { 22 + self.dice.pick(78) } else { self.dice.pick(100) };
        match what {
            0..22 => self.record_runs(device, phone, 3),
            22..36 => self.record_other(device, phone, busy),
            36..42 => self.correct(club, phone),
            42..52 => self.attend(phone),
            52..64 => self.edit_athlete(club, phone),
            64..70 => self.move_athlete(club, phone),
            70..80 => self.edit_session(club, phone),
            80..85 => self.edit_plan(phone),
            85..88 => self.race(club, phone),
            88..93 => self.edit_thing(club, phone),
            93..96 => self.delete_something(club, phone),
            _ if self.plan.faults => self.poison(phone),
            _ => self.edit_athlete(club, phone),
        }
    }

    fn record_other(&mut self, device: usize, phone: &mut Phone, busy: bool) {
        let Some(athlete) = self.one(&phone.ids("athlete")) else { return };
        let (id, today) = (self.id(), self.today());
        match self.dice.pick(10) {
            0..5 => {
                let Some(session) = self.held(phone) else { return };
                let at = self.claimed(device, phone, session);
                let data = json!({"athlete_id": athlete, "session_id": session, "assessed_at": at,
                    "ratings": {"arms": self.dice.pick(4), "posture": self.dice.pick(4)}});
                phone.record("assessment", id, data.clone());
                self.clubs[self.devices[device].club].facts.push(("assessment".to_owned(), id, data));
            }
            // Over long ago: one that stands would flag the runs that come after it, in whichever order they come.
            6 if self.dice.chance(0.5) => {
                let on = format!("2020-01-{:02}", 1 + self.dice.pick(28));
                let data =
                    json!({"athlete_id": athlete, "kind": "restriction", "reported_on": on, "until": "2020-02-01"});
                phone.record("wellbeing_record", id, data);
            }
            // Advice looks at every run of the athlete, which costs more than it proves under load.
            5 if !busy && self.dice.chance(0.2) => {
                let data = json!({"athlete_id": athlete, "outcome": "accepted", "on": today});
                phone.record("decision", id, data);
            }
            _ => {
                let value = f64::from(40 + self.dice.pick(30)) / 10.0;
                let day = today - chrono::Duration::days(i64::from(self.dice.pick(60)));
                let data = json!({"athlete_id": athlete, "kind": "sprint_30m_s", "value": value, "measured_on": day});
                phone.record("measurement", id, data);
            }
        }
    }

    /// A correction of a fact, or its withdrawal, perhaps of a record that this phone does not show.
    fn correct(&mut self, club: usize, phone: &mut Phone) {
        let count = u32::try_from(self.clubs[club].facts.len()).unwrap();
        if count == 0 {
            return;
        }
        let at = self.dice.pick(count) as usize;
        // Somebody else may correct the same, and not know.
        let again = self.dice.chance(0.2);
        let facts = &mut self.clubs[club].facts;
        let (kind, corrected, mut data) = if again { facts[at].clone() } else { facts.swap_remove(at) };
        data["supersedes"] = json!(corrected);
        if self.dice.chance(0.3) {
            data["void"] = json!(true);
        }
        data["note"] = json!("corrected");
        phone.record(&kind, self.id(), data);
    }

    fn attend(&mut self, phone: &mut Phone) {
        if self.dice.chance(0.3)
            && let Some(id) = self.one(&phone.ids("attendance"))
        {
            phone.delete("attendance", id);
            return;
        }
        let (Some(session), Some(athlete)) = (self.one(&phone.ids("session")), self.one(&phone.ids("athlete"))) else {
            return;
        };
        let id = Uuid::new_v5(&session, athlete.as_bytes());
        phone.record("attendance", id, json!({"session_id": session, "athlete_id": athlete}));
    }

    fn edit_athlete(&mut self, club: usize, phone: &mut Phone) {
        if self.dice.chance(0.1) {
            let (id, name) = (self.id(), self.name(club, "Athlete"));
            let group = self.clubs[club].groups[self.dice.pick(3) as usize];
            phone.record("athlete", id, athlete(&name, &[group]));
            return;
        }
        let Some(id) = self.one(&phone.ids("athlete")) else { return };
        let mut patch = Map::new();
        let day = self.today() - chrono::Duration::days(i64::from(self.dice.pick(30)));
        let leg = [json!("left"), json!("right"), Value::Null][self.dice.pick(3) as usize].clone();
        let all = [
            ("display_name", json!(self.name(club, "Athlete"))),
            ("preferred_lead_leg", leg),
            ("approach_strides", [json!(7), json!(8), Value::Null][self.dice.pick(3) as usize].clone()),
            ("consent_on", json!(day)),
            ("experience", json!(["novice", "trained"][self.dice.pick(2) as usize])),
            ("status", json!(["active", "resting"][self.dice.pick(2) as usize])),
        ];
        for (name, value) in all {
            if self.dice.chance(0.35) {
                patch.insert(name.to_owned(), value);
            }
        }
        if patch.is_empty() {
            patch.insert("birth_year".to_owned(), json!(2008 + self.dice.pick(8)));
        }
        phone.patch("athlete", id, Value::Object(patch));
    }

    fn move_athlete(&mut self, club: usize, phone: &mut Phone) {
        let Some(id) = self.one(&phone.ids("athlete")) else { return };
        let group = self.clubs[club].groups[self.dice.pick(3) as usize];
        match self.dice.pick(3) {
            0 => {
                let data = json!({"group_id": group, "athlete_id": id});
                phone.record("group_membership", Uuid::new_v5(&group, id.as_bytes()), data);
            }
            1 => {
                phone.leave(group, id);
            }
            _ => {
                phone.patch("athlete", id, json!({"group_ids": [group]}));
            }
        }
    }

    fn edit_session(&mut self, club: usize, phone: &mut Phone) {
        let groups = self.some_groups(club);
        let ahead = self.dice.chance(0.1);
        let day = self.today() - chrono::Duration::days(i64::from(self.dice.pick(20)) - if ahead { 25 } else { 0 });
        if self.dice.chance(0.4) {
            let id = self.id();
            let state = if ahead { "planned" } else { "held" };
            phone.record("session", id, json!({"held_on": day, "state": state, "group_ids": groups}));
            // What is done offline right after it goes in the same push.
            if !ahead && let Some(athlete) = self.one(&phone.ids("athlete")) {
                phone.record("run", self.id(), run(id, athlete, &format!("{day}T00:00:00Z"), 0));
            }
            if self.dice.chance(0.5) {
                phone.patch("session", id, json!({"weather_note": "Dry", "note": "Lane 3 is worn"}));
            }
            return;
        }
        let Some(id) = self.one(&phone.ids("session")) else { return };
        if self.dice.chance(0.3) {
            phone.patch("session", id, json!({"group_ids": groups}));
        } else if self.dice.chance(0.2) {
            phone.patch("session", id, json!({"held_on": day}));
        } else {
            let note = format!("Wind {}", self.dice.pick(9));
            let mut whole = phone.data("session", id).unwrap();
            if self.dice.chance(0.5) {
                phone.patch("session", id, json!({"weather_note": note}));
            } else {
                whole["weather_note"] = json!(note);
                whole.as_object_mut().unwrap().retain(|name, _| name != "id" && name != "rev");
                phone.replace("session", id, whole);
            }
        }
    }

    fn edit_plan(&mut self, phone: &mut Phone) {
        let lanes = 1 + self.dice.pick(4);
        let mut people: Vec<Uuid> = (0..3).filter_map(|_| self.one(&phone.ids("athlete"))).collect();
        people.sort_unstable();
        people.dedup();
        if self.dice.chance(0.5)
            && let Some(id) = self.one(&phone.ids("lane_plan"))
        {
            let session = phone.data("lane_plan", id).unwrap()["session_id"].as_str().unwrap().parse().unwrap();
            if self.dice.chance(0.2) {
                phone.delete("lane_plan", id);
            } else if self.dice.chance(0.3) {
                phone.patch("lane_plan", id, json!({"run_out_m": f64::from(9 + self.dice.pick(4))}));
            } else {
                phone.replace("lane_plan", id, plan(session, lanes, &people));
            }
            return;
        }
        let Some(session) = self.one(&phone.ids("session")) else { return };
        phone.record("lane_plan", self.id(), plan(session, lanes, &people));
    }

    /// Recipes, and what only admins may change: from coaches it is refused.
    fn edit_thing(&mut self, club: usize, phone: &mut Phone) {
        let kinds = ["barrier_configuration", "venue", "equipment", "group", "age_group", "competition_spec"];
        let kind = kinds[self.dice.pick(6) as usize];
        let name = self.name(club, "Thing");
        let data = match kind {
            "venue" => venue(&name, 1 + self.dice.pick(8)),
            "equipment" => json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 1 + self.dice.pick(40)}),
            "group" => json!({"name": name}),
            "age_group" => json!({"ruleset": name, "age_group": "U12", "max_age": 11, "rule": "school_year",
                "valid_from": "2026-01-01", "source": "Club rules"}),
            "competition_spec" => json!({"ruleset": name, "event_code": "50H", "environment": "outdoor", "sex": "F",
                "age_group": "U12", "race_distance_m": 50, "barriers": 5, "height_m": 0.5, "to_first_m": 11,
                "between_m": 6.5, "run_in_m": 13, "valid_from": "2026-01-01", "source": "Club rules"}),
            _ => json!({"name": name, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.0, "approach_m": 12.0,
                "barriers": 1 + self.dice.pick(9)}),
        };
        if self.dice.chance(0.5)
            && let Some(id) = self.one(&phone.ids(kind))
        {
            let source = matches!(kind, "age_group" | "competition_spec");
            if source && self.dice.chance(0.5) {
                phone.patch(kind, id, json!({"source": name}));
            } else {
                phone.replace(kind, id, data);
            }
            return;
        }
        phone.record(kind, self.id(), data);
    }

    fn delete_something(&mut self, club: usize, phone: &mut Phone) {
        let kinds = [
            "measurement",
            "venue",
            "equipment",
            "barrier_configuration",
            "session",
            "athlete",
            "race_test",
            "group",
            "age_group",
            "competition_spec",
        ];
        let kind = kinds[self.dice.pick(10) as usize];
        let mut ids = phone.ids(kind);
        // Those of the club's begin stay: members are assigned to them.
        ids.retain(|id| !self.clubs[club].groups.contains(id));
        // A club that has lost its people proves little. And an athlete is deleted on one's own earlier edit only within
        // one push, so the batches would tell.
        let few = matches!(kind, "session" | "athlete") && ids.len() < 5;
        if few || (kind == "athlete" && self.plan.batch.is_some()) {
            return;
        }
        if let Some(id) = self.one(&ids) {
            phone.delete(kind, id);
        }
    }

    /// An item that no service may take.
    fn poison(&mut self, phone: &mut Phone) {
        self.figures.fault("poison item");
        let id = self.id();
        let session = phone.ids("session").first().copied().unwrap_or_default();
        let data = run(session, id, "2026-01-01T00:00:00Z", 0);
        let mut item = json!({"method": "PUT", "type": "run", "id": id, "if_none_match": "*", "data": data});
        match self.dice.pick(7) {
            0 => item["data"]["height_m"] = json!("tall"),
            1 => item["data"]["note"] = json!("a\u{0}b"),
            2 => item["type"] = json!("rocket"),
            3 => item["method"] = json!("POST"),
            4 => item["id"] = json!("7"),
            5 => item["colour"] = json!("red"),
            _ => item["data"]["barriers"] = json!(99),
        }
        self.poisoned.insert(phone.enqueue(item, ("", Uuid::nil())));
    }

    /// The person looks at what was parked: insists on some of it, having seen what is stored, and gives the rest up.
    pub fn look_at_parked(&mut self, device: usize, insist: bool) {
        let Some(mut phone) = self.devices[device].phone.take() else { return };
        let recorded = phone.recorded();
        for parked in phone.parked() {
            let again = insist && matches!(parked.status, 409 | 412) && self.dice.chance(0.5);
            match again.then(|| rebased(&parked)).flatten() {
                Some(data) => {
                    phone.insist(&parked, data);
                }
                None => phone.give_up_item(parked.op_id),
            }
        }
        self.count(&phone, recorded);
        self.devices[device].phone = Some(phone);
    }
}

/// What is sent again: the refused field groups, or the whole.
#[allow(clippy::option_option)] // whether at all, and whether with other data
fn rebased(parked: &Parked) -> Option<Option<Map<String, Value>>> {
    if parked.status == 412 {
        return parked.answer["current"]["rev"].is_number().then_some(None);
    }
    let refused = parked.answer["conflicts"].as_array()?;
    let fields = refused.iter().filter_map(|one| one["yours"].as_object()).flatten();
    Some(Some(fields.map(|(name, value)| (name.clone(), value.clone())).collect()))
}
