//! Whoever deletes their account is gone at once: no sign-in, no name, no address, nothing that they opened to others.

use lanewright::chores;
use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::platform::erasures;
use lanewright::platform::ids::ClubId;
use lanewright::resources::accounts;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;

use crate::catcher::Catcher;
use crate::second_factor;
use crate::support::{Answer, Caller, PASSWORD, TestApp};
use crate::sync_pull::run;
use crate::sync_push::{create, push, statuses};

async fn delete(person: &Caller, body: Value) -> Answer {
    person.call(Method::POST, "/v1/me/deletion", &[], Some(body)).await
}

/// The tables in which one of these words stands, of these clubs and of accounts.
async fn found(pool: &PgPool, clubs: &[&str], words: &[&str]) -> Vec<String> {
    let tables: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
         where n.nspname = 'public' and c.relkind = 'r' order by 1",
    )
    .fetch_all(pool)
    .await
    .unwrap();
    let mut found = Vec::new();
    for table in tables {
        for club in clubs {
            let mut tx = pool.begin().await.unwrap();
            let enter = format!("set local app.club_id = '{}'", Uuid::parse_str(club).unwrap());
            sqlx::raw_sql(AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
            let sql = format!("select x::text from {table} x");
            let rows: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(&mut *tx).await.unwrap();
            let named = |row: &String| words.iter().any(|word| row.to_lowercase().contains(&word.to_lowercase()));
            if rows.iter().any(named) {
                found.push(table.clone());
            }
        }
    }
    found.dedup();
    found
}

#[sqlx::test]
async fn no_trace_of_the_person_is_left_and_what_they_recorded_is(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let post = Catcher::of(&app).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Mine").await;
    let coach = north.member("Quirin Leaver", "coach", &[&group]).await;
    let other = south.group("Theirs").await;
    let invited = json!({"email": coach.email, "role": "viewer", "group_ids": [other]});
    let token = south.post("/invitations", invited.clone()).await.expect(201).body["token"].clone();
    let accept = "/v1/invitations/accept";
    coach.call(Method::POST, accept, &[], Some(json!({"token": token}))).await.expect(200);
    // They left South before, and are invited again there.
    let leave = format!("/v1/me/clubs/{}", south.club);
    coach.call(Method::DELETE, &leave, &[], None).await.expect(204);
    south.post("/invitations", invited).await.expect(201);
    // What a member leaves: facts, a phone with a name, a calendar, a link, a renamed sign-in.
    let day = chrono::Utc::now().date_naive() - chrono::Duration::days(1);
    let athlete = json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group],
        "experience": "novice"});
    let athlete = coach.post("/athletes", athlete).await.expect(201).id();
    let session = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let session = coach.post("/sessions", session).await.expect(201).id();
    let fact = create("run", run(&session, &athlete, day));
    assert_eq!(statuses(&push(&coach, std::slice::from_ref(&fact)).await), [201]);
    let feed = coach.post("/calendar-feeds", json!({})).await.expect(201).body["href"].as_str().unwrap().to_owned();
    app.get(&feed).await.expect(200);
    let devices = coach.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200).body;
    let device = format!("/v1/me/devices/{}/name", devices["items"][0]["id"].as_str().unwrap());
    coach.call(Method::PUT, &device, &[], Some(json!({"name": "Phone of Quirin"}))).await.expect(204);
    let words = ["Quirin", "Leaver", coach.email.as_str()];
    let clubs = [north.club.as_str(), south.club.as_str()];
    let before = found(&pool, &clubs, &words).await;
    for table in ["accounts", "devices", "invitations", "login_emails", "members"] {
        assert!(before.iter().any(|one| one == table), "the test says nothing of {table}: {before:?}");
    }

    delete(&coach, json!({"password": "not my password at all"})).await.expect_fault(422, "/password");
    coach.get("").await.expect(200);
    delete(&coach, json!({"password": PASSWORD})).await.expect(204);

    coach.get("").await.expect(401);
    coach.call(Method::GET, "/v1/me", &[], None).await.expect(401);
    app.post("/v1/auth/refresh", json!({"refresh_token": coach.refresh})).await.expect(401);
    app.post("/v1/auth/sign-in", json!({"email": coach.email, "password": PASSWORD})).await.expect(401);
    app.get(&feed).await.expect(404);
    let members = north.get("/members").await.expect(200).body;
    assert_eq!(members["items"].as_array().unwrap().len(), 1);
    north.get(&format!("/runs/{}", fact["id"].as_str().unwrap())).await.expect(200);
    // The one mail that is left tells them, and takes their address along.
    assert!(found(&pool, &clubs, &words).await.iter().any(|table| table == "mail_outbox"));
    let mails = post.carry().await;
    let mail = Catcher::only(mails.into_iter().filter(|mail| mail.to == [coach.email.clone()]).collect());
    assert_eq!(mail.header("subject"), "Your account was deleted");
    for part in [mail.plain(), mail.part("text/html")] {
        assert!(part.contains("a member of no club any more") && !part.contains("/mail/"), "{part}");
    }
    // Of the club that they left before the service forgets them by itself.
    assert_eq!(found(&pool, &clubs, &words).await, ["invitations", "members"]);
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    let dropped = chores::compact(&db, chrono::Duration::zero()).await.unwrap().unwrap();
    assert_eq!(dropped.names, 1);
    assert_eq!(found(&pool, &clubs, &words).await, Vec::<String>::new());
    // The address is nobody's: whoever has it signs up anew and is somebody else.
    let anew = app.person("Quirin Leaver").await;
    assert_ne!(anew.account, coach.account);
    let me = anew.call(Method::GET, "/v1/me", &[], None).await.expect(200).body;
    assert_eq!(me["clubs"], json!([]));
}

