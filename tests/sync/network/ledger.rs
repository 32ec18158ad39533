//! What the service said of each item, and whether the end agrees: nothing lost, nothing twice, no edit overwritten
//! unseen.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use serde_json::{Map, Value};
use uuid::Uuid;

use super::world::World;
use crate::phone::Reply;

/// What became of a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    Stored(i64),
    Held,
}

/// A fact that was confirmed.
#[derive(Clone, Debug)]
pub struct Fact {
    pub kind: String,
    pub athlete: Uuid,
    pub told: Told,
}

/// An edited record as the accepted edits make it.
#[derive(Clone, Debug, Default)]
pub struct Edited {
    pub kind: String,
    /// Each part with the version of its last change and the phones that know it without a pull, because they made it or
    /// said the same; one part for all but athletes.
    parts: HashMap<&'static str, (i64, Vec<usize>)>,
    pub fields: Map<String, Value>,
    pub deleted: bool,
    /// Every version that somebody was told.
    pub revs: BTreeSet<i64>,
}

/// What one club's people were told.
#[derive(Default)]
pub struct Ledger {
    pub facts: HashMap<Uuid, Fact>,
    pub edited: BTreeMap<Uuid, Edited>,
    /// Operations that were carried out, and the version they led to.
    done: HashMap<Uuid, i64>,
    /// Edits that were refused and whose values must be kept, with their records.
    pub refused: HashMap<Uuid, Uuid>,
    /// Facts as they were first shown: SHA-256 is not needed to see a difference.
    pub shown: HashMap<Uuid, u64>,
    /// Race tests that an admin has entered somebody in: their versions are also those of their entries.
    pub raced: HashSet<Uuid>,
    /// Attendances: whether the last word was that the athlete came.
    pub present: HashMap<Uuid, (Value, bool)>,
}

const GROUPS: [(&str, &[&str]); 6] = [
    ("name", &["display_name"]),
    ("birth", &["sex", "birth_date", "birth_year"]),
    ("contact", &["consent_on"]),
    ("technique", &["preferred_lead_leg", "approach_strides", "experience"]),
    ("status", &["status"]),
    ("groups", &["group_ids"]),
];

/// The facts that are erased with whom they are about.
pub const ERASED: [&str; 2] = ["measurement", "wellbeing_record"];

fn id_of(value: &Value) -> Uuid {
    value.as_str().and_then(|text| text.parse().ok()).unwrap_or_default()
}

impl World {
    /// Notes the answer to a push.
    pub fn note_results(&mut self, device: usize, push: &Value, reply: &Reply) {
        let answer: Value = serde_json::from_slice(&reply.body).unwrap();
        let (items, results) = (push["items"].as_array().unwrap(), answer["results"].as_array().unwrap());
        assert_eq!(items.len(), results.len(), "one result for each item");
        let ledger = &mut self.clubs[self.devices[device].club].ledger;
        for (item, result) in items.iter().zip(results) {
            assert_eq!(item["op_id"], result["op_id"], "results stand in the order of the items");
            let status = u16::try_from(result["status"].as_u64().unwrap()).unwrap();
            *self.figures.statuses.entry(status).or_default() += 1;
            assert!(status < 500, "{item} was answered {result}");
            let broken = self.poisoned.contains(&id_of(&item["op_id"]));
            assert!(!broken || (400..500).contains(&status), "a broken item was taken: {item} {result}");
            ledger.note(device, item, result, status);
        }
    }
}

