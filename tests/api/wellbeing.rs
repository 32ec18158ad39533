//! Reports of pain, illness or injury, restrictions and clearances as records: by their route and by phones.

use chrono::{Duration, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, walk};
use crate::sync_pull::{Phone, Squad, squad};
use crate::sync_push::{create, push, statuses};

/// A record about an athlete.
pub fn record(athlete: &str, kind: &str, on: NaiveDate, more: &Value) -> Value {
    let mut record = json!({"id": Uuid::now_v7(), "athlete_id": athlete, "kind": kind, "reported_on": on});
    if ["pain", "illness", "injury"].contains(&kind) {
        record["reported_by"] = json!("athlete");
    }
    record.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    record
}

/// Stores records; the outcome of each.
pub async fn store(caller: &Caller, records: &[Value]) -> Vec<Value> {
    let answer = caller.post("/wellbeing-records", json!({"wellbeing_records": records})).await.expect(200);
    answer.body["results"].as_array().unwrap().clone()
}

/// Stores a record that must be taken; its id.
pub async fn stored(caller: &Caller, record: Value) -> Value {
    let result = store(caller, std::slice::from_ref(&record)).await.remove(0);
    assert_eq!(result["status"], "created", "{result}");
    record["id"].clone()
}

/// Restricts an athlete.
pub async fn restrict(caller: &Caller, athlete: &str, from: NaiveDate, until: NaiveDate) {
    stored(caller, record(athlete, "restriction", from, &json!({"until": until}))).await;
}

fn outcomes(results: &[Value]) -> Vec<&str> {
    results.iter().map(|result| result["status"].as_str().unwrap()).collect()
}

async fn listed(caller: &Caller, query: &str) -> Vec<Value> {
    let page = caller.get(&format!("/wellbeing-records{query}")).await.expect(200);
    page.body["items"].as_array().unwrap().iter().map(|one| one["id"].clone()).collect()
}

#[sqlx::test]
async fn a_record_is_stored_once_read_and_listed(pool: PgPool) {
    let squad = squad(pool).await;
    let (coach, day) = (&squad.coach, squad.day);
    let pain = record(&squad.athlete, "pain", day, &json!({"reported_by": "guardian"}));
    let rest = record(&squad.athlete, "restriction", day, &json!({"until": day + Duration::days(9)}));
    let sent = [pain.clone(), rest.clone()];
    assert_eq!(outcomes(&store(coach, &sent).await), ["created", "created"]);
    let seq = squad.admin.seq().await;
    assert_eq!(outcomes(&store(coach, &sent).await), ["unchanged", "unchanged"]);
    assert_eq!(squad.admin.seq().await, seq, "a repeat changes nothing");
    let mut other = pain.clone();
    other["kind"] = json!("injury");
    let clash = store(coach, &[other]).await.remove(0);
    assert_eq!((&clash["status"], &clash["problem"]["status"]), (&json!("rejected"), &json!(409)));
    let path = format!("/wellbeing-records/{}", pain["id"].as_str().unwrap());
    let read = coach.get(&path).await.expect(200);
    for (name, value) in pain.as_object().unwrap() {
        assert_eq!(&read.body[name], value, "{name}");
    }
    let same = [("if-none-match", read.header("etag"))];
    coach.call(reqwest::Method::GET, &coach.path(&path), &same, None).await.expect(304);
    assert_eq!(listed(coach, &format!("?athlete_id={}&from={day}&to={day}", squad.athlete)).await.len(), 2);
    assert_eq!(listed(coach, &format!("?from={}", day + Duration::days(1))).await, Vec::<Value>::new());
    assert_eq!(walk(coach, "/wellbeing-records", 1, async |_| {}).await.len(), 2);
}

#[sqlx::test]
async fn a_record_is_corrected_withdrawn_and_cleared_also_in_one_batch(pool: PgPool) {
    let squad = squad(pool).await;
    let (coach, day) = (&squad.coach, squad.day);
    let pain = record(&squad.athlete, "pain", day, &json!({}));
    let injury = record(&squad.athlete, "injury", day, &json!({"supersedes": pain["id"]}));
    let cleared = record(&squad.athlete, "clearance", day, &json!({"clears": injury["id"]}));
    let taken_back = record(
        &squad.athlete,
        "clearance",
        day,
        &json!({"clears": injury["id"], "supersedes": cleared["id"], "void": true}),
    );
    let all = [pain.clone(), injury.clone(), cleared.clone(), taken_back.clone()];
    assert_eq!(outcomes(&store(coach, &all).await), ["created"; 4]);
    assert_eq!(listed(coach, "").await, [injury["id"].clone()], "neither corrected nor withdrawn");
    assert_eq!(listed(coach, "?superseded=true").await.len(), 4);
    // What each of these runs into.
    let of = |kind, more| record(&squad.athlete, kind, day, &more);
    let before = record(&squad.athlete, "clearance", day - Duration::days(1), &json!({"clears": injury["id"]}));
    let cases = [
        (of("clearance", json!({"clears": pain["id"]})), "/clears", "superseded"),
        (of("clearance", json!({"clears": cleared["id"]})), "/clears", "other_kind"),
        (of("clearance", json!({"clears": Uuid::now_v7()})), "/clears", "unknown_id"),
        (before, "/reported_on", "order"),
        (of("pain", json!({"supersedes": pain["id"]})), "/supersedes", "superseded"),
        (of("clearance", json!({"clears": injury["id"], "supersedes": injury["id"]})), "/kind", "other_kind"),
        (of("illness", json!({"void": true})), "/void", "void"),
    ];
    for (sent, pointer, code) in cases {
        let result = store(coach, std::slice::from_ref(&sent)).await.remove(0);
        let fault = &result["problem"]["errors"][0];
        assert_eq!(fault["pointer"], format!("/wellbeing_records/0{pointer}"), "{sent} {result}");
        assert_eq!(fault["code"], code, "{sent}");
    }
}

