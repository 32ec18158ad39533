//! The second factor, devices, and passwords that were stolen elsewhere.

use chrono::Utc;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::seal::Seal;
use lanewright::resources::accounts::{end_all_sign_ins, end_sign_ins, lift_second_factor};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

pub use crate::authenticator::code;
use crate::authenticator::code_at;
use crate::catcher::Catcher;
use crate::oauth;
use crate::support::{Answer, Caller, PASSWORD, TestApp};
use crate::sync_push::create;

const FACTOR: &str = "/v1/me/second-factor";

async fn post(person: &Caller, path: &str, body: Value) -> Answer {
    person.call(Method::POST, path, &[], Some(body)).await
}

/// Begins a second factor: its secret.
pub async fn begin(person: &Caller) -> String {
    let begun = post(person, FACTOR, json!({"password": PASSWORD})).await.expect(201);
    let (secret, uri) = (begun.body["secret"].as_str().unwrap().to_owned(), begun.body["uri"].as_str().unwrap());
    assert!(uri.starts_with("otpauth://totp/") && uri.contains(&format!("secret={secret}&")), "{uri}");
    assert_eq!(begun.header("cache-control"), "no-store");
    secret
}

/// Sets a second factor up, with the code of a step ago: the secret, and the recovery codes.
pub async fn set_up(person: &Caller) -> (String, Vec<String>) {
    let secret = begin(person).await;
    let path = format!("{FACTOR}/confirm");
    let mut confirmed = post(person, &path, json!({"code": code(&secret, -1)})).await;
    // A step may end between the code and its arrival.
    while confirmed.status == 422 {
        confirmed = post(person, &path, json!({"code": code(&secret, -1)})).await;
    }
    let confirmed = confirmed.expect(200);
    let codes = confirmed.body["recovery_codes"].as_array().unwrap();
    (secret, codes.iter().map(|code| code.as_str().unwrap().to_owned()).collect())
}

async fn sign_in(app: &TestApp, email: &str, code: Option<&str>) -> Answer {
    let mut body = json!({"email": email, "password": PASSWORD, "device_name": "Phone"});
    if let Some(code) = code {
        body["code"] = json!(code);
    }
    app.post("/v1/auth/sign-in", body).await
}

fn as_device(person: &Caller, tokens: &Answer) -> Caller {
    Caller { token: tokens.body["access_token"].as_str().unwrap().to_owned(), ..person.clone() }
}

#[sqlx::test]
async fn a_second_factor_counts_once_a_code_was_shown_and_no_code_is_taken_twice(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let ada = app.person("Ada").await;
    post(&ada, FACTOR, json!({"password": "not the password"})).await.expect_fault(422, "/password");
    let secret = begin(&ada).await;
    // Not yet: whoever mistypes the secret is not locked out.
    sign_in(&app, &ada.email, None).await.expect(200);
    post(&ada, &format!("{FACTOR}/check"), json!({"code": "000000"})).await.expect_fault(422, "/code");
    let confirm = format!("{FACTOR}/confirm");
    post(&ada, &confirm, json!({"code": "abc"})).await.expect_fault(422, "/code");
    let first = code(&secret, 0);
    post(&ada, &confirm, json!({"code": first})).await.expect(200);
    post(&ada, FACTOR, json!({"password": PASSWORD})).await.expect(409);

    let missing = sign_in(&app, &ada.email, None).await.expect(403);
    assert_eq!(missing.body["type"], "/problems/second-factor");
    sign_in(&app, &ada.email, Some(&first)).await.expect(403);
    let next = code(&secret, 1);
    sign_in(&app, &ada.email, Some("000 000")).await.expect(403);
    sign_in(&app, &ada.email, Some(&next)).await.expect(200);
    sign_in(&app, &ada.email, Some(&next)).await.expect(403);
    // A wrong password is answered as ever, whatever the code.
    let wrong = json!({"email": ada.email, "password": "not the password", "code": code(&secret, 1)});
    app.post("/v1/auth/sign-in", wrong).await.expect(401);
}

