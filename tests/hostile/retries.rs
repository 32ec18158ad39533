//! The same call many times at once, as from phones that did not get an answer.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde_json::{Value, json};
use tokio::task::JoinSet;
use uuid::Uuid;

use crate::document::Operation;
use crate::people::Person;
use crate::report::{Flaw, Report};
use crate::send::{Answer, Ask, judge};
use crate::world::World;
use crate::{fixtures, full, pushes};

/// How many at once.
fn many() -> usize {
    if full() { 30 } else { 8 }
}

/// Sends all at the same moment; none is sent a second time unless the service asks for it.
async fn at_once(world: &Arc<World>, report: &Arc<Report>, asks: Vec<Ask>) -> Vec<(Ask, Answer)> {
    let together = Arc::new(tokio::sync::Barrier::new(asks.len()));
    let mut running = JoinSet::new();
    for ask in asks {
        let (world, report, together) = (Arc::clone(world), Arc::clone(report), Arc::clone(&together));
        running.spawn(async move {
            together.wait().await;
            let answer = ask.send(&world).await;
            judge(&world, &report, &ask, &answer);
            (ask, answer)
        });
    }
    running.join_all().await
}

/// What a repeat must not differ in.
fn said(answer: &Answer) -> String {
    let body = answer.json();
    let items =
        ["runs", "assessments", "wellbeing_records", "results", "items"].iter().find_map(|name| body[*name].as_array());
    match items {
        Some(items) => items.iter().map(|item| item["id"].to_string()).collect(),
        None => body["id"].to_string(),
    }
}

/// Creates with an id of the client's own, and batches: one effect, and every repeat is answered as such.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_create_that_is_sent_many_times_at_once_has_one_effect() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("creates at once")));
    let (admin, place) = (world.person("admin").clone(), world.place("own").clone());
    let mut count = 0;
    for operation in world.service.document.operations.iter().filter(|one| one.method == "POST" && one.in_club()) {
        let body = fixtures::body(&world, &operation.id, &place).unwrap_or_default();
        let batch = ["runs", "assessments", "wellbeing_records", "results"].iter().any(|name| body[*name].is_array());
        if body["id"].is_null() && !batch {
            continue;
        }
        count += 1;
        let asks = vec![world.valid(operation, &place, &admin).json(&body).noted("at once"); many()];
        let answers = at_once(&world, &report, asks).await;
        let created = answers.iter().filter(|(_, answer)| answer.status == 201).count();
        if let Some((ask, bad)) = answers.iter().find(|(_, answer)| !matches!(answer.status, 200 | 201)) {
            report.found(Flaw::WrongRefusal, format!("{}: {}", ask.name, bad.text()));
        }
        let told: BTreeSet<String> =
            answers.iter().filter(|(_, answer)| answer.good()).map(|(_, one)| said(one)).collect();
        if told.len() != 1 || (created != 1 && !batch) {
            report.found(Flaw::Twice, format!("{}: {created} created, {} different answers", operation.id, told.len()));
        }
    }
    report.figure("operations", count);
    report.figure("at once", many());
    Arc::into_inner(report).unwrap().close();
}

/// Everything else that writes, with an own fixture: nothing breaks, however often it comes at once.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_write_breaks_when_it_is_sent_many_times_at_once() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("writes at once")));
    let admin = world.person("admin").clone();
    let last = |operation: &&Operation| (operation.method == "DELETE", usize::MAX - operation.path.len());
    let skip = [
        "delete_member",
        "delete_device",
        "delete_account",
        "sign_out_everywhere",
        "leave_club",
        "change_password",
        "sign_out",
    ];
    let mut operations: Vec<&Operation> = world
        .service
        .document
        .operations
        .iter()
        .filter(|one| !one.reads() && !skip.contains(&one.id.as_str()))
        .collect();
    operations.sort_by_key(last);
    for operation in &operations {
        let place = world.place(if operation.method == "DELETE" { "other" } else { "own" });
        let asks = vec![world.valid(operation, place, &admin).noted("at once"); many()];
        at_once(&world, &report, asks).await;
    }
    report.figure("operations", operations.len());
    Arc::into_inner(report).unwrap().close();
}

/// Batches that cross each other, corrections of one record, and the same by push.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn batches_that_cross_and_corrections_at_once_break_nothing() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("batches that cross")));
    let (admin, place) = (world.person("admin").clone(), world.place("own").clone());
    for (operation, list) in [
        ("create_runs", "runs"),
        ("create_assessments", "assessments"),
        ("create_wellbeing_records", "wellbeing_records"),
        ("create_race_results", "results"),
    ] {
        let operation = world.service.document.operation_of(operation);
        let one = || fixtures::body(&world, &operation.id, &place).unwrap()[list][0].take();
        let forth: Vec<Value> = (0..20).map(|_| one()).collect();
        let back: Vec<Value> = forth.iter().rev().cloned().collect();
        let ask =
            |items: &[Value]| world.valid(operation, &place, &admin).json(&json!({ list: items })).noted("crossing");
        let asks = (0..many()).map(|at| ask(if at % 2 == 0 { &forth } else { &back })).collect();
        expect_good(&report, &at_once(&world, &report, asks).await);
        let corrections = |first: &Value| {
            let mut again = first.clone();
            again["id"] = json!(Uuid::now_v7());
            again["supersedes"] = first["id"].clone();
            again
        };
        let asks = (0..many()).map(|_| ask(&[corrections(&forth[0])]).noted("correction")).collect();
        at_once(&world, &report, asks).await;
    }
    by_push(&world, &report, &admin).await;
    report.figure("at once", many());
    Arc::into_inner(report).unwrap().close();
}

fn expect_good(report: &Report, answers: &[(Ask, Answer)]) {
    if let Some((ask, bad)) = answers.iter().find(|(_, answer)| !answer.good()) {
        report.found(Flaw::WrongRefusal, format!("{}: {}", ask.name, bad.text()));
    }
}

async fn by_push(world: &Arc<World>, report: &Arc<Report>, who: &Person) {
    let place = world.place("own").clone();
    let mut items = Vec::new();
    for (_, kind, _) in pushes::TYPES.iter().filter(|(_, kind, _)| !matches!(*kind, "club" | "race_entry")) {
        let data = pushes::data(world, kind, &place).await;
        items.push(pushes::create(kind, &pushes::new_id(kind, &data).to_string(), &data));
    }
    let back: Vec<Value> = items.iter().rev().cloned().collect();
    let asks = (0..many()).map(|at| pushes::push(who, place.id("club_id"), if at % 2 == 0 { &items } else { &back }));
    for (ask, answer) in at_once(world, report, asks.collect()).await {
        for result in answer.json()["results"].as_array().into_iter().flatten() {
            if !matches!(result["status"].as_u64(), Some(200 | 201)) {
                report.found(Flaw::WrongRefusal, format!("{}: {result}", ask.name));
            }
        }
    }
}
