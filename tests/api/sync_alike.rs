//! What the feed holds is what each member's own routes answer, record by record: also of plans, race tests and attendances
//! with people of two groups, after each thing that changes who sees whom or what they are called.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::race_tests::finish;
use crate::support::Caller;
use crate::sync_pull::Phone;
use crate::sync_push::{item, push};
use crate::visibility::{Shared, shared};

fn text<'a>(data: &'a Value, name: &str) -> &'a str {
    data[name].as_str().unwrap_or_else(|| panic!("{name} of {data}"))
}

/// Fields of both, compared where the feed has them.
fn within(at: &str, (sent, read): (&Value, &Value), but: &[&str]) {
    for (name, value) in sent.as_object().unwrap().iter().filter(|(name, _)| !but.contains(&name.as_str())) {
        assert_eq!(value, &read[name], "{at}: {name} of {sent} and {read}");
    }
}

/// Compares one record of a phone with what its owner's own routes answer.
async fn compare(at: &str, caller: &Caller, (kind, id): (&str, &str), sent: &Value) {
    let path = match kind {
        "group" | "venue" | "session" | "run" | "assessment" | "athlete" => format!("/{kind}s/{id}"),
        "equipment" => format!("/equipment/{id}"),
        "wellbeing_record" => format!("/wellbeing-records/{id}"),
        "lane_plan" => format!("/sessions/{}/lane-plans/{id}", text(sent, "session_id")),
        "race_test" => format!("/race-tests/{id}"),
        "attendance" => format!("/sessions/{}/attendance", text(sent, "session_id")),
        "race_entry" | "race_result" => format!("/race-tests/{}", text(sent, "race_test_id")),
        "measurement" => format!("/athletes/{}", text(sent, "athlete_id")),
        "club" => String::new(),
        other => panic!("no route for {other}"),
    };
    let read = caller.get(&path).await.expect(200).body;
    let of_athlete = |list: &Value| {
        let mut all = list.as_array().unwrap().iter();
        all.find(|one| one["athlete_id"] == sent["athlete_id"])
            .cloned()
            .unwrap_or_else(|| panic!("{at}: {sent} in {list}"))
    };
    match kind {
        "athlete" | "club" => within(at, (sent, &read), &[]),
        "race_test" => within(at, (sent, &read), &["held_on", "athlete_ids", "entries"]),
        "attendance" => {
            assert!(read["present"].as_array().unwrap().contains(&sent["athlete_id"]), "{at}: {sent} in {read}");
        }
        "race_entry" => {
            let entry = of_athlete(&read["entries"]);
            within(
                at,
                (sent, &entry),
                &["id", "rev", "race_test_id", "heat", "lane", "start_offset_s", "expected_time_s", "expected_sd_s"],
            );
        }
        "race_result" => {
            let results = caller.get(&format!("{path}/results")).await.expect(200).body;
            let result = of_athlete(&results["results"]);
            assert_eq!(sent["final_time_s"], result["final_time_s"], "{at}: {sent} and {result}");
        }
        "measurement" => {
            let listed = read["measurements"].as_array().unwrap().iter().find(|one| one["id"] == json!(id));
            within(at, (sent, listed.unwrap_or_else(|| panic!("{at}: {sent} in {read}"))), &["athlete_id"]);
        }
        _ => assert_eq!(sent, &read, "{at}: {kind}"),
    }
}

