//! Who read, exported, changed and granted what stands in the audit, once a request, and nobody changes it unseen.

use std::collections::BTreeSet;
use std::time::Duration;

use actix_web::web::Data;
use lanewright::chores;
use lanewright::platform::audit::{Act, Entry, Trail, Whose};
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::ids::ClubId;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, PASSWORD, TestApp, eventually, in_club};
use crate::sync_push::{batch, create};

fn athlete(name: &str, group: &str) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"})
}

/// The rows of the club, the oldest first.
async fn rows(admin: &Caller, query: &str) -> Vec<Value> {
    let (mut rows, mut cursor) = (Vec::new(), String::new());
    loop {
        let page = admin.get(&format!("/audit?limit=200{query}{cursor}")).await.expect(200).body;
        rows.extend(page["items"].as_array().unwrap().iter().cloned());
        let Some(next) = page["next_cursor"].as_str() else { break };
        cursor = format!("&cursor={next}");
    }
    rows.reverse();
    rows
}

/// Waits for a row of this kind and operation, and returns all like it.
pub async fn noted(admin: &Caller, act: &str, operation: &str) -> Vec<Value> {
    let mut found = Vec::new();
    eventually(&format!("{act} {operation}"), async || {
        found = rows(admin, &format!("&act={act}")).await;
        found.retain(|row| row["operation"] == operation);
        !found.is_empty()
    })
    .await;
    found
}

/// Statements of whoever owns the tables.
pub async fn as_owner(pool: &PgPool, club: &str, sql: &str) {
    in_club(pool, club, sql).await;
}

#[sqlx::test]
async fn every_request_about_people_is_one_row(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let coach = admin.member("Cora Coach", "coach", &[&group]).await;
    let viewer = admin.member("Vera Viewer", "viewer", &[&group]).await;
    let id = coach.post("/athletes", athlete("Mira Osei", &group)).await.expect(201).id();
    let one = "/v1/clubs/{club_id}/athletes/{athlete_id}";

    // A change stands there as soon as it is answered.
    let made = rows(&admin, "&act=changed").await.pop().unwrap();
    assert_eq!(made["operation"], "POST /v1/clubs/{club_id}/athletes");
    assert_eq!((&made["account_id"], &made["athlete_ids"]), (&json!(coach.account), &json!([id])));
    assert_eq!((&made["reach"], &made["address"]), (&json!("named"), &json!("127.0.0.1")));
    assert!(made["device_id"].is_string());
    let granted = rows(&admin, "&act=granted").await;
    let operations: Vec<&str> = granted.iter().map(|row| row["operation"].as_str().unwrap()).collect();
    let (invite, accept) = ("POST /v1/clubs/{club_id}/invitations", "POST /v1/invitations/accept");
    assert_eq!(operations, [invite, accept, invite, accept]);
    assert_eq!(granted[1]["account_id"], json!(coach.account));

    // Each read is a row, a list as well; who reads the places of the club is not noted.
    for _ in 0..3 {
        viewer.get(&format!("/athletes/{id}")).await.expect(200);
    }
    viewer.get("/athletes").await.expect(200);
    viewer.get("/venues").await.expect(200);
    admin.get("/athletes/export").await.expect(200);
    let exported = noted(&admin, "exported", "GET /v1/clubs/{club_id}/athletes/export").await;
    assert_eq!((exported.len(), &exported[0]["reach"]), (1, &json!("seen")));
    let read = noted(&admin, "read", &format!("GET {one}")).await;
    assert_eq!(read.len(), 3);
    assert!(read.iter().all(|row| row["athlete_ids"] == json!([id]) && row["account_id"] == json!(viewer.account)));
    assert_eq!(noted(&admin, "read", "GET /v1/clubs/{club_id}/athletes").await[0]["reach"], "seen");
    let tag = viewer.get(&format!("/athletes/{id}")).await.expect(200).header("etag").to_owned();
    let unchanged = [("if-none-match", tag.as_str())];
    viewer.call(Method::GET, &viewer.path(&format!("/athletes/{id}")), &unchanged, None).await.expect(304);

    // Whoever is refused is one row for the same again, of the club that they asked for.
    let stranger = app.person("Sam Stranger").await;
    for _ in 0..5 {
        let path = admin.path(&format!("/athletes/{id}"));
        stranger.call(Method::GET, &path, &[], None).await.expect(404);
    }
    viewer.patch(&format!("/athletes/{id}"), "\"1\"", json!({"status": "resting"})).await.expect(403);
    let refused = noted(&admin, "refused", &format!("PATCH {one}")).await;
    assert_eq!((&refused[0]["status"], &refused[0]["account_id"]), (&json!(403), &json!(viewer.account)));
    let mut times = 0;
    eventually("all refusals are counted", async || {
        let refused = noted(&admin, "refused", &format!("GET {one}")).await;
        times = refused.iter().map(|row| row["times"].as_i64().unwrap()).sum();
        assert!(
            refused.iter().all(|row| row.get("account_id").is_none() && row.get("device_id").is_none()),
            "{refused:?}"
        );
        times >= 5
    })
    .await;
    assert_eq!(times, 5);

    // A sign-in is told to the clubs of the account, also one with a wrong password.
    let sign_in = |password: &str| json!({"email": viewer.email, "password": password});
    app.post("/v1/auth/sign-in", sign_in("not my password at all")).await.expect(401);
    app.post("/v1/auth/sign-in", sign_in(PASSWORD)).await.expect(200);
    let signed_in = noted(&admin, "signed_in", "POST /v1/auth/sign-in").await;
    assert_eq!(signed_in[0]["account_id"], json!(viewer.account));
    assert!(signed_in[0]["device_id"].is_string());
    let wrong = noted(&admin, "refused", "POST /v1/auth/sign-in").await;
    assert_eq!((wrong.len(), &wrong[0]["account_id"]), (1, &json!(viewer.account)));

    // Four reads of the athlete: 304 handed out nothing.
    assert_eq!(noted(&admin, "read", &format!("GET {one}")).await.len(), 4);
    assert!(rows(&admin, "").await.iter().all(|row| row["operation"] != "GET /v1/clubs/{club_id}/venues"));
    // Reading the audit is read as well.
    assert!(!noted(&admin, "read", "GET /v1/clubs/{club_id}/audit").await.is_empty());
    let text = serde_json::to_string(&rows(&admin, "").await).unwrap();
    for word in ["Mira", "Osei", "Vera", "Viewer", "people.example", "resting"] {
        assert!(!text.contains(word), "{word} stands in the audit");
    }
    let sound = admin.get("/audit/verification").await.expect(200).body;
    assert_eq!((&sound["sound"], &sound["breaks"]), (&json!(true), &json!([])));
    assert_eq!(sound["rows"], sound["last"]);
}

