//! What a phone recorded offline, handed in.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::floods::{gzip, packed};
use crate::support::{Caller, TestApp, unless_busy};
use crate::sync_pull::{Phone, Squad, athlete, run, squad};

/// An item with an operation of its own.
pub fn item(method: &str, kind: &str, id: &str, more: Value) -> Value {
    let mut item = json!({"op_id": Uuid::now_v7(), "method": method, "type": kind, "id": id});
    item.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    item
}

pub fn create(kind: &str, mut data: Value) -> Value {
    let id = match data.as_object_mut().unwrap().remove("id") {
        Some(id) => id.as_str().unwrap().to_owned(),
        None => Uuid::now_v7().to_string(),
    };
    item("PUT", kind, &id, json!({"if_none_match": "*", "data": data}))
}

pub fn batch(items: &[Value]) -> Value {
    json!({"device_id": Uuid::nil(), "schema": 1, "sent_at": chrono::Utc::now(), "items": items})
}

pub async fn push(caller: &Caller, items: &[Value]) -> Vec<Value> {
    let answer = unless_busy(async || caller.post("/changes", batch(items)).await).await.expect(200);
    let results = answer.body["results"].as_array().unwrap().clone();
    let ops = |list: &[Value]| list.iter().map(|one| one["op_id"].clone()).collect::<Vec<_>>();
    assert_eq!(ops(&results), ops(items), "one result for each item, in order");
    results
}

pub fn statuses(results: &[Value]) -> Vec<u64> {
    results.iter().map(|one| one["status"].as_u64().unwrap()).collect()
}

impl Squad {
    fn recorded(&self) -> Value {
        create("run", run(&self.session, &self.athlete, self.day))
    }

    async fn runs(&self) -> usize {
        self.admin.get("/runs?superseded=true&limit=200").await.body["items"].as_array().unwrap().len()
    }
}

