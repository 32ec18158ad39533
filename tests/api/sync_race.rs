//! Race tests, their entries and results on phones, and the club-wide records that a phone computes with.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::Caller;
use crate::sync_pull::{Phone, Squad, squad};
use crate::sync_push::{count, create, item, push, statuses};

pub fn race(squad: &Squad) -> Value {
    create(
        "race_test",
        json!({"session_id": squad.session, "name": "Autumn test", "dimensions": {"race_distance_m": 60, "barriers": 6,
            "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}}),
    )
}

pub fn result(race: &str, athlete: &str, time: f64) -> Value {
    create(
        "race_result",
        json!({"race_test_id": race, "athlete_id": athlete, "status": "finished", "final_time_s": time, "note": "Headwind"}),
    )
}

fn id(item: &Value) -> &str {
    item["id"].as_str().unwrap()
}

/// Enters these athletes and draws the heats.
async fn drawn(admin: &Caller, race: &str, athletes: &[&str]) {
    let path = format!("/race-tests/{race}");
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    let set =
        admin.put(&format!("{path}/entries"), &tag, json!({"athlete_ids": athletes, "coach_accepts": athletes})).await;
    let set = set.expect(200);
    let heats = admin.path(&format!("{path}/heats"));
    let tag = [("if-match", set.header("etag"))];
    admin.call(Method::POST, &heats, &tag, Some(json!({"lanes": 4}))).await.expect(200);
}

#[sqlx::test]
async fn a_race_recorded_offline_is_handed_in_and_read_as_its_own_routes_show_it(pool: PgPool) {
    let squad = squad(pool).await;
    let race = race(&squad);
    let first = result(id(&race), &squad.athlete, 12.84);
    let mut better = result(id(&race), &squad.athlete, 12.48);
    better["data"]["supersedes"] = first["id"].clone();
    let items = [race.clone(), first.clone(), better];
    let sent = push(&squad.coach, &items).await;
    assert_eq!(statuses(&sent), [201, 201, 201], "{sent:?}");
    let again = push(&squad.coach, &items).await;
    assert!(again.iter().all(|one| one["replayed"] == true), "{again:?}");
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 1).await;
    let record = |kind: &str, id: &str| phone.copy[&(kind.to_owned(), id.to_owned())].clone();
    let test = record("race_test", id(&race));
    let own = squad.coach.get(&format!("/race-tests/{}", id(&race))).await.expect(200).body;
    for (name, value) in test.as_object().unwrap() {
        assert_eq!(&own[name], value, "{name}");
    }
    let stored = record("race_result", id(&first));
    assert_eq!((&stored["race_test_id"], &stored["final_time_s"]), (&race["id"], &json!(12.84)));
    assert_eq!(stored["rev"], sent[1]["rev"]);
    let list = squad.coach.get(&format!("/race-tests/{}/results", id(&race))).await.expect(200).body;
    assert_eq!(list["results"].as_array().unwrap().len(), 1, "the correction stands");
    // The same result through its own route is the same record.
    let mut fact = first["data"].clone();
    fact.as_object_mut().unwrap().remove("race_test_id");
    fact["id"] = first["id"].clone();
    let path = format!("/race-tests/{}/results", id(&race));
    let own = squad.coach.post(&path, json!({"results": [fact]})).await.expect(200);
    assert_eq!(own.body["results"][0]["status"], "unchanged");
}

#[sqlx::test]
async fn an_edit_of_a_race_test_names_its_version_and_keeps_what_it_is_run_over(pool: PgPool) {
    let squad = squad(pool).await;
    let race = race(&squad);
    let rev = push(&squad.coach, std::slice::from_ref(&race)).await.remove(0)["rev"].clone();
    let edit = |method: &str, data: Value| item(method, "race_test", id(&race), json!({"if_match": rev, "data": data}));
    let fixed = [
        edit(
            "PATCH",
            json!({"dimensions": {"race_distance_m": 60, "barriers": 5, "height_m": 0.6, "approach_m": 11.5,
            "spacing_m": 7, "discounted": true}}),
        ),
        edit("PATCH", json!({"session_id": Uuid::now_v7()})),
        edit("PATCH", json!({"state": "over"})),
        create("race_test", json!({"session_id": squad.session})),
    ];
    assert_eq!(statuses(&push(&squad.coach, &fixed).await), [422; 4]);
    let held = push(&squad.coach, &[edit("PATCH", json!({"state": "held"}))]).await.remove(0);
    assert_eq!(held["status"], 200, "{held}");
    let stale = push(&squad.coach, &[edit("PATCH", json!({"name": "Other"}))]).await.remove(0);
    assert_eq!((&stale["status"], &stale["current"]["data"]["state"]), (&json!(412), &json!("held")));
    let delete = item("DELETE", "race_test", id(&race), json!({"if_match": held["rev"]}));
    assert_eq!(statuses(&push(&squad.coach, &[delete]).await), [200]);
    let late = item("PATCH", "race_test", id(&race), json!({"if_match": held["rev"], "data": {"name": "Late"}}));
    assert_eq!(statuses(&push(&squad.coach, &[late]).await), [410]);
    // A session that comes later in the same push, and one that is not theirs.
    let session = create("session", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.mine]}));
    let mut early = self::race(&squad);
    early["data"]["session_id"] = session["id"].clone();
    assert_eq!(statuses(&push(&squad.coach, &[early, session]).await), [424, 201]);
}