#[sqlx::test]
async fn of_many_who_show_one_code_at_once_one_is_let_in(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let ada = app.person("Ada").await;
    let (secret, codes) = set_up(&ada).await;
    for code in [code(&secret, 1), codes[0].clone()] {
        let tries: Vec<_> = (0..6)
            .map(|_| {
                let (app, email, code) = (app.clone(), ada.email.clone(), code.clone());
                tokio::spawn(async move { sign_in(&app, &email, Some(&code)).await.status })
            })
            .collect();
        let mut let_in = 0;
        for one in tries {
            let status = one.await.unwrap();
            assert!(matches!(status, 200 | 403), "{status}");
            let_in += usize::from(status == 200);
        }
        assert_eq!(let_in, 1);
    }
}

#[sqlx::test]
async fn a_recovery_code_is_good_once_and_is_kept_as_a_hash(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let ada = app.person("Ada").await;
    let (secret, codes) = set_up(&ada).await;
    assert_eq!(codes.len(), 10);
    let kept: Vec<String> = sqlx::query_scalar(
        "select row_to_json(r)::text from recovery_codes r union all select row_to_json(f)::text from second_factors f",
    )
    .fetch_all(&app.pool)
    .await
    .unwrap();
    assert_eq!(kept.len(), 11);
    for text in codes.iter().map(|code| code.replace('-', "")).chain([secret.clone()]) {
        assert!(kept.iter().all(|row| !row.contains(&text)));
    }
    sign_in(&app, &ada.email, Some(&codes[0].to_lowercase().replace('-', " "))).await.expect(200);
    sign_in(&app, &ada.email, Some(&codes[0])).await.expect(403);
    let left = async || ada.call(Method::GET, FACTOR, &[], None).await.expect(200).body;
    assert_eq!(left().await, json!({"enabled": true, "recovery_codes_left": 9}));
    let renew = format!("{FACTOR}/recovery-codes");
    let fresh = post(&ada, &renew, json!({"code": codes[1]})).await.expect(200);
    assert_eq!(left().await["recovery_codes_left"], 10);
    sign_in(&app, &ada.email, Some(&codes[2])).await.expect(403);
    let remove = format!("{FACTOR}/remove");
    let body = json!({"password": PASSWORD, "code": codes[3]});
    post(&ada, &remove, body).await.expect_fault(422, "/code");
    post(&ada, &remove, json!({"password": "no", "code": fresh.body["recovery_codes"][0]}))
        .await
        .expect_fault(422, "/password");
    post(&ada, &remove, json!({"password": PASSWORD, "code": fresh.body["recovery_codes"][0]})).await.expect(204);
    assert_eq!(left().await, json!({"enabled": false, "recovery_codes_left": 0}));
    sign_in(&app, &ada.email, None).await.expect(200);
}

#[sqlx::test]
async fn guessing_codes_is_limited_and_does_not_hold_up_a_known_device(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let ada = app.person("Ada").await;
    let (secret, codes) = set_up(&ada).await;
    let guess = async |from: &str| {
        let body = json!({"email": ada.email, "password": PASSWORD, "code": "123-456-wrong"});
        app.post_from(from, "/v1/auth/sign-in", body).await.status
    };
    let mut tries = 0;
    while guess("203.0.113.1").await != 429 {
        tries += 1;
        assert!(tries < 100, "there is no limit");
    }
    assert!(tries >= 10, "{tries}");
    for network in 2..12 {
        for _ in 0..8 {
            guess(&format!("203.0.113.{network}")).await;
        }
    }
    let again = json!({"email": ada.email, "password": PASSWORD, "code": code(&secret, 1), "earlier_refresh_token": ada.refresh});
    app.post_from("203.0.113.99", "/v1/auth/sign-in", again).await.expect(200);
    let stranger = json!({"email": ada.email, "password": PASSWORD, "code": codes[0]});
    app.post_from("203.0.113.98", "/v1/auth/sign-in", stranger).await.expect(429);
}

