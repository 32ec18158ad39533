//! Sentences of the guide that stand for themselves: one test each.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use super::examples::computed;
use super::{GUIDE, plain, quoted, says};
use crate::sync_pull::{Phone, Squad, athlete, run, squad};
use crate::sync_push::{create, item, push, statuses};

fn derived(space: &str, athlete: &str) -> String {
    Uuid::new_v5(&space.parse().unwrap(), athlete.parse::<Uuid>().unwrap().as_bytes()).to_string()
}

fn venue(lanes: u32) -> Value {
    json!({"name": "V", "environment": "outdoor", "straight_m": 80.0, "lanes": lanes})
}

/// An item about an athlete's place in a group.
fn membership(method: &str, group: &str, athlete: &str, rev: Option<&Value>) -> Value {
    let mut more = json!({"data": {"group_id": group, "athlete_id": athlete}});
    match rev {
        Some(rev) => more["if_match"] = rev.clone(),
        None => more["if_none_match"] = json!("*"),
    }
    item(method, "group_membership", &derived(group, athlete), more)
}

impl Squad {
    async fn rev(&self, athlete: &str) -> Value {
        self.admin.get(&format!("/athletes/{athlete}")).await.expect(200).body["rev"].clone()
    }

    async fn groups(&self, athlete: &str) -> Vec<String> {
        let body = self.admin.get(&format!("/athletes/{athlete}")).await.expect(200).body;
        let groups = body["group_ids"].as_array().unwrap().iter();
        let mut groups: Vec<String> = groups.map(|id| id.as_str().unwrap().to_owned()).collect();
        groups.sort();
        groups
    }
}

#[sqlx::test]
async fn an_attendance_names_if_none_match_also_when_it_was_taken_back_before(pool: PgPool) {
    says(
        "`PUT` with `if_none_match` and `session_id`, `athlete_id`, also when it was taken back before; `DELETE` with `if_match`",
    );
    let squad = squad(pool).await;
    let id = derived(&squad.session, &squad.athlete);
    let pair = json!({"session_id": squad.session, "athlete_id": squad.athlete});
    let put = |more: Value| {
        let mut item = item("PUT", "attendance", &id, more);
        item["data"] = pair.clone();
        item
    };
    let delete = |rev: &Value| item("DELETE", "attendance", &id, json!({"if_match": rev}));
    let results = push(&squad.coach, &[put(json!({})), put(json!({"if_none_match": "*"}))]).await;
    assert_eq!(statuses(&results), [428, 201], "{results:?}");
    assert_eq!(statuses(&push(&squad.coach, &[item("DELETE", "attendance", &id, json!({}))]).await), [428]);
    assert_eq!(statuses(&push(&squad.coach, &[delete(&json!("1"))]).await), [412]);
    assert_eq!(statuses(&push(&squad.coach, &[delete(&results[1]["rev"])]).await), [200]);
    assert_eq!(statuses(&push(&squad.coach, &[put(json!({"if_none_match": "*"}))]).await), [201]);
}

#[sqlx::test]
async fn an_id_inside_the_data_must_be_that_of_the_item_and_a_rev_is_ignored(pool: PgPool) {
    says("an `id` inside it must be that of the item (422 `other_id`), a `rev` inside it is ignored.");
    let squad = squad(pool).await;
    let with = |inner: &str| {
        let mut made = create("venue", venue(4));
        made["data"]["name"] = json!(inner);
        made["data"]["id"] = if inner == "own" { made["id"].clone() } else { json!(Uuid::now_v7()) };
        made["data"]["rev"] = json!(7_000);
        made
    };
    let results = push(&squad.admin, &[with("own"), with("other")]).await;
    assert_eq!(statuses(&results), [201, 422], "{results:?}");
    let fault = &results[1]["problem"]["errors"][0];
    assert_eq!((&fault["pointer"], &fault["code"]), (&json!("/data/id"), &json!("other_id")));
}

