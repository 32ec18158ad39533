//! What was refused stays refused: the network may deliver a push once more when what stood against it is gone.

use chrono::Duration;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, in_club};
use crate::sync_erased::erase;
use crate::sync_pull::{Squad, squad};
use crate::sync_push::{count, create, item, push, statuses};

/// The same push once more: each item refused as before, and nothing carried out.
async fn again(caller: &Caller, sent: &[Value], first: &[Value]) {
    let again = push(caller, sent).await;
    assert_eq!(statuses(&again), statuses(first), "{again:?}");
    for (again, first) in again.iter().zip(first) {
        assert_eq!(again["replayed"], true, "{again}");
        let says = |one: &Value| ["type", "detail", "errors"].map(|name| one["problem"][name].clone());
        assert_eq!(says(again), says(first));
    }
}

async fn leave(squad: &Squad, who: &Caller) {
    let path = format!("/members/{}", who.account);
    let tag = squad.admin.get(&path).await.expect(200).header("etag").to_owned();
    squad.admin.delete(&path, &tag).await.expect(204);
}

async fn return_as(squad: &Squad, who: &Caller, role: &str) {
    let body = json!({"email": who.email, "role": role, "group_ids": [squad.mine]});
    let token = squad.admin.post("/invitations", body).await.expect(201).body["token"].clone();
    who.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await.expect(200);
}

fn session(squad: &Squad) -> Value {
    json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]})
}

#[sqlx::test]
async fn an_edit_that_was_barred_hidden_gone_or_without_a_version_is_refused_alike_when_nothing_bars_it(pool: PgPool) {
    let squad = squad(pool).await;
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    let barred = create("session", session(&squad));
    let first = push(&viewer, std::slice::from_ref(&barred)).await;
    assert_eq!(statuses(&first), [403]);
    let member = format!("/members/{}", viewer.account);
    let tag = squad.admin.get(&member).await.header("etag").to_owned();
    squad.admin.patch(&member, &tag, json!({"role": "coach"})).await.expect(200);
    again(&viewer, &[barred], &first).await;

    let path = |id: &str| format!("/athletes/{id}");
    let rev = squad.admin.get(&path(&squad.hidden)).await.body["rev"].clone();
    let patch = |id: &str, base: Value| {
        let data = json!({"preferred_lead_leg": "left"});
        item(
            "PATCH",
            "athlete",
            id,
            if base.is_null() { json!({"data": data}) } else { json!({"base_rev": base, "data": data}) },
        )
    };
    let sent = [patch(&squad.hidden, rev), patch(&squad.athlete, Value::Null)];
    let first = push(&squad.coach, &sent).await;
    assert_eq!(statuses(&first), [404, 428]);
    let tag = squad.admin.get(&path(&squad.hidden)).await.header("etag").to_owned();
    squad.admin.patch(&path(&squad.hidden), &tag, json!({"group_ids": [squad.mine, squad.other]})).await.expect(200);
    again(&squad.coach, &sent, &first).await;

    let venue = json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": 4});
    let made = create("venue", venue.clone());
    let rev = push(&squad.admin, std::slice::from_ref(&made)).await[0]["rev"].clone();
    let id = made["id"].as_str().unwrap();
    let gone = item("DELETE", "venue", id, json!({"if_match": rev}));
    assert_eq!(statuses(&push(&squad.admin, &[gone]).await), [200]);
    let sent =
        [item("PUT", "venue", id, json!({"if_match": rev, "data": venue})), create("venue", with_id(&venue, id))];
    let first = push(&squad.admin, &sent).await;
    assert_eq!(statuses(&first), [410, 410]);
    again(&squad.admin, &sent, &first).await;
    assert_eq!(squad.admin.get("/sessions").await.body["items"].as_array().unwrap().len(), 1);
}

fn with_id(data: &Value, id: &str) -> Value {
    let mut data = data.clone();
    data["id"] = json!(id);
    data
}

