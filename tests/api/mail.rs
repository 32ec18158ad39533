//! Mail as a mail server gets it: addresses that are proven, passwords that were forgotten, invitations, notices.

use chrono::{Duration, Utc};
use lanewright::platform::config::Config;
use lanewright::resources::accounts;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::catcher::Catcher;
use crate::support::{Answer, Caller, PASSWORD, TestApp};

const OTHER: &str = "seven wickets in a row";

async fn sign_up(app: &TestApp, email: &str, password: &str, name: &str) -> Answer {
    app.post("/v1/auth/sign-up", json!({"email": email, "password": password, "display_name": name})).await.expect(201)
}

async fn sign_in(app: &TestApp, email: &str, password: &str) -> Answer {
    app.post("/v1/auth/sign-in", json!({"email": email, "password": password, "device_name": "Phone"})).await
}

async fn confirm(app: &TestApp, code: &str) -> Answer {
    app.post("/v1/auth/confirmation", json!({"token": code})).await
}

async fn ask_reset(app: &TestApp, email: &str) -> Answer {
    app.post("/v1/auth/password-reset", json!({"email": email})).await
}

async fn complete_reset(app: &TestApp, code: &str, new: &str) -> Answer {
    app.post("/v1/auth/password-reset/complete", json!({"token": code, "new": new})).await
}

async fn me(app: &TestApp, tokens: &Value) -> Answer {
    let bearer = format!("Bearer {}", tokens["access_token"].as_str().unwrap());
    app.send(Method::GET, "/v1/me", &[("authorization", &bearer)], None).await
}

/// Somebody with a proven address.
async fn proven(app: &TestApp, post: &Catcher, name: &str) -> Caller {
    let person = app.person(name).await;
    confirm(app, &Catcher::only(post.carry().await).code()).await.expect(204);
    person
}

/// The shape of a body: every value replaced by its kind.
fn shape(value: &Value) -> Value {
    match value {
        Value::Object(fields) => fields.iter().map(|(name, value)| (name.clone(), shape(value))).collect(),
        Value::Array(list) => list.iter().map(shape).collect(),
        Value::String(_) => json!("text"),
        Value::Number(_) => json!(1),
        other => other.clone(),
    }
}

#[sqlx::test]
async fn a_sign_up_is_answered_alike_and_the_mail_tells_who_has_the_address(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let first = sign_up(&app, "ada@club.example", PASSWORD, "Ada").await;
    let mail = Catcher::only(post.carry().await);
    assert_eq!(
        (mail.to.as_slice(), mail.header("to").as_str()),
        (&["ada@club.example".to_owned()][..], "ada@club.example")
    );
    assert_eq!(mail.header("auto-submitted"), "auto-generated");
    assert_eq!(mail.header("subject"), "Confirm your e-mail address");
    assert!(mail.part("text/html").contains(&format!("{}/mail/{}", app.base, mail.code())), "{}", mail.raw);
    confirm(&app, &mail.code()).await.expect(204);
    confirm(&app, &mail.code()).await.expect(404);
    assert_eq!(me(&app, &first.body["tokens"]).await.body["account"]["email_confirmed"], true);

    let second = sign_up(&app, "ada@club.example", OTHER, "Eve").await;
    assert_eq!(shape(&first.body), shape(&second.body));
    let names = |answer: &Answer| answer.headers.keys().map(ToString::to_string).collect::<Vec<_>>();
    assert_eq!(names(&first), names(&second));
    let mail = Catcher::only(post.carry().await);
    assert_eq!(mail.header("subject"), "You have an account already");
    assert!(!mail.plain().contains("/mail/") && !mail.plain().contains("Eve"), "{}", mail.plain());
    sign_in(&app, "ada@club.example", OTHER).await.expect(401);
    sign_in(&app, "ada@club.example", PASSWORD).await.expect(200);
}

