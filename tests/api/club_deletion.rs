//! A club that is to be deleted goes on for 30 days, can be taken back, and then nothing of it is left anywhere.

use std::path::PathBuf;

use chrono::Utc;
use lanewright::chores;
use lanewright::platform::db::Db;
use lanewright::platform::erasures;
use lanewright::platform::ids::ClubId;
use lanewright::resources::clubs;
use lanewright::resources::exports::Made;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool, Row};
use uuid::Uuid;

use crate::audit::noted;
use crate::catcher::Catcher;
use crate::exports::make_next;
use crate::oauth::{self, BACK};
use crate::operations::operations;
use crate::operations::stage::Stage;
use crate::support::{Caller, PASSWORD, TestApp};
use crate::sync_pull::Phone;
use crate::sync_push::{item, push, statuses};

fn db(pool: &PgPool) -> Db {
    Db::lazy((*pool.connect_options()).clone(), 1)
}

async fn compact(db: &Db) -> u64 {
    chores::compact(db, chrono::Duration::zero()).await.unwrap().unwrap().clubs
}

async fn ask(admin: &Caller) -> Value {
    admin.post("/deletion", json!({"password": PASSWORD})).await.expect(201).body
}

/// As if the 30 days were over.
async fn let_time_pass(pool: &PgPool, club: &str) {
    sqlx::query("update club_endings set due_at = now() - interval '1 second' where club_id = $1")
        .bind(Uuid::parse_str(club).unwrap())
        .execute(pool)
        .await
        .unwrap();
}

/// Every table with how many rows name the club anywhere; `tenant` says whether its rows are those of clubs.
async fn rows_of(pool: &PgPool, club: &str) -> Vec<(String, bool, i64)> {
    let club = Uuid::parse_str(club).unwrap();
    let tables = sqlx::query(
        "select c.relname::text as name, coalesce(obj_description(c.oid, 'pg_class') like 'scope:tenant%', false) as tenant
         from pg_class c join pg_namespace n on n.oid = c.relnamespace
         where n.nspname = 'public' and c.relkind = 'r' order by 1",
    )
    .fetch_all(pool)
    .await
    .unwrap();
    let mut found = Vec::new();
    for table in tables {
        let (name, tenant): (String, bool) = (table.get("name"), table.get("tenant"));
        let mut tx = pool.begin().await.unwrap();
        let enter = format!("set local app.club_id = '{club}'");
        sqlx::raw_sql(AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        let sql = format!("select count(*) from {name} x where x::text like '%{club}%'");
        let count: i64 = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut *tx).await.unwrap();
        found.push((name, tenant, count));
    }
    found
}

/// An app of the club that acts for its admin.
async fn connect(admin: &Caller, app: Value) -> Caller {
    let client = admin.post("/apps", app).await.expect(201).body["client_id"].as_str().unwrap().to_owned();
    let fields = oauth::first_token(admin, &client, BACK).await;
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let form = form_urlencoded::Serializer::new(String::new()).extend_pairs(&fields).finish().into_bytes();
    let kind = [("content-type", "application/x-www-form-urlencoded")];
    let tokens = admin.app.send(Method::POST, "/oauth/token", &kind, Some(form)).await.expect(200).body;
    let token = tokens["access_token"].as_str().unwrap().to_owned();
    Caller { token, ..admin.clone() }
}