#[sqlx::test]
async fn what_somebody_was_refused_while_they_were_away_is_not_carried_out_when_they_are_back(pool: PgPool) {
    let squad = squad(pool).await;
    let leaver = squad.admin.member("A Leaver", "coach", &[&squad.mine]).await;
    leave(&squad, &leaver).await;
    let broken = json!({"athlete_id": squad.athlete, "kind": "stature_m", "value": "tall", "measured_on": squad.day});
    let sent = [create("session", session(&squad)), create("measurement", broken)];
    let first = push(&leaver, &sent).await;
    assert_eq!(statuses(&first), [403, 422]);
    again(&leaver, &sent, &first).await;
    return_as(&squad, &leaver, "coach").await;
    again(&leaver, &sent, &first).await;
    let mut meant = sent[0].clone();
    meant["op_id"] = json!(Uuid::now_v7());
    assert_eq!(statuses(&push(&leaver, &[meant]).await), [201]);

    // Of somebody who left 2,000 refusals are kept; what is refused beyond them leaves nothing.
    leave(&squad, &leaver).await;
    let full = format!(
        "insert into op_receipt (club_id, op_id, digest, kind, entity_id, status, rev, at, answer, former_id)
         select '{}', gen_random_uuid(), '', 'session', gen_random_uuid(), 403, 0, now(), '{{}}', '{}'
         from generate_series(1, 1997)",
        squad.admin.club, leaver.account
    );
    in_club(&squad.app.pool, &squad.admin.club, &full).await;
    let sent = [create("session", session(&squad)), create("session", session(&squad))];
    assert_eq!(statuses(&push(&leaver, &sent).await), [403, 403]);
    let late = push(&leaver, &sent).await;
    assert_eq!((&late[0]["replayed"], &late[1]["replayed"]), (&json!(true), &Value::Null));
    let kept = format!("op_receipt where former_id = '{}'", leaver.account);
    assert_eq!(count(&squad, &kept).await, 2_000);
}

#[sqlx::test]
async fn a_decision_that_ran_into_a_wall_is_not_stored_once_the_wall_is_gone(pool: PgPool) {
    let squad = squad(pool).await;
    let day = squad.day;
    let advice = format!("/athletes/{}/recommendation", squad.athlete);
    let advised = squad.coach.get(&advice).await.expect(200).body["decision"].clone();
    let restriction =
        create("wellbeing_record", json!({"athlete_id": squad.athlete, "kind": "restriction", "reported_on": day}));
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&restriction)).await), [201]);
    let choice = json!({"athlete_id": squad.athlete, "outcome": "overridden", "reason": "As seen today",
        "barrier_kind": advised["barrier_kind"], "height_m": advised["height_m"], "spacing_m": 5.5});
    let decision = create("decision", choice);
    let first = push(&squad.coach, std::slice::from_ref(&decision)).await;
    assert_eq!((statuses(&first), &first[0]["problem"]["errors"][0]["code"]), (vec![422], &json!("restricted")));
    let cleared = json!({"athlete_id": squad.athlete, "kind": "clearance", "reported_on": day + Duration::days(1),
        "clears": restriction["id"]});
    assert_eq!(statuses(&push(&squad.coach, &[create("wellbeing_record", cleared)]).await), [201]);
    again(&squad.coach, std::slice::from_ref(&decision), &first).await;
    // The same id, with a new operation, is the coach's word of now.
    let mut meant = decision.clone();
    meant["op_id"] = json!(Uuid::now_v7());
    let stored = push(&squad.coach, &[meant]).await;
    assert_eq!(statuses(&stored), [201], "{stored:?}");
    again(&squad.coach, std::slice::from_ref(&decision), &first).await;
    let mut other = decision.clone();
    other["data"]["reason"] = json!("As seen yesterday");
    assert_eq!(statuses(&push(&squad.coach, &[other]).await), [409], "an operation says one thing");
    // Why they could not run goes with the athlete.
    let about = format!("op_receipt where athlete_id = '{}'", squad.athlete);
    assert_eq!(count(&squad, &about).await, 1);
    erase(&squad.admin, &squad.athlete).await;
    assert_eq!(count(&squad, &about).await, 0);
    assert_eq!(
        statuses(&push(&squad.coach, &[decision]).await),
        [200],
        "the decision that was stored, as a fact about nobody"
    );
}
