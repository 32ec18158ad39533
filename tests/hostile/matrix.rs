//! Every operation by every caller, with every scope by itself and without each.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::{Value, json};

use crate::authenticator;
use crate::document::Operation;
use crate::people::{Person, SCOPES};
use crate::report::{Flaw, Report};
use crate::send::{Ask, all};
use crate::table::{Outcome, Rule, TABLE, expected};
use crate::world::{Place, World};
use crate::{apps, fixtures, full};

/// Operations that would end the caller's own sign-in or use up what others need; a feed is its maker's alone.
const USES_UP: [&str; 8] = [
    "delete_device",
    "sign_out_everywhere",
    "delete_member",
    "leave_club",
    "delete_app",
    "delete_calendar_feed",
    "cancel_club_deletion",
    "delete_export",
];

fn rules() -> BTreeMap<&'static str, (Rule, &'static str)> {
    TABLE.iter().map(|(id, rule, scope)| (*id, (*rule, *scope))).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_operation_has_a_rule_a_scope_and_a_valid_body() {
    let (world, report) = (World::simple().await, Report::new("coverage"));
    let (rules, document) = (rules(), &world.service.document);
    let mut found = Vec::new();
    for operation in &document.operations {
        report.asked();
        let Some((rule, scope)) = rules.get(operation.id.as_str()) else {
            found.push(format!("{}: no row in tests/hostile/table.rs", operation.id));
            continue;
        };
        let listed = scope.split(" or ").filter(|scope| !scope.is_empty()).map(str::to_owned);
        let scopes = (!rule.is_open()).then(|| listed.collect::<Vec<_>>());
        if operation.scopes != scopes {
            found.push(format!(
                "{}: the document asks for {:?}, the table for {scopes:?}",
                operation.id, operation.scopes
            ));
        }
        if operation.body.is_some() && fixtures::body(&world, &operation.id, world.place("own")).is_none() {
            found.push(format!("{}: no body in tests/hostile/fixtures.rs", operation.id));
        }
        for param in &operation.path_params {
            if !world.place("own").ids.contains_key(param) {
                found.push(format!("{}: nothing furnishes a place with {param}", operation.id));
            }
        }
        for query in operation.query.iter().filter(|query| query.required && query.example.is_none()) {
            found.push(format!("{}: the document has no example of {}", operation.id, query.name));
        }
    }
    let known = |id: &str| document.operations.iter().any(|operation| operation.id == id);
    found.extend(rules.keys().filter(|id| !known(id)).map(|id| format!("{id}: a row without an operation")));
    report.figure("operations", document.operations.len());
    for what in found {
        report.found(Flaw::WrongRefusal, what);
    }
    report.close();
}

/// A call whose body is broken on purpose when it would be let through: access is decided before the body is read.
fn call(world: &World, operation: &Operation, place: &Place, who: &Person, outcome: Outcome) -> Ask {
    if outcome != Outcome::Through || operation.reads() {
        return world.valid(operation, place, who);
    }
    let ask = world.ask(operation, place, who);
    match &operation.body {
        Some((media, _)) => ask.header("content-type", media).bytes(b"{\"unknown\": true}".to_vec()),
        // A version that nobody has, so that nothing is deleted.
        None => ask.instead("if-match", "\"0\""),
    }
}

fn uses_up(operation: &Operation, outcome: Outcome) -> bool {
    outcome == Outcome::Through
        && (USES_UP.contains(&operation.id.as_str())
            || matches!(operation.id.as_str(), "delete_invitation" | "delete_session_link"))
}

/// The place whose records are asked for: what everybody of a kind may do is asked at home.
fn place_for<'a>(world: &'a World, rule: Rule, who: &Person) -> &'a Place {
    let home = if rule.about_seen() || who.role.is_empty() || who.home == "south" { "own" } else { who.home };
    world.place(home)
}

