//! The same request many times at once: one effect, and every answer is that of a replay.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use super::stage::{Case, Stage};
use super::{Operation, logged, operations, results, statuses};
use crate::support::{Answer, TestApp};
use crate::sync_push::create;

/// Requests at once.
const CROWD: usize = 30;
/// How often each crowd comes, each time with new ids.
const ROUNDS: usize = 2;

/// How an operation answers a crowd of the same request.
enum Answers {
    /// One 201, the others 200 with the same body; one change.
    Record,
    /// All 200: each item is created once and unchanged otherwise; one change each.
    Batch,
    /// All 200, some after a documented 429: each item is carried out once.
    Push,
    /// This status once, the other ones otherwise: what was asked for can be done once only.
    Once(u16, &'static [u16]),
    /// Always one of these: each asks for something of its own, or changes nothing the second time.
    Always(&'static [u16]),
}

/// Every operation that is no read, edit or deletion.
const TABLE: &[(&str, Answers)] = &[
    ("push_changes", Answers::Push),
    ("accept_held_item", Answers::Once(200, &[409])),
    ("reject_held_item", Answers::Once(200, &[409])),
    ("resync_device", Answers::Always(&[204])),
    ("sign_up", Answers::Always(&[201])),
    // Each mail is asked for; few are sent.
    ("request_password_reset", Answers::Always(&[202])),
    ("reset_password", Answers::Once(204, &[404, 429])),
    ("confirm_address", Answers::Once(204, &[404, 429])),
    ("request_confirmation", Answers::Always(&[202, 429])),
    ("change_email", Answers::Always(&[202, 429])),
    ("set_language", Answers::Always(&[204])),
    ("begin_second_factor", Answers::Always(&[201, 429])),
    ("confirm_second_factor", Answers::Once(200, &[409, 422, 429])),
    // No code is taken twice.
    ("check_second_factor", Answers::Once(204, &[422, 429])),
    ("renew_recovery_codes", Answers::Once(200, &[422, 429])),
    ("remove_second_factor", Answers::Once(204, &[404, 422, 429])),
    ("rename_device", Answers::Always(&[204])),
    ("set_club_security", Answers::Always(&[200])),
    // Ten tries of the password at once.
    ("request_club_deletion", Answers::Once(201, &[409, 429])),
    ("delete_account", Answers::Once(204, &[401, 404, 422, 429])),
    // More than ten tries at one account are too many.
    ("sign_in", Answers::Always(&[200, 429])),
    // A third repeat at one moment is asked to come again with the token it was given.
    ("refresh", Answers::Always(&[200, 401, 409])),
    ("sign_out", Answers::Always(&[204])),
    ("change_password", Answers::Always(&[204, 401, 422, 429])),
    // No id of the caller makes it repeatable; an account founds a few an hour.
    ("create_club", Answers::Always(&[201, 429])),
    ("create_assessments", Answers::Batch),
    ("create_wellbeing_records", Answers::Batch),
    ("import_athletes", Answers::Always(&[201])),
    ("import_athletes_xlsx", Answers::Always(&[201])),
    ("turn_groups", Answers::Always(&[200])),
    // A member has ten at the most.
    ("create_calendar_feed", Answers::Always(&[201, 409])),
    ("create_athlete", Answers::Record),
    ("create_measurement", Answers::Record),
    // No record of its own for phones: the athlete changes where something rests on it.
    ("create_consent", Answers::Always(&[200, 201])),
    ("create_age_group", Answers::Record),
    ("create_barrier_configuration", Answers::Record),
    ("create_competition_spec", Answers::Record),
    ("adopt_competition_specs", Answers::Always(&[200])),
    ("create_equipment", Answers::Record),
    ("create_group", Answers::Record),
    ("create_lane_plan", Answers::Record),
    ("create_invitation", Answers::Always(&[201])),
    ("create_app", Answers::Always(&[201])),
    // No record for phones: one is asked for, the others find it.
    ("create_export", Answers::Once(201, &[200])),
    // The second exchange of a code ends what the first gave.
    // The same archive is the same athlete.
    ("create_import", Answers::Once(201, &[422])),
    ("fetch_app_token", Answers::Once(200, &[400])),
    ("revoke_app_token", Answers::Always(&[200])),
    ("accept_invitation", Answers::Once(200, &[404, 429])),
    ("create_race_test", Answers::Record),
    ("set_race_entries", Answers::Always(&[200])),
    ("create_race_heats", Answers::Always(&[200])),
    ("create_race_results", Answers::Batch),
    ("create_decision", Answers::Record),
    ("analyse_rhythm", Answers::Always(&[200])),
    ("forecast_final_time", Answers::Always(&[200])),
    ("create_runs", Answers::Batch),
    ("create_session", Answers::Record),
    // Each makes a link of its own, 20 of a session at most.
    ("create_session_link", Answers::Always(&[201, 409, 429])),
    ("set_attendance", Answers::Always(&[200])),
    ("create_venue", Answers::Record),
];

/// How often each status of an item was answered.
fn tally(answers: &[Answer]) -> BTreeMap<(String, String), usize> {
    let mut tally = BTreeMap::new();
    for answer in answers {
        for one in results(&answer.body) {
            let text = |name: &str| one[name].as_str().map_or_else(|| one[name].to_string(), str::to_owned);
            let id = if one["id"].is_string() { text("id") } else { text("op_id") };
            *tally.entry((id, text("status"))).or_default() += 1;
        }
    }
    tally
}

/// Sends a push so many times at once; whoever is told to come back does.
async fn pushes(stage: &Stage, cases: &[Case]) -> Vec<Answer> {
    let sent: Vec<_> = cases
        .iter()
        .map(|case| {
            let (case, app) = (case.clone(), stage.app.clone());
            tokio::spawn(async move {
                loop {
                    let answer = case.send(&app).await;
                    if answer.status != 429 {
                        return answer;
                    }
                    assert!(!answer.header("retry-after").is_empty());
                    tokio::time::sleep(std::time::Duration::from_millis(50)).await;
                }
            })
        })
        .collect();
    let mut answers = Vec::new();
    for one in sent {
        answers.push(one.await.unwrap());
    }
    answers
}

async fn record(stage: &Stage, case: &Case) -> Vec<String> {
    let answers = case.crowd(&stage.app, CROWD).await;
    let mut wrong = Vec::new();
    let fresh = answers.iter().filter(|one| one.status == 201).count();
    let bodies: std::collections::BTreeSet<String> = answers.iter().map(|one| one.body.to_string()).collect();
    if fresh != 1 || answers.iter().any(|one| !matches!(one.status, 200 | 201)) || bodies.len() != 1 {
        wrong.push(format!("{fresh} x 201, {:?}, {} bodies: {bodies:?}", statuses(&answers), bodies.len()));
    }
    let rows = logged(stage, &case.makes[0]).await;
    if rows != 1 {
        wrong.push(format!("{rows} changes"));
    }
    wrong
}

async fn batch(stage: &Stage, case: &Case) -> Vec<String> {
    let answers = case.crowd(&stage.app, CROWD).await;
    let mut wrong = once_each(stage, &answers, &case.makes, CROWD).await;
    let revs: std::collections::BTreeSet<i64> =
        answers.iter().filter_map(|one| one.body["results"][0]["rev"].as_i64()).collect();
    if revs.len() != 1 {
        wrong.push(format!("versions {revs:?}"));
    }
    wrong
}

/// What is wrong with batches in which each of these facts stood so many times.
async fn once_each(stage: &Stage, answers: &[Answer], facts: &[String], times: usize) -> Vec<String> {
    let mut wrong = Vec::new();
    if answers.iter().any(|one| one.status != 200) {
        wrong.push(format!("{:?}", statuses(answers)));
    }
    let tally = tally(answers);
    let count = |id: &str, status: &str| tally.get(&(id.to_owned(), status.to_owned())).copied().unwrap_or_default();
    for id in facts {
        let (created, unchanged) = (count(id, "created"), count(id, "unchanged"));
        let rows = logged(stage, id).await;
        if (created, unchanged, rows) != (1, times - 1, 1) {
            wrong.push(format!("{id}: {created} created, {unchanged} unchanged, {rows} changes"));
        }
    }
    wrong
}

async fn push(stage: &Stage, case: &Case) -> Vec<String> {
    let answers = pushes(stage, &vec![case.clone(); CROWD]).await;
    let mut wrong = Vec::new();
    for answer in &answers {
        let bad: Vec<&Value> =
            results(&answer.body).iter().filter(|one| !matches!(one["status"].as_u64(), Some(200 | 201))).collect();
        if answer.status != 200 || !bad.is_empty() {
            wrong.push(format!("{} {bad:?}", answer.status));
        }
    }
    // Each item was carried out by one of them; the others say that it was.
    let mut done: BTreeMap<&str, usize> = BTreeMap::new();
    for one in answers.iter().flat_map(|answer| results(&answer.body)) {
        let new = one["replayed"] != true;
        *done.entry(one["op_id"].as_str().unwrap()).or_default() += usize::from(new);
    }
    let sent: Value = serde_json::from_slice(case.body.as_deref().unwrap()).unwrap();
    for item in sent["items"].as_array().unwrap() {
        let fresh = done.get(item["op_id"].as_str().unwrap()).copied().unwrap_or_default();
        // What was so before (the athlete is in the group) is a replay from the start.
        let may_be_none = matches!(item["type"].as_str(), Some("group_membership" | "attendance"));
        if fresh != 1 && !(may_be_none && fresh == 0) {
            wrong.push(format!("{}: carried out {fresh} times", item["type"]));
        }
        if !may_be_none && item["method"] == "PUT" {
            let rows = logged(stage, item["id"].as_str().unwrap()).await;
            if rows != 1 {
                wrong.push(format!("{}: {rows} changes", item["type"]));
            }
        }
    }
    wrong
}

async fn crowd(stage: &Stage, operation: &Operation, answers: &Answers) -> Vec<String> {
    let case = stage.request(operation).await;
    match answers {
        Answers::Record => record(stage, &case).await,
        Answers::Batch => batch(stage, &case).await,
        Answers::Push => push(stage, &case).await,
        Answers::Once(status, others) => {
            let answers = case.crowd(&stage.app, CROWD).await;
            let times = answers.iter().filter(|one| one.status == *status).count();
            let all = statuses(&answers);
            let fits = times == 1 && all.iter().all(|one| one == status || others.contains(one));
            if fits { Vec::new() } else { vec![format!("{times} x {status}, {all:?}")] }
        }
        Answers::Always(some) => {
            let all = statuses(&case.crowd(&stage.app, CROWD).await);
            if all.iter().all(|one| some.contains(one)) { Vec::new() } else { vec![format!("{all:?}")] }
        }
    }
}

#[sqlx::test]
async fn the_same_request_in_flight_many_times_has_one_effect(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 8).await;
    let stage = Stage::new(&app).await;
    let all = operations(&app).await;
    let mut wrong = Vec::new();
    let verbs = [reqwest::Method::POST, reqwest::Method::PUT];
    for operation in all.iter().filter(|one| verbs.contains(&one.method)) {
        let Some((_, answers)) = TABLE.iter().find(|(id, _)| *id == operation.id) else {
            panic!("{} has no row in the table", operation.id);
        };
        for _ in 0..ROUNDS {
            let found = crowd(&stage, operation, answers).await;
            wrong.extend(found.into_iter().map(|one| format!("{}: {one}", operation.id)));
        }
    }
    let gone: Vec<&str> = TABLE.iter().map(|(id, _)| *id).filter(|id| !all.iter().any(|one| one.id == *id)).collect();
    assert!(gone.is_empty(), "rows without an operation: {gone:?}");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Facts of one kind, and the batch that holds them.
fn facts(stage: &Stage, kind: &str, ids: &[String]) -> (String, Value) {
    let of = |one: &dyn Fn(&str) -> Value| ids.iter().map(|id| one(id)).collect::<Vec<_>>();
    match kind {
        "runs" => ("/runs".to_owned(), json!({"runs": of(&|id| stage.run(id))})),
        "assessments" => ("/assessments".to_owned(), json!({"assessments": of(&|id| stage.assessment(id))})),
        "wellbeing_records" => {
            ("/wellbeing-records".to_owned(), json!({"wellbeing_records": of(&|id| stage.wellbeing(id))}))
        }
        _ => {
            let path = format!("/race-tests/{}/results", stage.ids["race_test_id"]);
            (path, json!({"results": of(&|id| stage.result(id))}))
        }
    }
}

fn new_ids(count: usize) -> Vec<String> {
    (0..count).map(|_| Uuid::now_v7().to_string()).collect()
}

/// Batches of these facts, sent at once, each in another order.
async fn crossing(stage: &Stage, kind: &str, batches: &[Vec<String>]) -> Vec<Answer> {
    let sent: Vec<_> = batches
        .iter()
        .map(|ids| {
            let (path, body) = facts(stage, kind, ids);
            let admin = stage.admin.clone();
            tokio::spawn(async move { admin.post(&path, body).await })
        })
        .collect();
    let mut answers = Vec::new();
    for one in sent {
        answers.push(one.await.unwrap());
    }
    answers
}

#[sqlx::test]
async fn batches_that_cross_store_each_fact_once(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 8).await;
    let stage = Stage::new(&app).await;
    let with_results = {
        let mut stage = stage.clone();
        let race = stage.made("create_race_test").await;
        stage.ids.insert("race_test_id", race);
        stage
    };
    let mut wrong = Vec::new();
    for kind in ["runs", "assessments", "wellbeing_records", "results"] {
        // Small ones, and some that take the whole club because they are large.
        for (count, batches) in [(12, 24), (12, 24), (300, 6)] {
            let ids = new_ids(count);
            let turned = |at: usize| {
                let mut turned = ids.clone();
                turned.rotate_left(at * 5 % count);
                if at % 2 == 1 {
                    turned.reverse();
                }
                turned
            };
            let mut sent: Vec<Vec<String>> = (0..batches).map(turned).collect();
            // Every second one leaves the last third of its facts out, so that they only overlap.
            for one in sent.iter_mut().step_by(2) {
                one.truncate(count * 2 / 3);
            }
            let times = |id: &String| sent.iter().filter(|one| one.contains(id)).count();
            let answers = crossing(&with_results, kind, &sent).await;
            for id in &ids {
                let found = once_each(&with_results, &answers, std::slice::from_ref(id), times(id)).await;
                wrong.extend(found.into_iter().map(|one| format!("{kind}: {one}")));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[sqlx::test]
async fn pushes_that_cross_each_other_and_the_routes_store_each_fact_once(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 8).await;
    let stage = Stage::new(&app).await;
    for _ in 0..ROUNDS {
        let ids = new_ids(10);
        let mut items: Vec<Value> = ids
            .iter()
            .map(|id| {
                let mut fact = stage.run(id);
                fact["id"] = json!(id);
                create("run", fact)
            })
            .collect();
        items.extend((0..4).map(|_| create("session", stage.body("create_session").unwrap().1)));
        let cases: Vec<Case> = (0..8)
            .map(|at| {
                let mut turned = items.clone();
                turned.rotate_left(at * 3 % items.len());
                if at % 2 == 1 {
                    turned.reverse();
                }
                Case { body: Some(serde_json::to_vec(&Stage::envelope(&turned)).unwrap()), ..stage.push() }
            })
            .collect();
        let mut backwards = ids.clone();
        backwards.reverse();
        let batches = vec![backwards, ids.clone()];
        let (pushed, posted) = tokio::join!(pushes(&stage, &cases), crossing(&stage, "runs", &batches));
        for answer in pushed {
            let answer = answer.expect(200);
            let bad: Vec<&Value> =
                results(&answer.body).iter().filter(|one| !matches!(one["status"].as_u64(), Some(200 | 201))).collect();
            assert!(bad.is_empty(), "{bad:?}");
        }
        assert_eq!(statuses(&posted).into_iter().collect::<Vec<_>>(), [200]);
        for item in &items {
            assert_eq!(logged(&stage, item["id"].as_str().unwrap()).await, 1, "{}", item["type"]);
        }
    }
}

#[sqlx::test]
async fn ten_corrections_of_one_fact_leave_one(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_on(pool, options, 8).await;
    let stage = Stage::new(&app).await;
    for kind in ["runs", "assessments", "wellbeing_records", "results"] {
        for _ in 0..ROUNDS {
            let first = new_ids(1);
            crossing(&stage, kind, std::slice::from_ref(&first)).await.remove(0).expect(200);
            let corrections = new_ids(10);
            let sent: Vec<_> = corrections
                .iter()
                .cycle()
                .take(60)
                .map(|id| {
                    let (path, mut body) = facts(&stage, kind, std::slice::from_ref(id));
                    body[kind][0]["supersedes"] = json!(first[0]);
                    let admin = stage.admin.clone();
                    tokio::spawn(async move { admin.post(&path, body).await })
                })
                .collect();
            let mut answers = Vec::new();
            for one in sent {
                answers.push(one.await.unwrap().expect(200));
            }
            let stored: Vec<&String> = {
                let tally = tally(&answers);
                let created = |id: &&String| tally.get(&((*id).clone(), "created".to_owned())) == Some(&1);
                corrections.iter().filter(created).collect()
            };
            assert_eq!(stored.len(), 1, "{kind}: one correction is stored");
            for answer in &answers {
                let one = &answer.body["results"][0];
                if one["id"] == stored[0].as_str() {
                    assert_ne!(one["status"], "rejected", "{kind}: {one}");
                } else {
                    assert_eq!(one["problem"]["errors"][0]["code"], "superseded", "{kind}: {one}");
                }
            }
            let mut rows = 0;
            for id in &corrections {
                rows += logged(&stage, id).await;
            }
            assert_eq!(rows, 1, "{kind}");
        }
    }
}