#[sqlx::test]
async fn a_club_asks_its_admins_for_a_second_factor_and_nobody_locks_themselves_out(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let other = admin.member("Second Admin", "admin", &[]).await;
    let coach = admin.member("Tomas Reyl", "coach", &[&group]).await;
    let ask = async |who: &Caller, on: bool| who.put("/security", "", json!({"admins_second_factor": on})).await;
    let refused = ask(&admin, true).await.expect(403);
    assert_eq!(refused.body["type"], "/problems/second-factor");
    assert_eq!(admin.get("/security").await.expect(200).body, json!({"admins_second_factor": false}));
    let (secret, _) = set_up(&admin).await;
    ask(&admin, true).await.expect(200);
    admin.get("/members").await.expect(200);
    let refused = other.get("/members").await.expect(403);
    assert_eq!(refused.body["type"], "/problems/second-factor");
    ask(&other, false).await.expect(403);
    let push = async |who: &Caller| {
        let item = create("group", json!({"name": "Pushed"}));
        let body = json!({"device_id": uuid::Uuid::now_v7(), "schema": 1, "sent_at": Utc::now(), "items": [item]});
        who.post("/changes", body).await.expect(200).body["results"][0]["status"].clone()
    };
    assert_eq!((push(&other).await, push(&admin).await), (json!(403), json!(201)));
    // Coaching goes on, also an admin's.
    other.get("/groups").await.expect(200);
    coach.get("/groups").await.expect(200);
    coach.get("/members").await.expect(403);
    // A sign-in without it shows a code later.
    let old = as_device(&other, &sign_in(&app, &other.email, None).await.expect(200));
    let (second, codes) = set_up(&other).await;
    other.get("/members").await.expect(200);
    old.get("/members").await.expect(403);
    post(&old, &format!("{FACTOR}/check"), json!({"code": codes[0]})).await.expect(204);
    old.get("/members").await.expect(200);
    // It goes along with a refresh, and away with the factor.
    let refreshed = app.post("/v1/auth/refresh", json!({"refresh_token": admin.refresh})).await.expect(200);
    as_device(&admin, &refreshed).get("/members").await.expect(200);
    let body = json!({"password": PASSWORD, "code": code(&second, 1)});
    post(&other, &format!("{FACTOR}/remove"), body).await.expect(204);
    old.get("/members").await.expect(403);
    let devices = admin.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    assert_eq!(devices.body["items"][0]["second_factor"], true);
    let tokens = sign_in(&app, &admin.email, Some(&code(&secret, 1))).await.expect(200);
    ask(&as_device(&admin, &tokens), false).await.expect(200);
    other.get("/members").await.expect(200);
}

#[sqlx::test]
async fn an_operator_takes_a_lost_second_factor_away_and_every_sign_in_with_it(pool: PgPool) {
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    let app = TestApp::spawn(pool).await;
    let (ada, eve) = (app.person("Ada").await, app.person("Eve").await);
    assert!(!lift_second_factor(&db, &ada.email).await.unwrap(), "there is none");
    assert!(!lift_second_factor(&db, "nobody@people.example").await.unwrap());
    set_up(&ada).await;
    let (secret, _) = set_up(&eve).await;
    sign_in(&app, &ada.email, None).await.expect(403);
    assert!(lift_second_factor(&db, &ada.email.to_uppercase()).await.unwrap());
    ada.call(Method::GET, "/v1/me", &[], None).await.expect(401);
    app.post("/v1/auth/refresh", json!({"refresh_token": ada.refresh})).await.expect(401);
    sign_in(&app, &ada.email, None).await.expect(200);
    // Nobody else's.
    sign_in(&app, &eve.email, None).await.expect(403);
    sign_in(&app, &eve.email, Some(&code(&secret, 1))).await.expect(200);
}