/// Everybody, each operation: what is asked and what must be answered.
fn by_everybody(world: &World) -> Vec<(Ask, Outcome)> {
    let (rules, own) = (rules(), world.place("own"));
    let north = own.id("club_id");
    let mut asks = Vec::new();
    for operation in &world.service.document.operations {
        let (rule, _) = rules[operation.id.as_str()];
        for who in &world.people {
            let role = if who.club == north { who.role } else { "" };
            let outcome = expected(rule, role, who.home == "own", who.name == "leaver");
            if !uses_up(operation, outcome) {
                asks.push((call(world, operation, place_for(world, rule, who), who, outcome), outcome));
            }
        }
        let outcome = rule.of_nobody();
        let admin = world.person("admin");
        let ask = call(world, operation, own, admin, outcome);
        asks.push((ask.clone().anonymous(), outcome));
        for (what, token) in admin.forged(world.service) {
            let mut ask = ask.clone().token(&token).noted(what);
            ask.who = None;
            asks.push((ask, outcome));
        }
    }
    asks
}

/// An admin's token with each scope alone, without each, with none: it opens exactly what its scopes open.
fn by_scope(world: &World) -> Vec<(Ask, Outcome)> {
    let (rules, own, admin) = (rules(), world.place("own"), world.person("admin"));
    let mut sets: Vec<Vec<&str>> = vec![Vec::new()];
    for scope in SCOPES {
        sets.push(vec![scope]);
        sets.push(SCOPES.into_iter().filter(|other| *other != scope).collect());
    }
    let mut asks = Vec::new();
    for scopes in sets {
        let who = admin.with_scopes(world.service, &scopes.join(" "));
        for operation in &world.service.document.operations {
            let (rule, needed) = rules[operation.id.as_str()];
            let needed = needed.split(" or ").next().unwrap_or_default();
            // What is held of the place the admin recorded: whoever pushes may take back their own.
            let theirs = operation.id == "reject_held_item" && scopes.contains(&"sync");
            let open = rule.is_open() || needed.is_empty() || scopes.contains(&needed) || theirs;
            let outcome = match (rule, open) {
                (Rule::Secret, _) => Outcome::Hidden,
                (_, true) => Outcome::Through,
                (_, false) => Outcome::Forbidden,
            };
            if !uses_up(operation, outcome) {
                let ask = call(world, operation, own, &who, outcome).noted(&format!("with {scopes:?}"));
                asks.push((ask, outcome));
            }
        }
    }
    asks
}

async fn expect_all(world: &Arc<World>, report: &Arc<Report>, asks: Vec<(Ask, Outcome)>) {
    let (asks, outcomes): (Vec<Ask>, Vec<Outcome>) = asks.into_iter().unzip();
    for ((ask, answer), outcome) in all(world, report, asks).await.into_iter().zip(outcomes) {
        let rule = TABLE.iter().find(|(id, _, _)| ask.name.split(' ').next() == Some(*id)).unwrap().1;
        // A sign-in that is wrong is 401 also where nobody needs one.
        let fits = outcome.fits(answer.status) || (rule == Rule::Public && answer.status == 401);
        if !fits {
            let flaw = if outcome == Outcome::Through { Flaw::WrongRefusal } else { Flaw::WrongAllow };
            let who = ask.who.as_ref().map_or("nobody", |who| who.name);
            report.found(flaw, format!("{} by {who}: {}, expected {outcome:?}", ask.name, answer.text()));
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_operation_lets_exactly_the_right_callers_through() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("operations x callers")));
    expect_all(&world, &report, by_everybody(&world)).await;
    expect_all(&world, &report, by_scope(&world)).await;
    report.figure("operations", world.service.document.operations.len());
    report.figure("callers", world.people.len() + 11 + 2 * SCOPES.len() + 1);
    Arc::into_inner(report).unwrap().close();
}

/// Every read of every place in every form, lists to their end, and the feed, by everybody.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_read_shows_what_its_caller_cannot_get() {
    let (world, report) = (Arc::new(World::make().await), Arc::new(Report::new("reads of everything")));
    let mut asks = Vec::new();
    for who in &world.people {
        for place in world.places.iter().filter(|place| full() || place.name != "gone own") {
            for operation in world.service.document.operations.iter().filter(|one| one.reads() && one.in_club()) {
                let ask = world.ask(operation, place, who).noted(&format!("of {}", place.name));
                let pages = operation.query.iter().any(|query| query.name == "limit");
                let ask = if pages { ask.query("limit", "200") } else { ask };
                for media in operation.answers.iter().filter(|media| !media.starts_with("application/json")) {
                    asks.push(ask.clone().header("accept", media).noted(media));
                }
                asks.push(ask);
            }
        }
    }
    let total = asks.len();
    all(&world, &report, asks).await;
    feeds(&world, &report).await;
    report.figure("reads", total);
    Arc::into_inner(report).unwrap().close();
}