#[sqlx::test]
async fn the_last_mail_to_whoever_left_is_not_kept_when_it_cannot_be_sent(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let post = Catcher::of(&app).await;
    let person = app.person("Quirin Leaver").await;
    post.carry().await;
    delete(&person, json!({"password": PASSWORD})).await.expect(204);
    post.answer("RCPT", "550 no such person");
    assert_eq!(post.carry_at(chrono::Utc::now()).await.given_up, 1);
    assert_eq!(found(&pool, &[&Uuid::nil().to_string()], &[&person.email]).await, Vec::<String>::new());
}

#[sqlx::test]
async fn a_second_factor_is_asked_for_as_well(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let person = app.person("Careful One").await;
    let (secret, _) = second_factor::set_up(&person).await;
    let refused = delete(&person, json!({"password": PASSWORD})).await.expect(403);
    assert!(refused.body["type"].as_str().unwrap().ends_with("second-factor"), "{}", refused.body);
    delete(&person, json!({"password": PASSWORD, "code": "000000"})).await.expect(403);
    let code = second_factor::code(&secret, 1);
    delete(&person, json!({"password": PASSWORD, "code": code})).await.expect(204);
    person.call(Method::GET, "/v1/me", &[], None).await.expect(401);
}

#[sqlx::test]
async fn the_last_admin_hands_every_club_over_first(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let body = json!({"name": "Second Club", "time_zone": "Europe/London", "ruleset": "UKA-2024"});
    admin.call(Method::POST, "/v1/clubs", &[], Some(body)).await.expect(201);
    let refused = delete(&admin, json!({"password": PASSWORD})).await.expect(409);
    let says = refused.body["detail"].as_str().unwrap();
    assert!(says.contains("North") && says.contains("Second Club"), "{says}");
    admin.get("").await.expect(200);
    // Whoever is no last admin anywhere goes, with the club as it was.
    let second = admin.member("Second Admin", "admin", &[]).await;
    delete(&second, json!({"password": PASSWORD})).await.expect(204);
    assert_eq!(admin.get("/members").await.expect(200).body["items"].as_array().unwrap().len(), 1);
    assert_eq!(admin.get("/audit/verification").await.expect(200).body["sound"], true);
}

#[sqlx::test]
async fn a_restored_copy_is_rid_of_accounts_that_were_deleted_since(pool: PgPool) {
    let file = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let options = (*pool.connect_options()).clone();
    let config = Config { workers: 1, erasures: Some(file.clone()), ..Config::default() };
    let app = TestApp::spawn_with(pool.clone(), options.clone(), config).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let [gone, back] =
        [admin.member("Gone Now", "coach", &[&group]).await, admin.member("Back Again", "coach", &[&group]).await];
    delete(&gone, json!({"password": PASSWORD})).await.expect(204);
    let listed = erasures::gone(&erasures::read(&file).unwrap());
    assert_eq!(listed, [Uuid::parse_str(&gone.account).unwrap()]);
    // The copy has an account of which the list says that it is no more; and a last admin, about whose club somebody decides.
    let lines = [&back, &admin].map(|one| Uuid::parse_str(&one.account).unwrap()).map(|id| (ClubId(id), id));
    erasures::add(&file, &lines).unwrap();
    let db = Db::lazy(options, 1);
    assert_eq!(accounts::end_again(&db, &file).await.unwrap(), 1);
    assert_eq!(accounts::end_again(&db, &file).await.unwrap(), 0);
    std::fs::remove_file(&file).unwrap();
    back.get("").await.expect(401);
    assert_eq!(found(&pool, &[&admin.club], &["Back Again", &back.email]).await, Vec::<String>::new());
    admin.get("").await.expect(200);
}

/// Names of those who left are not kept for ever either.
#[sqlx::test]
async fn who_left_a_club_is_named_there_for_ninety_days(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let north = app.admin_of("North").await;
    let group = north.group("Mine").await;
    let [long, lately] =
        [north.member("Gone Long", "coach", &[&group]).await, north.member("Gone Lately", "coach", &[&group]).await];
    for person in [&long, &lately] {
        let leave = format!("/v1/me/clubs/{}", north.club);
        person.call(Method::DELETE, &leave, &[], None).await.expect(204);
    }
    let shift = |name: &str, days: u32| {
        format!("update members set deleted_at = now() - interval '{days} days' where display_name = '{name}'")
    };
    crate::audit::as_owner(&pool, &north.club, &shift("Gone Long", 91)).await;
    crate::audit::as_owner(&pool, &north.club, &shift("Gone Lately", 89)).await;
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    assert_eq!(chores::compact(&db, chrono::Duration::zero()).await.unwrap().unwrap().names, 1);
    assert_eq!(found(&pool, &[&north.club], &["Gone Long"]).await, ["accounts"]);
    assert_eq!(found(&pool, &[&north.club], &["Gone Lately"]).await, ["accounts", "members"]);
    // Whoever comes back has a name again.
    let invited = json!({"email": long.email, "role": "coach", "group_ids": [group]});
    let token = north.post("/invitations", invited).await.expect(201).body["token"].clone();
    long.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await.expect(200);
    let back = north.get(&format!("/members/{}", long.account)).await.expect(200).body;
    assert_eq!(back["display_name"], "Gone Long");
}