#[sqlx::test]
async fn an_address_is_its_owners_whatever_a_stranger_did_before(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let stranger = sign_up(&app, "ada@club.example", OTHER, "Eve").await;
    let first = Catcher::only(post.carry().await);
    let ada = sign_up(&app, "ada@club.example", PASSWORD, "Ada").await;
    let mail = Catcher::only(post.carry().await);
    assert!(mail.plain().contains("There is an earlier account"), "{}", mail.plain());
    // Until somebody proves it, the first who named it signs in with it, as before.
    sign_in(&app, "ada@club.example", OTHER).await.expect(200);
    confirm(&app, &mail.code()).await.expect(204);
    sign_in(&app, "ada@club.example", OTHER).await.expect(401);
    sign_in(&app, "ada@club.example", PASSWORD).await.expect(200);
    me(&app, &stranger.body["tokens"]).await.expect(401);
    let refresh = json!({"refresh_token": stranger.body["tokens"]["refresh_token"]});
    app.post("/v1/auth/refresh", refresh).await.expect(401);
    let mine = me(&app, &ada.body["tokens"]).await.expect(200);
    assert_eq!((&mine.body["account"]["id"], &mine.body["clubs"]), (&ada.body["account"]["id"], &json!([])));
    // The stranger's mail came here as well, and holds nothing any more.
    confirm(&app, &first.code()).await.expect(404);
}

#[sqlx::test]
async fn of_two_who_prove_one_address_the_first_has_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    for name in ["One", "Two", "Three"] {
        sign_up(&app, "ada@club.example", &format!("{name} wickets in a row"), name).await;
    }
    let codes: Vec<String> = post.carry().await.iter().map(crate::catcher::Caught::code).collect();
    let (one, two) = tokio::join!(confirm(&app, &codes[1]), confirm(&app, &codes[2]));
    let mut statuses = [one.status, two.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [204, 404]);
    confirm(&app, &codes[0]).await.expect(404);
    let (first, second) = if one.status == 204 { ("Two", "Three") } else { ("Three", "Two") };
    sign_in(&app, "ada@club.example", &format!("{first} wickets in a row")).await.expect(200);
    sign_in(&app, "ada@club.example", &format!("{second} wickets in a row")).await.expect(401);
}

#[sqlx::test]
async fn a_forgotten_password_is_answered_alike_and_the_mail_tells(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let ada = proven(&app, &post, "Ada").await;
    let (known, unknown) = (ask_reset(&app, &ada.email).await.expect(202), ask_reset(&app, "no@club.example").await);
    assert_eq!((unknown.status, &unknown.bytes, unknown.headers.len()), (202, &known.bytes, known.headers.len()));
    let mut mails = post.carry().await;
    mails.sort_by_key(|mail| mail.header("subject"));
    assert_eq!(mails[1].header("subject"), "There is no account at this address");
    assert!(!mails[1].plain().contains("/mail/"));
    let code = mails[0].code();
    complete_reset(&app, &code, "short").await.expect_fault(422, "/new");
    complete_reset(&app, &code, "Ada@people.example").await.expect_fault(422, "/new");
    // A code of another purpose opens nothing here, nor this one there.
    confirm(&app, &code).await.expect(404);
    complete_reset(&app, &code, OTHER).await.expect(204);
    complete_reset(&app, &code, OTHER).await.expect(404);
    ada.call(Method::GET, "/v1/me", &[], None).await.expect(401);
    sign_in(&app, &ada.email, PASSWORD).await.expect(401);
    sign_in(&app, &ada.email, OTHER).await.expect(200);
    let subjects: Vec<String> = post.carry().await.iter().map(|mail| mail.header("subject")).collect();
    assert_eq!(subjects, ["Your password was changed", "A new device signed in"]);
}

#[sqlx::test]
async fn a_new_password_takes_an_account_from_whoever_made_it_with_a_strangers_address(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let stranger = sign_up(&app, "ada@club.example", OTHER, "Eve").await;
    let confirmation = Catcher::only(post.carry().await);
    ask_reset(&app, "ada@club.example").await.expect(202);
    let mail = Catcher::only(post.carry().await);
    assert!(mail.plain().contains("Nobody confirmed that address yet") && mail.plain().contains("Eve"));
    complete_reset(&app, &mail.code(), PASSWORD).await.expect(204);
    me(&app, &stranger.body["tokens"]).await.expect(401);
    sign_in(&app, "ada@club.example", OTHER).await.expect(401);
    let tokens = sign_in(&app, "ada@club.example", PASSWORD).await.expect(200).body;
    let mine = me(&app, &tokens).await.expect(200);
    assert_eq!(
        (&mine.body["account"]["email_confirmed"], &mine.body["account"]["id"]),
        (&json!(true), &stranger.body["account"]["id"])
    );
    confirm(&app, &confirmation.code()).await.expect(404);
}

