//! Ids of other clubs, groups and kinds, of deleted and unknown records, in every place where an id can stand.

use std::sync::Arc;

use serde_json::{Value, json};
use uuid::Uuid;

use crate::document::{Field, Operation};
use crate::people::Person;
use crate::report::{Flaw, Report};
use crate::send::{Answer, Ask, all};
use crate::world::{Place, Scope, World};
use crate::{fixtures, full};

/// An id that does not belong where it is put.
#[derive(Clone, Debug)]
pub struct Foreign {
    /// Where it is from, such as `other athlete_id`.
    pub from: String,
    pub kind: String,
    pub id: String,
    /// Whether the caller may not know that there is such a record.
    pub hidden: bool,
}

/// The kind that a path parameter names.
pub fn kind(param: &str) -> &str {
    param.strip_suffix("_id").unwrap_or(param)
}

/// Every id of the world, for one caller.
pub fn foreign_ids(world: &World, who: &Person) -> Vec<Foreign> {
    let mut found =
        vec![Foreign { from: "unknown".to_owned(), kind: String::new(), id: Uuid::now_v7().to_string(), hidden: true }];
    for place in &world.places {
        for (param, id) in &place.ids {
            let scope = world.scope_of(id);
            let own = who.account == *id || who.device == *id;
            // Whoever was there when an athlete was deleted has heard of it, also once they left.
            let heard = who.name == "leaver" && place.name == "gone own" && param == "athlete_id";
            let hidden = !own && !heard && !scope.is_some_and(|scope| who.sees(scope));
            found.push(Foreign {
                from: format!("{} {param}", place.name),
                kind: kind(param).to_owned(),
                id: id.clone(),
                hidden,
            });
        }
    }
    found.push(Foreign { from: "nil".to_owned(), kind: String::new(), id: Uuid::nil().to_string(), hidden: false });
    found.push(Foreign { from: "no id".to_owned(), kind: String::new(), id: "not-an-id".to_owned(), hidden: false });
    found
}

/// A place where an id stands.
#[derive(Clone, Debug)]
enum Spot {
    Path(String),
    Query(String, String),
    Body(Field),
}

impl Spot {
    fn name(&self) -> String {
        match self {
            Self::Path(name) => format!("{{{name}}}"),
            Self::Query(name, _) => format!("?{name}"),
            Self::Body(field) => field.name(),
        }
    }

    fn kind(&self) -> &str {
        match self {
            Self::Path(name) => kind(name),
            Self::Query(_, kind) => kind,
            Self::Body(field) => field.id_of.as_deref().unwrap_or_default(),
        }
    }

    /// Where the id is that of the new record, which nobody else has.
    fn is_new(&self) -> bool {
        matches!(self, Self::Body(field) if field.is_own_id())
    }
}

fn spots(world: &World, operation: &Operation) -> Vec<Spot> {
    let mut found: Vec<Spot> = operation.path_params.iter().cloned().map(Spot::Path).collect();
    found.extend(operation.query.iter().filter_map(|one| Some(Spot::Query(one.name.clone(), one.id_of.clone()?))));
    if let Some((_, schema)) = &operation.body {
        let fields = world.service.document.fields(schema);
        found.extend(fields.into_iter().filter(|field| field.id_of.is_some()).map(Spot::Body));
    }
    found
}

/// The valid call with one id replaced.
fn with_id(world: &World, operation: &Operation, place: &Place, who: &Person, spot: &Spot, id: &str) -> Ask {
    match spot {
        Spot::Path(name) => {
            let mut place = place.clone();
            let valid = world.valid(operation, &place, who);
            place.ids.insert(name.clone(), id.to_owned());
            Ask { path: world.ask(operation, &place, who).path, ..valid }
        }
        Spot::Query(name, _) => world.valid(operation, place, who).query(name, id),
        Spot::Body(field) => {
            let mut body = fixtures::body(world, &operation.id, place).unwrap();
            if field.is_own_id() && body.get("id").is_none() && field.steps.len() == 1 {
                return world.valid(operation, place, who);
            }
            field.put(&mut body, json!(id));
            let (media, _) = operation.body.as_ref().unwrap();
            world.ask(operation, place, who).header("content-type", media).bytes(body.to_string().into_bytes())
        }
    }
}

