//! Polls of a phone that is up to date: answered without a read, and never longer than a second after something changed.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use chrono::Utc;
use lanewright::platform::db::Db;
use lanewright::platform::ids::{AccountId, DeviceId};
use lanewright::platform::token::{ACCESS_SECONDS, Keys};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{ConnectOptions, PgPool};
use uuid::Uuid;

use crate::support::{Answer, Caller, PASSWORD, TestApp, eventually, in_club};
use crate::sync_pull::{Phone, Squad, run, squad};
use crate::sync_push::{create, push, statuses};

/// What a poll with the phone's token is answered.
async fn poll(caller: &Caller, phone: &Phone) -> Answer {
    caller.get(&format!("/changes?sync_token={}", phone.token.as_ref().unwrap())).await
}

fn is_empty(answer: &Answer, phone: &Phone) -> bool {
    let token = json!(phone.token.as_ref().unwrap());
    answer.status == 200 && answer.body == json!({"from": token, "sync_token": token, "more": false, "changes": []})
}

/// A phone that has read everything and asked again, so that the service remembers it.
async fn remembered(caller: &Caller) -> Phone {
    let mut phone = Phone::default();
    phone.pull(caller, 500).await;
    for _ in 0..2 {
        let answer = poll(caller, &phone).await;
        assert!(is_empty(&answer, &phone), "{answer:?}");
    }
    phone
}

/// Asks twice with a token that has so many seconds left; whether both answers came while it held.
async fn remembered_in_time(caller: &Caller, phone: &Phone) -> bool {
    for _ in 0..2 {
        let answer = poll(caller, phone).await;
        if answer.status == 401 {
            return false;
        }
        assert!(is_empty(&answer, phone), "{answer:?}");
    }
    true
}

async fn record(squad: &Squad, by: &Caller) {
    let fact = create("run", run(&squad.session, &squad.athlete, squad.day));
    assert_eq!(statuses(&push(by, &[fact]).await), [201]);
}

async fn device_of(admin: &Caller, member: &Caller) -> String {
    let devices = admin.get("/sync-devices").await.expect(200).body["items"].as_array().unwrap().clone();
    let device = devices.iter().find(|one| one["member_id"] == json!(member.account)).unwrap();
    device["id"].as_str().unwrap().to_owned()
}

#[sqlx::test]
async fn what_this_instance_commits_is_heard_at_once(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = remembered(&squad.coach).await;
    record(&squad, &squad.admin).await;
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("run").len(), 1, "a change");

    let phone = remembered(&squad.coach).await;
    let device = device_of(&squad.admin, &squad.coach).await;
    squad.admin.post(&format!("/sync-devices/{device}/resync"), json!({})).await.expect(204);
    assert_eq!(poll(&squad.coach, &phone).await.expect(410).body["type"], "/problems/sync-token-expired");

    let mut phone = remembered(&squad.coach).await;
    let member = format!("/members/{}", squad.coach.account);
    let tag = squad.admin.get(&member).await.header("etag").to_owned();
    squad.admin.patch(&member, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("athlete"), [squad.hidden.as_str()], "a grant that went and one that came");

    let phone = remembered(&squad.coach).await;
    let tag = squad.admin.get(&member).await.header("etag").to_owned();
    squad.admin.delete(&member, &tag).await.expect(204);
    poll(&squad.coach, &phone).await.expect(404);
}

#[sqlx::test]
async fn another_token_or_another_wish_is_judged_by_itself(pool: PgPool) {
    let squad = squad(pool).await;
    let phone = remembered(&squad.coach).await;
    let token = phone.token.clone().unwrap();
    poll(&squad.admin, &phone).await.expect(400);
    squad.coach.get(&format!("/changes?sync_token={token}x")).await.expect(400);
    squad.coach.get(&format!("/changes?sync_token={token}&limit=0")).await.expect(400);
    squad.app.get(&squad.coach.path(&format!("/changes?sync_token={token}"))).await.expect(401);
    let narrower = squad.coach.get(&format!("/changes?sync_token={token}&types=run")).await.expect(200);
    assert_ne!(narrower.body["sync_token"], json!(token), "the phone carries less from now on");
    let wider = narrower.body["sync_token"].as_str().unwrap().to_owned();
    let wider = squad.coach.get(&format!("/changes?sync_token={wider}")).await.expect(200);
    assert!(!wider.body["changes"].as_array().unwrap().is_empty(), "what was left out is copied");
    let path = squad.coach.path(&format!("/changes?sync_token={token}"));
    let waited = squad.coach.call(Method::GET, &path, &[("prefer", "wait=1")], None);
    assert_eq!(waited.await.expect(200).header("preference-applied"), "wait=1");
}