#[sqlx::test]
async fn a_secret_is_kept_as_a_hash_waits_nowhere_and_expires(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    app.person("Ada").await;
    let waiting: Vec<String> =
        sqlx::query_scalar("select row_to_json(m)::text from mail_outbox m").fetch_all(&app.pool).await.unwrap();
    let code = Catcher::only(post.carry().await).code();
    let kept: Vec<String> =
        sqlx::query_scalar("select row_to_json(l)::text from mail_links l").fetch_all(&app.pool).await.unwrap();
    assert_eq!((waiting.len(), kept.len()), (1, 1));
    for row in waiting.iter().chain(&kept) {
        assert!(!row.contains(&code) && !row.contains("token\":\""), "{row}");
    }
    let left: i64 = sqlx::query_scalar("select count(*) from mail_outbox").fetch_one(&app.pool).await.unwrap();
    assert_eq!(left, 0, "what was sent is forgotten");
    let hours: i32 =
        sqlx::query_scalar("select extract(epoch from expires_at - created_at)::int / 3600 from mail_links")
            .fetch_one(&app.pool)
            .await
            .unwrap();
    assert_eq!(hours, 72);
    sqlx::query("update mail_links set expires_at = now()").execute(&app.pool).await.unwrap();
    confirm(&app, &code).await.expect(404);
    assert_eq!(accounts::prune(&post.db).await.unwrap(), 1);
    confirm(&app, "nonsense").await.expect(404);
}

#[sqlx::test]
async fn an_invitation_comes_by_mail_proves_the_address_and_is_for_it_alone(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let (guest, thief) = (app.person("Guest One").await, app.person("Thief Two").await);
    post.carry().await;
    let body = json!({"email": guest.email, "role": "viewer", "group_ids": [group], "language": "de"});
    let shown = admin.post("/invitations", body).await.expect(201).body["token"].as_str().unwrap().to_owned();
    let mail = Catcher::only(post.carry().await);
    assert_eq!(mail.to, std::slice::from_ref(&guest.email));
    assert!(mail.plain().contains("Ada Admin") && mail.plain().contains("Verein North"), "{}", mail.plain());
    let code = mail.code();
    assert_ne!(code, shown);
    let accept = async |who: &Caller, token: &str| {
        who.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await
    };
    accept(&thief, &code).await.expect(404);
    accept(&guest, &code).await.expect(200);
    accept(&guest, &shown).await.expect(404);
    let mine = guest.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(
        (&mine.body["account"]["email_confirmed"], &mine.body["clubs"][0]["name"]),
        (&json!(true), &json!("North"))
    );

    // One that was withdrawn before its mail went out is not sent.
    let body = json!({"email": "late@people.example", "role": "viewer", "group_ids": [group]});
    let id = admin.post("/invitations", body).await.expect(201).id();
    admin.delete(&format!("/invitations/{id}"), "").await.expect(204);
    assert_eq!(post.carry_at(Utc::now()).await.needless, 1);
}

#[sqlx::test]
async fn a_strangers_account_cannot_take_an_invitation_to_an_address_that_somebody_else_has(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let owner = app.person("Guest One").await;
    let stranger = sign_up(&app, &owner.email, OTHER, "Eve").await;
    let mails = post.carry().await;
    let body = json!({"email": owner.email, "role": "viewer", "group_ids": [group]});
    let token = admin.post("/invitations", body).await.expect(201).body["token"].clone();
    let bearer = format!("Bearer {}", stranger.body["tokens"]["access_token"].as_str().unwrap());
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let body = serde_json::to_vec(&json!({"token": token})).unwrap();
    let refused = app.send(Method::POST, "/v1/invitations/accept", &headers, Some(body.clone())).await.expect(403);
    assert!(refused.body["detail"].as_str().unwrap().contains("Confirm your e-mail address"), "{}", refused.body);
    // Whoever proves the address may.
    let of_stranger = mails.iter().find(|mail| mail.plain().contains("earlier account")).unwrap();
    confirm(&app, &of_stranger.code()).await.expect(204);
    app.send(Method::POST, "/v1/invitations/accept", &headers, Some(body)).await.expect(200);
}