#[sqlx::test]
async fn an_offline_session_with_everything_in_it_is_handed_in_and_repeated_safely(pool: PgPool) {
    let squad = squad(pool).await;
    let session = create("session", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]}));
    let id = session["id"].as_str().unwrap();
    let there = Uuid::new_v5(&id.parse().unwrap(), squad.athlete.parse::<Uuid>().unwrap().as_bytes()).to_string();
    let fact = run(id, &squad.athlete, squad.day);
    let rating = json!({"athlete_id": squad.athlete, "session_id": id, "assessed_at": format!("{}T18:00:00Z", squad.day),
        "ratings": {"arms": 2}});
    let items = [
        session.clone(),
        item(
            "PUT",
            "attendance",
            &there,
            json!({"if_none_match": "*", "data": {"session_id": id, "athlete_id": squad.athlete}}),
        ),
        create("run", fact.clone()),
        create("assessment", rating),
        create(
            "measurement",
            json!({"athlete_id": squad.athlete, "kind": "sprint_30m_s", "value": 5.1, "measured_on": squad.day}),
        ),
        create("decision", json!({"athlete_id": squad.athlete, "outcome": "accepted"})),
        create(
            "barrier_configuration",
            json!({"name": "R", "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "approach_m": 12, "barriers": 5}),
        ),
    ];
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let first = push(&squad.coach, &items).await;
    assert_eq!(statuses(&first), [201; 7], "{first:?}");
    phone.pull(&squad.coach, 500).await;
    for (item, result) in items.iter().zip(&first) {
        let key = (item["type"].as_str().unwrap().to_owned(), item["id"].as_str().unwrap().to_owned());
        assert_eq!(phone.copy[&key]["rev"], result["rev"], "the echo has the rev");
    }
    let seq = squad.admin.seq().await;
    for _ in 0..2 {
        let again = push(&squad.coach, &items).await;
        assert!(again.iter().all(|one| one["replayed"] == true), "{again:?}");
        let revs = |list: &[Value]| list.iter().map(|one| one["rev"].clone()).collect::<Vec<_>>();
        assert_eq!(revs(&again), revs(&first));
    }
    assert_eq!(squad.admin.seq().await, seq, "a repeat changes nothing");
    // The same fact through its own route is the same record.
    let own = squad.coach.post("/runs", json!({"runs": [fact]})).await.expect(200);
    assert_eq!(own.body["results"][0]["status"], "unchanged");
}

#[sqlx::test]
async fn what_was_corrected_before_the_network_came_back_is_filed_and_not_held(pool: PgPool) {
    let squad = squad(pool).await;
    let first = squad.recorded();
    let correct = |earlier: &Value| {
        let mut again = squad.recorded();
        again["data"]["supersedes"] = earlier["id"].clone();
        again
    };
    let second = correct(&first);
    let third = correct(&second);
    let rating = json!({"athlete_id": squad.athlete, "session_id": squad.session,
        "assessed_at": format!("{}T18:00:00Z", squad.day), "ratings": {"arms": 2}});
    let rated = create("assessment", rating.clone());
    let mut rated_again = create("assessment", rating);
    rated_again["data"]["supersedes"] = rated["id"].clone();
    let items = [first.clone(), squad.recorded(), second, third, rated, rated_again];
    let results = push(&squad.coach, &items).await;
    assert_eq!(statuses(&results), [201; 6], "{results:?}");
    assert_eq!(squad.runs().await, 4);
    assert_eq!(statuses(&push(&squad.coach, &items).await), [200; 6]);
    // A repeat of the corrected run in one push with another correction of it: one correction only, until somebody decides.
    assert_eq!(statuses(&push(&squad.coach, &[first.clone(), correct(&first)]).await), [200, 202]);
}

#[sqlx::test]
async fn each_edit_of_one_athlete_in_a_push_is_answered_with_a_number_of_its_own(pool: PgPool) {
    let squad = squad(pool).await;
    let rev = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.body["rev"].clone();
    let join = |group: &str| {
        let athlete: Uuid = squad.athlete.parse().unwrap();
        let id = Uuid::new_v5(&group.parse().unwrap(), athlete.as_bytes()).to_string();
        let data = json!({"group_id": group, "athlete_id": athlete});
        item("PUT", "group_membership", &id, json!({"if_none_match": "*", "data": data}))
    };
    let more = squad.admin.group("More").await;
    let name = json!({"base_rev": rev, "data": {"display_name": "Other"}});
    let items = [join(&squad.other), item("PATCH", "athlete", &squad.athlete, name), join(&more)];
    let results = push(&squad.admin, &items).await;
    assert_eq!(statuses(&results), [201, 200, 201], "{results:?}");
    let revs: Vec<i64> = results.iter().map(|one| one["rev"].as_i64().unwrap()).collect();
    assert!(revs.is_sorted_by(|one, next| one < next), "{revs:?}");
    assert_eq!(squad.admin.seq().await, revs[2], "and nothing changed besides");
}

#[sqlx::test]
async fn edits_of_different_field_groups_merge_and_the_loser_is_shown_both(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    let rev = squad.admin.get(&path).await.body["rev"].clone();
    let patch = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}));
    let leg = patch(json!({"preferred_lead_leg": "left"}));
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&leg)).await), [200]);
    // Another phone on the old version: another group merges, the same group does not.
    let both = patch(json!({"consent_on": "2026-01-05", "preferred_lead_leg": "right"}));
    let result = push(&squad.admin, std::slice::from_ref(&both)).await.remove(0);
    assert_eq!((result["status"].as_u64(), &result["applied"]), (Some(409), &json!(["contact"])));
    let conflict = &result["conflicts"][0];
    assert_eq!((&conflict["group"], &conflict["yours"]["preferred_lead_leg"]), (&json!("technique"), &json!("right")));
    assert_eq!(conflict["current"]["preferred_lead_leg"], "left");
    let stored = squad.admin.get(&path).await.body;
    assert_eq!((&stored["consent_on"], &stored["preferred_lead_leg"]), (&json!("2026-01-05"), &json!("left")));
    let kept = squad.admin.get("/refused-edits").await.expect(200).body["items"].clone();
    assert_eq!((&kept[0]["op_id"], &kept[0]["data"]["preferred_lead_leg"]), (&both["op_id"], &json!("right")));
    // The same value is no conflict, a repeat is answered as before, and an unknown field is named.
    assert_eq!(statuses(&push(&squad.admin, &[patch(json!({"preferred_lead_leg": "left"}))]).await), [200]);
    let again = push(&squad.coach, std::slice::from_ref(&leg)).await.remove(0);
    assert_eq!((again["status"].as_u64(), &again["replayed"]), (Some(200), &json!(true)));
    assert_eq!(statuses(&push(&squad.admin, &[both]).await), [409]);
    assert_eq!(count(&squad, "refused_edit").await, 1);
    let wrong = push(&squad.coach, &[patch(json!({"shoe": 42})), patch(json!({"display_name": ""}))]).await;
    assert_eq!(statuses(&wrong), [422, 422]);
    let bare = item("PATCH", "athlete", &squad.athlete, json!({"data": {"display_name": "X"}}));
    assert_eq!(statuses(&push(&squad.coach, &[bare]).await), [428]);
    // Two edits of one phone in one push follow each other.
    let chain = [patch(json!({"display_name": "A"})), patch(json!({"display_name": "B"}))];
    assert_eq!(statuses(&push(&squad.coach, &chain).await), [200, 200]);
    assert_eq!(squad.admin.get(&path).await.body["display_name"], "B");
}