#[sqlx::test]
async fn an_operator_ends_every_sign_in_of_somebody_or_of_everybody(pool: PgPool) {
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let acting = oauth::acting(&admin, &["squad.read"]).await;
    let eve = app.person("Eve").await;
    assert!(!end_sign_ins(&db, "nobody@people.example").await.unwrap());
    let status = async |who: &Caller| who.call(Method::GET, "/v1/me", &[], None).await.status;
    acting.get("/athletes").await.expect(200);
    assert!(end_sign_ins(&db, &admin.email.to_uppercase()).await.unwrap());
    acting.get("/athletes").await.expect(401);
    assert_eq!((status(&admin).await, status(&eve).await), (401, 200));
    app.post("/v1/auth/refresh", json!({"refresh_token": admin.refresh})).await.expect(401);
    sign_in(&app, &admin.email, None).await.expect(200);
    assert_eq!(end_all_sign_ins(&db).await.unwrap(), 2);
    assert_eq!(status(&eve).await, 401);
    app.post("/v1/auth/refresh", json!({"refresh_token": eve.refresh})).await.expect(401);
}

#[sqlx::test]
async fn a_secret_is_sealed_with_a_key_that_the_database_does_not_have(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn(pool.clone()).await;
    let ada = app.person("Ada").await;
    let (secret, codes) = set_up(&ada).await;
    // Another instance with another key, as after a restore without the file.
    let other = TestApp::spawn(pool.clone()).await;
    sign_in(&other, &ada.email, Some(&code(&secret, 1))).await.expect(503);
    sign_in(&other, &ada.email, Some(&codes[0])).await.expect(200);
    sign_in(&app, &ada.email, Some(&code(&secret, 1))).await.expect(200);
    // Somebody who can write the database cannot give Ada their own secret.
    let eve = app.person("Eve").await;
    let (stolen, _) = set_up(&eve).await;
    sqlx::query("update second_factors set sealed = e.sealed, last_step = 0 from second_factors e where second_factors.account_id = $1::uuid and e.account_id = $2::uuid")
        .bind(&ada.account)
        .bind(&eve.account)
        .execute(&pool)
        .await
        .unwrap();
    sign_in(&app, &ada.email, Some(&code(&stolen, 1))).await.expect(503);
    let keyless = Config { workers: 1, seal: Seal::none(), ..Config::default() };
    let keyless = TestApp::spawn_with(pool, options, keyless).await;
    let ivo = keyless.person("Ivo").await;
    post(&ivo, FACTOR, json!({"password": PASSWORD})).await.expect(503);
}

#[sqlx::test]
async fn a_mail_tells_of_a_second_factor_and_a_taken_over_account_has_none(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post_box = Catcher::of(&app).await;
    let ada = app.person("Ada").await;
    let confirmation = Catcher::only(post_box.carry().await).code();
    set_up(&ada).await;
    assert!(post_box.carry().await.is_empty(), "a stranger's address is told nothing");
    app.post("/v1/auth/password-reset", json!({"email": ada.email})).await.expect(202);
    let reset = async |code: &str| {
        app.post("/v1/auth/password-reset/complete", json!({"token": code, "new": PASSWORD})).await.expect(204)
    };
    let code_of_reset = Catcher::only(post_box.carry().await).code();
    reset(&code_of_reset).await;
    app.post("/v1/auth/confirmation", json!({"token": confirmation})).await.expect(404);
    let tokens = sign_in(&app, &ada.email, None).await.expect(200);
    let ada = as_device(&ada, &tokens);
    post_box.carry().await;
    let (secret, _) = set_up(&ada).await;
    assert_eq!(Catcher::only(post_box.carry().await).header("subject"), "Your account has a second factor");
    // Of a proven address the factor stays: who reads the mail alone does not get in.
    app.post("/v1/auth/password-reset", json!({"email": ada.email})).await.expect(202);
    reset(&Catcher::only(post_box.carry().await).code()).await;
    sign_in(&app, &ada.email, None).await.expect(403);
    let tokens = sign_in(&app, &ada.email, Some(&code(&secret, 1))).await.expect(200);
    let ada = as_device(&ada, &tokens);
    post_box.carry().await;
    sqlx::query("update second_factors set last_step = 0").execute(&app.pool).await.unwrap();
    let body = json!({"password": PASSWORD, "code": code_at(&secret, Utc::now().timestamp())});
    post(&ada, &format!("{FACTOR}/remove"), body).await.expect(204);
    let told = Catcher::only(post_box.carry().await);
    assert_eq!(told.header("subject"), "Your account has no second factor any more");
}