#[sqlx::test]
async fn two_edits_of_one_record_in_one_push_may_both_name_the_rev_that_the_phone_shows(pool: PgPool) {
    says(
        "Two edits of one record in one push may both name the rev that the phone shows: the later follows the earlier, \
          and each is answered with a rev of its own. Of an `athlete` they follow each other within a field group.",
    );
    let squad = squad(pool).await;
    let made = create("venue", venue(4));
    let id = made["id"].as_str().unwrap().to_owned();
    let shown = push(&squad.admin, &[made]).await[0]["rev"].clone();
    let edit = |lanes: u32| item("PUT", "venue", &id, json!({"if_match": shown, "data": venue(lanes)}));
    let results = push(&squad.admin, &[edit(5), edit(6)]).await;
    assert_eq!(statuses(&results), [200, 200], "{results:?}");
    assert_ne!(results[0]["rev"], results[1]["rev"]);
    assert_eq!(squad.admin.get(&format!("/venues/{id}")).await.body["lanes"], 6);
    // Apart they do not follow each other: the second push names a version that is not the last any more.
    assert_eq!(statuses(&push(&squad.admin, &[edit(7)]).await), [412]);
    let shown = squad.rev(&squad.athlete).await;
    let patch = |data: Value| item("PATCH", "athlete", &squad.athlete, json!({"base_rev": shown, "data": data}));
    let leg = |side: &str| patch(json!({"preferred_lead_leg": side}));
    let results = push(&squad.coach, &[leg("left"), patch(json!({"consent_on": "2026-01-05"})), leg("right")]).await;
    assert_eq!(statuses(&results), [200, 200, 200], "{results:?}");
    assert_eq!(statuses(&push(&squad.coach, &[leg("left")]).await), [409], "a push of its own follows nothing");
}

#[sqlx::test]
async fn what_is_in_use_is_answered_409_and_the_problem_says_by_what(pool: PgPool) {
    says("or what you would delete or part is in use, `problem` says by what");
    let squad = squad(pool).await;
    let page = squad.admin.get("/changes?types=group,session&limit=2000").await.expect(200).body;
    let rev = |id: &str| page["changes"].as_array().unwrap().iter().find(|one| one["id"] == id).unwrap()["rev"].clone();
    push(&squad.coach, &[create("run", run(&squad.session, &squad.athlete, squad.day))]).await;
    for (kind, id, by) in [("group", &squad.mine, "athlete"), ("session", &squad.session, "run")] {
        let gone = item("DELETE", kind, id, json!({"if_match": rev(id)}));
        let result = push(&squad.admin, &[gone]).await.remove(0);
        assert_eq!(result["status"], 409, "{result}");
        assert!(result["problem"]["detail"].as_str().unwrap().to_lowercase().contains(by), "{result}");
        assert!(result.get("current").is_none() && result.get("conflicts").is_none(), "{result}");
    }
}

#[sqlx::test]
async fn a_new_lane_plan_is_a_computed_one_with_the_fields_that_the_guide_lists(pool: PgPool) {
    let text = plain(GUIDE);
    let listed = text.split("the plan's own route answers. Of that ").nth(1).unwrap();
    let fields = quoted(listed.split(" cannot be left out").next().unwrap());
    assert!(fields.len() > 8, "{fields:?}");
    let squad = squad(pool).await;
    let plan = computed(&squad).await;
    let mut data = plan.clone();
    data.as_object_mut().unwrap().retain(|name, _| fields.contains(name));
    assert_eq!(data.as_object().unwrap().len(), fields.len(), "a computed plan has all of them: {plan}");
    for field in &fields {
        let mut less = data.clone();
        less.as_object_mut().unwrap().remove(field);
        let result = push(&squad.coach, &[create("lane_plan", less)]).await.remove(0);
        assert_eq!(result["status"], 422, "without {field}: {result}");
    }
    assert_eq!(
        statuses(&push(&squad.coach, &[create("lane_plan", with_new_id(&plan))]).await),
        [201],
        "all that is answered"
    );
    let made = create("lane_plan", data);
    let path = format!("/sessions/{}/lane-plans/{}", squad.session, made["id"].as_str().unwrap());
    assert_eq!(statuses(&push(&squad.coach, &[made]).await), [201]);
    let stored = squad.coach.get(&path).await.expect(200).body;
    assert_eq!(stored["lanes"][0]["spacing_m"], plan["lanes"][0]["spacing_m"]);
    says("A plan with athletes moved by hand is never `proven_optimal`.");
    assert_eq!(stored["proven_optimal"], false);
}