#[sqlx::test]
async fn an_edit_in_the_same_push_does_not_speak_for_what_others_changed(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    let rev = squad.admin.get(&path).await.body["rev"].clone();
    let patch = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}));
    let theirs = push(&squad.admin, &[patch(json!({"preferred_lead_leg": "right"}))]).await;
    assert_eq!(statuses(&theirs), [200]);
    let gone = item("DELETE", "athlete", &squad.athlete, json!({"if_match": rev}));
    let mine = [
        patch(json!({"display_name": "A"})),
        patch(json!({"preferred_lead_leg": "left"})),
        patch(json!({"display_name": "B"})),
        patch(json!({"display_name": "C", "preferred_lead_leg": "left"})),
        gone,
    ];
    let results = push(&squad.coach, &mine).await;
    assert_eq!(statuses(&results), [200, 409, 200, 409, 412], "{results:?}");
    let stored = squad.admin.get(&path).await.body;
    assert_eq!((&stored["display_name"], &stored["preferred_lead_leg"]), (&json!("B"), &json!("right")));
}

#[sqlx::test]
async fn an_edit_sent_again_on_a_newer_version_is_still_the_same_edit(pool: PgPool) {
    let squad = squad(pool).await;
    let data = |lanes: u8| json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": lanes});
    let made = create("venue", data(4));
    let id = made["id"].as_str().unwrap().to_owned();
    let first = push(&squad.admin, &[made]).await[0]["rev"].clone();
    let edit = |lanes: u8| item("PUT", "venue", &id, json!({"if_match": first, "data": data(lanes)}));
    let (five, mut six) = (edit(5), edit(6));
    let lost = push(&squad.admin, &[five.clone(), six.clone()]).await;
    assert_eq!(statuses(&lost), [200, 200]);
    // The answer was lost; the phone sends them one by one, the second on the version that the first led to.
    let again = push(&squad.admin, &[five]).await.remove(0);
    assert_eq!((&again["rev"], &again["replayed"]), (&lost[0]["rev"], &json!(true)));
    six["if_match"] = again["rev"].clone();
    let again = push(&squad.admin, &[six]).await.remove(0);
    assert_eq!((&again["status"], &again["rev"], &again["replayed"]), (&json!(200), &lost[1]["rev"], &json!(true)));
}

pub async fn count(squad: &Squad, table: &str) -> i64 {
    let mut tx = squad.app.pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    let sql = format!("select count(*) from {table}");
    sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_one(&mut *tx).await.unwrap()
}