#[sqlx::test]
async fn a_broken_record_names_its_fields_and_there_is_no_room_for_medical_text(pool: PgPool) {
    let squad = squad(pool).await;
    let day = squad.day;
    let today = Utc::now().date_naive();
    let cases = [
        ("cramp", json!({}), vec!["/kind"]),
        ("pain", json!({"reported_by": null}), vec!["/reported_by"]),
        ("pain", json!({"reported_by": "the physio"}), vec!["/reported_by"]),
        ("pain", json!({"reported_on": today + Duration::days(3)}), vec!["/reported_on"]),
        (
            "clearance",
            json!({"reported_on": today + Duration::days(2), "clears": Uuid::now_v7()}),
            vec!["/reported_on"],
        ),
        ("illness", json!({"until": day}), vec!["/until"]),
        ("injury", json!({"clears": Uuid::now_v7()}), vec!["/clears"]),
        ("restriction", json!({"until": day - Duration::days(1)}), vec!["/until"]),
        ("restriction", json!({"until": today + Duration::days(800)}), vec!["/until"]),
        ("clearance", json!({}), vec!["/clears"]),
        ("clearance", json!({"clears": Uuid::now_v7(), "reported_by": "coach"}), vec!["/reported_by"]),
    ];
    for (kind, change, pointers) in cases {
        let mut sent = record(&squad.athlete, kind, day, &json!({}));
        sent.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        sent.as_object_mut().unwrap().retain(|_, value| !value.is_null());
        let result = store(&squad.coach, std::slice::from_ref(&sent)).await.remove(0);
        let faults = result["problem"]["errors"].as_array().unwrap_or_else(|| panic!("{sent} {result}"));
        let named: Vec<&str> = faults.iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
        let expected: Vec<String> = pointers.iter().map(|pointer| format!("/wellbeing_records/0{pointer}")).collect();
        assert_eq!(named, expected, "{sent} {result}");
    }
    let told = json!({"wellbeing_records": [record(&squad.athlete, "pain", day, &json!({"note": "left knee"}))]});
    squad.coach.post("/wellbeing-records", told).await.expect_fault(400, "/wellbeing_records/0/note");
    squad.coach.post("/wellbeing-records", json!({"wellbeing_records": []})).await.expect(422);
    let ahead = json!({"until": today + Duration::days(20)});
    stored(&squad.coach, record(&squad.athlete, "restriction", today + Duration::days(9), &ahead)).await;
}

#[sqlx::test]
async fn a_report_from_where_it_is_tomorrow_already_rests_the_athlete_there(pool: PgPool) {
    let squad = squad(pool).await;
    squad.admin.patch("", "*", json!({"time_zone": "UTC"})).await.expect(200);
    // A camp far in the east: its session and runs of tomorrow are taken, so what hurt there is not left waiting.
    let tomorrow = Utc::now().date_naive() + Duration::days(1);
    let pain = record(&squad.athlete, "pain", tomorrow, &json!({}));
    let mut item = create("wellbeing_record", pain);
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&item)).await), [201]);
    let advice = format!("/athletes/{}/recommendation?on={tomorrow}", squad.athlete);
    let advice = squad.coach.get(&advice).await.expect(200).body;
    assert_eq!(advice["decision"]["kind"], "rest_and_refer", "{advice}");
    // That somebody may run again is not said before the day.
    let later = tomorrow + Duration::days(1);
    let clearance = record(&squad.athlete, "clearance", later, &json!({"clears": item["id"].take()}));
    let refused = store(&squad.coach, &[clearance]).await.remove(0);
    assert_eq!(refused["problem"]["errors"][0]["pointer"], "/wellbeing_records/0/reported_on", "{refused}");
}