#[sqlx::test]
async fn devices_get_names_and_all_can_be_signed_out_at_once(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (ada, eve) = (app.person("Ada").await, app.person("Eve").await);
    let phone = as_device(&ada, &sign_in(&app, &ada.email, None).await.expect(200));
    let list = ada.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    let id = list.body["items"][0]["id"].as_str().unwrap().to_owned();
    let rename = async |who: &Caller, name: &str| {
        let path = format!("/v1/me/devices/{id}/name");
        who.call(Method::PUT, &path, &[], Some(json!({"name": name}))).await
    };
    rename(&ada, "Tablet at the track").await.expect(204);
    rename(&ada, "").await.expect_fault(422, "/name");
    rename(&eve, "Mine").await.expect(404);
    let list = ada.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    assert_eq!(list.body["items"][0]["name"], "Tablet at the track");
    phone.call(Method::DELETE, "/v1/me/devices", &[], None).await.expect(204);
    for gone in [&ada, &phone] {
        gone.call(Method::GET, "/v1/me", &[], None).await.expect(401);
    }
    app.post("/v1/auth/refresh", json!({"refresh_token": ada.refresh})).await.expect(401);
    eve.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    sign_in(&app, &ada.email, None).await.expect(200);
}

#[sqlx::test]
async fn a_password_of_the_operators_list_cannot_be_chosen(pool: PgPool) {
    const STOLEN: &str = "eight wickets in a row";
    let path = std::env::temp_dir().join(format!("lanewright-stolen-{}", uuid::Uuid::now_v7()));
    let hash = aws_lc_rs::digest::digest(&aws_lc_rs::digest::SHA1_FOR_LEGACY_USE_ONLY, STOLEN.as_bytes());
    let hash: Vec<String> = hash.as_ref().iter().map(|byte| format!("{byte:02X}")).collect();
    let hash = hash.concat();
    std::fs::write(&path, format!("{}:1\n{hash}:3\n{}:2\n", "0".repeat(40), "F".repeat(40))).unwrap();
    let options = (*pool.connect_options()).clone();
    let config = Config { workers: 1, breached: Some(path.clone()), ..Config::default() };
    let app = TestApp::spawn_with(pool, options, config).await;
    let post_box = Catcher::of(&app).await;
    let body = json!({"email": "ada@club.example", "password": STOLEN, "display_name": "Ada"});
    let refused = app.post("/v1/auth/sign-up", body).await.expect_fault(422, "/password");
    assert_eq!(refused.body["errors"][0]["code"], "breached");
    let ada = app.person("Ada").await;
    let change = json!({"current": PASSWORD, "new": STOLEN});
    post(&ada, "/v1/me/password", change).await.expect_fault(422, "/new");
    app.post("/v1/auth/password-reset", json!({"email": ada.email})).await.expect(202);
    let mails = post_box.carry().await;
    let reset = mails.iter().find(|mail| mail.header("subject") == "A new password").unwrap().code();
    app.post("/v1/auth/password-reset/complete", json!({"token": reset, "new": STOLEN}))
        .await
        .expect_fault(422, "/new");
    std::fs::remove_file(path).unwrap();
    // A list that is gone refuses nobody for good, and lets nothing pass unseen.
    app.post("/v1/auth/password-reset/complete", json!({"token": reset, "new": PASSWORD})).await.expect(503);
}