#[sqlx::test]
async fn where_addresses_must_be_proven_nobody_founds_or_joins_a_club_before(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let app = TestApp::spawn_with(pool.clone(), options, Config { workers: 1, proof: true, ..Config::default() }).await;
    let trusting = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let club = json!({"name": "North", "time_zone": "Europe/London", "ruleset": "UKA-2024"});
    let body = json!({"email": "ada@club.example", "password": PASSWORD, "display_name": "Ada", "club": club});
    app.post("/v1/auth/sign-up", body).await.expect_fault(422, "/club");
    let person = app.person("Ivo Ferret").await;
    person.call(Method::POST, "/v1/clubs", &[], Some(club.clone())).await.expect(403);
    let admin = trusting.admin_of("South").await;
    let body = json!({"email": person.email, "role": "admin", "group_ids": []});
    let token = admin.post("/invitations", body).await.expect(201).body["token"].clone();
    let accept = json!({"token": token});
    person.call(Method::POST, "/v1/invitations/accept", &[], Some(accept.clone())).await.expect(403);
    let mails = post.carry().await;
    let mine =
        mails.iter().find(|mail| mail.header("subject").starts_with("Confirm") && mail.to == [person.email.clone()]);
    confirm(&app, &mine.unwrap().code()).await.expect(204);
    person.call(Method::POST, "/v1/clubs", &[], Some(club)).await.expect(201);
    person.call(Method::POST, "/v1/invitations/accept", &[], Some(accept)).await.expect(200);
}

#[sqlx::test]
async fn an_address_changes_when_both_agree_and_clubs_learn_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let admin = app.admin_of("North").await;
    confirm(&app, &Catcher::only(post.carry().await).code()).await.expect(204);
    let ask = async |email: &str, password: &str| {
        let body = json!({"email": email, "password": password});
        admin.call(Method::POST, "/v1/me/email", &[], Some(body)).await
    };
    ask("nobody", PASSWORD).await.expect_fault(422, "/email");
    ask(&admin.email, PASSWORD).await.expect_fault(422, "/email");
    ask("new@club.example", OTHER).await.expect_fault(422, "/password");
    ask("typo@club.example", PASSWORD).await.expect(202);
    let stale = post.carry().await;
    ask("new@club.example", PASSWORD).await.expect(202);
    let mails = post.carry().await;
    let code = |to: &str| mails.iter().find(|mail| mail.to == [to.to_owned()]).unwrap().code();
    for mail in &stale {
        confirm(&app, &mail.code()).await.expect(404);
    }
    confirm(&app, &code("new@club.example")).await.expect(204);
    sign_in(&app, "new@club.example", PASSWORD).await.expect(401);
    confirm(&app, &code(&admin.email)).await.expect(204);
    sign_in(&app, &admin.email, PASSWORD).await.expect(401);
    sign_in(&app, "new@club.example", PASSWORD).await.expect(200);
    let told = post.carry().await;
    assert!(told.iter().any(|mail| mail.to == [admin.email.clone()] && mail.header("subject").contains("another")));
    let seq = admin.seq().await;
    assert_eq!((accounts::tell_clubs(&post.db).await.unwrap(), accounts::tell_clubs(&post.db).await.unwrap()), (1, 0));
    let member = admin.get(&format!("/members/{}", admin.account)).await.expect(200);
    assert_eq!((&member.body["email"], admin.seq().await), (&json!("new@club.example"), seq + 1));

    // The old address is free, and a proven one of somebody else is not given away.
    let other = sign_up(&app, &admin.email, OTHER, "New Here").await;
    confirm(&app, &Catcher::only(post.carry().await).code()).await.expect(204);
    assert_eq!(me(&app, &other.body["tokens"]).await.body["account"]["email_confirmed"], true);
    let known = ask(&admin.email, PASSWORD).await.expect(202);
    let unknown = ask("free@club.example", PASSWORD).await.expect(202);
    assert_eq!((&known.bytes, known.headers.len()), (&unknown.bytes, unknown.headers.len()));
    ask(&admin.email, PASSWORD).await.expect(202);
    let mails = post.carry().await;
    assert!(mails.iter().any(|mail| mail.header("subject") == "You have an account already"), "{mails:?}");
}