impl Ledger {
    fn note(&mut self, device: usize, item: &Value, result: &Value, status: u16) {
        let (kind, method, id) =
            (item["type"].as_str().unwrap_or_default(), item["method"].as_str(), id_of(&item["id"]));
        let fact =
            matches!(kind, "run" | "assessment" | "decision" | "measurement" | "race_result" | "wellbeing_record");
        if fact && method == Some("PUT") {
            return self.note_fact((kind, id), id_of(&item["data"]["athlete_id"]), result, status);
        }
        match status {
            200 | 201 => {}
            409 if result["conflicts"].is_array() => {
                self.refused.insert(id_of(&item["op_id"]), id);
            }
            // Whoever creates what was deleted has the values still; an attendance has none.
            410 if kind != "attendance" && !item["if_none_match"].is_string() => {
                self.refused.insert(id_of(&item["op_id"]), id);
                return;
            }
            _ => return,
        }
        let rev = result["rev"].as_i64().unwrap();
        if status != 409 {
            // I2: an operation that was carried out is answered alike for ever.
            if let Some(before) = self.done.insert(id_of(&item["op_id"]), rev) {
                assert_eq!(before, rev, "a repeat was answered differently: {item} {result}");
                return;
            }
        }
        match kind {
            "measurement" => {}
            "attendance" => {
                let known = self.present.get(&id).map(|(data, _)| data.clone());
                let data = if item["data"].is_object() { item["data"].clone() } else { known.unwrap_or_default() };
                self.present.insert(id, (data, method == Some("PUT")));
            }
            "athlete" => self.note_athlete(device, item, result, rev),
            "group_membership" => self.note_membership(device, item, rev),
            _ => self.note_edit(device, item, rev),
        }
    }

    fn note_fact(&mut self, (kind, id): (&str, Uuid), athlete: Uuid, result: &Value, status: u16) {
        let told = match status {
            200 | 201 => Told::Stored(result["rev"].as_i64().unwrap()),
            202 => Told::Held,
            _ => return,
        };
        let erased = ERASED.contains(&kind) && self.is_deleted(athlete);
        let known = self.facts.entry(id).or_insert_with(|| Fact { kind: kind.to_owned(), athlete, told });
        match (known.told, told) {
            (Told::Stored(before), Told::Stored(now)) => {
                // A measurement that was deleted has the number of its deletion.
                let same = before == now || (kind == "measurement" && before < now);
                assert!(same, "the number of a fact changed: {result}");
            }
            // What was measured of somebody is erased with them; a repeat is about nobody.
            (Told::Stored(_), Told::Held) => assert!(erased, "a stored fact is held: {result}"),
            _ => {}
        }
        known.told = told;
    }

    /// Whether an athlete was deleted.
    pub fn is_deleted(&self, athlete: Uuid) -> bool {
        self.edited.get(&athlete).is_some_and(|one| one.deleted)
    }

    /// An edit of a record whose edits name its version: it must be the last one, or the same phone's chain.
    fn note_edit(&mut self, device: usize, item: &Value, rev: i64) {
        let named = item["if_match"].as_i64();
        let edited = self.edited.entry(id_of(&item["id"])).or_default();
        item["type"].as_str().unwrap().clone_into(&mut edited.kind);
        let alone = !self.raced.contains(&id_of(&item["id"]));
        // A plan that was sent anew because of its people has a higher number than its last edit.
        let renewed = |named: i64, last: i64| item["type"] == "lane_plan" && named > last;
        if let (Some(named), Some((last, by)), true) = (named, edited.parts.get(""), alone) {
            assert!(
                named == *last || by.contains(&device) || renewed(named, *last),
                "an edit overwrote what it had not seen: {item}, stored {last}"
            );
        }
        edited.parts.insert("", (rev, vec![device]));
        edited.revs.insert(rev);
        match item["method"].as_str() {
            Some("DELETE") => edited.deleted = true,
            Some("PATCH") => merge(&mut edited.fields, &item["data"]),
            _ => edited.fields.clone_from(item["data"].as_object().unwrap()),
        }
    }

