//! Race tests: held on phones, entered and drawn by admins.

use actix_web::http::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use super::world::World;
use crate::phone::Phone;

fn test(session: Uuid, name: &str) -> Value {
    json!({"session_id": session, "name": name, "dimensions": {"race_distance_m": 60, "barriers": 6, "height_m": 0.6,
        "approach_m": 11.5, "spacing_m": 7.0, "discounted": true}})
}

impl World {
    /// A race test, its end, or a result of one.
    pub fn race(&mut self, club: usize, phone: &mut Phone) {
        let known = self.one(&phone.ids("race_test")).filter(|_| self.dice.chance(0.8));
        let Some(race) = known else {
            let Some(session) = self.one(&phone.ids("session")) else { return };
            let (id, name) = (self.id(), self.name(club, "Race"));
            phone.record("race_test", id, test(session, &name));
            // A result that is written down on the spot goes in the same push.
            self.result(club, phone, id);
            return;
        };
        match self.dice.pick(4) {
            0 => {
                phone.patch("race_test", race, json!({"state": "held"}));
            }
            1 => {
                let name = self.name(club, "Race");
                phone.patch("race_test", race, json!({"name": name}));
            }
            _ => self.result(club, phone, race),
        }
    }

    fn result(&mut self, club: usize, phone: &mut Phone, race: Uuid) {
        let race_in = phone.data("race_test", race).and_then(|data| data["session_id"].as_str()?.parse().ok());
        let ahead = |session| {
            let day = phone.data("session", session).and_then(|data| data["held_on"].as_str().map(str::to_owned));
            day.is_some_and(|day| day > self.today().to_string())
        };
        if race_in.is_some_and(ahead) {
            return;
        }
        let Some(athlete) = self.one(&phone.ids("athlete")) else { return };
        let id = self.id();
        let time = f64::from(900 + self.dice.pick(600)) / 100.0;
        let data = json!({"race_test_id": race, "athlete_id": athlete, "status": "finished", "final_time_s": time,
            "hits": self.dice.pick(3)});
        phone.record("race_result", id, data.clone());
        self.clubs[club].facts.push(("race_result".to_owned(), id, data));
    }

    /// The admin enters some athletes in a race test, or draws its heats.
    pub async fn enter(&mut self, club: usize) {
        let list = self.admin(club, Method::GET, "/race-tests?limit=20", "", None).await.expect(200).json();
        let Some(tests) = list["items"].as_array().filter(|tests| !tests.is_empty()) else { return };
        let race = &tests[self.dice.pick(u32::try_from(tests.len()).unwrap()) as usize];
        let id: Uuid = race["id"].as_str().unwrap().parse().unwrap();
        let path = format!("/race-tests/{id}");
        // Whoever enters, draws or is erased changes the race test, so its versions are not only those of its edits.
        self.clubs[club].ledger.raced.insert(id);
        let shown = self.admin(club, Method::GET, &path, "", None).await.expect(200);
        let entered = shown.json()["entries"].as_array().map_or(0, Vec::len);
        if entered > 1 && self.dice.chance(0.4) {
            let body = Some(json!({"lanes": 4, "seed": self.dice.pick(1_000)}));
            // Whoever was entered may rest by now, and then there is nobody to draw.
            let drawn = self.admin(club, Method::POST, &format!("{path}/heats"), &shown.etag, body).await;
            assert!(matches!(drawn.status, 200 | 409), "{}", drawn.status);
            return;
        }
        let people = self.admin(club, Method::GET, "/athletes?limit=50", "", None).await.expect(200).json();
        let people = people["items"].as_array().unwrap().iter().filter(|one| one["status"] == "active");
        let people = people.filter_map(|one| one["id"].as_str());
        let some: Vec<&str> = people.filter(|_| self.dice.chance(0.3)).take(12).collect();
        let body = Some(json!({"athlete_ids": some, "coach_accepts": some}));
        // Who rests, has left or is restricted is refused, and then nobody is entered.
        let set = self.admin(club, Method::PUT, &format!("{path}/entries"), &shown.etag, body).await;
        assert!(matches!(set.status, 200 | 422), "{}", set.status);
    }
}
