//! What a member's feed holds, held against what the same member's own routes answer: other queries, other filters.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::http::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use super::truth::Copy;
use super::world::World;

/// Types with a list of their own whose items are the records, and its path.
const LISTS: [(&str, &str); 12] = [
    ("group", "/groups"),
    ("venue", "/venues"),
    ("equipment", "/equipment"),
    ("barrier_configuration", "/barrier-configurations"),
    ("age_group", "/age-groups"),
    ("competition_spec", "/competition-specs"),
    ("athlete", "/athletes"),
    ("session", "/sessions"),
    ("run", "/runs"),
    ("assessment", "/assessments"),
    ("wellbeing_record", "/wellbeing-records"),
    ("race_test", "/race-tests"),
];

fn id_of(item: &Value) -> Uuid {
    item["id"].as_str().unwrap().parse().unwrap()
}

impl World {
    async fn get(&self, device: usize, path: &str) -> Value {
        let one = &self.devices[device];
        let path = format!("/v1/clubs/{}{path}", self.clubs[one.club].id);
        let answer = self.service.call(&one.token, Method::GET, &path, "", None).await;
        assert_eq!(answer.status, 200, "{path}: {}", String::from_utf8_lossy(&answer.bytes));
        answer.json()
    }

    /// All items of a list that may come in pages.
    async fn list(&self, device: usize, path: &str, query: &str) -> Vec<Value> {
        let (mut all, mut cursor) = (Vec::new(), String::new());
        loop {
            let page = self.get(device, &format!("{path}?limit=200{query}{cursor}")).await;
            all.extend(page["items"].as_array().unwrap().iter().cloned());
            match page["next_cursor"].as_str() {
                Some(next) => cursor = format!("&cursor={next}"),
                None => return all,
            }
        }
    }

    /// I4 on content: a full copy of a member, and the routes that the same member calls, show the same records with the same
    /// fields; plans and attendances too, which only their sessions list.
    pub async fn compare_with_routes(&mut self, device: usize, copy: &Copy) {
        let of = |kind: &str| -> BTreeMap<Uuid, Value> {
            copy.iter().filter(|((one, _), _)| one == kind).map(|((_, id), data)| (*id, data.clone())).collect()
        };
        for (kind, path) in LISTS {
            let facts = matches!(kind, "run" | "assessment" | "wellbeing_record");
            let listed = self.list(device, path, if facts { "&superseded=true" } else { "" }).await;
            let (mut shown, mut measured) = (BTreeMap::new(), BTreeMap::new());
            for mut item in listed {
                let id = id_of(&item);
                if kind == "athlete" {
                    let own = item.as_object_mut().unwrap().remove("measurements").unwrap();
                    for mut one in own.as_array().unwrap().clone() {
                        one["athlete_id"] = json!(id);
                        measured.insert(id_of(&one), one);
                    }
                }
                if kind == "race_test" {
                    // What its routes add stands in records of its own.
                    let kept = of(kind).get(&id).and_then(Value::as_object).cloned().unwrap_or_default();
                    item.as_object_mut().unwrap().retain(|name, _| kept.contains_key(name));
                }
                shown.insert(id, item);
            }
            let mut fed = of(kind);
            if kind == "race_test" {
                // Lists do not say whether the heats are drawn: that follows from the entries.
                fed.values_mut().filter_map(Value::as_object_mut).for_each(|one| drop(one.remove("drawn")));
            }
            self.alike(device, kind, &fed, &shown);
            if kind == "athlete" {
                self.alike(device, "measurement", &of("measurement"), &measured);
            }
        }
        let (mut plans, mut present) = (BTreeMap::new(), BTreeSet::new());
        for session in of("session").into_keys() {
            for plan in self.list(device, &format!("/sessions/{session}/lane-plans"), "").await {
                plans.insert(id_of(&plan), plan);
            }
            let there = self.get(device, &format!("/sessions/{session}/attendance")).await;
            present.extend(there["present"].as_array().unwrap().iter().map(|id| (session, id.clone().to_string())));
        }
        self.alike(device, "lane_plan", &of("lane_plan"), &plans);
        let sessions = of("session");
        let attended = of("attendance").into_values().filter_map(|one| {
            let session = one["session_id"].as_str()?.parse().ok()?;
            // Who sees an athlete sees that they came, also to a session of others.
            sessions.contains_key(&session).then(|| (session, one["athlete_id"].to_string()))
        });
        assert_eq!(attended.collect::<BTreeSet<_>>(), present, "attendances by feed and by route, device {device}");
    }

    fn alike(&mut self, device: usize, kind: &str, fed: &BTreeMap<Uuid, Value>, shown: &BTreeMap<Uuid, Value>) {
        let ids = |all: &BTreeMap<Uuid, Value>| all.keys().copied().collect::<BTreeSet<_>>();
        assert_eq!(ids(fed), ids(shown), "{kind} by feed and by route, device {device}");
        for (id, data) in fed {
            assert_eq!(data, &shown[id], "{kind} {id} by feed and by route, device {device}");
        }
        self.figures.routes_compared += fed.len() as u64;
    }
}