/// A club with rows in every table that clubs have.
async fn full(app: &TestApp) -> Caller {
    let stage = Stage::new(app).await;
    let all = operations(app).await;
    for wanted in [
        "create_consent",
        "set_club_security",
        "update_retention",
        "set_attendance",
        "set_race_entries",
        "create_race_results",
        "push_changes",
    ] {
        let operation = all.iter().find(|one| one.id == wanted).unwrap();
        let answer = stage.request(operation).await.send(app).await;
        assert!(answer.status < 300, "{wanted}: {}", answer.body);
    }
    let admin = stage.admin.clone();
    // An app at work, corrections on corrections, and an edit that was refused.
    let scopes = json!(["squad.read", "sync"]);
    let cards = json!({"name": "Cards", "redirect_uris": [BACK], "scopes": scopes});
    connect(&admin, cards).await;
    let mut before = stage.ids["run_id"].clone();
    for _ in 0..3 {
        let mut run = stage.run(&Uuid::now_v7().to_string());
        run["supersedes"] = json!(before);
        before = run["id"].as_str().unwrap().to_owned();
        admin.post("/runs", json!({"runs": [run]})).await.expect(200);
    }
    admin.post("/exports", json!({})).await.expect(201);
    assert_eq!(make_next(app).await, Some(Made::Ready));
    let lost =
        item("PATCH", "athlete", &stage.ids["athlete_id"], json!({"base_rev": 1, "data": {"display_name": "Lost"}}));
    assert_eq!(statuses(&push(&admin, &[lost]).await), [409]);
    let club = Uuid::parse_str(&admin.club).unwrap();
    let start = format!(
        "begin; set local app.club_id = '{club}'; insert into audit_start values ('{club}', 0, ''::bytea); commit"
    );
    sqlx::raw_sql(AssertSqlSafe(start)).execute(&app.pool).await.unwrap();
    admin
}

#[sqlx::test]
async fn nothing_of_a_deleted_club_is_left_in_any_table_and_others_are_as_they_were(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = full(&app).await;
    let south = app.admin_of("South").await;
    let group = south.group("South group").await;
    let coach = admin.member("Cora Coach", "coach", &[&admin.group("Another").await]).await;
    let before = rows_of(&pool, &admin.club).await;
    let unfilled: Vec<&str> =
        before.iter().filter(|(_, tenant, rows)| *tenant && *rows == 0).map(|(name, ..)| name.as_str()).collect();
    assert!(unfilled.is_empty(), "the test says nothing of {unfilled:?}");
    let others = rows_of(&pool, &south.club).await;

    ask(&admin).await;
    assert_eq!(compact(&db(&pool)).await, 0, "not before its day");
    coach.get("").await.expect(200);
    let_time_pass(&pool, &admin.club).await;
    assert_eq!(compact(&db(&pool)).await, 1);

    let left: Vec<(String, bool, i64)> =
        rows_of(&pool, &admin.club).await.into_iter().filter(|(.., rows)| *rows > 0).collect();
    assert!(left.is_empty(), "{left:?}");
    for member in [&admin, &coach] {
        member.get("").await.expect(404);
        member.get("/changes").await.expect(404);
        let me = member.call(Method::GET, "/v1/me", &[], None).await.expect(200).body;
        assert_eq!(me["clubs"], json!([]));
    }
    south.get(&format!("/groups/{group}")).await.expect(200);
    let mut now = rows_of(&pool, &south.club).await;
    // Reading is noted.
    now.iter_mut().zip(&others).filter(|(one, _)| one.0 == "audit").for_each(|(one, other)| one.2 = other.2);
    assert_eq!(now, others);
    assert_eq!(compact(&db(&pool)).await, 0);
}

