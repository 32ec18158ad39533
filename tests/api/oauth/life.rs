//! An app from its registration to its end.

use std::cell::RefCell;
use std::collections::HashMap;

use chrono::Utc;
use lanewright::platform::db::Db;
use lanewright::resources::accounts;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use super::{BACK, Browser, Club, Registered, claims, form};
use crate::audit::noted;
use crate::support::{Answer, Caller, TestApp};

const ALL: [&str; 6] = ["squad.read", "session.write", "assessment.write", "plan.write", "sync", "club.admin"];

fn athlete(group: &str) -> Value {
    json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"})
}

#[track_caller]
fn problem(answer: &Answer, status: u16, kind: &str) {
    assert_eq!((answer.status, &answer.body["type"]), (status, &json!(format!("/problems/{kind}"))), "{}", answer.body);
}

#[sqlx::test]
async fn an_app_does_what_the_person_allowed_and_nothing_else(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let code = app.code_of(&club.coach, &[("scope", "squad.read session.write")]).await;
    let answer = app.exchange(&code).await.expect(200);
    assert_eq!(answer.header("cache-control"), "no-store");
    let tokens = answer.body;
    assert_eq!((&tokens["token_type"], &tokens["scope"]), (&json!("Bearer"), &json!("squad.read session.write")));
    assert_eq!(tokens["club_id"], json!(club.admin.club));
    let said = claims(tokens["access_token"].as_str().unwrap());
    assert_eq!((&said["client_id"], &said["scope"]), (&json!(app.client_id), &json!("squad.read session.write")));
    let acting = Registered::acting(&club.coach, &tokens);
    acting.post("/athletes", athlete(&club.group)).await.expect(201);
    assert_eq!(acting.get("/athletes").await.expect(200).body["items"].as_array().unwrap().len(), 1);
    // Neither what was not asked for, nor what the role does not allow, nor what is the account's, nor another club.
    problem(&acting.get("/changes").await, 403, "forbidden");
    problem(&acting.get("/members").await, 403, "forbidden");
    for (method, path) in [(Method::GET, "/v1/me"), (Method::GET, "/v1/me/devices"), (Method::GET, "/v1/me/apps")] {
        problem(&acting.call(method, path, &[], None).await, 403, "forbidden");
    }
    let found = json!({"name": "Another", "time_zone": "Europe/London", "ruleset": "UKA"});
    problem(&acting.call(Method::POST, "/v1/clubs", &[], Some(found)).await, 403, "forbidden");
    let south = club.app.admin_of("South").await;
    let foreign = Caller { club: south.club.clone(), ..acting.clone() };
    problem(&foreign.get("/athletes").await, 404, "not-found");
}

#[sqlx::test]
async fn a_token_names_only_scopes_that_the_role_has(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    for (who, scopes) in [
        (&club.viewer, "squad.read sync"),
        (&club.coach, "squad.read session.write assessment.write plan.write sync"),
        (&club.admin, "squad.read session.write assessment.write plan.write sync club.admin"),
    ] {
        let (_, tokens) = app.connect(who, &ALL.join(" ")).await;
        assert_eq!(tokens["scope"], scopes);
        // A person's own sign-in is bounded by their role alone, and its token names no scope of a role.
        assert_eq!(claims(&who.token)["scope"], "account");
    }
    club.viewer.get("/athletes").await.expect(200);
    club.viewer.get("/members").await.expect(403);
    // Without a wish it is what the club lets the app have.
    let narrow = Registered::by(&club.admin, &["sync", "squad.read"]).await;
    let code = narrow.code_of(&club.admin, &[("scope", "")]).await;
    assert_eq!(narrow.exchange(&code).await.expect(200).body["scope"], "squad.read sync");
    // What the club does not let it have is left out, and said.
    let (_, tokens) = narrow.connect(&club.admin, "club.admin sync").await;
    assert_eq!(tokens["scope"], "sync");
    // Who can use nothing of it is told on the page.
    let admin_only = Registered::by(&club.admin, &["club.admin"]).await;
    let page = Browser::new(&club.app).sign_in(&admin_only.asks(&[("scope", "club.admin")]), &club.viewer.email).await;
    assert!(page.expect(403).html.contains("allows nothing of what this app asks for"));
}