#[sqlx::test]
async fn a_version_that_an_older_item_names_as_text_is_read(pool: PgPool) {
    let squad = squad(pool).await;
    let made = create("venue", json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": 4}));
    let id = made["id"].as_str().unwrap().to_owned();
    let venue = push(&squad.admin, &[made]).await[0]["rev"].clone();
    let athlete = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.body["rev"].clone();
    let lanes = json!({"if_match": venue.to_string(), "data": {"lanes": 6}});
    let leg = json!({"base_rev": athlete.to_string(), "data": {"preferred_lead_leg": "left"}});
    let mut items = vec![item("PATCH", "venue", &id, lanes), item("PATCH", "athlete", &squad.athlete, leg)];
    for broken in ["", "x", "-1", "1.5"] {
        items.push(item("DELETE", "venue", &id, json!({"if_match": broken})));
    }
    // Packed, because the document knows the number alone.
    let (path, body) = (squad.admin.path("/changes"), gzip(batch(&items).to_string().as_bytes()));
    let answer = packed(&squad.app, &path, &squad.admin.token, "application/json", &["gzip"], body).await.expect(200);
    let results = answer.body["results"].as_array().unwrap();
    assert_eq!(statuses(results), [200, 200, 422, 422, 422, 422], "{results:?}");
    assert!(results[..2].iter().all(|one| one["rev"].is_i64()), "answered as a number: {results:?}");
    assert_eq!(results[2]["problem"]["errors"][0]["pointer"], "/if_match");
    // The same item, spelt anew after an update of the program, is still the same.
    items[0]["if_match"] = venue;
    let again = push(&squad.admin, &items[..1]).await.remove(0);
    assert_eq!((&again["status"], &again["rev"], &again["replayed"]), (&json!(200), &results[0]["rev"], &json!(true)));
}

#[sqlx::test]
async fn an_edit_names_the_version_it_was_made_on(pool: PgPool) {
    let squad = squad(pool).await;
    let data = json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": 4});
    let made = create("venue", data.clone());
    let id = made["id"].as_str().unwrap().to_owned();
    let first = push(&squad.admin, std::slice::from_ref(&made)).await.remove(0);
    let wider = json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": 6});
    let edit = |rev: &Value, data: &Value| item("PUT", "venue", &id, json!({"if_match": rev, "data": data}));
    let second = push(&squad.admin, &[edit(&first["rev"], &wider)]).await.remove(0);
    assert_eq!(second["status"], 200);
    let stale = push(&squad.admin, &[edit(&first["rev"], &data)]).await.remove(0);
    assert_eq!((&stale["status"], &stale["current"]["rev"]), (&json!(412), &second["rev"]));
    assert_eq!(stale["current"]["data"]["lanes"], 6);
    let bare = item("PUT", "venue", &id, json!({"data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[bare]).await), [428]);
    // The first create, sent again by a phone that never heard, is answered as it was.
    let again = push(&squad.admin, std::slice::from_ref(&made)).await.remove(0);
    assert_eq!((&again["rev"], &again["replayed"]), (&first["rev"], &json!(true)));
    let other = item("PUT", "venue", &id, json!({"if_none_match": "*", "data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[other]).await), [409]);
    let named = create("venue", json!({"name": "v", "environment": "indoor", "straight_m": 60, "lanes": 4}));
    assert_eq!(statuses(&push(&squad.admin, &[named, squad.recorded()]).await), [409, 201], "the name is taken");
    let gone = item("DELETE", "venue", &id, json!({"if_match": second["rev"]}));
    assert_eq!(statuses(&push(&squad.admin, &[gone]).await), [200]);
    let late = edit(&second["rev"], &data);
    assert_eq!(statuses(&push(&squad.admin, &[late]).await), [410]);
    assert_eq!(count(&squad, "refused_edit").await, 1);
    assert_eq!(statuses(&push(&squad.coach, &[create("venue", wider)]).await), [403]);
    let nowhere = item("PATCH", "session", &Uuid::now_v7().to_string(), json!({"if_match": 3, "data": {}}));
    assert_eq!(statuses(&push(&squad.coach, &[nowhere]).await), [404]);
}

#[sqlx::test]
async fn a_fact_is_never_refused_for_a_permission_or_a_missing_parent(pool: PgPool) {
    let squad = squad(pool).await;
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    let leaver = squad.admin.member("A Leaver", "coach", &[&squad.mine]).await;
    let hidden = create("run", run(&squad.session, &squad.hidden, squad.day));
    let lost = create("run", run(&Uuid::now_v7().to_string(), &squad.athlete, squad.day));
    let early = create("run", run(&squad.session, &squad.athlete, squad.day - chrono::Duration::days(400)));
    let sent = [hidden.clone(), lost, early, squad.recorded()];
    let results = push(&squad.coach, &sent).await;
    assert_eq!(statuses(&results), [202, 202, 202, 201], "{results:?}");
    assert_eq!(results[0]["problem"]["type"], "/problems/held");
    assert_eq!(statuses(&push(&squad.coach, &sent).await), [202, 202, 202, 200]);
    let mut other = hidden.clone();
    other["data"]["hits"] = json!(1);
    assert_eq!(statuses(&push(&squad.coach, &[other]).await), [409]);
    assert_eq!(statuses(&push(&viewer, &[squad.recorded()]).await), [202]);
    let path = format!("/members/{}", leaver.account);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.delete(&path, &tag).await.expect(204);
    assert_eq!(statuses(&push(&leaver, &[squad.recorded()]).await), [202]);
    let edit = create("session", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]}));
    assert_eq!(statuses(&push(&leaver, &[edit]).await), [403]);
    leaver.get("/changes").await.expect(404);
    assert_eq!((squad.runs().await, count(&squad, "held_item").await), (1, 5));
    let stranger = squad.app.admin_of("South").await;
    let foreign = Caller { club: squad.admin.club.clone(), ..stranger };
    foreign.post("/changes", batch(&[squad.recorded()])).await.expect(404);
}

#[sqlx::test]
async fn a_measurement_that_was_deleted_is_answered_as_stored_when_it_comes_again(pool: PgPool) {
    let squad = squad(pool).await;
    let data = json!({"athlete_id": squad.athlete, "kind": "sprint_30m_s", "value": 5.1, "measured_on": squad.day});
    let measured = create("measurement", data);
    let stored = push(&squad.coach, std::slice::from_ref(&measured)).await;
    let id = measured["id"].as_str().unwrap();
    let gone = item("DELETE", "measurement", id, json!({"if_match": stored[0]["rev"]}));
    let journal = [measured.clone(), gone];
    assert_eq!(statuses(&push(&squad.coach, &journal).await), [200, 200]);
    let again = push(&squad.coach, &journal).await;
    assert!(again.iter().all(|one| one["status"] == 200 && one["replayed"] == true), "no alarm: {again:?}");
    let path = format!("/athletes/{}", squad.athlete);
    let measurements = squad.admin.get(&path).await.body["measurements"].clone();
    assert_eq!(measurements.as_array().unwrap().len(), 1, "it stays deleted: {measurements}");
    let mut other = measured.clone();
    other["data"]["value"] = json!(5.2);
    assert_eq!(statuses(&push(&squad.coach, &[other]).await), [410], "the id is used up");
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    assert_eq!(statuses(&push(&squad.coach, &[measured]).await), [200]);
    assert_eq!(count(&squad, "held_item").await, 0);
}

#[sqlx::test]
async fn a_refused_edit_is_answered_alike_however_late_it_comes_again(pool: PgPool) {
    let squad = squad(pool).await;
    let venue = |name: &str| json!({"name": name, "environment": "outdoor", "straight_m": 80.0, "lanes": 4});
    let first = create("venue", venue("V"));
    let made = push(&squad.admin, std::slice::from_ref(&first)).await.remove(0);
    let taken = create("venue", venue("v"));
    let of = |value: Value, names: &[&str]| names.iter().map(|name| value[name].clone()).collect::<Vec<_>>();
    let refused = push(&squad.admin, std::slice::from_ref(&taken)).await.remove(0);
    assert_eq!(refused["status"], 409);
    // The name becomes free, and the network delivers the push once more.
    let stale = item("PUT", "venue", first["id"].as_str().unwrap(), json!({"if_match": 1, "data": venue("W")}));
    assert_eq!(statuses(&push(&squad.admin, std::slice::from_ref(&stale)).await), [412]);
    let gone = item("DELETE", "venue", first["id"].as_str().unwrap(), json!({"if_match": made["rev"]}));
    assert_eq!(statuses(&push(&squad.admin, &[gone]).await), [200]);
    let again = push(&squad.admin, &[taken.clone(), stale]).await;
    assert_eq!(statuses(&again), [409, 412]);
    assert!(again.iter().all(|one| one["replayed"] == true), "{again:?}");
    let says = ["type", "status", "title", "detail", "errors"];
    assert_eq!(of(again[0]["problem"].clone(), &says), of(refused["problem"].clone(), &says));
    // A permission that comes later makes no old edit good.
    let barred = create("session", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.other]}));
    let unknown = push(&squad.coach, std::slice::from_ref(&barred)).await.remove(0);
    assert_eq!(unknown["problem"]["errors"][0]["code"], "unknown_id");
    let member = format!("/members/{}", squad.coach.account);
    let tag = squad.admin.get(&member).await.header("etag").to_owned();
    let both = json!({"group_ids": [squad.mine, squad.other]});
    squad.admin.patch(&member, &tag, both).await.expect(200);
    let late = push(&squad.coach, std::slice::from_ref(&barred)).await.remove(0);
    assert_eq!(late["problem"]["errors"], unknown["problem"]["errors"]);
    // Whoever means it says so with a new operation.
    let mut meant = [taken, barred];
    for one in &mut meant {
        one["op_id"] = json!(Uuid::now_v7());
    }
    let [name, session] = meant;
    assert_eq!(statuses(&push(&squad.admin, &[name]).await), [201]);
    assert_eq!(statuses(&push(&squad.coach, &[session]).await), [201]);
}

#[sqlx::test]
async fn what_needs_a_failed_item_waits_in_the_outbox(pool: PgPool) {
    let squad = squad(pool).await;
    let broken = create("session", json!({"held_on": squad.day, "state": "open", "group_ids": [squad.mine]}));
    let child = create("run", run(broken["id"].as_str().unwrap(), &squad.athlete, squad.day));
    assert_eq!(statuses(&push(&squad.coach, &[broken.clone(), child.clone()]).await), [422, 424]);
    let mut whole = broken;
    whole["data"]["state"] = json!("held");
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&whole)).await), [409], "an operation says one thing");
    whole["op_id"] = json!(Uuid::now_v7());
    assert_eq!(
        statuses(&push(&squad.coach, &[child.clone(), whole.clone()]).await),
        [424, 201],
        "the parent comes later"
    );
    assert_eq!(statuses(&push(&squad.coach, &[child, whole]).await), [201, 201], "the parent is there already");
}