/// Nothing that a list names is missing in the feed.
async fn complete(at: &str, caller: &Caller, phone: &Phone) {
    let all = |list: &Value, name: &str| -> BTreeSet<String> {
        list.as_array().unwrap().iter().map(|one| one[name].as_str().unwrap().to_owned()).collect()
    };
    for (kind, path) in [
        ("athlete", "/athletes"),
        ("session", "/sessions"),
        ("run", "/runs?superseded=true"),
        ("wellbeing_record", "/wellbeing-records?superseded=true"),
        ("race_test", "/race-tests"),
    ] {
        let listed = caller.get(path).await.expect(200).body;
        let sent: BTreeSet<String> = phone.ids(kind).into_iter().map(str::to_owned).collect();
        assert_eq!(sent, all(&listed["items"], "id"), "{at}: {kind}");
    }
    let of = |kind: &str, field: &str, id: &str| -> BTreeSet<String> {
        let records = phone.copy.iter().filter(|((one, _), data)| one == kind && data[field] == json!(id));
        records.map(|(_, data)| text(data, "athlete_id").to_owned()).collect()
    };
    for session in phone.ids("session") {
        let plans = caller.get(&format!("/sessions/{session}/lane-plans")).await.expect(200).body;
        let sent: BTreeSet<String> = phone
            .copy
            .iter()
            .filter(|((kind, _), data)| kind == "lane_plan" && data["session_id"] == json!(session))
            .map(|((_, id), _)| id.clone())
            .collect();
        assert_eq!(sent, all(&plans["items"], "id"), "{at}");
        let present = caller.get(&format!("/sessions/{session}/attendance")).await.expect(200).body;
        let present: BTreeSet<String> =
            present["present"].as_array().unwrap().iter().map(|id| id.as_str().unwrap().to_owned()).collect();
        assert_eq!(of("attendance", "session_id", session), present, "{at}");
    }
    for test in phone.ids("race_test") {
        let read = caller.get(&format!("/race-tests/{test}")).await.expect(200).body;
        assert_eq!(of("race_entry", "race_test_id", test), all(&read["entries"], "athlete_id"), "{at}");
        let results = caller.get(&format!("/race-tests/{test}/results")).await.expect(200).body;
        // Without those of others, which have neither name nor id here.
        let own: Vec<Value> = results["results"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|one| one["athlete_id"].is_string())
            .cloned()
            .collect();
        assert_eq!(of("race_result", "race_test_id", test), all(&json!(own), "athlete_id"), "{at}");
    }
}

struct Readers {
    club: Shared,
    readers: Vec<(&'static str, Caller, Phone)>,
}

impl Readers {
    async fn compare(&mut self, what: &str) {
        for (who, caller, phone) in &mut self.readers {
            let at = format!("{what}, {who}");
            phone.pull(caller, 7).await;
            for ((kind, id), sent) in &phone.copy {
                compare(&at, caller, (kind, id), sent).await;
            }
            complete(&at, caller, phone).await;
        }
    }