#[sqlx::test]
async fn a_feed_is_noted_when_it_hands_something_out(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let page = admin.get("/changes").await.expect(200).body;
    let token = page["sync_token"].as_str().unwrap();
    for _ in 0..3 {
        let empty = admin.get(&format!("/changes?sync_token={token}")).await.expect(200).body;
        assert_eq!(empty["changes"], json!([]));
    }
    let group = admin.group("Mine").await;
    let item = create("athlete", athlete("Mira Osei", &group));
    let pushed = admin.post("/changes", batch(std::slice::from_ref(&item))).await.expect(200).body;
    let changed = rows(&admin, "&act=changed").await.pop().unwrap();
    assert_eq!(changed["operation"], "POST /v1/clubs/{club_id}/changes");
    assert_eq!(changed["athlete_ids"], json!([item["id"]]), "{pushed}");
    admin.get(&format!("/changes?sync_token={token}")).await.expect(200);
    let mut reads = Vec::new();
    eventually("both pages are noted", async || {
        reads = noted(&admin, "read", "GET /v1/clubs/{club_id}/changes").await;
        reads.len() >= 2
    })
    .await;
    assert_eq!(reads.len(), 2, "{reads:#?}");
    assert!(reads.iter().all(|row| row["reach"] == "seen"));
}

