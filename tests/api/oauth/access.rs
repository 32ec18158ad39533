//! What an app has of somebody: the audit names it, a mail tells of it, it has the factor that was shown, and it ends with their place.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use super::{Browser, Club, Registered};
use crate::audit::noted;
use crate::catcher::Catcher;
use crate::second_factor::{code, set_up};
use crate::support::{Caller, PASSWORD, TestApp, eventually, in_club};
use crate::sync_push::{create, push};

async fn audited(admin: &Caller, query: &str) -> Vec<Value> {
    admin.get(&format!("/audit?limit=200&{query}")).await.expect(200).body["items"].as_array().unwrap().clone()
}

/// Connects an app for somebody who shows this code on the page.
async fn connect_with(app: &Registered, who: &Caller, scope: &str, code: &str) -> Caller {
    let browser = Browser::new(&app.app);
    let shown = [("email", who.email.as_str()), ("password", PASSWORD), ("code", code)];
    let consent = browser.post(&app.asks(&[("scope", scope)]), &shown).await.expect(200);
    let code = browser.decide(&consent.ticket(), "allow").await.brings("code").unwrap();
    Registered::acting(who, &app.exchange(&code).await.expect(200).body)
}

#[sqlx::test]
async fn the_audit_names_the_app_that_acted_and_what_was_said_about_apps(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let south = club.app.admin_of("South").await;
    // The coach is of two clubs: what an app of one does is no business of the other.
    let body = json!({"email": club.coach.email, "role": "admin", "group_ids": []});
    let invitation = south.post("/invitations", body).await.expect(201);
    let token = json!({"token": invitation.body["token"]});
    club.coach.call(Method::POST, "/v1/invitations/accept", &[], Some(token)).await.expect(200);
    let invited = noted(&south, "granted", "POST /v1/clubs/{club_id}/invitations").await;
    assert_eq!(invited[0]["record_ids"], json!([invitation.id()]));

    let app = Registered::by(&club.admin, &["squad.read", "session.write", "sync"]).await;
    let (acting, _) = app.connect(&club.coach, "squad.read session.write sync").await;
    for operation in ["POST /v1/clubs/{club_id}/apps", "POST /oauth/consent"] {
        let rows = noted(&club.admin, "granted", operation).await;
        assert_eq!((&rows[0]["record_ids"], rows[0].get("app_id")), (&json!([app.id]), None), "{operation}");
    }
    // What a person and what their app did stand beside each other: a sign-in, a change, a read, a refusal.
    let group = &club.group;
    let athlete = |name: &str| json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"});
    let theirs = acting.post("/athletes", athlete("Mira Osei")).await.expect(201).id();
    club.coach.post("/athletes", athlete("Ida Brandt")).await.expect(201);
    for who in [&acting, &club.coach] {
        who.get(&format!("/athletes/{theirs}")).await.expect(200);
        who.get("/members").await.expect(403);
    }
    push(&acting, &[create("athlete", athlete("Tove Lind"))]).await;
    for (act, operation, by_app, by_person) in [
        ("read", "GET /v1/clubs/{club_id}/athletes/{athlete_id}", 1, 1),
        ("refused", "GET /v1/clubs/{club_id}/members", 1, 1),
        ("changed", "POST /v1/clubs/{club_id}/athletes", 1, 1),
        ("changed", "POST /v1/clubs/{club_id}/changes", 1, 0),
        ("signed_in", "POST /oauth/token", 1, 0),
    ] {
        // Rows of reads come when they are stored.
        eventually(operation, async || {
            let rows = noted(&club.admin, act, operation).await;
            let of = |app: Option<&Value>| rows.iter().filter(|row| row.get("app_id") == app).count();
            (of(Some(&json!(app.id))), of(None)) == (by_app, by_person)
        })
        .await;
    }

    let rows = audited(&club.admin, &format!("app_id={}", app.id)).await;
    assert_eq!(rows.len(), 5, "{rows:?}");
    assert!(rows.iter().all(|row| row["app_id"] == json!(app.id) && row["account_id"] == json!(club.coach.account)));
    assert!(audited(&club.admin, "app_id=0197a3b0-0000-7000-8000-000000000000").await.is_empty());
    let csv = club.admin.get(&format!("/audit/export?app_id={}", app.id)).await.expect(200);
    let csv = String::from_utf8(csv.bytes).unwrap();
    let column = csv.lines().next().unwrap().split(',').position(|name| name == "app_id").unwrap();
    let cells: Vec<&str> = csv.lines().skip(1).map(|line| line.split(',').nth(column).unwrap()).collect();
    assert_eq!(cells, vec![app.id.as_str(); 5]);
    let sound = club.admin.get("/audit/verification").await.expect(200).body;
    assert_eq!(sound["sound"], true, "{sound}");
    assert!(audited(&south, "act=signed_in").await.is_empty(), "the other club is told nothing of it");
}