#[sqlx::test]
async fn any_admin_asks_with_a_password_everybody_sees_it_and_any_admin_takes_it_back(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let (coach, viewer) =
        (admin.member("Cora Coach", "coach", &[&group]).await, admin.member("Vera Viewer", "viewer", &[&group]).await);
    let second = admin.member("Second Admin", "admin", &[]).await;
    let mut phone = Phone::default();
    phone.pull(&viewer, 100).await;
    for no in [&coach, &viewer] {
        no.post("/deletion", json!({"password": PASSWORD})).await.expect(403);
        no.delete("/deletion", "").await.expect(403);
    }
    admin.post("/deletion", json!({"password": "not my password at all"})).await.expect_fault(422, "/password");
    admin.delete("/deletion", "").await.expect(404);
    assert_eq!(admin.get("").await.expect(200).body.get("deletes_at"), None);

    let asked = ask(&admin).await;
    assert_eq!(asked["asked_by"], json!(admin.account));
    let due: chrono::DateTime<Utc> = asked["deletes_at"].as_str().unwrap().parse().unwrap();
    let days = (due - Utc::now()).num_hours();
    assert!((29 * 24..=30 * 24).contains(&days), "{days} hours");
    second.post("/deletion", json!({"password": PASSWORD})).await.expect(409);
    assert_eq!(viewer.get("").await.expect(200).body["deletes_at"], asked["deletes_at"]);
    phone.pull(&viewer, 100).await;
    let club = ("club".to_owned(), admin.club.clone());
    assert_eq!(phone.copy[&club]["deletes_at"], asked["deletes_at"]);
    // Everything goes on as before, also what phones hand in.
    coach
        .post(
            "/athletes",
            json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group],
        "experience": "novice"}),
        )
        .await
        .expect(201);

    second.delete("/deletion", "").await.expect(204);
    phone.pull(&viewer, 100).await;
    assert_eq!(phone.copy[&club].get("deletes_at"), None);
    let_time_pass(&pool, &admin.club).await;
    assert_eq!(compact(&db(&pool)).await, 0);
    admin.get("").await.expect(200);
    for (operation, who) in
        [("POST /v1/clubs/{club_id}/deletion", &admin), ("DELETE /v1/clubs/{club_id}/deletion", &second)]
    {
        assert_eq!(noted(&admin, "changed", operation).await[0]["account_id"], json!(who.account), "{operation}");
    }
}

#[sqlx::test]
async fn admins_are_told_by_mail_what_becomes_of_their_club(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let post = Catcher::of(&app).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    admin.member("Cora Coach", "coach", &[&group]).await;
    let second = admin.member("Second Admin", "admin", &[]).await;
    sqlx::query("update accounts set language = 'de' where account_id = $1")
        .bind(Uuid::parse_str(&second.account).unwrap())
        .execute(&pool)
        .await
        .unwrap();
    post.carry().await;
    // One mail for each admin, in the language of each: what stands in both forms.
    let told = async |subject: &str, words: [&str; 2], day: &str| {
        let mails = post.carry().await;
        assert_eq!(mails.len(), 2, "{mails:?}");
        for (to, word) in [(&admin.email, words[0]), (&second.email, words[1])] {
            let mail = mails.iter().find(|mail| mail.to == [to.clone()]).unwrap();
            assert_eq!(mail.header("subject") == subject, to == &admin.email, "{}", mail.raw);
            for part in [mail.plain(), mail.part("text/html")] {
                assert!(part.contains("North") && part.contains(word) && part.contains(day), "{part}");
                assert!(!part.contains("/mail/"), "nothing can be done by a link: {part}");
            }
        }
    };
    let due = ask(&admin).await["deletes_at"].as_str().unwrap()[..10].to_owned();
    told("Your club is to be deleted", ["An admin asked", "Vereinsverwaltung"], &due).await;
    second.delete("/deletion", "").await.expect(204);
    told("Your club stays", ["as before", "wie bisher"], "").await;
    second.delete("/deletion", "").await.expect(404);
    assert_eq!(post.carry().await.len(), 0, "nothing was done");
    // What waits when the club goes is not sent any more.
    ask(&admin).await;
    let_time_pass(&pool, &admin.club).await;
    assert_eq!(compact(&db(&pool)).await, 1);
    let today = Utc::now().date_naive().to_string();
    told("Your club was deleted", ["no way back", "keinen Weg"], &today).await;
    assert_eq!(sqlx::query_scalar::<_, i64>("select count(*) from mail_outbox").fetch_one(&pool).await.unwrap(), 0);
}

