//! A deleted athlete is erased for good: late facts, replayed journals and restored copies bring nothing of them back.

use std::process::{Command, Stdio};

use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::erasures;
use lanewright::platform::ids::ClubId;
use lanewright::resources::athletes;
use serde_json::{Value, json};
use sqlx::{ConnectOptions, PgPool};
use uuid::Uuid;

use crate::support::{Caller, TestApp, in_club};
use crate::sync_polls::Other;
use crate::sync_pull::{Squad, athlete, run, squad};
use crate::sync_push::{count, create, push, statuses};

pub async fn erase(admin: &Caller, athlete: &str) {
    let path = format!("/athletes/{athlete}");
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.delete(&path, &tag).await.expect(204);
}

/// One fact of each kind about an athlete.
fn facts(squad: &Squad) -> [Value; 4] {
    let measured = json!({"athlete_id": squad.athlete, "kind": "stature_m", "value": 1.5, "measured_on": squad.day});
    let report = json!({"athlete_id": squad.athlete, "kind": "restriction", "reported_on": squad.day});
    let rating = json!({"athlete_id": squad.athlete, "assessed_at": format!("{}T18:00:00Z", squad.day),
        "ratings": {"arms": 2}, "note": "Tired"});
    let mut ran = run(&squad.session, &squad.athlete, squad.day);
    ran["note"] = json!("Ran with Mira");
    [
        create("measurement", measured),
        create("wellbeing_record", report),
        create("assessment", rating),
        create("run", ran),
    ]
}

#[sqlx::test]
async fn nothing_about_an_erased_athlete_comes_to_the_holding_area(pool: PgPool) {
    let squad = squad(pool).await;
    let elsewhere = squad.admin.member("Other Coach", "coach", &[&squad.other]).await;
    let (journal, outbox, foreign) = (facts(&squad), facts(&squad), facts(&squad));
    assert_eq!(statuses(&push(&squad.coach, &journal).await), [201; 4]);
    // Held while they were there: a measurement and a run of a session that is not.
    let mut early = facts(&squad);
    early[3]["data"]["session_id"] = json!(Uuid::now_v7());
    assert_eq!(statuses(&push(&elsewhere, &[early[0].clone()]).await), [202]);
    assert_eq!(statuses(&push(&squad.coach, &[early[3].clone()]).await), [202]);
    erase(&squad.admin, &squad.athlete).await;
    assert_eq!(count(&squad, "held_item where kind = 'measurement'").await, 0, "what is personal goes at once");
    assert_eq!(count(&squad, "held_item where data ? 'note'").await, 0);
    let again = push(&squad.coach, &journal).await;
    assert_eq!(statuses(&again), [410, 410, 200, 200], "{again:?}");
    assert_eq!(again[0]["problem"]["errors"][0]["code"], "erased");
    assert_eq!(statuses(&push(&squad.coach, &outbox).await), [410; 4]);
    assert_eq!(statuses(&push(&squad.coach, &[early[3].clone()]).await), [202], "what waits is answered as it was");
    // Whoever never saw them is answered as about anybody who is not theirs, and nothing is kept all the same.
    assert_eq!(statuses(&push(&elsewhere, &foreign).await), [202; 4]);
    assert_eq!(count(&squad, "held_item").await, 1);
}

#[sqlx::test]
async fn an_attendance_is_answered_without_the_erased_and_can_be_sent_back(pool: PgPool) {
    let squad = squad(pool).await;
    let stays = athlete(&squad.admin, "Stays", &[&squad.mine]).await;
    let path = format!("/sessions/{}/attendance", squad.session);
    let first = squad.coach.put(&path, "", json!({"present": [squad.athlete, stays]})).await.expect(200);
    assert_eq!(first.body["present"].as_array().unwrap().len(), 2);
    erase(&squad.admin, &squad.athlete).await;
    let list = squad.coach.get(&path).await.expect(200);
    assert_eq!(list.body, json!({"present": [stays]}));
    let tag = list.header("etag").to_owned();
    assert_eq!(squad.coach.put(&path, &tag, list.body.clone()).await.expect(200).body, list.body);
    squad.coach.put(&path, &tag, json!({"present": [squad.athlete]})).await.expect_fault(422, "/present/0");
    assert_eq!(squad.coach.put(&path, &tag, json!({"present": []})).await.expect(200).body, json!({"present": []}));
}