/// The feed of every member to its end.
async fn feeds(world: &Arc<World>, report: &Arc<Report>) {
    for who in world.people.iter().filter(|who| !who.role.is_empty()) {
        let path = format!("/v1/clubs/{}/changes", who.club);
        let mut token = String::new();
        for _ in 0..200 {
            let ask = Ask::new("GET", &path).named("list_changes").by(who).query("limit", "100");
            let ask = if token.is_empty() { ask } else { ask.query("sync_token", &token) };
            let done = all(world, report, vec![ask]).await;
            let page = done[0].1.json();
            page["sync_token"].as_str().unwrap_or_default().clone_into(&mut token);
            if page["more"] != true {
                break;
            }
        }
    }
}

/// Changes that name a version which is no longer stored: the current record in the answer is cut like a read of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_refused_change_shows_what_its_caller_cannot_get() {
    let (world, report) = (Arc::new(World::make().await), Arc::new(Report::new("stale changes")));
    let mut asks = Vec::new();
    let changes = || world.service.document.operations.iter().filter(|one| one.if_match && one.in_club());
    for who in world.people.iter().filter(|who| !who.role.is_empty()) {
        for place in &world.places {
            for operation in changes() {
                let ask = world.valid(operation, place, who).noted(&format!("of {}", place.name));
                asks.push(ask.clone().instead("if-match", "\"0\"").noted("stale"));
                asks.push(ask.instead("if-match", "nonsense"));
            }
        }
    }
    all(&world, &report, asks).await;
    report.figure("operations", changes().count());
    Arc::into_inner(report).unwrap().close();
}

/// What everybody may do works: otherwise the refusals above would prove nothing.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[allow(clippy::too_many_lines)] // one arm for each that needs something of its own
async fn the_valid_call_of_every_operation_succeeds() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("valid calls")));
    let admin = world.person("admin").clone();
    let rank = |operation: &&Operation| match operation.method.as_str() {
        "DELETE" => (2, usize::MAX - operation.path.len()),
        "GET" => (0, 0),
        _ => (1, 0),
    };
    let mut operations: Vec<&Operation> = world.service.document.operations.iter().collect();
    operations.sort_by_key(rank);
    for operation in operations {
        let (place, who) = match operation.id.as_str() {
            "delete_device" | "rename_device" => {
                let stranger = world.person("stranger").clone();
                let mut place = world.place("own").clone();
                place.ids.insert("device_id".to_owned(), stranger.device.clone());
                (place, stranger)
            }
            "leave_club" => (world.place("own").clone(), world.person("both coach").clone()),
            "accept_invitation" => {
                let mut guest = world.person("stranger").clone();
                guest.join(admin.club.clone(), "viewer");
                (world.place("own").clone(), guest)
            }
            "confirm_second_factor"
            | "check_second_factor"
            | "renew_recovery_codes"
            | "remove_second_factor"
            | "delete_account" => (world.place("own").clone(), newcomer(&world).await),
            "sign_out" | "change_password" | "refresh" => {
                (world.place("own").clone(), world.person("stranger").clone())
            }
            "reject_held_item" => (world.place("other").clone(), admin.clone()),
            _ => (world.place("own").clone(), admin.clone()),
        };
        let place = fresh(&world, operation, place).await;
        let mut ask = world.valid(operation, &place, &who);
        if let Some(body) = own_secret(&world, operation, &who).await {
            ask = ask.json(&body);
        }
        if operation.id == "fetch_app_token" {
            let create = world.service.document.operation_of("create_app");
            let app = world.valid(create, &place, &admin).send(&world).await.expect(201).json();
            let form = apps::first_token(&world, &admin, app["client_id"].as_str().unwrap()).await;
            ask = ask.bytes(form.into_bytes());
        }
        if operation.id.starts_with("import_athletes") {
            ask = ask.query("dry_run", "true");
        }
        if operation.id.starts_with("get_session_sheets") {
            let path = format!("/sessions/{}/links", place.id("session_id"));
            let link = world.call("admin", reqwest::Method::POST, &path, json!({})).await.expect(201).json();
            ask = Ask::new("GET", link["sheets_href"].as_str().unwrap()).by(&admin);
        }
        if operation.id == "get_calendar" {
            let feed =
                world.call("admin", reqwest::Method::POST, "/calendar-feeds", json!({})).await.expect(201).json();
            ask = Ask::new("GET", feed["href"].as_str().unwrap()).by(&admin);
        }
        let (_, answer) = all(&world, &report, vec![ask]).await.remove(0);
        if !answer.good() {
            report.found(Flaw::WrongRefusal, format!("{}: {}", operation.id, answer.text()));
        }
    }
    report.figure("operations", world.service.document.operations.len());
    Arc::into_inner(report).unwrap().close();
}