#[sqlx::test]
async fn a_row_that_an_app_is_taken_out_of_shows(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let (acting, _) = Registered::by(&club.admin, &["squad.read", "session.write"])
        .await
        .connect(&club.coach, "squad.read session.write")
        .await;
    let held = json!({"held_on": chrono::Utc::now().date_naive(), "state": "planned", "group_ids": [club.group]});
    acting.post("/sessions", held).await.expect(201);
    let sound = async || club.admin.get("/audit/verification").await.expect(200).body["sound"].clone();
    assert_eq!(sound().await, true);
    let taken =
        "update audit set app_id = null where club_id = current_setting('app.club_id')::uuid and act = 'changed'";
    in_club(&club.app.pool, &club.admin.club, taken).await;
    assert_eq!(sound().await, false);
}

#[sqlx::test]
async fn a_mail_tells_that_an_app_signed_in(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let post = Catcher::of(&app).await;
    let admin = app.admin_of("North").await;
    let confirmation = Catcher::only(post.carry().await).code();
    let registered = Registered::by(&admin, &["squad.read"]).await;
    registered.connect(&admin, "squad.read").await;
    assert!(post.carry().await.is_empty(), "an address that nobody proved is told nothing about sign-ins");
    app.post("/v1/auth/confirmation", json!({"token": confirmation})).await.expect(204);
    let code = registered.code_of(&admin, &[("scope", "squad.read")]).await;
    assert!(post.carry().await.is_empty(), "nothing acts for anybody yet");
    let tokens = registered.exchange(&code).await.expect(200).body;
    let mail = Catcher::only(post.carry().await);
    assert_eq!((mail.header("subject").as_str(), &mail.to), ("An app acts for you", &vec![admin.email.clone()]));
    assert!(mail.plain().contains("It is called Trackside Cards."), "{}", mail.plain());
    registered.refresh(&tokens["refresh_token"]).await.expect(200);
    assert!(post.carry().await.is_empty(), "a token that is fetched again is no news");
}

#[sqlx::test]
async fn an_app_has_the_second_factor_that_was_shown_on_the_page(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let admin = &club.admin;
    let app = Registered::by(admin, &["club.admin", "squad.read"]).await;
    let (without, _) = app.connect(admin, "club.admin squad.read").await;
    let (secret, codes) = set_up(admin).await;
    admin.put("/security", "", json!({"admins_second_factor": true})).await.expect(200);
    let refused = without.get("/members").await.expect(403);
    assert_eq!(refused.body["type"], "/problems/second-factor");
    let says = refused.body["detail"].as_str().unwrap();
    assert!(says.contains("connect the app again") && !says.contains("/v1/me"), "{says}");
    without.get("/athletes").await.expect(200);
    // A code on the page counts for the sign-in that comes of it, and for no other.
    let with = connect_with(&app, admin, "club.admin squad.read", &codes[0]).await;
    with.get("/members").await.expect(200);
    without.get("/members").await.expect(403);
    let renewed = app.refresh(&json!(with.refresh)).await.expect(200).body;
    Registered::acting(admin, &renewed).get("/members").await.expect(200);
    // Without a code nobody gets past the page.
    let page = Browser::new(&club.app).sign_in(&app.asks(&[("scope", "club.admin")]), &admin.email).await;
    assert_eq!(page.status, 403, "{}", page.html);
    // It goes with the factor, also from what is on its way.
    let browser = Browser::new(&club.app);
    let shown = [("email", admin.email.as_str()), ("password", PASSWORD), ("code", codes[1].as_str())];
    let consent = browser.post(&app.asks(&[("scope", "club.admin")]), &shown).await.expect(200);
    let late = browser.decide(&consent.ticket(), "allow").await.brings("code").unwrap();
    let removal = json!({"password": PASSWORD, "code": code(&secret, 1)});
    admin.call(Method::POST, "/v1/me/second-factor/remove", &[], Some(removal)).await.expect(204);
    with.get("/members").await.expect(403);
    let late = Registered::acting(admin, &app.exchange(&late).await.expect(200).body);
    late.get("/members").await.expect(403);
}

#[sqlx::test]
async fn who_comes_back_is_asked_anew_by_their_apps(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read", "session.write", "sync"]).await;
    let (acting, _) = app.connect(&club.coach, "squad.read session.write sync").await;
    let member = format!("/members/{}", club.coach.account);
    let tag = club.admin.get(&member).await.expect(200).header("etag").to_owned();
    club.admin.delete(&member, &tag).await.expect(204);
    acting.get("/athletes").await.expect(404);
    // As their phone, it may hand in what was recorded before they left.
    push(&acting, &[create("session", json!({"held_on": chrono::Utc::now().date_naive(), "group_ids": [club.group]}))])
        .await;
    let body = json!({"email": club.coach.email, "role": "coach", "group_ids": [club.group]});
    let token = club.admin.post("/invitations", body).await.expect(201).body["token"].clone();
    club.coach.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await.expect(200);
    club.coach.get("/athletes").await.expect(200);
    let refused = acting.get("/athletes").await.expect(401);
    assert_eq!(refused.body["type"], "/problems/app-revoked");
    app.refresh(&json!(acting.refresh)).await.expect(400);
    let mine = club.coach.call(Method::GET, "/v1/me/apps", &[], None).await.expect(200).body;
    assert_eq!(mine["items"], json!([]));
    // Asked anew, it acts for them again.
    let (again, _) = app.connect(&club.coach, "squad.read").await;
    again.get("/athletes").await.expect(200);
}
