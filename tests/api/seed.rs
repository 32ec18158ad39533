//! The invented clubs of the demo.

use std::path::Path;
use std::process::Command;

use lanewright::app::Shared;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::token::Keys;
use lanewright::seed::{self, SeedError};
use serde_json::json;
use sqlx::{ConnectOptions, PgPool};

use crate::support::{Caller, TestApp, walk};

async fn try_to_load(pool: &PgPool) -> Result<seed::Demo, SeedError> {
    let options = (*pool.connect_options()).clone();
    let keys = Keys::load(&Db::lazy(options.clone(), 1)).await.unwrap();
    let config = Config { workers: 1, connections: 2, ..Config::default() };
    seed::seed(&Shared::new(config, keys), Db::lazy(options, 2)).await
}

async fn load(pool: &PgPool) {
    try_to_load(pool).await.unwrap();
}

/// Everybody knows the passwords of the demo.
#[sqlx::test]
async fn the_demo_is_not_put_beside_people_that_it_did_not_make(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    app.person("Ines").await;
    let error = try_to_load(&pool).await.unwrap_err();
    assert!(matches!(error, SeedError::InUse), "{error}");
    let credentials = json!({"email": "admin@quillmere.example", "password": "three strides to the next"});
    app.post("/v1/auth/sign-in", credentials).await.expect(401);
}

/// Anybody may sign up with an address of the demo and the password that everybody knows.
#[sqlx::test]
async fn somebody_who_took_a_founders_address_does_not_open_a_database_of_others_to_the_demo(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let north = app.admin_of("North").await;
    let taken = json!({"email": "admin@quillmere.example", "password": "three strides to the next", "display_name": "Eve",
        "device_name": "Elsewhere", "club": {"name": "Quillmere Athletics", "time_zone": "Australia/Hobart", "ruleset": "LAA-2019"}});
    app.post("/v1/auth/sign-up", taken).await.expect(201);
    assert!(matches!(try_to_load(&pool).await.unwrap_err(), SeedError::InUse));
    // Nor when whoever founded the club that was there has left the service, and theirs is the oldest account.
    let (coach, gone) = (app.person("Ines").await, north.account.clone());
    let moved = format!("update account_club set account_id = '{}' where account_id = '{gone}'", coach.account);
    sqlx::raw_sql(sqlx::AssertSqlSafe(moved)).execute(&pool).await.unwrap();
    let left = format!("delete from accounts where account_id = '{gone}'");
    sqlx::raw_sql(sqlx::AssertSqlSafe(left)).execute(&pool).await.unwrap();
    assert!(matches!(try_to_load(&pool).await.unwrap_err(), SeedError::InUse));
    let people = "select count(*) from accounts";
    assert_eq!(sqlx::query_scalar::<_, i64>(people).fetch_one(&pool).await.unwrap(), 2, "nobody of the demo was made");
}

/// The program itself says so, serves nobody, and leaves the database as it was.
#[sqlx::test]
async fn the_program_refuses_to_put_the_demo_into_a_database_of_others(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    app.person("Ines").await;
    let url = pool.connect_options().to_url_lossy().to_string();
    for command in [&["serve", "--demo"][..], &["seed"]] {
        let url = url.clone();
        let ended = tokio::task::spawn_blocking(move || {
            Command::new(env!("CARGO_BIN_EXE_lanewright"))
                .args(command)
                .env("DATABASE_URL", url)
                .env("LANEWRIGHT_LISTEN", "127.0.0.1:0")
                .output()
                .unwrap()
        });
        let ended = ended.await.unwrap();
        let (out, says) = (String::from_utf8_lossy(&ended.stdout), String::from_utf8_lossy(&ended.stderr));
        assert!(!ended.status.success(), "{command:?}: {out}");
        assert!(says.contains("the database is in use"), "{command:?}: {says}");
        assert!(!out.contains("serves on"), "{command:?}: {out}");
    }
    let people: i64 = sqlx::query_scalar("select count(*) from accounts").fetch_one(&pool).await.unwrap();
    assert_eq!(people, 1);
}

async fn sign_in(app: &TestApp, email: &str) -> Caller {
    let body = json!({"email": email, "password": "three strides to the next"});
    let tokens = app.post("/v1/auth/sign-in", body).await.expect(200).body;
    let text = |name: &str| tokens[name].as_str().unwrap().to_owned();
    let mut caller = app.person(&format!("Reader of {email}").replace('@', " at ")).await;
    (caller.token, caller.refresh) = (text("access_token"), text("refresh_token"));
    let me = caller.call(reqwest::Method::GET, "/v1/me", &[], None).await.expect(200).body;
    me["clubs"][0]["club_id"].as_str().unwrap().clone_into(&mut caller.club);
    caller
}

#[sqlx::test]
async fn the_demo_has_what_it_promises_and_loading_it_again_changes_nothing(pool: PgPool) {
    load(&pool).await;
    let app = TestApp::spawn(pool.clone()).await;
    let admin = sign_in(&app, "admin@quillmere.example").await;
    let count = async |path: &str| walk(&admin, path, 200, async |_| {}).await.len();
    assert_eq!((count("/groups").await, count("/athletes").await, count("/members").await), (3, 48, 4));
    assert_eq!((count("/venues").await, count("/equipment").await), (2, 5));
    let (sessions, runs, ratings) = (count("/sessions").await, count("/runs").await, count("/assessments").await);
    assert_eq!(sessions, 64);
    let races = admin.get("/race-tests").await.expect(200).body;
    let results = format!("/race-tests/{}/results", races["items"][0]["id"].as_str().unwrap());
    assert_eq!(admin.get(&results).await.expect(200).body["results"].as_array().unwrap().len(), 16);
    assert!((2_300..=2_700).contains(&runs) && ratings >= 300, "{runs} runs, {ratings} assessments");
    let jonas = sign_in(&app, "jonas@quillmere.example").await;
    assert_eq!(jonas.get("/groups").await.expect(200).body["items"][0]["name"], "Rhythm");
    let group = jonas.get("/groups").await.body["items"][0]["id"].as_str().unwrap().to_owned();
    jonas.get(&format!("/groups/{group}/recommendations")).await.expect(200);
    let seq = admin.seq().await;
    load(&pool).await;
    assert_eq!(admin.seq().await, seq);
    assert_eq!(
        sign_in(&app, "admin@osterlund.example").await.get("/athletes").await.body["items"].as_array().unwrap().len(),
        6
    );
}

#[test]
fn the_generator_writes_the_committed_bytes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data");
    let scratch = std::env::temp_dir().join(format!("lanewright-seed-{}", std::process::id()));
    std::fs::create_dir_all(&scratch).unwrap();
    let copy = scratch.join("generate.py");
    std::fs::copy(folder.join("generate.py"), &copy).unwrap();
    match Command::new("python3").arg(&copy).output() {
        Err(error) => println!("not compared: python3 cannot be run ({error})"),
        Ok(output) => {
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            for name in ["accounts.json", "requests.jsonl"] {
                let (made, committed) = (std::fs::read(scratch.join(name)), std::fs::read(folder.join(name)));
                assert!(made.unwrap() == committed.unwrap(), "{name}: run seed-data/generate.py and commit it");
            }
        }
    }
    std::fs::remove_dir_all(&scratch).unwrap();
}