/// What is deleted is made for it: nothing rests on it yet.
async fn fresh(world: &World, operation: &Operation, mut place: Place) -> Place {
    let made = operation
        .path
        .strip_suffix('}')
        .and_then(|path| path.rsplit_once("/{"))
        .filter(|_| operation.method == "DELETE");
    let Some((collection, param)) = made else { return place };
    let create = world.service.document.operations.iter().find(|one| one.method == "POST" && one.path == collection);
    if let Some(create) = create {
        let answer = world.valid(create, &place, world.person("admin")).send(world).await.expect(201);
        let id = answer.json()["id"].as_str().unwrap().to_owned();
        place.ids.insert(param.to_owned(), id);
    }
    place
}

/// Somebody who has just signed up.
async fn newcomer(world: &World) -> Person {
    let email = format!("{}@new.example", uuid::Uuid::now_v7().simple());
    let body = json!({"email": email, "password": crate::people::PASSWORD, "display_name": "New"});
    let answer = Ask::new("POST", "/v1/auth/sign-up").json(&body).send(world).await.expect(201).json();
    Person::of(world.service, "newcomer", &email, &answer)
}

/// The code of a second factor that somebody begins, and also confirms unless the operation does.
async fn second_factor(world: &World, operation: &str, who: &Person) -> Value {
    let path = "/v1/me/second-factor";
    let post = |path: &str, body: &Value| Ask::new("POST", path).token(&who.token).json(body);
    let own = json!({"password": crate::people::PASSWORD});
    let secret = post(path, &own).send(world).await.expect(201).json()["secret"].as_str().unwrap().to_owned();
    if operation == "confirm_second_factor" {
        return json!({"code": authenticator::code(&secret, 0)});
    }
    let first = json!({"code": authenticator::code(&secret, -1)});
    post(&format!("{path}/confirm"), &first).send(world).await.expect(200);
    let mut body = json!({"code": authenticator::code(&secret, 1)});
    if operation == "remove_second_factor" {
        body["password"] = own["password"].clone();
    }
    body
}

/// The bodies that hold a secret of the caller's own.
async fn own_secret(world: &World, operation: &Operation, who: &Person) -> Option<Value> {
    match operation.id.as_str() {
        "refresh" => Some(json!({"refresh_token": who.refresh})),
        "confirm_second_factor" | "check_second_factor" | "renew_recovery_codes" | "remove_second_factor" => {
            Some(second_factor(world, &operation.id, who).await)
        }
        "confirm_address" => Some(json!({"token": world.service.mailed(&newcomer(world).await.email).await})),
        "reset_password" => {
            let who = newcomer(world).await;
            let first = world.service.mailed(&who.email).await;
            Ask::new("POST", "/v1/auth/confirmation").json(&json!({"token": first})).send(world).await.expect(204);
            world.service.forget_mail(&who.email);
            let body = json!({"email": who.email});
            Ask::new("POST", "/v1/auth/password-reset").json(&body).send(world).await.expect(202);
            Some(json!({"token": world.service.mailed(&who.email).await, "new": "seven wickets in a row"}))
        }
        "sign_out" => {
            let body = json!({"email": who.email, "password": crate::people::PASSWORD});
            let again = Ask::new("POST", "/v1/auth/sign-in").json(&body).send(world).await.expect(200).json();
            let token = again["refresh_token"].as_str().or(again["tokens"]["refresh_token"].as_str());
            Some(json!({"refresh_token": token}))
        }
        "accept_invitation" => {
            let body = json!({"email": who.email, "role": "viewer", "group_ids": [world.place("own").id("group_id")]});
            let invitation = world.call("admin", reqwest::Method::POST, "/invitations", body).await.expect(201).json();
            Some(json!({"token": invitation["token"]}))
        }
        _ => None,
    }
}