/// A plan as it was read, but for its id.
fn with_new_id(plan: &Value) -> Value {
    let mut plan = plan.clone();
    plan["id"] = json!(Uuid::now_v7());
    plan
}

#[sqlx::test]
async fn a_patch_of_the_groups_behind_a_membership_is_answered_409_with_the_groups_of_now(pool: PgPool) {
    says(
        "A `PATCH` of `group_ids` is then answered 409 with the groups of now, the `DELETE` of a second membership 412: \
          send them again on these. Two `PUT` of memberships never meet.",
    );
    let squad = squad(pool).await;
    let more = squad.admin.group("More").await;
    let third = athlete(&squad.admin, "Third", &[&squad.mine]).await;
    let shown = squad.rev(&third).await;
    let join = |group: &str| membership("PUT", group, &third, None);
    let set = |base: &Value, groups: &[&str]| {
        item("PATCH", "athlete", &third, json!({"base_rev": base, "data": {"group_ids": groups}}))
    };
    let results = push(&squad.admin, &[join(&squad.other), set(&shown, &[&more])]).await;
    assert_eq!(statuses(&results), [201, 409], "{results:?}");
    let conflict = &results[1]["conflicts"][0];
    assert_eq!((&conflict["group"], &conflict["current_rev"]), (&json!("groups"), &results[0]["rev"]));
    assert_eq!(conflict["current"]["group_ids"].as_array().unwrap().len(), 2);
    let again = set(&conflict["current_rev"], &[&squad.mine, &squad.other]);
    assert_eq!(statuses(&push(&squad.admin, &[again, join(&more)]).await), [200, 201]);
    // Two that leave: the second names a version from before the first.
    let shown = squad.rev(&third).await;
    let leave = |group: &str, rev: &Value| membership("DELETE", group, &third, Some(rev));
    let results = push(&squad.admin, &[leave(&squad.other, &shown), leave(&more, &shown)]).await;
    assert_eq!(statuses(&results), [200, 412], "{results:?}");
    assert_eq!(statuses(&push(&squad.admin, &[leave(&more, &results[0]["rev"])]).await), [200]);
    assert_eq!(squad.groups(&third).await, std::slice::from_ref(&squad.mine));
    assert_eq!(statuses(&push(&squad.admin, &[join(&squad.other), join(&more)]).await), [201, 201]);
}

#[sqlx::test]
async fn the_last_group_of_an_athlete_is_not_left(pool: PgPool) {
    says("The last group of an athlete is not left (422 `last`)");
    let squad = squad(pool).await;
    let shown = squad.rev(&squad.athlete).await;
    let result = push(&squad.admin, &[membership("DELETE", &squad.mine, &squad.athlete, Some(&shown))]).await.remove(0);
    assert_eq!((&result["status"], &result["problem"]["errors"][0]["code"]), (&json!(422), &json!("last")));
}

