//! Two corrections of one fact, made offline by two people: the second is kept, and either of them or an admin settles it.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::Caller;
use crate::sync_pull::{Squad, run, squad};
use crate::sync_push::{count, create, push, statuses};
use crate::sync_race;

fn id(item: &Value) -> &str {
    item["id"].as_str().unwrap()
}

/// A correction of a fact, of the same type and about the same.
fn correction(of: &Value, change: impl Fn(&mut Value)) -> Value {
    let mut data = of["data"].clone();
    data["supersedes"] = of["id"].clone();
    change(&mut data);
    create(of["type"].as_str().unwrap(), data)
}

async fn own(caller: &Caller, query: &str) -> Vec<Value> {
    caller.get(&format!("/own-held-items{query}")).await.expect(200).body["items"].as_array().unwrap().clone()
}

/// A run that the coach recorded and corrected, and the correction of a second coach.
async fn corrected_twice(squad: &Squad) -> (Caller, Value, Value, Value) {
    let second = squad.admin.member("Second Coach", "coach", &[&squad.mine]).await;
    let first = create("run", run(&squad.session, &squad.athlete, squad.day));
    let stands = correction(&first, |data| data["hits"] = json!(1));
    let late = correction(&first, |data| data["hits"] = json!(2));
    assert_eq!(statuses(&push(&squad.coach, &[first, stands.clone()]).await), [201, 201]);
    let held = push(&second, std::slice::from_ref(&late)).await.remove(0);
    (second, stands, late, held)
}

#[sqlx::test]
async fn a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it(pool: PgPool) {
    let squad = squad(pool).await;
    let (second, stands, late, held) = corrected_twice(&squad).await;
    assert_eq!((&held["status"], &held["held"]), (&json!(202), &json!({"reason": "corrected"})), "{held}");
    assert_eq!(held["current"]["data"]["id"], stands["id"]);
    assert_eq!(held["problem"]["errors"][0]["pointer"], "/supersedes");
    let again = push(&second, std::slice::from_ref(&late)).await.remove(0);
    assert_eq!(
        (&again["status"], &again["held"], &again["current"]),
        (&held["status"], &held["held"], &held["current"])
    );
    assert_eq!(count(&squad, "held_item").await, 1);
    for sees in [&second, &squad.coach] {
        assert_eq!(own(sees, "").await[0]["id"], late["id"], "both coaches hear of it");
    }
    let path = format!("/held-items/{}/accept", id(&late));
    let elsewhere = squad.admin.member("Other Coach", "coach", &[&squad.other]).await;
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    let third = squad.admin.member("Third Coach", "coach", &[&squad.mine]).await;
    for stranger in [&elsewhere, &viewer, &third] {
        assert!(own(stranger, "").await.is_empty(), "nobody else's facts");
        stranger.post(&path, json!({})).await.expect(403);
    }
    second.post(&path, json!({"athlete_id": squad.athlete})).await.expect(403);
    let filed = second.post(&path, json!({})).await.expect(200);
    assert_eq!(filed.body["outcome"], "accepted");
    second.post(&path, json!({})).await.expect(409);
    let runs = squad.coach.get("/runs").await.expect(200).body["items"].clone();
    assert_eq!(runs.as_array().unwrap().len(), 1, "{runs}");
    assert_eq!((&runs[0]["id"], &runs[0]["supersedes"]), (&late["id"], &stands["id"]), "it corrects what stood");
    assert_eq!(statuses(&push(&second, &[late]).await), [200]);
    assert_eq!((own(&second, "").await.len(), own(&second, "?decided=true").await.len()), (0, 1));
}