#[sqlx::test]
async fn a_poison_item_at_any_place_leaves_the_others_stored(pool: PgPool) {
    let squad = squad(pool).await;
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    let poisons: [fn(&mut Value); 9] = [
        |one| one["data"]["height_m"] = json!("tall"),
        |one| one["data"]["note"] = json!("a\u{0}b"),
        |one| one["type"] = json!("rocket"),
        |one| one["method"] = json!("PATCH"),
        |one| one["id"] = json!("7"),
        |one| one["colour"] = json!("red"),
        |one| one["data"] = Value::Null,
        |one| one["if_match"] = json!("x"),
        |one| one["if_match"] = json!(-1),
    ];
    let mut stored = 0;
    for (number, poison) in poisons.into_iter().enumerate() {
        for place in 0..3 {
            let mut items: Vec<Value> = (0..3).map(|_| squad.recorded()).collect();
            poison(&mut items[place]);
            let expected: Vec<u64> = (0..3).map(|at| if at == place { 422 } else { 201 }).collect();
            let results = push(&squad.coach, &items).await;
            assert_eq!(statuses(&results), expected, "{results:?}");
            stored += 2;
        }
        // Somebody who may not record does not get it past the check either.
        let mut broken = squad.recorded();
        poison(&mut broken);
        let results = push(&viewer, &[broken, squad.recorded()]).await;
        // An edit, as opposed to a fact, is refused for the role before it is read.
        let refused = if number == 3 { 403 } else { 422 };
        assert_eq!(statuses(&results), [refused, 202], "{results:?}");
    }
    assert_eq!(squad.runs().await, stored);
}

