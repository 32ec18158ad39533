//! An app is shown nobody for whom consent was withdrawn, and what it does keeps their place: it knows that there is somebody, not who.

use std::collections::BTreeSet;

use chrono::Utc;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::oauth;
use crate::race_tests::{Squad, finish, squad};
use crate::support::Caller;
use crate::sync_pull::{self, Phone};
use crate::sync_push::{create, item, push, statuses};
use crate::wellbeing::{self, stored};

const SCOPES: [&str; 6] = ["squad.read", "session.write", "assessment.write", "plan.write", "sync", "club.admin"];

async fn withhold(admin: &Caller, athlete: &str) {
    let said =
        json!({"purpose": "sharing_with_apps", "act": "withdrawn", "on": Utc::now().date_naive(), "by": "guardian"});
    admin.post(&format!("/athletes/{athlete}/consents"), said).await.expect(201);
}

/// Heat and lane of every lane in use.
fn places(heats: &Value) -> Vec<(i64, i64)> {
    let lanes = |heat: &Value| {
        let number = heat["heat"].as_i64().unwrap();
        let lanes = heat["lanes"].as_array().unwrap().clone();
        lanes.into_iter().map(move |lane| (number, lane["lane"].as_i64().unwrap()))
    };
    heats["heats"].as_array().unwrap().iter().flat_map(lanes).collect()
}

async fn by_app(squad: &Squad, athlete: &str) -> Caller {
    let app = oauth::acting(&squad.admin, &SCOPES).await;
    withhold(&squad.admin, athlete).await;
    app
}

#[sqlx::test]
async fn an_app_says_nothing_of_what_was_agreed_to(pool: PgPool) {
    let squad = squad(pool).await;
    let app = oauth::acting(&squad.admin, &SCOPES).await;
    let path = format!("/athletes/{}/consents", squad.athletes[0]);
    for (purpose, act) in [("sharing_with_apps", "given"), ("sharing_with_helpers", "withdrawn")] {
        let said = json!({"purpose": purpose, "act": act, "on": Utc::now().date_naive(), "by": "guardian"});
        let refused = app.post(&path, said.clone()).await.expect(403).body;
        assert!(refused["detail"].as_str().unwrap().contains("app"), "{refused}");
        squad.coach.post(&path, said).await.expect(201);
    }
    assert_eq!(app.get(&path).await.expect(200).body["items"].as_array().unwrap().len(), 2);
}

#[sqlx::test]
async fn a_draw_of_an_app_gives_nobody_a_lane_that_is_taken(pool: PgPool) {
    let squad = squad(pool).await;
    let field = &squad.athletes[..3];
    let (path, tag) = squad.entered(field).await;
    squad.draw(&path, &tag, json!({"lanes": 8, "seed": 1})).await.expect(200);
    let app = by_app(&squad, &field[0]).await;
    let heats = format!("{path}/heats");
    let shown = app.get(&heats).await.expect(200).body;
    assert_eq!(places(&shown).len(), 3, "somebody runs there: {shown}");
    assert!(!shown.to_string().contains(&field[0]) && !shown.to_string().contains("Athlete 0"), "{shown}");
    for seed in 2..6 {
        let body = json!({"lanes": 8, "seed": seed});
        let drawn = app.call(Method::POST, &app.path(&heats), &[("if-match", "*")], Some(body)).await.expect(200).body;
        assert!(!drawn.to_string().contains(&field[0]), "{drawn}");
        let whole = squad.coach.get(&heats).await.expect(200).body;
        let places = places(&whole);
        assert_eq!(places.iter().collect::<BTreeSet<_>>().len(), 3, "one athlete in each lane: {whole}");
    }
    // Phones of members are told where everybody runs, also whom the app does not know.
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let whole = squad.coach.get(&heats).await.expect(200).body;
    let lanes = || whole["heats"].as_array().unwrap().iter().flat_map(|heat| heat["lanes"].as_array().unwrap());
    for entry in phone.ids("race_entry") {
        let entry = &phone.copy[&("race_entry".to_owned(), entry.to_owned())];
        let lane = lanes().find(|lane| lane["athlete_id"] == entry["athlete_id"]).unwrap();
        assert_eq!(entry["lane"], lane["lane"]);
    }
    // What is also there for them is not the app's to delete.
    app.delete(&path, "*").await.expect(403);
}