#[sqlx::test]
async fn a_new_device_is_told_of_and_a_known_one_is_not(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let person = app.person("Ivo Ferret").await;
    sign_in(&app, &person.email, PASSWORD).await.expect(200);
    let mails = post.carry().await;
    assert_eq!(mails.len(), 1, "an address that nobody proved is told nothing about sign-ins: {mails:?}");
    confirm(&app, &mails[0].code()).await.expect(204);
    let first = sign_in(&app, &person.email, PASSWORD).await.expect(200);
    let mail = Catcher::only(post.carry().await);
    assert!(mail.plain().contains("It calls itself Phone."), "{}", mail.plain());
    let again =
        json!({"email": person.email, "password": PASSWORD, "earlier_refresh_token": first.body["refresh_token"]});
    app.post("/v1/auth/sign-in", again).await.expect(200);
    assert!(post.carry().await.is_empty());
    for _ in 0..12 {
        sign_in(&app, &person.email, PASSWORD).await.expect(200);
    }
    let count = post.carry().await.len();
    assert!((9..12).contains(&count), "{count}: an app that signs in all day does not fill the box");
}

#[sqlx::test]
async fn mail_comes_in_the_language_of_its_reader(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let body = json!({"email": "ada@club.example", "password": PASSWORD, "display_name": "Ada", "language": "de"});
    let up = app.post("/v1/auth/sign-up", body).await.expect(201);
    assert_eq!(up.body["account"]["language"], "de");
    let mail = Catcher::only(post.carry().await);
    assert!(mail.plain().contains("Bestätige") || mail.plain().contains("bestätige"), "{}", mail.plain());
    assert!(mail.part("text/html").contains("lang=\"de\""));
    let bearer = format!("Bearer {}", up.body["tokens"]["access_token"].as_str().unwrap());
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let choice = serde_json::to_vec(&json!({"language": "en"})).unwrap();
    app.send(Method::PUT, "/v1/me/language", &headers, Some(choice)).await.expect(204);
    app.send(Method::POST, "/v1/me/confirmation", &headers, None).await.expect(202);
    assert!(Catcher::only(post.carry().await).plain().contains("Is it yours?"));
    let body = json!({"email": "nobody@club.example", "language": "de"});
    app.post("/v1/auth/password-reset", body).await.expect(202);
    assert!(Catcher::only(post.carry().await).plain().contains("kein Konto"));
}

#[sqlx::test]
async fn what_strangers_write_is_neither_header_nor_link(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let name = "Eve\nBcc: all@club.example\n<a href=\"https://evil.example/x\">win</a>";
    sign_up(&app, "ada@club.example", PASSWORD, name).await;
    let mail = Catcher::only(post.carry().await);
    assert_eq!(mail.to, ["ada@club.example"]);
    assert_eq!(mail.header("bcc"), "");
    for part in [mail.plain(), mail.part("text/html")] {
        assert!(!part.contains("evil.example") && !part.contains("https://evil"), "{part}");
    }
    assert!(!mail.part("text/html").contains("<a href=\"https:"));
    let injected = "ada@club.example\r\nBcc: x@y.example";
    let body = json!({"email": injected, "password": PASSWORD, "display_name": "Eve"});
    app.post("/v1/auth/sign-up", body).await.expect_fault(422, "/email");
    ask_reset(&app, "ada@club.example>\r\nRCPT TO:<x@y.example").await.expect_fault(422, "/email");
}

#[sqlx::test]
async fn addresses_of_other_scripts_reach_the_server_as_it_takes_them(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    ask_reset(&app, "coach@B\u{fc}cher.example").await.expect(202);
    let mail = Catcher::only(post.carry().await);
    assert_eq!(
        (mail.to.as_slice(), mail.header("to")),
        (&["coach@xn--bcher-kva.example".to_owned()][..], "coach@xn--bcher-kva.example".to_owned())
    );
    // A local part beyond ASCII needs a server that takes it (RFC 6531).
    ask_reset(&app, "\u{e9}cole@club.example").await.expect(202);
    assert_eq!(post.carry_at(Utc::now()).await.later, 1);
    post.answer("EHLO", "250-catcher.example\r\n250-8BITMIME\r\n250 SMTPUTF8");
    // On a connection that knows the server anew.
    let fresh = Catcher::of(&app).await;
    fresh.answer("EHLO", "250-catcher.example\r\n250-8BITMIME\r\n250 SMTPUTF8");
    fresh.carry_at(Utc::now() + Duration::hours(1)).await;
    assert_eq!(Catcher::only(fresh.taken()).to, ["\u{e9}cole@club.example"]);
}
