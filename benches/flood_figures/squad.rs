//! An invented club with a squad that has trained for some weeks.

use std::fmt::Write;

use serde_json::{Value, json};
use uuid::Uuid;

use crate::sync_figures::wire::{self, Wire};

/// A club as its admin uses it.
pub struct Squad {
    pub access: String,
    /// `/v1/clubs/{id}`.
    pub club: String,
    pub athletes: Vec<String>,
    /// The group of all, and that of the first twelve.
    pub groups: [String; 2],
    pub session: String,
    pub day: String,
}

/// The text at a place of an answer.
pub fn text(value: &Value, pointer: &str) -> String {
    value.pointer(pointer).and_then(Value::as_str).unwrap_or_else(|| panic!("no {pointer} in {value}")).to_owned()
}

impl Squad {
    /// Founds it over HTTP: so many athletes, sessions so many days ago, four runs of each athlete at each.
    pub fn found(wire: &mut Wire, name: &str, count: usize, days_ago: &[i64]) -> Self {
        let club = json!({"name": name, "time_zone": "Europe/London", "ruleset": "UKA-2024"});
        let email = format!("admin@{name}.example");
        let up = json!({"email": email, "password": "five wickets in a row", "display_name": "Ada", "club": club});
        let up = call(wire, "/v1/auth/sign-up", "", &up);
        let access = text(&up, "/tokens/access_token");
        let club = format!("/v1/clubs/{}", text(&up, "/club/id"));
        let groups = ["Squad", "First"]
            .map(|name| text(&call(wire, &format!("{club}/groups"), &access, &json!({"name": name})), "/id"));
        let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 8});
        let venue = text(&call(wire, &format!("{club}/venues"), &access, &venue), "/id");
        for (kind, heights, count) in [
            ("wicket", json!([0.3]), 80),
            ("low_barrier", json!([0.4, 0.5, 0.6]), 60),
            ("hurdle", json!([0.6, 0.68, 0.76]), 60),
        ] {
            let stock = json!({"barrier_kind": kind, "heights_m": heights, "count": count});
            call(wire, &format!("{club}/equipment"), &access, &stock);
        }
        let mut roster = "display_name,sex,birth_date,groups,experience,stature_m\n".to_owned();
        for n in 0..count {
            let (sex, years) = (if n % 2 == 0 { "F" } else { "M" }, n % 6);
            let groups = if n < 12 { "Squad|First" } else { "Squad" };
            // Usual at the age, or the roster would have to confirm it.
            let centimetres = [170, 172, 168, 164, 160, 155][years];
            writeln!(
                roster,
                "Athlete {n:03},{sex},{}-05-17,{groups},trained,{:.2}",
                2008 + years,
                f64::from(centimetres) / 100.0
            )
            .expect("text");
        }
        let (status, _) =
            wire.call(&wire::send(&format!("{club}/athletes/import"), &access, "text/csv", roster.as_bytes()));
        assert_eq!(status, 201, "{}", wire.json());
        let rows = wire.json();
        let rows = rows.get("rows").and_then(Value::as_array).expect("rows");
        let athletes: Vec<String> = rows.iter().map(|row| text(row, "/athlete_id")).collect();
        let mut squad = Self { access, club, athletes, groups, session: String::new(), day: String::new() };
        for days_ago in days_ago {
            squad.train(wire, &venue, *days_ago);
        }
        squad
    }

    fn train(&mut self, wire: &mut Wire, venue: &str, days_ago: i64) {
        let group = &self.groups[0];
        self.day = (chrono::Utc::now().date_naive() - chrono::Duration::days(days_ago)).to_string();
        let held = json!({"held_on": self.day, "state": "held", "group_ids": [group], "venue_id": venue});
        self.session = text(&call(wire, &format!("{}/sessions", self.club), &self.access, &held), "/id");
        let each = |(n, athlete): (usize, &String)| (0..4).map(|k| self.run(athlete, (n + k) % 9)).collect::<Vec<_>>();
        let runs: Vec<Value> = self.athletes.iter().enumerate().flat_map(each).collect();
        for part in runs.chunks(400) {
            call(wire, &format!("{}/runs", self.club), &self.access, &json!({"runs": part}));
        }
    }

    fn run(&self, athlete: &str, n: usize) -> Value {
        let over = n % 3;
        json!({"id": Uuid::now_v7(), "session_id": self.session, "athlete_id": athlete,
            "run_at": format!("{}T17:00:00Z", self.day), "barrier_kind": "low_barrier", "height_m": 0.4,
            "spacing_m": 5.5 + 0.25 * f64::from(u32::try_from(n).expect("small")), "barriers": 5,
            "intervals": {"held": 4 - over, "over_reached": over}})
    }

    /// A push of one run of an athlete.
    pub fn push(&self, athlete: &str) -> Value {
        let mut run = self.run(athlete, 1);
        let id = run.as_object_mut().and_then(|run| run.remove("id")).unwrap_or_default();
        let item = json!({"op_id": Uuid::now_v7(), "method": "PUT", "type": "run", "id": id, "if_none_match": "*", "data": run});
        json!({"device_id": "0193a7d4-5f00-7000-8000-000000000001", "schema": 1, "sent_at": chrono::Utc::now(), "items": [item]})
    }
}

/// Posts JSON and reads what was created.
pub fn call(wire: &mut Wire, path: &str, access: &str, body: &Value) -> Value {
    let (status, _) = wire.call(&wire::post(path, access, body.to_string().as_bytes()));
    assert!((200..300).contains(&status), "{path}: {status} {}", String::from_utf8_lossy(&wire.body));
    wire.json()
}