#[sqlx::test]
async fn places_take_in_whom_an_app_is_not_shown(pool: PgPool) {
    let squad = squad(pool).await;
    let (path, _) = squad.entered(&squad.athletes[..2]).await;
    let results = [finish(&squad.athletes[0], 9.5), finish(&squad.athletes[1], 10.0)]
        .map(|one| crate::race_tests::with(one, &json!({"timing_method": "hand"})));
    assert_eq!(squad.record(&path, &results).await, ["created", "created"]);
    let app = by_app(&squad, &squad.athletes[0]).await;
    let seen = app.get(&format!("{path}/results")).await.expect(200).body["results"].clone();
    assert_eq!((seen.as_array().unwrap().len(), &seen[0]["place"]), (1, &json!(2)), "{seen}");
}

#[sqlx::test]
async fn what_phones_sent_of_somebody_who_is_withheld_is_not_shown_to_an_app_either(pool: PgPool) {
    let squad = sync_pull::squad(pool).await;
    let app = oauth::acting(&squad.admin, &SCOPES).await;
    let held = |caller: &Caller, athlete: &str| {
        let fact = create("run", sync_pull::run(&Uuid::now_v7().to_string(), athlete, squad.day));
        let caller = caller.clone();
        async move {
            assert_eq!(statuses(&push(&caller, std::slice::from_ref(&fact)).await), [202]);
            fact["id"].as_str().unwrap().to_owned()
        }
    };
    let lost =
        |athlete: &str| item("PATCH", "athlete", athlete, json!({"base_rev": 1, "data": {"display_name": "Earlier"}}));
    let (theirs, own) = (held(&squad.coach, &squad.athlete).await, held(&squad.admin, &squad.athlete).await);
    let other = held(&squad.admin, &squad.hidden).await;
    let edits = [lost(&squad.athlete), lost(&squad.hidden)];
    assert_eq!(statuses(&push(&squad.admin, &edits).await), [409, 409]);
    withhold(&squad.admin, &squad.athlete).await;

    let shown = async |caller: &Caller, list: &str| {
        let items = caller.get(list).await.expect(200).body["items"].as_array().unwrap().clone();
        items.iter().map(|one| one["id"].as_str().unwrap().to_owned()).collect::<BTreeSet<_>>()
    };
    let set = |ids: &[&String]| ids.iter().map(|id| (*id).clone()).collect::<BTreeSet<_>>();
    for (list, all, few) in [
        ("/held-items", set(&[&theirs, &own, &other]), set(&[&other])),
        ("/own-held-items", set(&[&own, &other]), set(&[&other])),
        ("/refused-edits", set(&[&squad.athlete, &squad.hidden]), set(&[&squad.hidden])),
    ] {
        assert_eq!((shown(&squad.admin, list).await, shown(&app, list).await), (all, few), "{list}");
    }
    for id in [&theirs, &own] {
        app.post(&format!("/held-items/{id}/reject"), json!({"reason": "No"})).await.expect(404);
        app.post(&format!("/held-items/{id}/accept"), json!({"group_id": squad.mine})).await.expect(404);
    }
    squad.admin.post(&format!("/held-items/{theirs}/accept"), json!({"group_id": squad.mine})).await.expect(200);
}

#[sqlx::test]
async fn an_app_of_an_admin_hands_in_a_group_with_what_is_in_it(pool: PgPool) {
    let squad = sync_pull::squad(pool).await;
    let app = oauth::acting(&squad.admin, &SCOPES).await;
    let group = create("group", json!({"name": "New squad"}));
    let athlete = json!({"display_name": "Ida", "sex": "F", "birth_year": 2012, "group_ids": [group["id"]], "experience": "novice"});
    let session = json!({"held_on": squad.day, "state": "held", "group_ids": [group["id"]]});
    let sent = [group, create("athlete", athlete), create("session", session)];
    let results = push(&app, &sent).await;
    assert_eq!(statuses(&results), [201; 3], "{results:?}");
}

/// Everything that the feed tells a phone of an app since it last pulled.
async fn told(app: &Caller, phone: &mut Phone) -> Vec<Value> {
    let path = format!("/changes?limit=2000{}&sync_token={}", phone.wish, phone.token.as_ref().unwrap());
    let page = app.get(&path).await.expect(200).body;
    phone.apply(&page);
    page["changes"].as_array().unwrap().clone()
}