/// What cannot be undone is for people to say, whatever an admin let an app do.
#[sqlx::test]
async fn an_app_ends_neither_club_nor_account_nor_decides_what_is_kept(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let office = json!({"name": "Office", "redirect_uris": [BACK], "scopes": ["club.admin", "squad.read"]});
    let acting = connect(&admin, office).await;
    assert_eq!(acting.get("/retention").await.expect(200).body["enabled"], false);
    acting.get("/retention/preview").await.expect(200);
    acting.patch("/retention", "*", json!({"enabled": true})).await.expect(403);
    acting.post("/deletion", json!({"password": PASSWORD})).await.expect(403);
    acting.call(Method::POST, "/v1/me/deletion", &[], Some(json!({"password": PASSWORD}))).await.expect(403);
    ask(&admin).await;
    acting.delete("/deletion", "").await.expect(403);
    assert!(admin.get("").await.expect(200).body["deletes_at"].is_string());
}

#[sqlx::test]
async fn a_deletion_that_has_begun_is_not_taken_back_and_gone_on_with(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    admin.group("Mine").await;
    ask(&admin).await;
    // As an instance leaves it that dies after the first step.
    sqlx::query("update club_endings set begun_at = now()").execute(&pool).await.unwrap();
    admin.delete("/deletion", "").await.expect(404);
    admin.post("/deletion", json!({"password": PASSWORD})).await.expect(409);
    assert_eq!(compact(&db(&pool)).await, 1);
    let left: Vec<_> = rows_of(&pool, &admin.club).await.into_iter().filter(|(.., rows)| *rows > 0).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[sqlx::test]
async fn a_restored_copy_does_not_serve_a_club_that_was_deleted_since(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let file: PathBuf = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let noting = db(&pool).noting_erasures(Some(file.clone()));
    ask(&south).await;
    let_time_pass(&pool, &south.club).await;
    assert_eq!(compact(&noting).await, 1);
    let gone = ClubId(Uuid::parse_str(&south.club).unwrap());
    assert!(erasures::read(&file).unwrap()[&gone].contains(&gone.0), "it stands in the list outside the database");

    // The copy has the club still: as this one does of whom the list says that it is gone.
    let again = ClubId(Uuid::parse_str(&admin.club).unwrap());
    erasures::add(&file, &[(again, again.0)]).unwrap();
    assert_eq!(clubs::close_again(&noting, &file).await.unwrap(), 1);
    admin.get("").await.expect(404);
    assert_eq!(clubs::close_again(&noting, &file).await.unwrap(), 0);
    assert_eq!(lanewright::resources::athletes::erasures::settle(&noting, &file).await.unwrap(), 0);
    assert_eq!(compact(&noting).await, 1);
    std::fs::remove_file(&file).unwrap();
    let left: Vec<_> = rows_of(&pool, &admin.club).await.into_iter().filter(|(.., rows)| *rows > 0).collect();
    assert!(left.is_empty(), "{left:?}");
}

/// Whoever ran the club hands it over by making somebody else admin; there is always one.
#[sqlx::test]
async fn a_club_is_handed_over_and_never_without_an_admin(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let founder = app.admin_of("North").await;
    let group = founder.group("Mine").await;
    let heir = founder.member("Tomas Reyl", "coach", &[&group]).await;
    let (own, theirs) = (format!("/members/{}", founder.account), format!("/members/{}", heir.account));
    let leave = format!("/v1/me/clubs/{}", founder.club);
    let viewer = json!({"role": "viewer", "group_ids": [group]});
    founder.patch(&own, "*", viewer.clone()).await.expect(409);
    founder.delete(&own, "*").await.expect(409);
    founder.call(Method::DELETE, &leave, &[], None).await.expect(409);
    founder.call(Method::POST, "/v1/me/deletion", &[], Some(json!({"password": PASSWORD}))).await.expect(409);

    founder.patch(&theirs, "*", json!({"role": "admin", "group_ids": []})).await.expect(200);
    founder.patch(&own, "*", viewer).await.expect(200);
    founder.get("/members").await.expect(403);
    founder.post("/deletion", json!({"password": PASSWORD})).await.expect(403);
    heir.get("/members").await.expect(200);
    heir.call(Method::DELETE, &leave, &[], None).await.expect(409);
    founder.call(Method::DELETE, &leave, &[], None).await.expect(204);
    ask(&heir).await;
}