#[sqlx::test]
async fn operations_that_stand_twice_are_carried_out_once(pool: PgPool) {
    let squad = squad(pool).await;
    let one = squad.recorded();
    let mut other = squad.recorded();
    other["op_id"] = one["op_id"].clone();
    let venue = create("venue", json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4}));
    let results = push(&squad.admin, &[one.clone(), one, other, venue.clone(), venue.clone()]).await;
    assert_eq!(statuses(&results), [201, 201, 409, 201, 201], "{results:?}");
    assert_eq!(squad.runs().await, 1);
    let mut reused = create("venue", json!({"name": "W", "environment": "indoor", "straight_m": 60, "lanes": 4}));
    reused["op_id"] = venue["op_id"].clone();
    assert_eq!(statuses(&push(&squad.admin, &[reused]).await), [409]);
}

#[sqlx::test]
async fn two_phones_at_once_store_each_fact_once(pool: PgPool) {
    let squad = squad(pool).await;
    let mut items: Vec<Value> = (0..120).map(|_| squad.recorded()).collect();
    let venue = create("venue", json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4}));
    items.insert(60, venue);
    let (a, b) = tokio::join!(push(&squad.admin, &items), push(&squad.admin, &items));
    for (a, b) in a.iter().zip(&b) {
        assert_eq!(a["rev"], b["rev"]);
        assert!(a["status"].as_u64() < Some(202) && b["status"].as_u64() < Some(202), "{a} {b}");
    }
    assert_eq!(count(&squad, "runs").await, 120);
    assert_eq!(squad.admin.get("/venues").await.body["items"].as_array().unwrap().len(), 1);
}

#[sqlx::test]
async fn edits_at_the_same_moment_never_take_each_other_back(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    let data = json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": 4});
    let venue = squad.admin.post("/venues", data).await.expect(201);
    let park = format!("/venues/{}", venue.id());
    for round in 0..12 {
        let rev = squad.admin.get(&path).await.body["rev"].clone();
        let patch = |data: Value| [item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}))];
        let (name, day) = (format!("Name {round}"), format!("2026-01-{:02}", round + 1));
        let (one, two) = (patch(json!({"display_name": name})), patch(json!({"consent_on": day})));
        let (one, two) = tokio::join!(push(&squad.admin, &one), push(&squad.coach, &two));
        assert_eq!((statuses(&one), statuses(&two)), (vec![200], vec![200]));
        let stored = squad.admin.get(&path).await.body;
        assert_eq!((&stored["display_name"], &stored["consent_on"]), (&json!(name), &json!(day)));
        // The same version, once by its own route and once by a push: one of the two is told.
        let now = squad.admin.get(&park).await;
        let (tag, rev) = (now.header("etag").to_owned(), now.body["rev"].clone());
        let edit = json!({"if_match": rev, "data": {"lanes": 5 + round}});
        let edit = [item("PATCH", "venue", &venue.id(), edit)];
        let (one, two) = tokio::join!(
            unless_busy(async || squad.admin.patch(&park, &tag, json!({"surface": format!("S{round}")})).await),
            push(&squad.admin, &edit)
        );
        let mut told = [u64::from(one.status), statuses(&two)[0]];
        told.sort_unstable();
        assert_eq!(told, [200, 412], "{} {}", one.body, two[0]);
    }
}