#[sqlx::test]
async fn of_what_is_recorded_about_somebody_withheld_the_feed_tells_an_app_nothing(pool: PgPool) {
    let squad = sync_pull::squad(pool).await;
    let app = oauth::acting(&squad.admin, &SCOPES).await;
    let fact = || sync_pull::run(&squad.session, &squad.athlete, squad.day);
    let record = async |fact: Value| squad.coach.post("/runs", json!({"runs": [fact]})).await.expect(200);
    record(fact()).await;
    let (mut whole, mut runs) = (Phone::default(), Phone::asking("&types=run".to_owned()));
    for phone in [&mut whole, &mut runs] {
        phone.pull(&app, 2_000).await;
        assert_eq!(phone.ids("run").len(), 1);
    }
    withhold(&squad.admin, &squad.athlete).await;
    // Who has a copy is told to drop it with all that is in it, also where it carries no athletes.
    for phone in [&mut whole, &mut runs] {
        let gone = told(&app, phone).await;
        assert!(!gone.is_empty() && gone.iter().all(|one| one["id"] == squad.athlete.as_str()), "{gone:?}");
    }
    assert!(whole.ids("run").is_empty() && runs.ids("run").is_empty());
    // That of somebody else stays.
    assert_eq!(whole.ids("measurement").len(), 1);

    record(fact()).await;
    let present = format!("/sessions/{}/attendance", squad.session);
    let tag = squad.coach.get(&present).await.expect(200).header("etag").to_owned();
    squad.coach.put(&present, &tag, json!({"present": [squad.athlete]})).await.expect(200);
    let on = Utc::now().date_naive();
    let report = stored(&squad.coach, wellbeing::record(&squad.athlete, "injury", on, &json!({}))).await;
    for phone in [&mut whole, &mut runs] {
        let news = told(&app, phone).await;
        let below = ["run", "attendance", "wellbeing_record", "measurement", "athlete"];
        assert!(!news.iter().any(|one| below.contains(&one["type"].as_str().unwrap())), "{news:?}");
    }
    // Nor does a copy that begins now, or one that goes on with another group.
    let mut fresh = Phone::asking(format!("&groups={}", squad.other));
    fresh.pull(&app, 2_000).await;
    fresh.wish = format!("&groups={},{}", squad.other, squad.mine);
    let added = told(&app, &mut fresh).await;
    assert!(
        !format!("{added:?}").contains(&squad.athlete) && !added.iter().any(|one| one["id"] == report),
        "{added:?}"
    );
    assert!(fresh.ids("run").is_empty() && fresh.ids("attendance").is_empty());
    // Members have all of it.
    let mut member = Phone::default();
    member.pull(&squad.coach, 2_000).await;
    assert_eq!(["run", "attendance", "wellbeing_record"].map(|kind| member.ids(kind).len()), [2, 1, 1]);
}

#[sqlx::test]
async fn audit_and_exports_name_nobody_to_an_app_who_is_withheld_from_it(pool: PgPool) {
    let squad = sync_pull::squad(pool).await;
    let (admin, athlete) = (&squad.admin, squad.athlete.as_str());
    let app = oauth::acting(admin, &SCOPES).await;
    let export = admin.post("/exports", json!({"athlete_id": athlete})).await.expect(201).id();
    let others = admin.post("/exports", json!({"athlete_id": squad.hidden})).await.expect(201).id();
    let fact = sync_pull::run(&squad.session, athlete, squad.day);
    let run = fact["id"].as_str().unwrap().to_owned();
    squad.coach.post("/runs", json!({"runs": [fact]})).await.expect(200);
    withhold(admin, athlete).await;

    let ids = async |caller: &Caller, path: &str| -> Vec<Value> {
        let items = caller.get(path).await.expect(200).body["items"].as_array().unwrap().clone();
        items.into_iter().map(|one| one["id"].clone()).collect()
    };
    assert_eq!(ids(admin, "/exports").await.len(), 2);
    assert_eq!(ids(&app, "/exports").await, [json!(others)]);
    app.get(&format!("/exports/{export}")).await.expect(404);
    admin.get(&format!("/exports/{export}")).await.expect(200);
    app.get(&format!("/exports/{others}")).await.expect(200);

    // A row is there for both, but an app is not told of whom, nor of which records.
    let text = async |caller: &Caller, path: &str| String::from_utf8(caller.get(path).await.expect(200).bytes).unwrap();
    for path in ["/audit?act=changed&limit=200", "/audit/export"] {
        let (whole, few) = (text(admin, path).await, text(&app, path).await);
        for named in [athlete, run.as_str()] {
            assert!(whole.contains(named) && !few.contains(named), "{path}: {named}");
        }
        assert!(few.contains(&squad.hidden), "{path}: who is not withheld is named");
    }
    let changed = async |caller: &Caller, filter: &str| -> usize {
        let page = caller.get(&format!("/audit?act=changed&limit=200{filter}")).await.expect(200).body;
        page["items"].as_array().unwrap().len()
    };
    assert_eq!(changed(admin, "").await, changed(&app, "").await);
    let about = format!("&athlete_id={athlete}");
    assert!(changed(admin, &about).await > 0);
    // As of somebody who never was.
    assert_eq!(changed(&app, &about).await, changed(&app, &format!("&athlete_id={}", Uuid::now_v7())).await);
}