#[sqlx::test]
async fn a_lowered_grant_and_a_lowered_role_count_at_the_next_request(pool: PgPool) {
    let (one, two) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let club = Club::new(&one).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let (acting, tokens) = app.connect(&club.coach, "squad.read session.write").await;
    let far = Caller { app: two, ..acting.clone() };
    far.post("/athletes", athlete(&club.group)).await.expect(201);
    let path = format!("/apps/{}", app.id);
    let tag = club.admin.get(&path).await.expect(200).header("etag").to_owned();
    let changed = club.admin.patch(&path, &tag, json!({"scopes": ["squad.read"]})).await.expect(200);
    assert_eq!((&changed.body["rev"], &changed.body["scopes"]), (&json!(2), &json!(["squad.read"])));
    club.admin.patch(&path, &tag, json!({"name": "Other"})).await.expect(412);
    problem(&far.post("/athletes", athlete(&club.group)).await, 403, "forbidden");
    far.get("/athletes").await.expect(200);
    let tokens = app.refresh(&tokens["refresh_token"]).await.expect(200).body;
    assert_eq!(tokens["scope"], "squad.read");
    // And the role.
    let tag = club.admin.get(&path).await.expect(200).header("etag").to_owned();
    club.admin.patch(&path, &tag, json!({"scopes": ["squad.read", "session.write"]})).await.expect(200);
    let acting = Registered::acting(&club.coach, &app.refresh(&tokens["refresh_token"]).await.expect(200).body);
    acting.post("/athletes", athlete(&club.group)).await.expect(201);
    let member = format!("/members/{}", club.coach.account);
    let tag = club.admin.get(&member).await.expect(200).header("etag").to_owned();
    club.admin.patch(&member, &tag, json!({"role": "viewer"})).await.expect(200);
    problem(&acting.post("/athletes", athlete(&club.group)).await, 403, "forbidden");
}

