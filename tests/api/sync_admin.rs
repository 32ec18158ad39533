//! The holding area, the devices, what is kept how long, and a database that was restored.

use chrono::Duration;
use lanewright::platform::db::Db;
use lanewright::resources::sync;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, in_club};
use crate::sync_pull::{Phone, Squad, run, squad};
use crate::sync_push::{count, create, item, push, statuses};

async fn held(caller: &Caller, query: &str) -> Vec<Value> {
    caller.get(&format!("/held-items{query}")).await.expect(200).body["items"].as_array().unwrap().clone()
}

/// Runs SQL as the owner of the club's rows.
async fn sql(squad: &Squad, statement: &str) {
    in_club(&squad.app.pool, &squad.admin.club, statement).await;
}

#[sqlx::test]
async fn an_admin_files_what_is_held_and_the_phone_hears_of_it(pool: PgPool) {
    let squad = squad(pool).await;
    let hidden = create("run", run(&squad.session, &squad.hidden, squad.day));
    let orphan = create("run", run(&Uuid::now_v7().to_string(), &squad.athlete, squad.day));
    let wrong = create("run", run(&squad.session, &Uuid::now_v7().to_string(), squad.day));
    let clock = create("run", run(&squad.session, &squad.athlete, squad.day - Duration::days(3_650)));
    let sent = [hidden, orphan.clone(), wrong, clock];
    assert_eq!(statuses(&push(&squad.coach, &sent).await), [202; 4]);
    let open = held(&squad.admin, "").await;
    assert_eq!(open.len(), 4);
    let reasons: Vec<&str> = open.iter().map(|one| one["reason"].as_str().unwrap()).collect();
    assert_eq!(reasons, ["reference", "reference", "reference", "clock"]);
    assert_eq!(open[0]["member_id"], squad.coach.account);
    let accept = async |at: usize, body: Value| {
        squad.admin.post(&format!("/held-items/{}/accept", sent[at]["id"].as_str().unwrap()), body).await
    };
    accept(0, json!({})).await.expect(200);
    accept(0, json!({})).await.expect(409);
    accept(1, json!({})).await.expect_fault(422, "/session_id");
    accept(1, json!({"group_id": squad.mine})).await.expect(200);
    accept(2, json!({"athlete_id": squad.athlete})).await.expect(200);
    accept(3, json!({})).await.expect_fault(422, "/run_at");
    accept(3, json!({"at": format!("{}T12:00:00Z", squad.day)})).await.expect(200);
    assert_eq!(held(&squad.admin, "").await.len(), 0);
    assert_eq!(held(&squad.admin, "?decided=true").await.len(), 4);
    let again = push(&squad.coach, &sent).await;
    assert_eq!(statuses(&again), [200; 4], "{again:?}");
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("run").len(), 3, "all but the hidden athlete's");
    assert!(phone.ids("session").contains(&orphan["data"]["session_id"].as_str().unwrap()));
}

#[sqlx::test]
async fn what_waits_for_a_record_of_the_same_phone_is_filed_when_it_comes(pool: PgPool) {
    let squad = squad(pool).await;
    let session = create("session", json!({"held_on": squad.day, "state": "open", "group_ids": [squad.mine]}));
    let session_id = session["id"].as_str().unwrap();
    let fact = create("run", run(session_id, &squad.athlete, squad.day));
    let mut correction = create("run", run(session_id, &squad.athlete, squad.day));
    correction["data"]["supersedes"] = fact["id"].clone();
    let elsewhere = create("run", run(session_id, &squad.hidden, squad.day));
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&session)).await), [422]);
    let sent = [fact.clone(), correction, elsewhere];
    assert_eq!(statuses(&push(&squad.coach, &sent).await), [202; 3]);
    // The same record from somebody else's phone, or from another phone, would not do.
    let early = create("run", run(session_id, &squad.athlete, squad.day));
    assert_eq!(statuses(&push(&squad.admin, std::slice::from_ref(&early)).await), [202]);
    let mut whole = session.clone();
    whole["op_id"] = json!(Uuid::now_v7());
    whole["data"]["state"] = json!("held");
    let both = push(&squad.coach, &[whole, fact]).await;
    assert_eq!(statuses(&both), [201, 200], "{both:?}");
    assert_ne!(both[1]["rev"], 0);
    let open = held(&squad.admin, "").await;
    let ids: Vec<&str> = open.iter().map(|one| one["id"].as_str().unwrap()).collect();
    assert_eq!(ids, [sent[2]["id"].as_str().unwrap(), early["id"].as_str().unwrap()]);
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("run").len(), 2);
    assert_eq!(statuses(&push(&squad.coach, &sent).await), [200, 200, 202]);
}