#[sqlx::test]
async fn a_result_is_never_refused_for_a_hidden_or_missing_race_or_athlete(pool: PgPool) {
    let squad = squad(pool).await;
    let elsewhere = json!({"held_on": squad.day, "state": "held", "group_ids": [squad.other]});
    let elsewhere = squad.admin.post("/sessions", elsewhere).await.expect(201).id();
    let (seen, mut unseen) = (race(&squad), race(&squad));
    unseen["data"]["session_id"] = json!(elsewhere);
    assert_eq!(statuses(&push(&squad.admin, &[seen.clone(), unseen.clone()]).await), [201, 201]);
    let nowhere = Uuid::now_v7().to_string();
    let sent = [
        result(id(&seen), &squad.hidden, 12.1),
        result(id(&unseen), &squad.athlete, 12.2),
        result(&nowhere, &squad.athlete, 12.3),
        result(id(&seen), &squad.athlete, 12.4),
        result(id(&seen), &squad.athlete, 400.0),
    ];
    let results = push(&squad.coach, &sent).await;
    assert_eq!(statuses(&results), [202, 202, 202, 201, 422], "{results:?}");
    assert_eq!(results[1]["problem"]["errors"][0]["pointer"], "/race_test_id");
    assert_eq!((count(&squad, "held_item").await, count(&squad, "race_results").await), (3, 1));
    let accept =
        async |at: usize, body: Value| squad.admin.post(&format!("/held-items/{}/accept", id(&sent[at])), body).await;
    accept(0, json!({})).await.expect(200);
    accept(1, json!({})).await.expect(200);
    accept(2, json!({})).await.expect_fault(422, "/race_test_id");
    accept(2, json!({"race_test_id": seen["id"]})).await.expect(200);
    let again = push(&squad.coach, &sent[..4]).await;
    assert_eq!(statuses(&again), [200; 4]);
    assert!(again.iter().all(|one| one["rev"] != 0), "what was filed has its version: {again:?}");
    let gone = item("DELETE", "race_result", id(&sent[3]), json!({"if_match": 1}));
    assert_eq!(statuses(&push(&squad.coach, &[gone]).await), [422], "a result is withdrawn, not deleted");
}

#[sqlx::test]
async fn entries_are_seen_with_their_athlete(pool: PgPool) {
    let squad = squad(pool).await;
    let race = race(&squad);
    push(&squad.coach, std::slice::from_ref(&race)).await;
    let (mut coach, mut admin) = (Phone::default(), Phone::default());
    coach.pull(&squad.coach, 2).await;
    drawn(&squad.admin, id(&race), &[&squad.athlete, &squad.hidden]).await;
    coach.pull(&squad.coach, 1).await;
    admin.pull(&squad.admin, 500).await;
    assert_eq!((coach.ids("race_entry").len(), admin.ids("race_entry").len()), (1, 2));
    let entry = coach.copy.iter().find(|((kind, _), _)| kind == "race_entry").unwrap().1.clone();
    assert_eq!((&entry["athlete_id"], &entry["race_test_id"]), (&json!(squad.athlete), &race["id"]));
    let heats = squad.coach.get(&format!("/race-tests/{}/heats", id(&race))).await.expect(200).body;
    let lanes = heats["heats"][0]["lanes"].as_array().unwrap();
    let lane = lanes.iter().find(|lane| lane["athlete_id"] == squad.athlete.as_str()).unwrap();
    assert_eq!(entry["lane"], lane["lane"]);
    // The hidden athlete moves in with their entry; then both are withdrawn, and the race test goes.
    let path = format!("/athletes/{}", squad.hidden);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"group_ids": [squad.mine]})).await.expect(200);
    coach.pull(&squad.coach, 1).await;
    assert_eq!(coach.ids("race_entry").len(), 2);
    let path = format!("/race-tests/{}", id(&race));
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    let left = json!({"athlete_ids": [squad.hidden], "coach_accepts": [squad.hidden]});
    let set = squad.admin.put(&format!("{path}/entries"), &tag, left).await.expect(200);
    coach.pull(&squad.coach, 500).await;
    assert_eq!(coach.ids("race_entry").len(), 1);
    let entry = coach.copy.iter().find(|((kind, _), _)| kind == "race_entry").unwrap().1;
    assert!(entry.get("lane").is_none(), "the heats were taken back: {entry}");
    squad.admin.delete(&path, set.header("etag")).await.expect(204);
    coach.pull(&squad.coach, 500).await;
    assert_eq!((coach.ids("race_entry").len(), coach.ids("race_test").len()), (0, 0));
}