    async fn change(&self, path: &str, change: Value) {
        let admin = &self.club.admin;
        let tag = admin.get(path).await.header("etag").to_owned();
        admin.patch(path, &tag, change).await.expect(200);
    }
}

#[sqlx::test]
async fn every_record_of_the_feed_is_what_its_readers_routes_answer(pool: PgPool) {
    let club = shared(pool).await;
    let other = club.admin.member("Other Coach", "coach", &[&club.other]).await;
    let readers = vec![
        ("admin", club.admin.clone(), Phone::default()),
        ("coach", club.coach.clone(), Phone::default()),
        ("viewer", club.viewer.clone(), Phone::default()),
        ("other", other, Phone::default()),
    ];
    let mut all = Readers { club, readers };
    all.compare("first").await;
    let (mine, theirs) = (all.club.athletes.clone(), all.club.hidden.clone());
    let athlete = |id: &str| format!("/athletes/{id}");

    all.change(&athlete(&mine[0]), json!({"display_name": "Today's Name"})).await;
    all.change(&athlete(&theirs[0]), json!({"display_name": "Secret Today"})).await;
    all.compare("renamed").await;
    for (who, _, phone) in &all.readers {
        let plan = phone.copy.iter().find(|((kind, _), _)| kind == "lane_plan").unwrap().1.to_string();
        let sees = |name: &str| plan.contains(name);
        let expected = match *who {
            "admin" => (true, true),
            "other" => (false, true),
            _ => (true, false),
        };
        assert_eq!((sees("Today's Name"), sees("Secret Today")), expected, "{who}: {plan}");
    }

    all.change(&athlete(&theirs[1]), json!({"group_ids": [all.club.mine, all.club.other]})).await;
    all.compare("one in both groups").await;
    all.change(&athlete(&theirs[1]), json!({"group_ids": [all.club.mine]})).await;
    all.compare("one moved").await;
    let member = format!("/members/{}", all.club.viewer.account);
    all.change(&member, json!({"group_ids": [all.club.other]})).await;
    all.compare("the viewer of the other group").await;

    let results = json!({"results": [finish(&theirs[1], 10.9), finish(&mine[1], 12.1)]});
    all.club.admin.post(&format!("/race-tests/{}/results", all.club.race), results).await.expect(200);
    let attendance = format!("/sessions/{}/attendance", all.club.session);
    let tag = all.club.admin.get(&attendance).await.header("etag").to_owned();
    let present = json!({"present": [mine[0], theirs[0], theirs[1]]});
    all.club.admin.put(&attendance, &tag, present).await.expect(200);
    all.compare("results and who came").await;

    for gone in [&theirs[0], &mine[1]] {
        let path = athlete(gone);
        let tag = all.club.admin.get(&path).await.header("etag").to_owned();
        all.club.admin.delete(&path, &tag).await.expect(204);
    }
    all.compare("two erased").await;
    for (who, _, phone) in &all.readers {
        let copy: String = phone.copy.values().map(ToString::to_string).collect();
        assert!(!copy.contains(theirs[0].as_str()) && !copy.contains("Secret Today"), "{who}: {copy}");
    }
    all.change(&member, json!({"group_ids": [all.club.mine, all.club.other]})).await;
    all.compare("the viewer of both groups").await;
}

#[sqlx::test]
async fn what_stands_beside_a_refusal_is_the_record_as_the_feed_has_it(pool: PgPool) {
    const OF_COACHES: [&str; 5] = ["athlete", "attendance", "lane_plan", "race_test", "session"];
    const OF_ADMINS: [&str; 3] = ["equipment", "group", "venue"];
    let club = shared(pool).await;
    for (caller, kinds) in [(&club.coach, OF_COACHES.as_slice()), (&club.admin, &OF_COACHES), (&club.admin, &OF_ADMINS)]
    {
        let mut phone = Phone::default();
        phone.pull(caller, 50).await;
        let mut refusals: Vec<(Value, u64, Value)> = Vec::new();
        for kind in kinds {
            let ((_, id), data) = phone.copy.iter().find(|((of, _), _)| of == kind).unwrap();
            // A version that there never was.
            let gone = item("DELETE", kind, id, json!({"if_match": 1_000_000_000}));
            refusals.push((gone, 412, data.clone()));
            if *kind == "group" {
                let taken = item("PUT", kind, id, json!({"if_none_match": "*", "data": {"name": "Somebody else's"}}));
                refusals.push((taken, 409, data.clone()));
            }
        }
        if kinds.contains(&"athlete") {
            let (group, athlete) = (&club.mine, &club.athletes[0]);
            let id = Uuid::new_v5(&group.parse().unwrap(), athlete.parse::<Uuid>().unwrap().as_bytes());
            let pair = json!({"if_match": 0, "data": {"group_id": group, "athlete_id": athlete}});
            let data = phone.copy[&("athlete".to_owned(), athlete.clone())].clone();
            refusals.push((item("DELETE", "group_membership", &id.to_string(), pair), 412, data));
        }
        for (item, status, data) in refusals {
            for replayed in [false, true] {
                let result = push(caller, std::slice::from_ref(&item)).await.remove(0);
                assert_eq!((&result["status"], result["replayed"] == true), (&json!(status), replayed), "{result}");
                assert_eq!(result["current"], json!({"rev": data["rev"], "data": data}), "{item}");
            }
        }
    }
}