#[sqlx::test]
async fn an_admin_sees_the_apps_and_revokes_one_for_the_whole_club_at_once(pool: PgPool) {
    let (one, two) = (TestApp::spawn(pool.clone()).await, TestApp::spawn(pool).await);
    let club = Club::new(&one).await;
    let (app, other) = (Registered::by(&club.admin, &ALL).await, Registered::by(&club.admin, &["sync"]).await);
    let (coach, coach_tokens) = app.connect(&club.coach, "squad.read sync").await;
    let (viewer, _) = app.connect(&club.viewer, "squad.read sync").await;
    let (elsewhere, _) = other.connect(&club.coach, "sync").await;
    app.connect(&club.coach, "squad.read").await;
    let list = club.admin.get("/apps").await.expect(200).body;
    let shown = &list["items"][0];
    assert_eq!((&shown["name"], &shown["people"]), (&json!("Trackside Cards"), &json!(2)), "{list}");
    assert_eq!((&shown["client_id"], &shown["scopes"]), (&json!(app.client_id), &json!(ALL)));
    assert!(shown["last_used_at"].is_string() && list["items"].as_array().unwrap().len() == 2, "{list}");
    club.coach.get("/apps").await.expect(403);
    // The poll of a phone is remembered for a sign-in of one's own alone.
    let token = coach.get("/changes").await.expect(200).body["sync_token"].as_str().unwrap().to_owned();
    let poll = format!("/changes?sync_token={token}");
    coach.get(&poll).await.expect(200);
    club.admin.delete(&format!("/apps/{}", app.id), "").await.expect(204);
    for far in [&coach, &viewer] {
        let far = Caller { app: two.clone(), ..far.clone() };
        problem(&far.get("/athletes").await, 401, "app-revoked");
    }
    problem(&coach.get(&poll).await, 401, "app-revoked");
    problem(
        &coach.post("/changes", json!({"device_id": coach.account, "schema": 1, "items": []})).await,
        401,
        "app-revoked",
    );
    let refused = app.refresh(&coach_tokens["refresh_token"]).await.expect(400).body;
    assert_eq!(refused["error"], "invalid_grant");
    assert_eq!(refused["error_uri"], format!("{}/problems/app-revoked", one.base));
    let page = Browser::new(&one).get(&app.asks(&[])).await.expect(400);
    assert!(page.html.contains("is no app of a club"), "{}", page.html);
    // The other app and the people go on.
    elsewhere.get("/changes").await.expect(200);
    club.coach.get("/athletes").await.expect(200);
    club.admin.get(&format!("/apps/{}", app.id)).await.expect(404);
    club.admin.delete(&format!("/apps/{}", app.id), "").await.expect(404);
    assert_eq!(
        club.coach.call(Method::GET, "/v1/me/apps", &[], None).await.expect(200).body["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[sqlx::test]
async fn a_person_sees_and_ends_what_acts_for_them(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let (coach, tokens) = app.connect(&club.coach, "squad.read sync").await;
    let (tablet, _) = app.connect(&club.coach, "squad.read plan.write").await;
    let (viewer, _) = app.connect(&club.viewer, "squad.read").await;
    let mine = club.coach.call(Method::GET, "/v1/me/apps", &[], None).await.expect(200).body;
    let [one] = mine["items"].as_array().unwrap().as_slice() else { panic!("{mine}") };
    assert_eq!((&one["app_id"], &one["club_name"]), (&json!(app.id), &json!("North")));
    assert_eq!(one["scopes"], json!(["squad.read", "plan.write", "sync"]));
    // A sign-in of an app is no device of theirs.
    let devices = club.coach.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200).body;
    assert_eq!(devices["items"].as_array().unwrap().len(), 1, "{devices}");
    let path = format!("/v1/me/apps/{}", app.id);
    // A code that is on its way goes with it.
    let code = app.code_of(&club.coach, &[]).await;
    club.coach.call(Method::DELETE, &path, &[], None).await.expect(204);
    club.coach.call(Method::DELETE, &path, &[], None).await.expect(204);
    for ended in [&coach, &tablet] {
        problem(&ended.get("/athletes").await, 401, "app-revoked");
    }
    assert_eq!(app.refresh(&tokens["refresh_token"]).await.expect(400).body["error"], "invalid_grant");
    app.exchange(&code).await.expect(400);
    viewer.get("/athletes").await.expect(200);
    club.coach.get("/athletes").await.expect(200);
    assert_eq!(club.admin.get("/apps").await.expect(200).body["items"][0]["people"], 1);
    // Allowed again, what was lost stays lost.
    let (again, _) = app.connect(&club.coach, "sync").await;
    again.get("/changes").await.expect(200);
    problem(&coach.get("/athletes").await, 401, "unauthenticated");
    let mine = club.coach.call(Method::GET, "/v1/me/apps", &[], None).await.expect(200).body;
    assert_eq!(mine["items"][0]["scopes"], json!(["sync"]));
}

#[sqlx::test]
async fn a_token_that_is_given_back_is_good_no_more(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let other = Registered::by(&club.admin, &ALL).await;
    let revoke = async |client: &str, token: &str| {
        let headers = [("content-type", "application/x-www-form-urlencoded")];
        let fields = [("client_id", client), ("token", token), ("token_type_hint", "whatever")];
        club.app.send(Method::POST, "/oauth/revoke", &headers, Some(form(&fields))).await
    };
    let (acting, _) = app.connect(&club.coach, "squad.read").await;
    let (second, _) = app.connect(&club.coach, "squad.read").await;
    // Another app's, a person's own and nonsense: answered alike, and nothing happens.
    for (client, token) in [
        (&other.client_id, &acting.refresh),
        (&other.client_id, &acting.token),
        (&app.client_id, &club.coach.refresh),
        (&app.client_id, &club.coach.token),
        (&app.client_id, &"nonsense".to_owned()),
    ] {
        revoke(client, token).await.expect(200);
    }
    acting.get("/athletes").await.expect(200);
    club.coach.get("/athletes").await.expect(200);
    revoke(&app.client_id, &acting.refresh).await.expect(200);
    revoke(&app.client_id, &acting.refresh).await.expect(200);
    problem(&acting.get("/athletes").await, 401, "unauthenticated");
    app.refresh(&json!(acting.refresh)).await.expect(400);
    second.get("/athletes").await.expect(200);
    revoke(&app.client_id, &second.token).await.expect(200);
    problem(&second.get("/athletes").await, 401, "unauthenticated");
    let headers = [("content-type", "application/x-www-form-urlencoded")];
    let missing = club.app.send(Method::POST, "/oauth/revoke", &headers, Some(form(&[("token", "x")]))).await;
    assert_eq!(missing.expect(400).body["error"], "invalid_request");
}

#[sqlx::test]
async fn a_registration_names_every_broken_field_and_apps_register_nothing(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let body = json!({"name": "", "redirect_uris": ["http://cards.example/x"], "scopes": ["squad.read", "account"]});
    let answer = club.admin.post("/apps", body).await.expect(422);
    assert_eq!(answer.faults(), ["/name", "/redirect_uris/0", "/scopes/1"]);
    let good = json!({"name": "X", "redirect_uris": [BACK], "scopes": ["sync"]});
    club.coach.post("/apps", good.clone()).await.expect(403);
    let app = Registered::by(&club.admin, &ALL).await;
    let (acting, _) = app.connect(&club.admin, "club.admin").await;
    acting.get("/members").await.expect(200);
    acting.post("/apps", good).await.expect(403);
    let path = format!("/apps/{}", app.id);
    let tag = acting.get(&path).await.expect(200).header("etag").to_owned();
    acting.patch(&path, &tag, json!({"scopes": ["sync"]})).await.expect(403);
    acting.delete(&path, "").await.expect(403);
    // At most so many of a club.
    let mut tx = club.app.pool.begin().await.unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!("set local app.club_id = '{}'", club.admin.club)))
        .execute(&mut *tx)
        .await
        .unwrap();
    let more = "insert into apps (club_id, id, name, redirect_uris, scopes, created_by, created_at, updated_at) \
                select a.club_id, gen_random_uuid(), 'More', a.redirect_uris, a.scopes, a.created_by, now(), now() \
                from apps a, generate_series(1, 99)";
    sqlx::query(more).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    club.admin.post("/apps", json!({"name": "X", "redirect_uris": [BACK], "scopes": ["sync"]})).await.expect(409);
}