/// What may be put in a spot: all of it, or in the short form those of the spot's kind and a few others.
fn chosen(ids: &[Foreign], spot: &Spot, turn: usize) -> Vec<Foreign> {
    let wanted = spot.kind();
    let few = |at: usize, one: &Foreign| {
        let new = spot.is_new() && one.from.starts_with("other ");
        new || one.kind == wanted || (one.kind.is_empty() && one.hidden) || (at + turn).is_multiple_of(41)
    };
    ids.iter().enumerate().filter(|(at, one)| full() || few(*at, one)).map(|(_, one)| one.clone()).collect()
}

/// Whether hidden and unknown are answered alike.
fn alike(reading: bool, unknown: &Answer, hidden: &Answer) -> bool {
    if unknown.good() && hidden.good() && !reading {
        return unknown.status == hidden.status;
    }
    unknown.likeness() == hidden.likeness()
}

fn compare(report: &Report, operation: &Operation, spot: &Spot, ids: &[Foreign], answers: &[(Ask, Answer)]) {
    let Some(at) = ids.iter().position(|one| one.from == "unknown") else { return };
    let unknown = &answers[at].1;
    // An id for a new record is taken or free, which cannot be answered alike; the snapshots tell what came of it.
    let hidden = ids.iter().zip(answers).filter(|(one, _)| one.hidden && !spot.is_new());
    for (_, (ask, answer)) in hidden {
        if alike(operation.reads(), unknown, answer) {
            continue;
        }
        let flaw = if answer.good() && !unknown.good() { Flaw::WrongAllow } else { Flaw::ToldApart };
        report.found(flaw, format!("{}: {} but unknown {}", ask.name, answer.text(), unknown.text()));
    }
}

/// What those to whom the records belong read now.
pub async fn snapshot(world: &Arc<World>, report: &Arc<Report>, trespasser: &Person) -> Vec<(String, String)> {
    let mut asks = Vec::new();
    for (place, owner) in
        [("other", "other coach"), ("other", "admin"), ("south", "south admin"), ("shared", "other coach")]
    {
        let owner = world.person(owner);
        for record in world.records(world.place(place)) {
            // Every coach keeps what belongs to the club as a whole.
            if owner.sees(record.scope) && (place == "south" || record.scope != Scope::Club) {
                asks.push(Ask::new("GET", &record.path).by(owner).noted(place));
            }
            if !trespasser.sees(record.scope) && place != "shared" {
                asks.push(Ask::new("GET", &record.path).by(trespasser));
            }
        }
    }
    let done = all(world, report, asks).await;
    done.into_iter()
        .map(|(ask, answer)| {
            // What is shared may change by what either group does; it may not go.
            let now = if ask.name.ends_with(" shared") { answer.status.to_string() } else { answer.likeness() };
            (format!("{} by {}", ask.name, ask.who.unwrap().name), now)
        })
        .collect()
}

pub fn unchanged(report: &Report, what: &str, before: &[(String, String)], after: &[(String, String)]) -> bool {
    let mut same = true;
    for ((name, before), (_, after)) in before.iter().zip(after) {
        if before != after {
            same = false;
            let short = |text: &str| crate::text::short(text, 160);
            report.found(Flaw::WrongAllow, format!("after {what}, {name}: {} was {}", short(after), short(before)));
        }
    }
    same
}

/// Deletes what was made under foreign ids: what had the ids before stays.
async fn undo(world: &Arc<World>, report: &Arc<Report>, who: &Person, made: &[(Ask, Answer)]) {
    let places = made.iter().filter(|(_, answer)| answer.status == 201).map(|(_, answer)| answer.header("location"));
    let asks =
        places.filter(|place| !place.is_empty()).map(|place| Ask::new("DELETE", place).by(who).header("if-match", "*"));
    all(world, report, asks.collect()).await;
}