#[sqlx::test]
async fn an_access_token_that_expires_ends_the_polls(pool: PgPool) {
    let squad = squad(pool).await;
    let keys = Keys::load(&Db::lazy((*squad.app.pool.connect_options()).clone(), 1)).await.unwrap();
    let account = AccountId(squad.coach.account.parse().unwrap());
    let device: Uuid = sqlx::query_scalar("select id from devices where account_id = $1")
        .bind(account.0)
        .fetch_one(&squad.app.pool)
        .await
        .unwrap();
    let phone = remembered(&squad.coach).await;
    // The fewest seconds in which this machine answers twice.
    for left in [2, 4, 8, 16, 32, 64] {
        let begun = Utc::now() - chrono::Duration::seconds(ACCESS_SECONDS - left);
        let token = keys.sign(account, DeviceId(device), "sync", begun).unwrap();
        let caller = Caller { token, ..squad.coach.clone() };
        if remembered_in_time(&caller, &phone).await {
            until(&caller, &phone, 401).await;
            return;
        }
    }
    panic!("no two answers within a minute");
}

/// Polls until the answer is this one; all before are empty.
async fn until(caller: &Caller, phone: &Phone, status: u16) -> Answer {
    let mut heard = None;
    eventually("the polls hear of it", async || {
        heard = Some(poll(caller, phone).await).filter(|answer| !is_empty(answer, phone));
        heard.is_some()
    })
    .await;
    heard.unwrap().expect(status)
}

/// Another instance of the service, in a process of its own.
pub struct Other(Child);

impl Other {
    /// Starts it on the database of a test; the app to call it by.
    fn start(app: &TestApp) -> (Self, TestApp) {
        Self::start_with(app, Stdio::null(), &[])
    }