#[sqlx::test]
async fn a_later_item_does_not_overwrite_what_its_author_never_saw(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    let rev = squad.admin.get(&path).await.body["rev"].clone();
    let patch = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[patch(json!({"display_name": "Somebody else's"}))]).await), [200]);
    let leg = |side: &str| patch(json!({"preferred_lead_leg": side}));
    let items = [leg("left"), patch(json!({"display_name": "Mine"})), leg("right")];
    let results = push(&squad.coach, &items).await;
    assert_eq!(statuses(&results), [200, 409, 200], "only what the phone itself wrote is followed");
    let stored = squad.admin.get(&path).await.body;
    let expected = (json!("Somebody else's"), json!("right"));
    assert_eq!((&stored["display_name"], &stored["preferred_lead_leg"]), (&expected.0, &expected.1));
    // A repetition may name the version that an earlier answer told meanwhile.
    let mut again = items[2].clone();
    again["base_rev"] = results[0]["rev"].clone();
    let again = push(&squad.coach, &[again]).await.remove(0);
    assert_eq!((&again["status"], &again["replayed"], &again["rev"]), (&json!(200), &json!(true), &results[2]["rev"]));
}

/// A plan with one athlete in its only lane.
fn plan_of(session: &str, athlete: &str) -> Value {
    let placed = json!({"athlete_id": athlete, "display_name": "?", "regret": 0.25, "hold_probability": 0.5});
    let lane = json!({"lane": 1, "round": 1, "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.25,
        "approach_m": 12.0, "barriers": 5, "athletes": [placed]});
    let request = json!({"lanes": 1, "capacity": 8, "barriers": {"min": 4, "max": 6}, "objective": "total"});
    json!({"session_id": session, "request": request, "lanes": [lane], "resting": [], "total_regret": 0.5,
        "largest_regret": 0.25, "proven_optimal": true, "lower_bound": 0.25, "alternatives": [], "stock_used": [],
        "run_out_m": 10.0, "cautions": []})
}

#[sqlx::test]
async fn a_plan_whose_people_changed_refuses_an_older_edit_however_the_push_is_cut(pool: PgPool) {
    let squad = squad(pool).await;
    let athlete = format!("/athletes/{}", squad.athlete);
    let group: Uuid = squad.other.parse().unwrap();
    let pair = Uuid::new_v5(&group, squad.athlete.parse::<Uuid>().unwrap().as_bytes()).to_string();
    let placed = json!({"group_id": group, "athlete_id": squad.athlete});
    for size in [1, 500] {
        let join = item("PUT", "group_membership", &pair, json!({"if_none_match": "*", "data": placed}));
        let rev = squad.admin.get(&athlete).await.body["rev"].clone();
        let name = json!({"base_rev": rev, "data": {"display_name": format!("Name {size}")}});
        let name = item("PATCH", "athlete", &squad.athlete, name);
        for (change, status) in [(join, 201), (name, 200)] {
            let plan = create("lane_plan", plan_of(&squad.session, &squad.athlete));
            let id = plan["id"].as_str().unwrap();
            let made = push(&squad.admin, std::slice::from_ref(&plan)).await.remove(0);
            assert_eq!(made["status"], 201, "{made}");
            let run_out = |metres: f64| {
                item("PATCH", "lane_plan", id, json!({"if_match": made["rev"], "data": {"run_out_m": metres}}))
            };
            // The second follows the first; the third was made without a look at what the change of the athlete led to.
            let items = [run_out(11.0), run_out(12.0), change, run_out(13.0)];
            let mut results = Vec::new();
            let mut named = made["rev"].clone();
            for cut in items.chunks(size) {
                let mut cut = cut.to_vec();
                if size == 1 && cut[0]["type"] == "lane_plan" {
                    cut[0]["if_match"] = named.clone();
                }
                let answers = push(&squad.admin, &cut).await;
                if size == 1 && cut[0]["type"] == "lane_plan" {
                    named = answers[0]["rev"].clone();
                }
                results.extend(answers);
            }
            assert_eq!(statuses(&results), [200, 200, status, 412], "in pushes of {size}: {results:?}");
            let path = format!("/sessions/{}/lane-plans/{id}", squad.session);
            assert_eq!(squad.admin.get(&path).await.body["run_out_m"], 12.0);
        }
        let leave = json!({"if_match": squad.admin.get(&athlete).await.body["rev"].clone(), "data": placed});
        let left = push(&squad.admin, &[item("DELETE", "group_membership", &pair, leave)]).await;
        assert_eq!(statuses(&left), [200], "{left:?}");
    }
}

