//! Mail that waits: tried again, given up, bounded; files where there is no server; the pages of links.

use std::collections::HashSet;

use chrono::{Duration, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::ids::AccountId;
use lanewright::platform::mail::{self, Carrier, Letter, Settings};
use lanewright::post;
use lanewright::resources::accounts;
use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;
use uuid::Uuid;

use crate::catcher::Catcher;
use crate::support::{Answer, PASSWORD, TestApp};

async fn ask_reset(app: &TestApp, email: &str) -> Answer {
    app.post("/v1/auth/password-reset", json!({"email": email})).await
}

async fn waiting(pool: &PgPool) -> i64 {
    sqlx::query_scalar("select count(*) from mail_outbox where failed_at is null").fetch_one(pool).await.unwrap()
}

#[sqlx::test]
async fn mail_that_a_server_puts_off_is_tried_later_and_later_and_then_given_up(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    post.answer("DATA", "451 the disk of mail is full");
    ask_reset(&app, "ada@club.example").await.expect(202);
    let mut now = Utc::now();
    let mut waits = Vec::new();
    loop {
        let round = post.carry_at(now).await;
        if round.given_up == 1 {
            break;
        }
        assert_eq!((round.later, round.sent), (1, 0));
        assert!(post.carry_at(now).await.is_empty(), "not before its time");
        let due: chrono::DateTime<Utc> =
            sqlx::query_scalar("select due_at from mail_outbox").fetch_one(&app.pool).await.unwrap();
        waits.push((due - now).num_minutes());
        now = due;
        assert!(waits.len() < 50, "never given up");
    }
    assert!(waits.is_sorted() && waits.len() == 8 && waits.iter().sum::<i64>() > 24 * 60, "{waits:?}");
    let dead = mail::dead_letters(&post.db).await.unwrap();
    assert_eq!((dead.len(), dead[0].address.as_str(), dead[0].kind.as_str()), (1, "ada@club.example", "reset"));
    assert!(dead[0].reason.contains("the disk of mail is full"), "{}", dead[0].reason);
    // An operator mended it.
    post.answer("DATA", "");
    assert!(post.carry_at(now + Duration::days(9)).await.is_empty());
    assert_eq!(mail::send_again(&post.db).await.unwrap(), 1);
    assert_eq!(post.carry_at(Utc::now()).await.sent, 1);
    assert!(mail::dead_letters(&post.db).await.unwrap().is_empty());
}

#[sqlx::test]
async fn mail_that_a_server_refuses_for_good_is_given_up_at_once_and_forgotten_in_time(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    post.answer("RCPT", "550 nobody of that name");
    ask_reset(&app, "ada@club.example").await.expect(202);
    assert_eq!(post.carry_at(Utc::now()).await.given_up, 1);
    assert!(mail::dead_letters(&post.db).await.unwrap()[0].reason.contains("nobody of that name"));
    assert_eq!(mail::prune(&post.db).await.unwrap(), 0);
    sqlx::query("update mail_outbox set failed_at = now() - interval '31 days'").execute(&app.pool).await.unwrap();
    assert_eq!(mail::prune(&post.db).await.unwrap(), 1);
    // A server that takes no password of ours says nothing about this mail.
    post.answer("RCPT", "530 sign in first");
    ask_reset(&app, "ada@club.example").await.expect(202);
    assert_eq!(post.carry_at(Utc::now()).await.later, 1);
}

#[sqlx::test]
async fn two_instances_send_each_mail_once_and_one_that_died_is_followed(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let (one, two) = (Catcher::of(&app).await, Catcher::of(&app).await);
    for n in 0..30 {
        let body = json!({"email": format!("p{n}@club.example")});
        app.post_from(&format!("203.0.113.{n}"), "/v1/auth/password-reset", body).await.expect(202);
    }
    let (first, second) = tokio::join!(one.carry(), two.carry());
    let to: Vec<String> = first.iter().chain(&second).map(|mail| mail.to[0].clone()).collect();
    assert_eq!((to.len(), to.iter().collect::<HashSet<_>>().len()), (30, 30));

    ask_reset(&app, "late@club.example").await.expect(202);
    let now = Utc::now();
    assert_eq!(mail::claim(&one.db, now).await.unwrap().len(), 1);
    assert!(two.carry_at(now).await.is_empty(), "somebody is at it");
    assert_eq!(two.carry_at(now + Duration::minutes(11)).await.sent, 1);
}

#[sqlx::test]
async fn a_server_that_is_away_loses_nothing(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let db = Db::lazy((*app.pool.connect_options()).clone(), 1);
    // A port that was free a moment ago.
    let address = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let settings = Settings {
        server: Some(format!("smtp://{address}").into()),
        folder: std::path::PathBuf::new(),
        from: "mail@service.example".to_owned(),
        public_url: app.base.clone(),
    };
    ask_reset(&app, "ada@club.example").await.expect(202);
    assert_eq!(post::carry(&db, &Carrier::new(settings).unwrap(), Utc::now()).await.unwrap().later, 1);
    assert_eq!(waiting(&app.pool).await, 1);
}

#[sqlx::test]
async fn without_a_server_mail_goes_to_files_of_its_owner(pool: PgPool) {
    use std::os::unix::fs::PermissionsExt;
    let app = TestApp::spawn(pool).await;
    let db = Db::lazy((*app.pool.connect_options()).clone(), 1);
    let folder = std::env::temp_dir().join(format!("lanewright-mail-{}", Uuid::now_v7()));
    let settings = Settings {
        server: None,
        folder: folder.clone(),
        from: "mail@service.example".to_owned(),
        public_url: app.base.clone(),
    };
    ask_reset(&app, "ada@club.example").await.expect(202);
    assert_eq!(post::carry(&db, &Carrier::new(settings).unwrap(), Utc::now()).await.unwrap().sent, 1);
    let files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(files.len(), 1);
    assert!(files[0].extension().is_some_and(|end| end == "eml"));
    assert_eq!(std::fs::metadata(&files[0]).unwrap().permissions().mode() & 0o077, 0);
    assert!(std::fs::read_to_string(&files[0]).unwrap().contains("To: ada@club.example"));
    std::fs::remove_dir_all(folder).unwrap();
}

#[sqlx::test]
async fn one_network_cannot_fill_a_box_nor_keep_its_owner_from_a_mail(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let ask =
        async |from: &str, email: &str| app.post_from(from, "/v1/auth/password-reset", json!({"email": email})).await;
    for _ in 0..12 {
        ask("203.0.113.1", "ada@club.example").await.expect(202);
    }
    assert_eq!(waiting(&app.pool).await, 5, "the rest is dropped, and the answer does not say so");
    // A stranger who signs up with the address, from there and elsewhere.
    let body = json!({"email": "ada@club.example", "password": PASSWORD, "display_name": "Eve"});
    app.post_from("203.0.113.1", "/v1/auth/sign-up", body.clone()).await.expect(201);
    assert_eq!(waiting(&app.pool).await, 5);
    ask("203.0.113.2", "ada@club.example").await.expect(202);
    assert_eq!(waiting(&app.pool).await, 6);
    let mut refused = 0;
    for n in 0..200 {
        let answer = ask("203.0.113.3", &format!("p{n}@club.example")).await;
        assert!(matches!(answer.status, 202 | 429), "{answer:?}");
        refused += usize::from(answer.status == 429);
    }
    assert!(refused > 0, "mail that one network asks for is limited");
    ask("203.0.113.2", "late@club.example").await.expect(202);
}

#[sqlx::test]
async fn what_waits_is_bounded_for_each_address_and_in_all(pool: PgPool) {
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    let put = async |address: &str| {
        let mut tx = db.account_tx().await.unwrap();
        mail::put(&mut tx, &Letter::Reset, address, None).await.unwrap();
        tx.commit().await.unwrap();
    };
    for _ in 0..60 {
        put("ada@club.example").await;
    }
    assert_eq!(waiting(&pool).await, 50);
    assert!(!mail::room(&db, "ada@club.example").await.unwrap());
    assert!(mail::room(&db, "eve@club.example").await.unwrap());
    sqlx::query(
        "insert into mail_outbox (id, kind, address, about, created_at, due_at)
         select gen_random_uuid(), 'reset', n || '@club.example', '{\"kind\": \"reset\"}', now(), now()
         from generate_series(1, 19950) n",
    )
    .execute(&pool)
    .await
    .unwrap();
    put("eve@club.example").await;
    assert_eq!(waiting(&pool).await, 20_000);
    assert!(!mail::room(&db, "eve@club.example").await.unwrap());
}

#[sqlx::test]
async fn guessing_secrets_of_mails_is_limited_and_holds_nobody_up(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let post = Catcher::of(&app).await;
    app.person("Ada").await;
    let code = Catcher::only(post.carry().await).code();
    let mut wrong = code.clone();
    wrong.replace_range(40..44, if code.get(40..44) == Some("AAAA") { "BBBB" } else { "AAAA" });
    let mut refused = false;
    for _ in 0..80 {
        let answer = app.post_from("203.0.113.1", "/v1/auth/confirmation", json!({"token": wrong})).await;
        assert!(matches!(answer.status, 404 | 429), "{answer:?}");
        refused |= answer.status == 429;
    }
    assert!(refused);
    app.post_from("203.0.113.1", "/v1/auth/confirmation", json!({"token": code})).await.expect(204);
}

#[sqlx::test]
async fn the_page_of_a_link_changes_nothing_until_its_button_is_pressed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let person = app.person("Ada").await;
    let path = format!("/mail/{}", Catcher::only(post.carry().await).code());
    for _ in 0..3 {
        let page = app.get(&path).await.expect(200);
        let html = String::from_utf8(page.bytes.clone()).unwrap();
        assert!(html.contains("<form method=\"post\">") && html.contains("<html lang=\"en\">"), "{html}");
        assert!(!html.contains("<script") && !html.contains("http"), "{html}");
        let policy = page.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'") && policy.contains("form-action 'self'"), "{policy}");
        assert!(policy.contains("frame-ancestors 'none'") && policy.contains("style-src 'sha256-"), "{policy}");
        assert!(html.contains("name=\"viewport\"") && html.contains("<main><h1>"), "{html}");
        assert_eq!((page.header("referrer-policy"), page.header("cache-control")), ("no-referrer", "no-store"));
    }
    let form = [("content-type", "application/x-www-form-urlencoded")];
    app.send(Method::POST, &path, &form, Some(Vec::new())).await.expect(200);
    assert_eq!(person.call(Method::GET, "/v1/me", &[], None).await.body["account"]["email_confirmed"], true);
    for method in [Method::GET, Method::POST] {
        let body = (method == Method::POST).then(Vec::new);
        let gone = app.send(method, &path, &form, body).await.expect(404);
        assert!(String::from_utf8(gone.bytes).unwrap().contains("does not hold any more"));
    }
    let german = [("accept-language", "fr;q=0.9, de-AT;q=0.5, en;q=0.1")];
    let gone = app.send(Method::GET, "/mail/nonsense", &german, None).await.expect(404);
    assert!(String::from_utf8(gone.bytes).unwrap().contains("<html lang=\"de\">"));

    ask_reset(&app, &person.email).await.expect(202);
    let path = format!("/mail/{}", Catcher::only(post.carry().await).code());
    let page = String::from_utf8(app.get(&path).await.expect(200).bytes).unwrap();
    assert!(page.contains("<label for=\"new\">") && page.contains("autocomplete=\"new-password\""), "{page}");
    let again = app.send(Method::POST, &path, &form, Some(b"new=short".to_vec())).await.expect(422);
    assert!(String::from_utf8(again.bytes).unwrap().contains("role=\"alert\""));
    app.send(Method::POST, &path, &form, Some(b"new=seven+wickets+in+a+row".to_vec())).await.expect(200);
    let credentials = json!({"email": person.email, "password": "seven wickets in a row"});
    app.post("/v1/auth/sign-in", credentials).await.expect(200);

    let admin = app.admin_of("North").await;
    admin.post("/invitations", json!({"email": "g@club.example", "role": "admin"})).await.expect(201);
    let mails = post.carry().await;
    let invitation = mails.iter().find(|mail| mail.to == ["g@club.example"]).unwrap().code();
    let page = String::from_utf8(app.get(&format!("/mail/{invitation}")).await.expect(200).bytes).unwrap();
    assert!(page.contains(&format!("<code>{invitation}</code>")) && !page.contains("<form"), "{page}");
}