#[sqlx::test]
async fn an_entry_withdrawn_between_two_pages_is_gone_under_a_number_that_never_falls(pool: PgPool) {
    let squad = squad(pool).await;
    let race = race(&squad);
    push(&squad.coach, std::slice::from_ref(&race)).await;
    let mut phone = Phone::default();
    phone.pull(&squad.admin, 500).await;
    drawn(&squad.admin, id(&race), &[&squad.athlete]).await;
    // The entry comes at its first change with the number of its last, which a later page is to tell.
    while phone.ids("race_entry").is_empty() {
        let token = phone.token.as_ref().unwrap();
        let page = squad.admin.get(&format!("/changes?limit=1&sync_token={token}")).await.expect(200).body;
        assert_eq!(page["more"], true, "the draw is still to come");
        phone.apply(&page);
    }
    let path = format!("/race-tests/{}", id(&race));
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.put(&format!("{path}/entries"), &tag, json!({"athlete_ids": []})).await.expect(200);
    phone.pull(&squad.admin, 1).await;
    assert_eq!(phone.ids("race_entry").len(), 0);
}

#[sqlx::test]
async fn what_a_phone_computes_with_is_in_the_feed(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("club"), [squad.admin.club.as_str()]);
    let club = squad.admin.get("").await.expect(200);
    squad.admin.patch("", club.header("etag"), json!({"spacing_step_m": 0.1})).await.expect(200);
    let group = create(
        "age_group",
        json!({"ruleset": "OWN", "age_group": "U12", "max_age": 11, "rule": "school_year",
            "valid_from": "2026-01-01", "source": "Club rules"}),
    );
    let spec = create(
        "competition_spec",
        json!({"ruleset": "OWN", "event_code": "50H", "environment": "outdoor", "sex": "F", "age_group": "U12",
            "race_distance_m": 50, "barriers": 5, "height_m": 0.5, "to_first_m": 11, "between_m": 6.5, "run_in_m": 13,
            "valid_from": "2026-01-01", "source": "Club rules"}),
    );
    let sent = push(&squad.admin, &[group.clone(), spec.clone()]).await;
    assert_eq!(statuses(&sent), [201, 201], "{sent:?}");
    assert_eq!(statuses(&push(&squad.coach, &[create("age_group", group["data"].clone())]).await), [403]);
    phone.pull(&squad.coach, 1).await;
    for (kind, id, path) in [
        ("club", squad.admin.club.as_str(), String::new()),
        ("age_group", id(&group), format!("/age-groups/{}", id(&group))),
        ("competition_spec", id(&spec), format!("/competition-specs/{}", id(&spec))),
    ] {
        let own = squad.coach.get(&path).await.expect(200).body;
        assert_eq!(phone.copy[&(kind.to_owned(), id.to_owned())], own, "{kind}");
    }
    let settings = item("PATCH", "club", &squad.admin.club, json!({"if_match": 1, "data": {"name": "South"}}));
    let entry = create("race_entry", json!({"race_test_id": Uuid::now_v7(), "athlete_id": squad.athlete}));
    let refused = push(&squad.admin, &[settings, entry]).await;
    assert_eq!(statuses(&refused), [422, 422]);
    assert_eq!(refused[0]["problem"]["errors"][0]["code"], "read_only");
    let gone = item("DELETE", "age_group", id(&group), json!({"if_match": sent[0]["rev"]}));
    assert_eq!(statuses(&push(&squad.admin, &[gone]).await), [200]);
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("age_group").len(), 0);
}