#[sqlx::test]
async fn athletes_join_and_leave_groups_as_a_set(pool: PgPool) {
    let squad = squad(pool).await;
    let other = athlete(&squad.admin, "Third", &[&squad.mine]).await;
    let id = Uuid::new_v5(&squad.other.parse().unwrap(), other.parse::<Uuid>().unwrap().as_bytes()).to_string();
    let data = json!({"group_id": squad.other, "athlete_id": other});
    let join = || item("PUT", "group_membership", &id, json!({"if_none_match": "*", "data": data}));
    let results = push(&squad.admin, &[join(), join()]).await;
    assert_eq!(statuses(&results), [201, 200]);
    let groups = squad.admin.get(&format!("/athletes/{other}")).await.body["group_ids"].clone();
    assert_eq!(groups.as_array().unwrap().len(), 2);
    let leave = |rev: &Value| item("DELETE", "group_membership", &id, json!({"if_match": rev, "data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[leave(&json!("1"))]).await), [412]);
    assert_eq!(statuses(&push(&squad.admin, &[leave(&results[0]["rev"])]).await), [200]);
    let wrong = item("PUT", "group_membership", &Uuid::now_v7().to_string(), json!({"data": data}));
    assert_eq!(statuses(&push(&squad.admin, &[wrong]).await), [422]);
}

#[sqlx::test]
async fn a_stored_run_is_answered_as_stored_after_its_session_is_hidden(pool: PgPool) {
    let squad = squad(pool).await;
    let fact = run(&squad.session, &squad.athlete, squad.day);
    let body = json!({"runs": [fact]});
    assert_eq!(squad.coach.post("/runs", body.clone()).await.expect(200).body["results"][0]["status"], "created");
    let (path, runner) = (format!("/sessions/{}", squad.session), format!("/athletes/{}", squad.athlete));
    let moved = async |path: &str, group: &str, status| {
        let tag = squad.admin.get(path).await.header("etag").to_owned();
        squad.admin.patch(path, &tag, json!({"group_ids": [group]})).await.expect(status);
    };
    // A group does not leave what its athletes have runs in: the athlete goes with it, and comes back alone.
    moved(&path, &squad.other, 409).await;
    moved(&runner, &squad.other, 200).await;
    moved(&path, &squad.other, 200).await;
    moved(&runner, &squad.mine, 200).await;
    squad.coach.get(&path).await.expect(404);
    squad.coach.get(&runner).await.expect(200);
    assert_eq!(squad.coach.post("/runs", body).await.expect(200).body["results"][0]["status"], "unchanged");
    assert_eq!(statuses(&push(&squad.coach, &[create("run", fact)]).await), [200]);
}

#[sqlx::test]
async fn another_club_is_never_touched(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = south.group("South").await;
    let foreign = athlete(&south, "Foreign", &[&group]).await;
    let seq = south.seq().await;
    let patch = item("PATCH", "athlete", &foreign, json!({"base_rev": 99, "data": {"display_name": "X"}}));
    let session = create("session", json!({"held_on": "2026-10-01", "state": "held", "group_ids": [group]}));
    assert_eq!(statuses(&push(&north, &[patch, session]).await), [404, 422]);
    assert_eq!(south.seq().await, seq);
}

#[sqlx::test]
async fn a_whole_number_may_be_written_with_a_point_in_a_push_as_in_a_request(pool: PgPool) {
    let squad = squad(pool).await;
    let mut fact = run(&squad.session, &squad.athlete, squad.day);
    fact["barriers"] = json!(5.0);
    fact["intervals"] = json!({"held": 4.0});
    let venue =
        json!({"name": "Grass bank", "environment": "outdoor", "straight_m": 60, "surface": "grass", "lanes": 4.0});
    let results = push(&squad.admin, &[create("run", fact), create("venue", venue)]).await;
    assert_eq!(statuses(&results), [201, 201], "{results:#?}");
}