    /// The same, with its log there and these settings.
    pub fn start_with(app: &TestApp, log: Stdio, settings: &[(&str, &Path)]) -> (Self, TestApp) {
        let child = Command::new(env!("CARGO_BIN_EXE_lanewright"))
            .arg("serve")
            .env("DATABASE_URL", app.pool.connect_options().to_url_lossy().as_str())
            .env("LANEWRIGHT_LISTEN", "127.0.0.1:0")
            .envs(settings.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .unwrap();
        let mut other = Self(child);
        let mut line = String::new();
        BufReader::new(other.0.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let base =
            line.split(' ').find(|word| word.starts_with("http")).unwrap_or_else(|| panic!("{line:?}")).to_owned();
        let mut there = app.clone();
        there.base = base;
        (other, there)
    }
}

impl Drop for Other {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

#[sqlx::test]
async fn what_another_instance_commits_is_heard_soon(pool: PgPool) {
    let squad = squad(pool).await;
    let (_other, app) = Other::start(&squad.app);
    let admin = Caller { app: app.clone(), ..squad.admin.clone() };
    let coach = &squad.coach;

    let phone = remembered(coach).await;
    record(&squad, &admin).await;
    assert_eq!(until(coach, &phone, 200).await.body["changes"][0]["type"], "run");

    let phone = remembered(coach).await;
    let device = device_of(&admin, coach).await;
    admin.post(&format!("/sync-devices/{device}/resync"), json!({})).await.expect(204);
    until(coach, &phone, 410).await;

    let phone = remembered(coach).await;
    let member = format!("/members/{}", coach.account);
    let tag = admin.get(&member).await.header("etag").to_owned();
    admin.patch(&member, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    let taken: Vec<Value> = until(coach, &phone, 200).await.body["changes"].as_array().unwrap().clone();
    assert!(
        taken.iter().any(|one| one["id"] == json!(squad.athlete) && one["removed"]["reason"] == "changed"),
        "{taken:?}"
    );

    let body = json!({"email": coach.email, "password": PASSWORD, "device_name": "Second"});
    let signed_in = app.post("/v1/auth/sign-in", body).await.expect(200).body;
    let text = |name: &str| signed_in[name].as_str().unwrap().to_owned();
    let second = Caller { token: text("access_token"), refresh: text("refresh_token"), ..coach.clone() };
    let phone = remembered(&second).await;
    app.post("/v1/auth/sign-out", json!({"refresh_token": second.refresh})).await.expect(204);
    until(&second, &phone, 401).await;

    let phone = remembered(coach).await;
    let tag = admin.get(&member).await.header("etag").to_owned();
    admin.delete(&member, &tag).await.expect(204);
    until(coach, &phone, 404).await;
}

#[sqlx::test]
async fn a_database_restored_under_the_service_is_noticed(pool: PgPool) {
    let squad = squad(pool).await;
    let shared = squad.admin.seq().await;
    record(&squad, &squad.admin).await;
    let phone = remembered(&squad.coach).await;
    let club = &squad.admin.club;
    let undo = format!(
        "delete from runs; delete from club_change where seq > {shared};
         update club_clock set seq = {shared}"
    );
    in_club(&squad.app.pool, club, &undo).await;
    assert_eq!(until(&squad.coach, &phone, 410).await.body["type"], "/problems/history-diverged");
}

/// Ends a sign-in by each of the ways there are, at `there`, while a phone waits at its own instance.
async fn ended_while_waiting(squad: &Squad, there: &TestApp) {
    let coach = &squad.coach;
    for way in ["sign-out", "device", "password"] {
        let body = json!({"email": coach.email, "password": PASSWORD, "device_name": way});
        let signed_in = squad.app.post("/v1/auth/sign-in", body).await.expect(200).body;
        let text = |name: &str| signed_in[name].as_str().unwrap().to_owned();
        let waiter = Caller { token: text("access_token"), refresh: text("refresh_token"), ..coach.clone() };
        let own = Caller { app: there.clone(), ..coach.clone() };
        let mut phone = Phone::default();
        phone.pull(&waiter, 500).await;
        let path = waiter.path(&format!("/changes?sync_token={}", phone.token.clone().unwrap()));
        let waiting = waiter.call(Method::GET, &path, &[("prefer", "wait=25")], None);
        let ending = async {
            // So that it usually waits already; one that has not begun is refused as well.
            tokio::time::sleep(Duration::from_millis(300)).await;
            match way {
                "sign-out" => {
                    own.app.post("/v1/auth/sign-out", json!({"refresh_token": waiter.refresh})).await.expect(204)
                }
                "device" => {
                    let devices = own.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200).body;
                    let named = devices["items"].as_array().unwrap().iter().find(|one| one["name"] == way);
                    let id = named.unwrap()["id"].as_str().unwrap();
                    own.call(Method::DELETE, &format!("/v1/me/devices/{id}"), &[], None).await.expect(204)
                }
                _ => {
                    let change = json!({"current": PASSWORD, "new": "another long password"});
                    own.call(Method::POST, "/v1/me/password", &[], Some(change)).await.expect(204)
                }
            }
        };
        let (answer, _) = tokio::join!(waiting, ending);
        // One that waits to the end of its time would be given an empty page.
        assert_eq!(answer.status, 401, "{way}: {}", answer.body);
    }
}

#[sqlx::test]
async fn a_poll_that_waits_ends_when_its_sign_in_does(pool: PgPool) {
    let squad = squad(pool).await;
    ended_while_waiting(&squad, &squad.app).await;
}

#[sqlx::test]
async fn a_poll_that_waits_ends_when_another_instance_ends_its_sign_in(pool: PgPool) {
    let squad = squad(pool).await;
    let (_other, app) = Other::start(&squad.app);
    ended_while_waiting(&squad, &app).await;
}

/// A poll that waits: how long it took, and what it was answered.
async fn waited(caller: &Caller, query: &str, seconds: u64) -> (Duration, Value) {
    let path = caller.path(&format!("/changes?{query}"));
    let begun = Instant::now();
    let wish = format!("wait={seconds}");
    let answer = caller.call(Method::GET, &path, &[("prefer", &wish)], None).await.expect(200);
    (begun.elapsed(), answer.body)
}

/// Somebody waits while others do what is not theirs to see, at `there`: the wait goes on to its end, and what is theirs is
/// heard by the next.
async fn unmoved(squad: &Squad, there: &TestApp) {
    let coach = &squad.coach;
    let admin = Caller { app: there.clone(), ..squad.admin.clone() };
    let mut phone = Phone::default();
    phone.pull(coach, 500).await;
    let all = format!("sync_token={}", phone.token.as_ref().unwrap());
    // One that carries venues alone sleeps over everything else of its own groups.
    let mut venues = Phone::asking("&types=venue".to_owned());
    venues.pull(coach, 500).await;
    let few = format!("types=venue&sync_token={}", venues.token.as_ref().unwrap());
    let (of_group, of_type) = (Uuid::now_v7().to_string(), Uuid::now_v7().to_string());
    let busy = async {
        for (at, athlete, session) in [(0, &squad.hidden, &of_group), (1, &squad.hidden, &of_type)] {
            tokio::time::sleep(Duration::from_millis(400)).await;
            let body = json!({"id": session, "held_on": squad.day, "state": "held", "group_ids": [squad.other]});
            admin.post("/sessions", body).await.expect(201);
            let fact = create("run", run(session, athlete, squad.day));
            assert_eq!(statuses(&push(&admin, &[fact]).await), [201], "{at}");
        }
    };
    let ((time, answer), ()) = tokio::join!(waited(coach, &all, 3), busy);
    assert_eq!(answer["changes"], json!([]), "{answer}");
    assert!(time >= Duration::from_secs(3), "the wait ended after {time:?} for what others did");
    assert_eq!((&answer["more"], answer["from"].as_str()), (&json!(false), phone.token.as_deref()));
    phone.apply(&answer);

    let own = async {
        tokio::time::sleep(Duration::from_millis(400)).await;
        record(squad, &admin).await;
    };
    let ((time, answer), ()) = tokio::join!(waited(coach, &few, 3), own);
    assert_eq!(answer["changes"], json!([]), "{answer}");
    assert!(time >= Duration::from_secs(3), "the wait ended after {time:?} for a type that is not carried");
    let token = format!("sync_token={}", phone.token.as_ref().unwrap());
    let (_, answer) = waited(coach, &token, 25).await;
    assert_eq!(answer["changes"][0]["type"], "run", "{answer}");
}

#[sqlx::test]
async fn a_poll_that_waits_sleeps_over_what_is_not_for_its_caller(pool: PgPool) {
    let squad = squad(pool).await;
    unmoved(&squad, &squad.app).await;
}

#[sqlx::test]
async fn a_poll_that_waits_sleeps_over_what_others_do_at_another_instance(pool: PgPool) {
    let squad = squad(pool).await;
    let (_other, app) = Other::start(&squad.app);
    unmoved(&squad, &app).await;
}

/// What comes after something hidden is heard in the same wait.
#[sqlx::test]
async fn a_poll_that_slept_over_what_is_hidden_hears_what_is_not(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let mut heard = Value::Null;
    eventually("it is heard", async || {
        let token = format!("sync_token={}", phone.token.as_ref().unwrap());
        let writing = async {
            squad.admin.group("Elsewhere").await;
            record(&squad, &squad.admin).await;
        };
        let ((time, answer), ()) = tokio::join!(waited(&squad.coach, &token, 20), writing);
        // On a slow machine the wait may be over before the writing is; an empty answer comes no earlier.
        assert!(answer["changes"] != json!([]) || time >= Duration::from_secs(20), "{time:?} {answer}");
        phone.apply(&answer);
        heard = answer;
        heard["changes"] != json!([])
    })
    .await;
    assert_eq!(heard["changes"][0]["type"], "run", "{heard}");
}

/// What another instance writes to its log.
#[sqlx::test]
async fn the_log_names_account_club_and_kind_of_address_and_no_person(pool: PgPool) {
    let squad = squad(pool).await;
    let folder = std::env::temp_dir().join(format!("lanewright-log-{}", Uuid::new_v4().simple()));
    let log = std::fs::File::create(&folder).unwrap();
    let (other, app) = Other::start_with(&squad.app, log.into(), &[]);
    let coach = Caller { app: app.clone(), ..squad.coach.clone() };
    coach.get("/athletes?q=Seen").await.expect(200);
    coach.get("/athletes?q=%00").await.expect(400);
    coach.get("/athletes?Mira=Osei").await.expect(400);
    coach.post("/groups", json!({"name": "Mira Osei"})).await.expect(403);
    app.post("/v1/auth/sign-in", json!({"email": coach.email, "password": "a wrong one"})).await.expect(401);
    app.person("Ivo Ferret").await;
    drop(other);
    let text = std::fs::read_to_string(&folder).unwrap();
    std::fs::remove_file(&folder).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let asked: Vec<&Value> =
        lines.iter().map(|line| &line["fields"]).filter(|one| one["message"] == "request").collect();
    assert_eq!(asked.len(), 6, "{text}");
    assert!(asked.iter().all(|one| one["address"] == "loopback"), "{text}");
    assert_eq!(asked[0]["account.id"], json!(coach.account), "{text}");
    assert_eq!(asked[0]["club.id"], json!(coach.club), "{text}");
    assert_eq!(asked[0]["route"], "/v1/clubs/{club_id}/athletes", "{text}");
    for word in ["@", "Seen", "Mira", "Osei", "Ivo", "Ferret", "wrong one", &coach.token, "q="] {
        assert!(!text.contains(word), "{word}: {text}");
    }
}

/// What requests do to each other at the same moment is expected: it is no error of the service in its log.
#[sqlx::test]
async fn the_log_calls_no_race_of_requests_an_error(pool: PgPool) {
    let squad = squad(pool).await;
    let folder = std::env::temp_dir().join(format!("lanewright-log-{}", Uuid::new_v4().simple()));
    let log = std::fs::File::create(&folder).unwrap();
    let (other, app) = Other::start_with(&squad.app, log.into(), &[]);
    let admin = Caller { app, ..squad.admin.clone() };
    // A lock that does not come free in time.
    let path = format!("/athletes/{}", squad.athlete);
    let tag = admin.get(&path).await.header("etag").to_owned();
    let mut held = squad.app.pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", admin.club);
    let lock =
        format!("select id from athletes where club_id = '{}' and id = '{}' for update", admin.club, squad.athlete);
    for statement in [enter, lock] {
        sqlx::raw_sql(sqlx::AssertSqlSafe(statement)).execute(&mut *held).await.unwrap();
    }
    admin.patch(&path, &tag, json!({"display_name": "Later"})).await.expect(503);
    held.rollback().await.unwrap();
    // The same name, the same id and the same version, each many times at once.
    let id = Uuid::now_v7();
    let names = (0..12).map(|_| admin.post("/groups", json!({"name": "At once"})));
    let ids = (0..12).map(|at| admin.post("/groups", json!({"id": id, "name": format!("Named {at}")})));
    let edits = (0..12).map(|at| admin.patch(&path, &tag, json!({"display_name": format!("Edit {at}")})));
    let all = futures_util::future::join3(
        futures_util::future::join_all(names),
        futures_util::future::join_all(ids),
        futures_util::future::join_all(edits),
    );
    let (names, ids, edits) = all.await;
    let done = |answers: &[Answer]| answers.iter().filter(|one| one.status < 300).count();
    assert_eq!((done(&names), done(&ids), done(&edits)), (1, 1, 1));
    drop(other);
    let text = std::fs::read_to_string(&folder).unwrap();
    std::fs::remove_file(&folder).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert!(lines.iter().any(|line| line["level"] == "WARN"), "{text}");
    let errors: Vec<&Value> = lines.iter().filter(|line| line["level"] == "ERROR").collect();
    assert!(errors.is_empty(), "{errors:?}");
}