#[sqlx::test]
async fn a_restored_copy_is_rid_of_everybody_who_was_erased_since_before_it_is_served(pool: PgPool) {
    let squad = squad(pool).await;
    let file = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let options = (*squad.app.pool.connect_options()).clone();
    let db = Db::lazy(options.clone(), 1);
    let before = athlete(&squad.admin, "Before", &[&squad.mine]).await;
    erase(&squad.admin, &before).await;
    assert_eq!(athletes::erasures::settle(&db, &file).await.unwrap(), 0, "who is erased already is put into the list");
    let config = Config { workers: 1, erasures: Some(file.clone()), ..Config::default() };
    let app = TestApp::spawn_with(squad.app.pool.clone(), options, config).await;
    let (admin, coach) = (Caller { app: app.clone(), ..squad.admin.clone() }, Caller { app, ..squad.coach.clone() });
    let measured = facts(&squad)[0].clone();
    assert_eq!(statuses(&push(&coach, std::slice::from_ref(&measured)).await), [201]);
    let late = create(
        "athlete",
        json!({"display_name": "Late", "sex": "F", "birth_year": 2012, "experience": "novice",
        "group_ids": [squad.mine]}),
    );
    let late_id = late["id"].as_str().unwrap();
    assert_eq!(statuses(&push(&coach, std::slice::from_ref(&late)).await), [201]);
    erase(&admin, &squad.athlete).await;
    erase(&admin, late_id).await;
    let listed = erasures::read(&file).unwrap();
    assert_eq!(
        listed.values().map(std::collections::BTreeSet::len).sum::<usize>(),
        3,
        "noted as it happens: {listed:?}"
    );
    // The database comes back as a copy in which one of them is there and the other has not come yet.
    let (club, here) = (&squad.admin.club, &squad.athlete);
    let copy = format!(
        "update athletes set display_name = 'Mira', sex = 'F', birth_year = 2012, status = 'active', deleted_at = null where id = '{here}';
         insert into root_scope (club_id, kind, root_id, scope_id) values ('{club}', 'athlete', '{here}', '{}');
         insert into measurements (club_id, id, athlete_id, kind, value_milli, measured_on, created_at, rev)
           values ('{club}', '{}', '{here}', 'stature_m', 1500, now()::date, now(), 1);
         delete from op_receipt; delete from athletes where id = '{late_id}'",
        squad.mine,
        measured["id"].as_str().unwrap()
    );
    in_club(&squad.app.pool, club, &copy).await;
    coach.get(&format!("/athletes/{here}")).await.expect(200);
    assert_eq!(athletes::erasures::settle(&db, &file).await.unwrap(), 2);
    assert_eq!(athletes::erasures::settle(&db, &file).await.unwrap(), 0, "once");
    coach.get(&format!("/athletes/{here}")).await.expect(404);
    assert_eq!(count(&squad, &format!("measurements where athlete_id = '{here}'")).await, 0);
    assert_eq!(count(&squad, "athletes where display_name = 'Mira'").await, 0);
    // The phones replay their journals.
    assert_eq!(statuses(&push(&coach, &[late, measured]).await), [410, 410], "a journal brings nobody back");
    assert_eq!(count(&squad, "held_item").await, 0);
    std::fs::remove_file(file).unwrap();
}

/// The program itself, as an operator runs it on a copy that still has who was erased.
#[sqlx::test]
async fn the_program_serves_no_copy_before_it_is_rid_of_who_was_erased(pool: PgPool) {
    let squad = squad(pool).await;
    let club = ClubId(squad.admin.club.parse().unwrap());
    let file = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let later = athlete(&squad.admin, "Later", &[&squad.mine]).await;
    let stays = athlete(&squad.admin, "Stays", &[&squad.mine]).await;
    erasures::add(&file, &[(club, squad.athlete.parse().unwrap())]).unwrap();
    let (_other, app) = Other::start_with(&squad.app, Stdio::null(), &[("LANEWRIGHT_ERASURES", file.as_path())]);
    let admin = Caller { app, ..squad.admin.clone() };
    admin.get(&format!("/athletes/{}", squad.athlete)).await.expect(404);
    let hers = format!("measurements where athlete_id = '{}'", squad.athlete);
    assert_eq!(count(&squad, &hers).await, 0);
    // What the running program erases is in the list as well.
    let gone = athlete(&admin, "Gone", &[&squad.mine]).await;
    erase(&admin, &gone).await;
    assert!(erasures::read(&file).unwrap()[&club].contains(&gone.parse().unwrap()));

    erasures::add(&file, &[(club, later.parse().unwrap())]).unwrap();
    let (url, list) = (squad.app.pool.connect_options().to_url_lossy().to_string(), file.clone());
    let run = move || {
        let mut program = Command::new(env!("CARGO_BIN_EXE_lanewright"));
        program.arg("after-restore").env("DATABASE_URL", url).env("LANEWRIGHT_ERASURES", list).output().unwrap()
    };
    let ended = tokio::task::spawn_blocking(run).await.unwrap();
    let says = String::from_utf8_lossy(&ended.stdout);
    assert!(ended.status.success() && says.contains(" 1 athletes who were erased"), "{says}");
    admin.get(&format!("/athletes/{later}")).await.expect(404);
    admin.get(&format!("/athletes/{stays}")).await.expect(200);
    std::fs::remove_file(file).unwrap();
}