    fn note_athlete(&mut self, device: usize, item: &Value, result: &Value, rev: i64) {
        let edited = self.edited.entry(id_of(&item["id"])).or_default();
        "athlete".clone_into(&mut edited.kind);
        edited.revs.insert(rev);
        match item["method"].as_str() {
            Some("DELETE") => {
                edited.deleted = true;
                return;
            }
            Some("PUT") => {
                edited.fields.clone_from(item["data"].as_object().unwrap());
                edited.parts = GROUPS.iter().map(|(group, _)| (*group, (rev, vec![device]))).collect();
                return;
            }
            _ => {}
        }
        let base = item["base_rev"].as_i64().unwrap();
        let refused = result["conflicts"].as_array().map_or(&[][..], Vec::as_slice);
        for (group, names) in GROUPS {
            let mut patch = item["data"].as_object().unwrap().clone();
            patch.retain(|name, _| names.contains(&name.as_str()));
            if patch.is_empty() || refused.iter().any(|one| one["group"] == group) {
                continue;
            }
            let before = edited.fields.clone();
            merge(&mut edited.fields, &Value::Object(patch));
            let (last, by) = edited.parts.entry(group).or_default();
            if same(&before, &edited.fields) {
                by.push(device);
                continue;
            }
            let seen = *last <= base || by.contains(&device);
            assert!(seen, "an edit overwrote what it had not seen: {item}, {group} is {last}");
            (*last, *by) = (rev, vec![device]);
        }
    }

    fn note_membership(&mut self, device: usize, item: &Value, rev: i64) {
        let edited = self.edited.entry(id_of(&item["data"]["athlete_id"])).or_default();
        let group = &item["data"]["group_id"];
        let groups =
            edited.fields.entry("group_ids").or_insert_with(|| Value::Array(Vec::new())).as_array_mut().unwrap();
        let inside = groups.contains(group);
        let put = item["method"] == "PUT";
        if put == inside {
            return;
        }
        if put {
            groups.push(group.clone());
        } else {
            groups.retain(|one| one != group);
        }
        edited.parts.insert("groups", (rev, vec![device]));
        edited.revs.insert(rev);
    }
}

fn merge(fields: &mut Map<String, Value>, patch: &Value) {
    for (name, value) in patch.as_object().unwrap() {
        if value.is_null() {
            fields.remove(name);
        } else {
            fields.insert(name.clone(), value.clone());
        }
    }
}

fn sorted(value: &Value) -> Value {
    let Value::Array(list) = value else { return value.clone() };
    let mut list = list.clone();
    list.sort_by_key(ToString::to_string);
    Value::Array(list)
}

/// Whether two records say the same, whatever the order of their groups.
pub fn same(a: &Map<String, Value>, b: &Map<String, Value>) -> bool {
    a.len() == b.len() && a.iter().all(|(name, value)| b.get(name).is_some_and(|other| sorted(value) == sorted(other)))
}

/// Whether a stored record has every field that the accepted edits gave it.
pub fn holds(stored: &Value, fields: &Map<String, Value>) -> bool {
    fields.iter().all(|(name, value)| {
        // What stands in a plan beside its lanes is the service's, and who rests and was asked for is shown to some alone; a race test
        // shows its dimensions as a specification.
        matches!(
            name.as_str(),
            "dimensions" | "alternatives" | "cautions" | "proven_optimal" | "id" | "rev" | "resting"
        ) || equal(&sorted(&bare(name, &stored[name])), &sorted(&bare(name, value)))
    })
}

/// Whether two values are the same, 50 and 50.0 too.
fn equal(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| equal(a, b)),
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(name, a)| b.get(name).is_some_and(|b| equal(a, b)))
        }
        _ => a == b,
    }
}

/// The lanes of a plan without who runs there, and what was asked for it without whom: those whom an editor did not see stay, and
/// some are deleted since.
fn bare(name: &str, value: &Value) -> Value {
    let mut value = value.clone();
    if let Some(asked) = value.as_object_mut().filter(|_| name == "request") {
        asked.remove("athlete_ids");
    }
    for lane in value.as_array_mut().filter(|_| name == "lanes").into_iter().flatten() {
        lane.as_object_mut().unwrap().retain(|name, _| name != "athletes" && name != "others");
    }
    value
}