#[sqlx::test]
async fn the_audit_tells_who_let_an_app_act_and_when_it_began(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let wrong = [("email", club.coach.email.as_str()), ("password", "not the password")];
    Browser::new(&club.app).post(&app.asks(&[]), &wrong).await.expect(401);
    let (_, tokens) = app.connect(&club.coach, "squad.read").await;
    app.refresh(&tokens["refresh_token"]).await.expect(200);
    let path = format!("/v1/me/apps/{}", app.id);
    club.coach.call(Method::DELETE, &path, &[], None).await.expect(204);
    club.admin.delete(&format!("/apps/{}", app.id), "").await.expect(204);
    for (act, operation, who) in [
        ("granted", "POST /v1/clubs/{club_id}/apps", &club.admin),
        ("refused", "POST /oauth/authorize", &club.coach),
        ("granted", "POST /oauth/consent", &club.coach),
        ("signed_in", "POST /oauth/token", &club.coach),
        ("granted", "DELETE /v1/me/apps/{app_id}", &club.coach),
        ("granted", "DELETE /v1/clubs/{club_id}/apps/{app_id}", &club.admin),
    ] {
        let rows = noted(&club.admin, act, operation).await;
        assert_eq!((rows.len(), &rows[0]["account_id"]), (1, &json!(who.account)), "{operation}: {rows:?}");
    }
    // A token that is fetched again is no news.
    let all = club.admin.get("/audit?limit=200").await.expect(200).body;
    let of = |row: &&Value| row["operation"] == "POST /oauth/token";
    assert_eq!(all["items"].as_array().unwrap().iter().filter(of).count(), 1, "{all}");
}

#[sqlx::test]
async fn codes_and_consents_go_when_they_are_of_no_use(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool.clone()).await).await;
    let app = Registered::by(&club.admin, &ALL).await;
    let (acting, _) = app.connect(&club.coach, "squad.read").await;
    app.code_of(&club.viewer, &[]).await;
    let db = Db::lazy((*pool.connect_options()).clone(), 1);
    let left = async || {
        accounts::prune(&db).await.unwrap();
        sqlx::query_scalar::<_, i64>("select count(*) from authorizations").fetch_one(&pool).await.unwrap()
    };
    assert_eq!(left().await, 4);
    // A day after its end nobody sends a code again by mistake.
    sqlx::query("update authorizations set expires_at = now() - interval '25 hours' where used_at is not null")
        .execute(&pool)
        .await
        .unwrap();
    assert_eq!(left().await, 1);
    acting.get("/athletes").await.expect(200);
}

#[sqlx::test]
async fn the_metadata_leads_to_everything(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let said = app.get("/.well-known/oauth-authorization-server").await.expect(200).body;
    assert_eq!(said["issuer"], json!(app.base));
    assert_eq!(said["code_challenge_methods_supported"], json!(["S256"]));
    assert_eq!(said["authorization_response_iss_parameter_supported"], true);
    assert_eq!(said["scopes_supported"], json!(ALL));
    for name in ["authorization_endpoint", "jwks_uri", "service_documentation"] {
        let path = said[name].as_str().unwrap().strip_prefix(&app.base).unwrap().to_owned();
        let answer = app.client.get(format!("{}{path}", app.base)).send().await.unwrap();
        assert!([200, 400].contains(&answer.status().as_u16()), "{path}: {}", answer.status());
    }
    let headers = [("content-type", "application/x-www-form-urlencoded")];
    for name in ["token_endpoint", "revocation_endpoint"] {
        let path = said[name].as_str().unwrap().strip_prefix(&app.base).unwrap().to_owned();
        let answer = app.send(Method::POST, &path, &headers, Some(Vec::new())).await.expect(400);
        assert_eq!(
            (answer.header("content-type"), &answer.body["error"]),
            ("application/json", &json!("invalid_request"))
        );
    }
}