async fn trespass(world: &Arc<World>, report: &Arc<Report>, name: &str, home: &str) -> usize {
    let (who, place) = (world.person(name).clone(), world.place(home).clone());
    let ids = foreign_ids(world, &who);
    let mut before = snapshot(world, report, &who).await;
    let (mut count, mut turn) = (0, 0);
    // New records with foreign ids come last: from then on the ids are known.
    for new in [false, true] {
        for operation in world.service.document.operations.iter().filter(|one| {
            !["delete_account", "delete_device", "rename_device", "sign_out_everywhere", "leave_club"]
                .contains(&one.id.as_str())
        }) {
            for spot in spots(world, operation).into_iter().filter(|spot| spot.is_new() == new) {
                turn += 1;
                // A delete of what the caller may delete proves nothing and spoils the place.
                let mut chosen = chosen(&ids, &spot, turn);
                chosen.retain(|one| operation.method != "DELETE" || one.hidden);
                let asks = chosen.iter().map(|one| {
                    let what = format!("{}={}", spot.name(), one.from);
                    with_id(world, operation, &place, &who, &spot, &one.id).noted(&what)
                });
                let answers = all(world, report, asks.collect()).await;
                count += answers.len();
                compare(report, operation, &spot, &chosen, &answers);
                if new {
                    undo(world, report, &who, &answers).await;
                }
            }
            if full() && !operation.reads() {
                let after = snapshot(world, report, &who).await;
                if !unchanged(report, &format!("{} by {name}", operation.id), &before, &after) {
                    before = after;
                }
            }
        }
    }
    let after = snapshot(world, report, &who).await;
    unchanged(report, &format!("all by {name}"), &before, &after);
    count
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_id_of_elsewhere_opens_nothing_wherever_it_is_put() {
    let report = Arc::new(Report::new("foreign ids by route"));
    let callers = [("coach", "own"), ("viewer", "own"), ("south admin", "south"), ("both coach", "own")];
    let mut count = 0;
    for (name, home) in callers.into_iter().take(if full() { 4 } else { 1 }) {
        // Each in a world of their own: what one made is known to the next.
        let world = Arc::new(World::make().await);
        count += trespass(&world, &report, name, home).await;
    }
    report.figure("foreign ids", count);
    Arc::into_inner(report).unwrap().close();
}

/// What two groups share is taken by neither.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_coach_cannot_take_what_two_groups_share() {
    let (world, report) = (Arc::new(World::make().await), Arc::new(Report::new("shared sessions")));
    let (coach, shared) = (world.person("coach").clone(), world.place("shared").clone());
    let before = snapshot(&world, &report, &coach).await;
    let document = &world.service.document;
    let own = json!([shared.id("group_id")]);
    let mut asks = vec![world.ask(document.operation_of("delete_session"), &shared, &coach)];
    for groups in [own.clone(), json!([]), Value::Null] {
        let ask = world.ask(document.operation_of("update_session"), &shared, &coach);
        asks.push(ask.header("content-type", "application/merge-patch+json").json(&json!({"group_ids": groups})));
    }
    let session = shared.id("session_id");
    let read = Ask::new("GET", &shared.fill("/v1/clubs/{club_id}/sessions/{session_id}")).by(&coach).send(&world).await;
    let mut data = read.json();
    let rev = data["rev"].clone();
    data["group_ids"] = own.clone();
    data.as_object_mut().unwrap().retain(|name, _| name != "id" && name != "rev");
    let item = |method: &str, data: Option<&Value>| {
        let mut item =
            json!({"op_id": Uuid::now_v7(), "method": method, "type": "session", "id": session, "if_match": rev});
        if let Some(data) = data {
            item["data"] = data.clone();
        }
        item
    };
    for item in [item("PUT", Some(&data)), item("PATCH", Some(&json!({"group_ids": own}))), item("DELETE", None)] {
        let push = json!({"device_id": Uuid::now_v7(), "schema": 1, "sent_at": chrono::Utc::now(), "items": [item]});
        asks.push(Ask::new("POST", &shared.fill("/v1/clubs/{club_id}/changes")).by(&coach).json(&push));
    }
    for ask in asks {
        let (ask, answer) = all(&world, &report, vec![ask]).await.remove(0);
        let stored = answer.json()["results"][0]["status"].as_u64().is_none_or(|status| status < 300);
        if answer.good() && stored {
            report.found(Flaw::WrongAllow, format!("{}: {}", ask.name, answer.text()));
        }
    }
    let after = snapshot(&world, &report, &coach).await;
    unchanged(&report, "taking the shared session", &before, &after);
    Arc::into_inner(report).unwrap().close();
}