#[sqlx::test]
async fn accounts_that_nobody_can_sign_in_to_go_and_all_others_stay(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let db = Db::lazy((*app.pool.connect_options()).clone(), 1);
    let first = app.person("Ada").await;
    let body = json!({"email": first.email, "password": PASSWORD, "display_name": "Ada"});
    let second = app.post("/v1/auth/sign-up", body).await.expect(201).body["account"]["id"].clone();
    let admin = app.admin_of("North").await;
    let club = json!({"name": "South", "time_zone": "Europe/London", "ruleset": "UKA-2024"});
    let body = json!({"email": first.email, "password": PASSWORD, "display_name": "Ada", "club": club});
    let founder = app.post("/v1/auth/sign-up", body).await.expect(201).body["account"]["id"].clone();
    let left = async || {
        let ids: Vec<Uuid> = sqlx::query_scalar("select account_id from accounts").fetch_all(&app.pool).await.unwrap();
        ids.into_iter().map(|id| json!(AccountId(id))).collect::<Vec<_>>()
    };
    accounts::prune(&db).await.unwrap();
    assert_eq!(left().await.len(), 4);
    sqlx::query("update accounts set created_at = now() - interval '31 days'").execute(&app.pool).await.unwrap();
    assert_eq!(accounts::prune(&db).await.unwrap(), 1);
    let left = left().await;
    assert!(!left.contains(&second) && left.contains(&json!(first.account)) && left.contains(&founder), "{left:?}");
    assert!(left.contains(&json!(admin.account)));
}