#[sqlx::test]
async fn a_held_measurement_that_was_accepted_and_deleted_is_answered_as_stored(pool: PgPool) {
    let squad = squad(pool).await;
    let data = json!({"athlete_id": squad.hidden, "kind": "stature_m", "value": 1.5, "measured_on": squad.day});
    let fact = create("measurement", data);
    let id = fact["id"].as_str().unwrap();
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&fact)).await), [202]);
    let path = format!("/held-items/{id}/accept");
    squad.admin.post(&path, json!({"athlete_id": squad.athlete})).await.expect(200);
    let stored = push(&squad.coach, std::slice::from_ref(&fact)).await;
    assert_eq!(statuses(&stored), [200]);
    let delete = item("DELETE", "measurement", id, json!({"if_match": stored[0]["rev"]}));
    assert_eq!(statuses(&push(&squad.admin, &[delete]).await), [200]);
    assert_eq!(statuses(&push(&squad.coach, &[fact]).await), [200]);
}

#[sqlx::test]
async fn a_rejected_fact_is_answered_with_the_reason(pool: PgPool) {
    let squad = squad(pool).await;
    let fact = create("run", run(&squad.session, &squad.hidden, squad.day));
    push(&squad.coach, std::slice::from_ref(&fact)).await;
    let path = format!("/held-items/{}/reject", fact["id"].as_str().unwrap());
    squad.admin.post(&path, json!({"reason": ""})).await.expect_fault(422, "/reason");
    let other = squad.admin.member("Other Coach", "coach", &[&squad.mine]).await;
    other.post(&path, json!({"reason": "no"})).await.expect(403);
    squad.admin.post(&path, json!({"reason": "Wrong athlete"})).await.expect(200);
    let result = push(&squad.coach, &[fact]).await.remove(0);
    assert_eq!(result["status"], 202);
    assert!(result["problem"]["detail"].as_str().unwrap().contains("Wrong athlete"));
    squad.admin.post(&format!("/held-items/{}/reject", Uuid::now_v7()), json!({"reason": "x"})).await.expect(404);
}

#[sqlx::test]
async fn what_was_said_about_a_deleted_athlete_goes_too(pool: PgPool) {
    let squad = squad(pool).await;
    let mut noted = run(&Uuid::now_v7().to_string(), &squad.athlete, squad.day);
    noted["note"] = json!("Ran with Mira");
    push(&squad.coach, &[create("run", noted)]).await;
    let mut filed = run(&squad.session, &squad.athlete, squad.day);
    filed["note"] = json!("Tired");
    let filed = create("run", filed);
    let reason = json!({"athlete_id": squad.athlete, "outcome": "overridden", "reason": "Sore"});
    let before = [filed, create("decision", reason)];
    assert_eq!(statuses(&push(&squad.coach, &before).await), [201, 201]);
    let patch = |name: &str| {
        let data = json!({"base_rev": 1, "data": {"display_name": name}});
        item("PATCH", "athlete", &squad.athlete, data)
    };
    assert_eq!(statuses(&push(&squad.coach, &[patch("Secret")]).await), [409]);
    let path = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.delete(&path, &tag).await.expect(204);
    assert_eq!(count(&squad, "refused_edit").await, 0);
    assert!(held(&squad.admin, "").await[0]["data"].get("note").is_none());
    assert_eq!(statuses(&push(&squad.coach, &before).await), [200, 200], "what was stored is answered as stored");
    assert_eq!(statuses(&push(&squad.coach, &[patch("Late")]).await), [410]);
    assert_eq!(count(&squad, "refused_edit where data <> '{}'").await, 0);
}