#[sqlx::test]
async fn the_rev_of_the_phone_s_own_edit_is_good_before_its_echo_has_come(pool: PgPool) {
    says(
        "An edit names the rev of the record as the phone shows it, or of the phone's own confirmed edit of it whose echo \
          has not come yet: for that the journal keeps the rev.",
    );
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    let made = create("venue", venue(4));
    let id = made["id"].as_str().unwrap().to_owned();
    push(&squad.admin, &[made]).await;
    phone.pull(&squad.admin, 500).await;
    let shown = phone.copy[&("venue".to_owned(), id.clone())]["rev"].clone();
    let edit = |rev: &Value, lanes: u32| item("PUT", "venue", &id, json!({"if_match": rev, "data": venue(lanes)}));
    let own = push(&squad.admin, &[edit(&shown, 5)]).await[0]["rev"].clone();
    assert_eq!(statuses(&push(&squad.admin, &[edit(&own, 6)]).await), [200]);
    assert_eq!(statuses(&push(&squad.admin, &[edit(&shown, 7)]).await), [412]);
}

#[sqlx::test]
async fn the_data_of_a_record_is_what_its_own_route_answers(pool: PgPool) {
    says("`data` of a `run` is what `GET /v1/clubs/{club_id}/runs/{id}` answers you.");
    let squad = squad(pool).await;
    let made = create("run", run(&squad.session, &squad.athlete, squad.day));
    push(&squad.coach, std::slice::from_ref(&made)).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let id = made["id"].as_str().unwrap();
    let shown = &phone.copy[&("run".to_owned(), id.to_owned())];
    assert_eq!(shown, &squad.coach.get(&format!("/runs/{id}")).await.expect(200).body);
}

#[sqlx::test]
async fn fewer_types_and_another_name_of_the_token_are_answered_as_the_guide_says(pool: PgPool) {
    says("`sync_token` (or `since`) | of the page before; absent for a full copy");
    says("`limit` | 1 to 2000 changes, 500 when absent");
    let squad = squad(pool).await;
    let first = squad.coach.get("/changes?types=group&limit=2000").await.expect(200).body;
    let token = first["sync_token"].as_str().unwrap();
    let next = squad.coach.get(&format!("/changes?types=group&since={token}")).await.expect(200).body;
    assert_eq!((&next["from"], &next["more"]), (&first["sync_token"], &json!(false)));
    for wrong in ["limit=0", "limit=2001", "schema=2", "history_from=yesterday", "colour=red"] {
        let refused = squad.coach.get(&format!("/changes?{wrong}")).await.expect(400);
        let name = wrong.split('=').next().unwrap();
        assert!(refused.faults().contains(&name), "{wrong}: {}", refused.body);
    }
    squad.coach.get(&format!("/changes?since={token}&sync_token={token}")).await.expect(400);
}

#[sqlx::test]
async fn a_broken_item_names_its_fields_by_pointers_into_its_data(pool: PgPool) {
    says("`problem.errors` has JSON pointers into `data` (or to a field of the item)");
    let squad = squad(pool).await;
    let mut fact = create("run", run(&squad.session, &squad.athlete, squad.day));
    fact["data"]["hits"] = json!(99);
    let mut odd = create("venue", venue(4));
    odd["if_none_match"] = json!("?");
    let results = push(&squad.admin, &[fact, odd]).await;
    assert_eq!(statuses(&results), [422, 422]);
    assert_eq!(results[0]["problem"]["errors"][0]["pointer"], "/hits", "{results:?}");
    assert_eq!(results[1]["problem"]["errors"][0]["pointer"], "/if_none_match", "{results:?}");
}

#[sqlx::test]
async fn the_rev_of_a_confirmed_edit_is_the_rev_of_its_echo(pool: PgPool) {
    says("give the returned `rev` to later outbox items of that id which name the same version");
    let squad = squad(pool).await;
    let made = create("venue", venue(4));
    let id = made["id"].as_str().unwrap().to_owned();
    let rev = push(&squad.admin, &[made]).await[0]["rev"].clone();
    let later = item("PATCH", "venue", &id, json!({"if_match": rev, "data": {"lanes": 8}}));
    assert_eq!(statuses(&push(&squad.admin, &[later]).await), [200]);
}