#[sqlx::test]
async fn admins_filter_and_export_the_audit(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = admin.group("Mine").await;
    let ids = [
        admin.post("/athletes", athlete("Mira Osei", &group)).await.expect(201).id(),
        admin.post("/athletes", athlete("Lena Brandt", &group)).await.expect(201).id(),
    ];
    let coach = admin.member("Cora Coach", "coach", &[&group]).await;
    for id in &ids {
        coach.get(&format!("/athletes/{id}")).await.expect(200);
    }
    coach.get("/athletes").await.expect(200);
    eventually("the reads are noted", async || {
        rows(&admin, &format!("&account_id={}&act=read", coach.account)).await.len() == 3
    })
    .await;
    // Of one athlete: what names them, and what may have shown them.
    let mine = rows(&admin, &format!("&account_id={}&athlete_id={}", coach.account, ids[0])).await;
    let operations: Vec<&str> =
        mine.iter().filter(|row| row["act"] == "read").map(|row| row["operation"].as_str().unwrap()).collect();
    assert_eq!(operations.len(), 2, "{mine:#?}");
    let today = chrono::Utc::now().date_naive();
    assert!(rows(&admin, &format!("&to={}", today - chrono::Days::new(1))).await.is_empty());
    assert!(!rows(&admin, &format!("&from={today}")).await.is_empty());
    admin.get("/audit?act=looked").await.expect(400);
    admin.get(&format!("/audit?from={}&to={today}", today + chrono::Days::new(1))).await.expect(400);
    coach.get("/audit").await.expect(403);
    coach.get("/audit/export").await.expect(403);
    coach.get("/audit/verification").await.expect(403);

    // Pages meet no row twice and leave none out.
    let mut numbers = Vec::new();
    let mut next = Some(admin.path("/audit?limit=3&act=changed"));
    while let Some(path) = next {
        let page = admin.call(Method::GET, &path, &[], None).await.expect(200);
        numbers.extend(page.body["items"].as_array().unwrap().iter().map(|row| row["number"].as_i64().unwrap()));
        next = page.header("link").strip_prefix('<').and_then(|link| link.split('>').next()).map(str::to_owned);
    }
    let whole: Vec<i64> =
        rows(&admin, "&act=changed").await.iter().rev().map(|row| row["number"].as_i64().unwrap()).collect();
    assert_eq!(numbers, whole);

    let csv = admin.get("/audit/export?act=changed").await.expect(200);
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8");
    let mut table = csv::Reader::from_reader(csv.bytes.as_slice());
    let lines: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    assert_eq!(lines.iter().map(|line| line[0].parse().unwrap()).collect::<Vec<i64>>(), whole);
    assert!(lines.iter().any(|line| line[10] == ids[0]));
    let before = admin.get(&format!("/audit/export?act=changed&before={}", whole[1])).await.expect(200);
    assert_eq!(String::from_utf8(before.bytes).unwrap().lines().count(), whole.len() - 1);
    noted(&admin, "exported", "GET /v1/clubs/{club_id}/audit/export").await;

    // Another club has its own.
    let theirs: BTreeSet<String> =
        rows(&south, "").await.iter().filter_map(|row| row["account_id"].as_str().map(str::to_owned)).collect();
    assert_eq!(theirs, BTreeSet::from([south.account.clone()]));
}

#[sqlx::test]
async fn whoever_acts_in_a_club_can_add_to_its_audit_alone_and_every_other_change_shows(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    for name in ["A", "B", "C", "D"] {
        admin.group(name).await;
    }
    for sql in [
        "update audit set times = 2",
        "delete from audit",
        "delete from audit_start",
        "update audit_start set number = 1",
        "truncate audit",
    ] {
        let mut tx = pool.begin().await.unwrap();
        let enter = format!("set local role club_app; set local app.club_id = '{}'", admin.club);
        sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        let refused = sqlx::raw_sql(sql).execute(&mut *tx).await.unwrap_err();
        assert!(refused.to_string().contains("permission denied"), "{sql}: {refused}");
    }
    let verify = async || admin.get("/audit/verification").await.expect(200).body;
    assert_eq!(verify().await["sound"], true);
    as_owner(&pool, &admin.club, "create table kept as select * from audit where number = 3").await;
    as_owner(&pool, &admin.club, "update audit set account_id = device_id where number = 3").await;
    let found = verify().await;
    assert_eq!((&found["sound"], &found["breaks"]), (&json!(false), &json!([{"number": 3, "flaw": "changed"}])));
    as_owner(&pool, &admin.club, "delete from audit where number = 3").await;
    assert_eq!(verify().await["breaks"], json!([{"number": 4, "flaw": "gap"}]));
    as_owner(&pool, &admin.club, "insert into audit select * from kept").await;
    assert_eq!(verify().await["sound"], true);
    // Without the first rows it does not begin where it should.
    as_owner(&pool, &admin.club, "delete from audit where number = 1").await;
    assert_eq!(verify().await["breaks"], json!([{"number": 2, "flaw": "gap"}]));
}