#[sqlx::test]
async fn the_coach_whose_correction_stands_rejects_a_second_one_and_its_recorder_hears_why(pool: PgPool) {
    let squad = squad(pool).await;
    let (second, stands, late, _) = corrected_twice(&squad).await;
    let path = format!("/held-items/{}/reject", id(&late));
    squad.coach.post(&path, json!({"reason": ""})).await.expect_fault(422, "/reason");
    squad.coach.post(&path, json!({"reason": "I stood at the barrier"})).await.expect(200);
    let told = push(&second, std::slice::from_ref(&late)).await.remove(0);
    let state = json!({"reason": "corrected", "outcome": "rejected", "note": "I stood at the barrier"});
    assert_eq!((&told["status"], &told["held"]), (&json!(202), &state));
    assert_eq!(own(&second, "?decided=true").await[0]["outcome"], "rejected");
    let runs = squad.coach.get("/runs").await.expect(200).body["items"].clone();
    assert_eq!((runs.as_array().unwrap().len(), &runs[0]["id"]), (1, &stands["id"]));
    // Whoever no longer sees the athlete settles nothing about them.
    let other = correction(&json!({"id": stands["data"]["supersedes"], "type": "run", "data": stands["data"]}), |_| {});
    assert_eq!(statuses(&push(&second, std::slice::from_ref(&other)).await), [202]);
    let athlete = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&athlete).await.header("etag").to_owned();
    squad.admin.patch(&athlete, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    assert!(own(&squad.coach, "").await.is_empty());
    let path = format!("/held-items/{}", id(&other));
    squad.coach.post(&format!("{path}/reject"), json!({"reason": "Mine"})).await.expect(403);
    second.post(&format!("{path}/accept"), json!({})).await.expect(403);
    squad.admin.post(&format!("{path}/accept"), json!({})).await.expect(200);
}

#[sqlx::test]
async fn a_recorder_takes_back_what_is_held_also_after_leaving(pool: PgPool) {
    let squad = squad(pool).await;
    let orphan = || create("run", run(&Uuid::now_v7().to_string(), &squad.athlete, squad.day));
    let sent = [orphan(), orphan()];
    let held = push(&squad.coach, &sent).await;
    assert_eq!(held[0]["held"], json!({"reason": "reference"}));
    let second = squad.admin.member("Second Coach", "coach", &[&squad.mine]).await;
    let path = |at: usize| format!("/held-items/{}/reject", id(&sent[at]));
    second.post(&path(0), json!({"reason": "Not mine"})).await.expect(403);
    squad.coach.post(&format!("/held-items/{}/accept", id(&sent[0])), json!({})).await.expect(403);
    let back = squad.coach.post(&path(0), json!({"reason": "Twice"})).await.expect(200);
    assert_eq!(back.body["outcome"], "withdrawn");
    let told = push(&squad.coach, std::slice::from_ref(&sent[0])).await.remove(0);
    assert_eq!(told["held"], json!({"reason": "reference", "outcome": "withdrawn", "note": "Twice"}));
    let member = format!("/members/{}", squad.coach.account);
    let tag = squad.admin.get(&member).await.header("etag").to_owned();
    squad.admin.delete(&member, &tag).await.expect(204);
    assert_eq!(own(&squad.coach, "").await[0]["id"], sent[1]["id"]);
    squad.coach.post(&path(1), json!({"reason": "Twice"})).await.expect(200);
    squad.admin.post(&path(1), json!({"reason": "Late"})).await.expect(409);
}