#[sqlx::test]
async fn what_is_said_of_an_athlete_is_seen_by_who_sees_the_athlete(pool: PgPool) {
    let squad = squad(pool).await;
    let day = squad.day;
    let own = stored(&squad.coach, record(&squad.athlete, "pain", day, &json!({}))).await;
    let hidden = stored(&squad.admin, record(&squad.hidden, "injury", day, &json!({}))).await;
    let path = |id: &Value| format!("/wellbeing-records/{}", id.as_str().unwrap());
    squad.coach.get(&path(&own)).await.expect(200);
    squad.coach.get(&path(&hidden)).await.expect(404);
    assert_eq!(listed(&squad.coach, "").await, std::slice::from_ref(&own));
    assert_eq!(listed(&squad.admin, "").await.len(), 2);
    let stranger = squad.app.admin_of("South").await;
    stranger.get(&path(&own)).await.expect(404);
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    assert_eq!(listed(&viewer, "").await, std::slice::from_ref(&own));
    let refused = json!({"wellbeing_records": [record(&squad.athlete, "pain", day, &json!({}))]});
    viewer.post("/wellbeing-records", refused).await.expect(403);
    // An athlete or record that is hidden is answered like one that is not there; a taken id shows nothing.
    for (athlete, clears) in [(&squad.hidden, &hidden), (&Uuid::now_v7().to_string(), &json!(Uuid::now_v7()))] {
        let sent = record(athlete, "clearance", day, &json!({"clears": clears}));
        let result = store(&squad.coach, &[sent]).await.remove(0);
        let codes: Vec<&Value> =
            result["problem"]["errors"].as_array().unwrap().iter().map(|fault| &fault["code"]).collect();
        assert_eq!(codes, ["unknown_id", "unknown_id"], "{result}");
    }
    let mut taken = record(&squad.athlete, "pain", day, &json!({}));
    taken["id"] = hidden;
    let clash = store(&squad.coach, &[taken]).await.remove(0);
    assert_eq!(clash["problem"].get("current"), None, "{clash}");
}

#[sqlx::test]
async fn phones_carry_records_both_ways(pool: PgPool) {
    let squad = squad(pool).await;
    let day = squad.day;
    let pain = create("wellbeing_record", record(&squad.athlete, "pain", day, &json!({})));
    let clear = json!({"clears": pain["id"]});
    let cleared = create("wellbeing_record", record(&squad.athlete, "clearance", day, &clear));
    let items = [pain.clone(), cleared.clone()];
    assert_eq!(statuses(&push(&squad.coach, &items).await), [201, 201]);
    assert_eq!(statuses(&push(&squad.coach, &items).await), [200, 200], "a repeat is the same fact");
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    for sent in &items {
        let key = ("wellbeing_record".to_owned(), sent["id"].as_str().unwrap().to_owned());
        for (name, value) in sent["data"].as_object().unwrap() {
            assert_eq!(&phone.copy[&key][name], value, "{name}");
        }
    }
    let other = squad.admin.member("Other Coach", "coach", &[&squad.other]).await;
    let mut theirs = Phone::default();
    theirs.pull(&other, 500).await;
    assert_eq!(theirs.ids("wellbeing_record"), Vec::<&str>::new());
    // Facts are not edited; what another group's athlete is said to have waits for an admin.
    let edit = crate::sync_push::item("PATCH", "wellbeing_record", pain["id"].as_str().unwrap(), json!({"data": {}}));
    assert_eq!(statuses(&push(&squad.coach, &[edit]).await), [422]);
    let hidden = create("wellbeing_record", record(&squad.hidden, "pain", day, &json!({})));
    assert_eq!(statuses(&push(&squad.coach, &[hidden]).await), [202]);
    // A clock that runs ahead is an admin's to judge, like that of a run.
    let ahead = record(&squad.athlete, "illness", Utc::now().date_naive() + Duration::days(9), &json!({}));
    assert_eq!(statuses(&push(&squad.coach, &[create("wellbeing_record", ahead)]).await), [202]);
    // What came before its athlete waits, and is filed with them; a clearance in front of its report stays in the outbox.
    let person = json!({"display_name": "New", "sex": "F", "birth_year": 2012, "group_ids": [squad.mine],
        "experience": "novice"});
    let person = create("athlete", person);
    let of = |kind, more| create("wellbeing_record", record(person["id"].as_str().unwrap(), kind, day, &more));
    let illness = of("illness", json!({}));
    let cleared = of("clearance", json!({"clears": illness["id"]}));
    assert_eq!(same_phone(&squad, &[cleared.clone(), illness.clone()]).await, [424, 202]);
    assert_eq!(same_phone(&squad, std::slice::from_ref(&cleared)).await, [202]);
    assert_eq!(same_phone(&squad, &[person]).await, [201]);
    for one in [illness, cleared] {
        squad.coach.get(&format!("/wellbeing-records/{}", one["id"].as_str().unwrap())).await.expect(200);
    }
}

/// A push of one and the same phone.
async fn same_phone(squad: &Squad, items: &[Value]) -> Vec<u64> {
    let body =
        json!({"device_id": Uuid::new_v5(&Uuid::nil(), b"phone"), "schema": 1, "sent_at": Utc::now(), "items": items});
    let answer = squad.coach.post("/changes", body).await.expect(200);
    statuses(answer.body["results"].as_array().unwrap())
}