#[sqlx::test]
async fn old_rows_go_and_addresses_are_shortened(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let config = Config { workers: 1, audit_pause: Duration::from_hours(1), ..Config::default() };
    let app = TestApp::spawn_with(pool.clone(), options.clone(), config).await;
    let admin = app.admin_of("North").await;
    for name in ["A", "B", "C", "D"] {
        admin.group(name).await;
    }
    let db = Db::lazy(options, 1);
    let club = ClubId(Uuid::parse_str(&admin.club).unwrap());
    let trail = Data::new(Trail::default());
    // Rows of a long time ago cannot be made over HTTP: two that are too old, one whose address is.
    let old = |days: i64| {
        let own = Entry { act: Act::Read, network: "192.0.2.0/24".to_owned(), ..Entry::of_service(None) };
        Entry { at: own.at - chrono::Duration::days(days), address: Some("192.0.2.7".to_owned()), ..own }
    };
    as_owner(&pool, &admin.club, "delete from audit").await;
    for entry in [old(500), old(401), old(40), old(2)] {
        trail.note(Whose::Club(club), entry);
        trail.store(&db).await.unwrap();
    }
    // The operator keeps them for longer, and then for as long as everybody does.
    let longer = db.clone().keeping_audits(450);
    let dropped = chores::compact(&longer, chrono::Duration::zero()).await.unwrap().unwrap();
    assert_eq!(dropped.audit, 1);
    assert_eq!(admin.get("/audit/verification").await.expect(200).body["sound"], true);
    let dropped = chores::compact(&db, chrono::Duration::zero()).await.unwrap().unwrap();
    assert_eq!(dropped.audit, 1);
    let kept: Vec<(i64, String)> = rows(&admin, "&act=read")
        .await
        .iter()
        .map(|row| (row["number"].as_i64().unwrap(), row["address"].as_str().unwrap().to_owned()))
        .collect();
    assert_eq!(kept, [(3, "192.0.2.0/24".to_owned()), (4, "192.0.2.7".to_owned())]);
    admin.group("E").await;
    let found = admin.get("/audit/verification").await.expect(200).body;
    assert_eq!((&found["sound"], &found["first"], &found["last"]), (&json!(true), &json!(3), &json!(5)));
    // The newest row stays however old it is: the next one follows it.
    as_owner(
        &pool,
        &admin.club,
        "update audit set at = (at at time zone 'UTC' - interval '500 days') at time zone 'UTC'",
    )
    .await;
    chores::compact(&db, chrono::Duration::zero()).await.unwrap();
    let left = rows(&admin, "").await;
    assert_eq!(left.iter().map(|row| row["number"].as_i64().unwrap()).collect::<Vec<_>>(), [5]);
}

#[test]
fn a_period_of_audits_that_cannot_be_used_is_refused_at_start() {
    let folder = std::env::temp_dir().join(format!("lanewright-audits-{}", Uuid::now_v7()));
    let says = |days: &str| {
        let run = std::process::Command::new(env!("CARGO_BIN_EXE_lanewright"))
            .args(["serve"])
            .env("LANEWRIGHT_AUDIT_DAYS", days)
            .env("LANEWRIGHT_LISTEN", "nowhere")
            .env("LANEWRIGHT_DATA_DIR", &folder)
            .output()
            .unwrap();
        assert!(!run.status.success());
        String::from_utf8(run.stderr).unwrap()
    };
    for wrong in ["89", "3651", "-400", "for ever"] {
        let text = says(wrong);
        assert!(text.contains("LANEWRIGHT_AUDIT_DAYS") && text.contains("from 90 to 3650"), "{wrong}: {text}");
    }
    let right = says("90");
    assert!(right.contains("LANEWRIGHT_LISTEN") && !right.contains("LANEWRIGHT_AUDIT_DAYS"), "{right}");
    let _ = std::fs::remove_dir_all(folder);
}

#[sqlx::test]
async fn rows_wait_while_the_database_is_away(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    let club = ClubId(Uuid::parse_str(&admin.club).unwrap());
    let options = (*pool.connect_options()).clone();
    let trail = Trail::default();
    for _ in 0..3 {
        trail.note(Whose::Club(club), Entry { act: Act::Exported, ..Entry::of_service(None) });
    }
    trail.note(Whose::Club(ClubId(Uuid::now_v7())), Entry { act: Act::Read, ..Entry::of_service(None) });
    assert!(trail.store(&Db::lazy(options.clone().database("nowhere"), 1)).await.is_err());
    assert!(rows(&admin, "&act=exported").await.is_empty());
    trail.store(&Db::lazy(options, 1)).await.unwrap();
    assert_eq!(rows(&admin, "&act=exported").await.len(), 3);
}

#[sqlx::test]
async fn rows_of_many_writers_are_one_chain(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    let mut writing = Vec::new();
    for at in 0..20 {
        let admin = admin.clone();
        writing.push(tokio::spawn(async move {
            admin.group(&format!("Group {at}")).await;
            admin.get("/members").await.expect(200);
            // No change that phones learn of: the club's turn is taken for the row alone.
            let body = json!({"email": format!("g{at}@guests.example"), "role": "admin", "group_ids": []});
            admin.post("/invitations", body).await.expect(201);
        }));
    }
    for one in writing {
        one.await.unwrap();
    }
    eventually("all are noted", async || {
        let found = admin.get("/audit/verification").await.expect(200).body;
        assert_eq!(found["breaks"], json!([]));
        rows(&admin, "&act=read")
            .await
            .iter()
            .filter(|row| row["operation"] == "GET /v1/clubs/{club_id}/members")
            .count()
            == 20
    })
    .await;
    assert_eq!(rows(&admin, "&act=granted").await.len(), 20);
}