#[sqlx::test]
async fn an_admin_sees_the_devices_and_can_make_one_copy_afresh(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    squad
        .admin
        .post("/venues", json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4}))
        .await
        .expect(201);
    let devices = squad.admin.get("/sync-devices").await.expect(200).body["items"].clone();
    assert_eq!((&devices[0]["member_id"], &devices[0]["lag"]), (&json!(squad.coach.account), &json!(1)));
    let path = format!("/sync-devices/{}/resync", devices[0]["id"].as_str().unwrap());
    squad.coach.post(&path, json!({})).await.expect(403);
    squad.admin.post(&path, json!({})).await.expect(204);
    let token = phone.token.take().unwrap();
    let refused = squad.coach.get(&format!("/changes?sync_token={token}")).await.expect(410);
    assert_eq!(refused.body["type"], "/problems/sync-token-expired");
    phone.pull(&squad.coach, 500).await;
    phone.pull(&squad.coach, 500).await;
    squad.admin.post(&format!("/sync-devices/{}/resync", Uuid::now_v7()), json!({})).await.expect(404);
}

#[sqlx::test]
async fn old_rows_go_and_tokens_before_them_expire(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let db = Db::lazy((*squad.app.pool.connect_options()).clone(), 1);
    assert_eq!(sync::compact(&db).await.unwrap(), 0, "young rows stay");
    for name in ["V", "W"] {
        let venue = json!({"name": name, "environment": "indoor", "straight_m": 60, "lanes": 4});
        squad.admin.post("/venues", venue).await.expect(201);
    }
    // Many old rows, without writing them one by one.
    sql(
        &squad,
        "insert into club_change (club_id, seq, kind, op, entity_id, root_kind, root_id, at)
         select c.club_id, c.seq + n, 'venue', 'put', c.club_id, 'venue', c.club_id, now()
         from club_clock c cross join generate_series(1, 10000) n;
         update club_clock set seq = seq + 10000",
    )
    .await;
    assert_eq!(sync::compact(&db).await.unwrap(), 0, "young rows stay, however many");
    sql(&squad, "update club_change set at = (at at time zone 'UTC' - interval '91 days') at time zone 'UTC'").await;
    assert!(sync::compact(&db).await.unwrap() > 5);
    assert_eq!(count(&squad, "club_change").await, 10_000);
    let token = phone.token.take().unwrap();
    let refused = squad.coach.get(&format!("/changes?sync_token={token}")).await.expect(410);
    assert_eq!(refused.body["type"], "/problems/sync-token-expired");
    assert!(refused.body["current"]["retained_since"].is_string());
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("athlete"), [squad.athlete.as_str()]);
}

#[sqlx::test]
async fn what_waits_stays_whatever_was_decided_under_its_id(pool: PgPool) {
    let squad = squad(pool).await;
    sql(
        &squad,
        &format!(
            "insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at,
               outcome, decided_at, note)
             select '{}', '{}', u.kind, gen_random_uuid(), '{}', '{}', '{{}}', 'reference', '[]', now(),
               u.outcome, case when u.outcome is null then null else '2026-01-10T00:00:00Z'::timestamptz end, null
             from (values ('run', 'rejected'), ('assessment', null)) as u (kind, outcome)",
            squad.admin.club,
            squad.session,
            squad.coach.account,
            Uuid::nil()
        ),
    )
    .await;
    let db = Db::lazy((*squad.app.pool.connect_options()).clone(), 1);
    sync::prune(&db).await.unwrap();
    let open = held(&squad.admin, "").await;
    assert_eq!((open.len(), &open[0]["type"]), (1, &json!("assessment")), "{open:?}");
    assert_eq!(held(&squad.admin, "?decided=true").await.len(), 0);
}

/// Another instance starts on a database that came back as the copy of `seq`, in a life of its own.
async fn restored(squad: &Squad, seq: i64) -> Caller {
    let undo = format!(
        "delete from runs; delete from club_change where seq > {seq}; delete from club_epoch where epoch > 1; \
         update club_clock set seq = {seq}, epoch = 1"
    );
    sql(squad, &undo).await;
    let options = (*squad.app.pool.connect_options()).clone();
    Db::lazy(options, 1).after_restore().await.unwrap();
    let app = crate::support::TestApp::spawn(squad.app.pool.clone()).await;
    Caller { app, ..squad.coach.clone() }
}