#[sqlx::test]
async fn whatever_can_be_corrected_is_held_when_it_was_corrected_before(pool: PgPool) {
    let squad = squad(pool).await;
    let second = squad.admin.member("Second Coach", "coach", &[&squad.mine]).await;
    let race = sync_race::race(&squad);
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&race)).await), [201]);
    let at = format!("{}T18:00:00Z", squad.day);
    let rating = json!({"athlete_id": squad.athlete, "assessed_at": at, "ratings": {"arms": 2}});
    let report =
        json!({"athlete_id": squad.athlete, "kind": "pain", "reported_on": squad.day, "reported_by": "athlete"});
    let facts = [
        (create("assessment", rating), "/ratings/arms", json!(1)),
        (create("wellbeing_record", report), "/kind", json!("illness")),
        (sync_race::result(id(&race), &squad.athlete, 12.4), "/final_time_s", json!(12.5)),
    ];
    for (first, pointer, value) in facts {
        let mut both = [0, 1].map(|_| correction(&first, |_| {}));
        *both[1]["data"].pointer_mut(pointer).unwrap() = value;
        assert_eq!(statuses(&push(&squad.coach, &[first, both[0].clone()]).await), [201, 201]);
        let held = push(&second, std::slice::from_ref(&both[1])).await.remove(0);
        assert_eq!(held["held"]["reason"], "corrected", "{held}");
        assert_eq!(held["current"]["data"]["id"], both[0]["id"]);
        squad.coach.post(&format!("/held-items/{}/accept", id(&both[1])), json!({})).await.expect(200);
        let stored = push(&second, std::slice::from_ref(&both[1])).await.remove(0);
        assert_eq!(stored["status"], 200, "{stored}");
        if both[1]["type"] == "wellbeing_record" {
            // A clearance of what was corrected meanwhile clears what stands, once somebody says so.
            let clearance = json!({"athlete_id": squad.athlete, "kind": "clearance", "reported_on": squad.day,
                "clears": both[0]["id"]});
            let clearance = create("wellbeing_record", clearance);
            let held = push(&second, std::slice::from_ref(&clearance)).await.remove(0);
            assert_eq!((&held["status"], &held["current"]["data"]["id"]), (&json!(202), &both[1]["id"]), "{held}");
            second.post(&format!("/held-items/{}/accept", id(&clearance)), json!({})).await.expect(200);
            let path = format!("/wellbeing-records/{}", id(&clearance));
            assert_eq!(second.get(&path).await.expect(200).body["clears"], both[1]["id"]);
        }
    }
}

#[sqlx::test]
async fn a_route_holds_a_second_correction_as_a_push_does(pool: PgPool) {
    let squad = squad(pool).await;
    let second = squad.admin.member("Second Coach", "coach", &[&squad.mine]).await;
    let first = run(&squad.session, &squad.athlete, squad.day);
    let again = |hits: u8| {
        let mut one = run(&squad.session, &squad.athlete, squad.day);
        one["supersedes"] = first["id"].clone();
        one["hits"] = json!(hits);
        one
    };
    let (stands, twin, late) = (again(0), again(1), again(2));
    // Two corrections in one batch are no mistake either: somebody decides.
    let send = async |caller: &Caller, runs: &[&Value]| {
        let answer = caller.post("/runs", json!({"runs": runs})).await.expect(200);
        answer.body["results"].as_array().unwrap().clone()
    };
    let of =
        |results: &[Value]| results.iter().map(|one| one["status"].as_str().unwrap().to_owned()).collect::<Vec<_>>();
    assert_eq!(of(&send(&squad.coach, &[&first, &stands, &twin]).await), ["created", "created", "held"]);
    let held = send(&second, &[&late]).await;
    assert_eq!((of(&held), &held[0]["problem"]["type"]), (vec!["held".to_owned()], &json!("/problems/held")));
    assert_eq!(held[0]["problem"]["errors"][0]["pointer"], "/runs/0/supersedes");
    assert_eq!(of(&send(&second, &[&late]).await), ["held"]);
    let mut other = late.clone();
    other["hits"] = json!(3);
    assert_eq!(of(&send(&second, &[&other]).await), ["rejected"], "its id is taken");
    assert_eq!(count(&squad, "held_item").await, 2);
    second.post(&format!("/held-items/{}/accept", id(&late)), json!({})).await.expect(200);
    assert_eq!(of(&send(&second, &[&late]).await), ["unchanged"]);
    let path = format!("/held-items/{}/reject", id(&twin));
    squad.coach.post(&path, json!({"reason": "Pressed twice"})).await.expect(200);
    let told = send(&squad.coach, &[&twin]).await;
    assert!(told[0]["problem"]["detail"].as_str().unwrap().contains("Pressed twice"), "{told:?}");
}