#[sqlx::test]
async fn a_wrong_password_counts_on_the_page_as_at_the_route(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let club = Club::new(&app).await;
    let registered = Registered::by(&club.admin, &ALL).await;
    let browser = Browser::new(&app);
    let fields = form(&[("email", &club.coach.email), ("password", "not the password")]);
    let from = [("x-forwarded-for", "192.0.2.7")];
    for attempt in 0..10 {
        let page = browser.ask(Method::POST, &registered.asks(&[]), &from, Some(fields.clone())).await;
        assert_eq!(page.status, 401, "{attempt}");
        assert!(page.html.contains("The e-mail address or the password is wrong."), "{}", page.html);
        assert!(
            page.html.contains(&format!("value=\"{}\"", club.coach.email)) && !page.html.contains("not the password")
        );
    }
    let page = browser.ask(Method::POST, &registered.asks(&[]), &from, Some(fields)).await.expect(429);
    assert!(!page.header("retry-after").is_empty());
    let body = json!({"email": club.coach.email, "password": "not the password"});
    app.post_from("192.0.2.7", "/v1/auth/sign-in", body).await.expect(429);
    // And an unknown address is answered like a wrong password.
    let nobody = form(&[("email", "nobody@nowhere.example"), ("password", "not the password")]);
    let from = [("x-forwarded-for", "192.0.2.99")];
    let page = browser.ask(Method::POST, &registered.asks(&[]), &from, Some(nobody)).await.expect(401);
    assert!(page.html.contains("The e-mail address or the password is wrong."));
}

#[sqlx::test]
async fn an_app_sees_nobody_who_is_withheld_from_it_and_its_copy_is_told(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let club = Club::new(&app).await;
    let group = club.admin.group("Consenting").await;
    let body = json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice",
        "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": "2026-09-01"}]});
    let id = club.admin.post("/athletes", body).await.expect(201).id();
    let registered = Registered::by(&club.admin, &["squad.read", "sync"]).await;
    let (cards, _) = registered.connect(&club.admin, "squad.read sync").await;
    let say = async |purpose: &str, act: &str| {
        let said = json!({"purpose": purpose, "act": act, "on": Utc::now().date_naive(), "by": "guardian"});
        club.admin.post(&format!("/athletes/{id}/consents"), said).await.expect(201);
    };
    let sees = async |who: &Caller| {
        let all = who.get("/athletes?limit=200").await.expect(200);
        let listed = all.body["items"].as_array().unwrap().iter().any(|one| one["id"] == json!(id));
        let one = who.get(&format!("/athletes/{id}")).await.status == 200;
        let measured = who.get(&format!("/athletes/{id}/measurements")).await.status == 200;
        assert_eq!((listed, measured), (one, one));
        one
    };
    let highest = RefCell::new(HashMap::new());
    let read = async |token: Option<String>| {
        let path = token.map_or("/changes".to_owned(), |token| format!("/changes?sync_token={token}"));
        let page = cards.get(&path).await.expect(200).body;
        let about = |one: &&Value| one["id"] == json!(id) || one["data"]["athlete_id"] == json!(id);
        let changes = page["changes"].as_array().unwrap().iter().filter(about);
        for one in changes.clone() {
            let before = highest.borrow_mut().insert(one["id"].to_string(), one["rev"].as_i64());
            assert!(
                before.is_none_or(|before| one["rev"].as_i64() >= before),
                "the number fell from {before:?}: {one}"
            );
        }
        let told: Vec<(String, bool)> =
            changes.map(|one| (one["type"].as_str().unwrap().to_owned(), one["removed"].is_object())).collect();
        (page["sync_token"].as_str().unwrap().to_owned(), told)
    };
    let there = |kind: &str| (kind.to_owned(), false);
    let gone = |kind: &str| (kind.to_owned(), true);
    let (token, whole) = read(None).await;
    assert_eq!(whole, [there("athlete"), there("measurement")]);
    assert!(sees(&cards).await);
    say("sharing_with_helpers", "withdrawn").await;
    assert!(sees(&cards).await);
    say("sharing_with_apps", "withdrawn").await;
    assert!(!sees(&cards).await);
    assert!(sees(&club.admin).await, "members go on seeing them");
    let (token, told) = read(Some(token)).await;
    assert!(!told.is_empty() && told.iter().all(|one| *one == gone("athlete")), "{told:?}");
    assert!(read(None).await.1.iter().all(|one| one.1), "a full copy has nothing of them");
    say("sharing_with_apps", "given").await;
    assert!(sees(&cards).await);
    let (_, told) = read(Some(token)).await;
    assert_eq!(told, [gone("athlete"), there("athlete"), there("measurement")]);
}