async fn told(caller: &Caller, phone: &Phone) -> Value {
    let token = phone.token.clone().unwrap();
    caller.get(&format!("/changes?sync_token={token}")).await.expect(410).body["type"].clone()
}

#[sqlx::test]
async fn a_restored_database_never_gives_a_number_twice(pool: PgPool) {
    let squad = squad(pool).await;
    let mut early = Phone::default();
    early.pull(&squad.coach, 500).await;
    let shared = squad.admin.seq().await;
    let lost = create("run", run(&squad.session, &squad.athlete, squad.day));
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&lost)).await), [201]);
    let mut late = Phone::default();
    late.pull(&squad.coach, 500).await;
    // The copy knows nothing of the run; nobody wrote yet, and the early phone may be the one that recorded it.
    let coach = restored(&squad, shared).await;
    assert_eq!(told(&coach, &late).await, "/problems/history-diverged");
    assert_eq!(told(&coach, &early).await, "/problems/history-diverged");
    let again = push(&coach, std::slice::from_ref(&lost)).await.remove(0);
    assert_eq!(again["status"], 201, "the journal brings the run back");
    let first: i64 = again["rev"].as_i64().unwrap();
    assert!(first > shared + (1 << 20));
    assert_eq!(told(&coach, &late).await, "/problems/history-diverged");
    let mut afresh = Phone::default();
    afresh.pull(&coach, 500).await;
    assert_eq!(afresh.ids("run").len(), 1);
    let venue = create("venue", json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4}));
    assert_eq!(statuses(&push(&squad.admin, &[venue]).await), [201], "an instance that was not restarted goes on");
    afresh.pull(&coach, 500).await;
    assert_eq!(afresh.ids("venue").len(), 1);
    // The same copy once more.
    let coach = restored(&squad, shared).await;
    assert_eq!(told(&coach, &afresh).await, "/problems/history-diverged");
    let second = push(&coach, &[lost]).await.remove(0);
    assert!(second["rev"].as_i64().unwrap() > first + (1 << 19), "another number: {second}");
}

#[sqlx::test]
async fn the_guide_is_served(pool: PgPool) {
    let squad = squad(pool).await;
    let guide = squad.app.get("/docs/sync").await.expect(200);
    assert!(String::from_utf8_lossy(&guide.bytes).contains("group_membership"));
}

#[sqlx::test]
async fn the_document_says_how_each_type_is_reconciled(pool: PgPool) {
    let squad = squad(pool).await;
    let schemas = squad.app.get("/openapi.json").await.expect(200).body["components"]["schemas"].clone();
    for (name, policy) in [
        ("Run", "append_only"),
        ("Athlete", "merge"),
        ("Session", "optimistic"),
        ("Attendance", "set"),
        ("Club", "read_only"),
        ("RaceTest", "optimistic"),
        ("RaceEntry", "read_only"),
        ("RaceResult", "append_only"),
    ] {
        assert_eq!(schemas[name]["x-sync-policy"], policy, "{name}");
    }
    let patch = &schemas["AthletePatch"];
    let fields = patch["properties"].as_object().unwrap();
    assert!(fields.keys().all(|field| patch["x-merge-group"][field].is_string()), "{patch}");
}

#[sqlx::test]
async fn a_promoted_copy_is_noticed_without_an_operator(pool: PgPool) {
    let squad = squad(pool).await;
    let before = squad.admin.seq().await;
    sqlx::query("update server_history set timeline = timeline + 7").execute(&squad.app.pool).await.unwrap();
    let promoted = crate::support::TestApp::spawn(squad.app.pool.clone()).await;
    let admin = Caller { app: promoted, ..squad.admin.clone() };
    let venue = json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4});
    admin.post("/venues", venue).await.expect(201);
    assert!(admin.seq().await > before + (1 << 20), "beyond whatever was lost");
    let lives: i64 =
        sqlx::query_scalar("select count(*) from server_history").fetch_one(&squad.app.pool).await.unwrap();
    assert_eq!(lives, 2, "noted once");
}
