//! Which passwords can be chosen, and the one form of passwords and e-mail addresses.

use argon2::{Argon2, PasswordHasher};
use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;

use crate::support::{Answer, PASSWORD, TestApp};

async fn sign_up(app: &TestApp, email: &str, password: &str) -> Answer {
    let body = json!({"email": email, "password": password, "display_name": "Ingrid Vale"});
    app.post("/v1/auth/sign-up", body).await
}

async fn sign_in(app: &TestApp, email: &str, password: &str) -> Answer {
    app.post("/v1/auth/sign-in", json!({"email": email, "password": password})).await
}

#[sqlx::test]
async fn guessable_passwords_are_refused_with_field_and_remedy(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let caller = app.person("Tomas Reyl").await;
    for (password, code, remedy) in [
        ("              ", "blank", "several words"),
        ("\u{a0}\u{2003}\u{3000}\u{a0}\u{2003}\u{3000}\u{a0}\u{2003}\u{3000}\u{a0}", "blank", "several words"),
        ("9182736450918", "digits", "add words"),
        ("aaaaaaaaaaaaaa", "repeated", "several words"),
        ("password1234", "common", "several words"),
        ("lanewright1", "personal", "other words"),
        ("too short", "length", "10 to 128 characters"),
        ("with\ttabs in it", "characters", "must not contain"),
    ] {
        let answer = sign_up(&app, "new@club.example", password).await.expect_fault(422, "/password");
        assert_eq!(answer.body["errors"][0]["code"], code, "{password:?}");
        assert!(answer.body["errors"][0]["detail"].as_str().unwrap().contains(remedy), "{}", answer.body);
        let change = json!({"current": PASSWORD, "new": password});
        let answer = caller.call(Method::POST, "/v1/me/password", &[], Some(change)).await.expect_fault(422, "/new");
        assert_eq!(answer.body["errors"][0]["code"], code, "{password:?}");
    }
    for own in ["New@Club.example", "Ingrid Vale", "ingridvale12", "new@club.example!"] {
        let answer = sign_up(&app, "new@club.example", own).await.expect_fault(422, "/password");
        assert_eq!(answer.body["errors"][0]["code"], "personal", "{own}");
    }
    for own in ["tomas.reyl@people.example", "Tomas Reyl"] {
        let change = json!({"current": PASSWORD, "new": own});
        let answer = caller.call(Method::POST, "/v1/me/password", &[], Some(change)).await.expect_fault(422, "/new");
        assert_eq!(answer.body["errors"][0]["code"], "personal", "{own}");
    }
    let accounts: i64 = sqlx::query_scalar("select count(*) from accounts where email = 'new@club.example'")
        .fetch_one(&app.pool)
        .await
        .unwrap();
    assert_eq!(accounts, 0);
    sign_up(&app, "new@club.example", "five wickets in a row").await.expect(201);
}

#[sqlx::test]
async fn a_password_fits_however_it_is_composed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (composed, apart) = ("\u{c9}cole du nord \u{e9}t\u{e9}", "E\u{301}cole du\u{a0}nord e\u{301}te\u{301}");
    for (email, chosen) in [("one@club.example", composed), ("two@club.example", apart)] {
        sign_up(&app, email, chosen).await.expect(201);
        sign_in(&app, email, composed).await.expect(200);
        sign_in(&app, email, apart).await.expect(200);
        sign_in(&app, email, "Ecole du nord ete").await.expect(401);
    }
}

#[sqlx::test]
async fn a_password_stored_before_still_fits_and_is_stored_anew(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (composed, apart) = ("\u{c9}cole du nord", "E\u{301}cole du\u{a0}nord");
    let email = "old@club.example";
    sign_up(&app, email, PASSWORD).await.expect(201);
    let old = Argon2::default().hash_password(apart.as_bytes()).unwrap().to_string();
    let stored = async || {
        let hash: String = sqlx::query_scalar("select password_hash from accounts where email = $1")
            .bind(email)
            .fetch_one(&app.pool)
            .await
            .unwrap();
        hash
    };
    sqlx::query("update accounts set password_hash = $1 where email = $2")
        .bind(&old)
        .bind(email)
        .execute(&app.pool)
        .await
        .unwrap();
    sign_in(&app, email, composed).await.expect(401);
    assert_eq!(stored().await, old);
    sign_in(&app, email, apart).await.expect(200);
    let anew = stored().await;
    assert_ne!(anew, old);
    sign_in(&app, email, composed).await.expect(200);
    sign_in(&app, email, apart).await.expect(200);
    assert_eq!(stored().await, anew, "once");
}

#[sqlx::test]
async fn a_very_long_password_is_only_wrong(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    sign_up(&app, "one@club.example", &"five wickets in a row ".repeat(50)).await.expect_fault(422, "/password");
    let most: String = "five wickets in a row, ".chars().cycle().take(128).collect();
    sign_up(&app, "one@club.example", &most).await.expect(201);
    sign_in(&app, "one@club.example", &most).await.expect(200);
    sign_in(&app, "one@club.example", &format!("{most}{}", "x".repeat(20_000))).await.expect(401);
}

#[sqlx::test]
async fn an_e_mail_address_leads_to_one_account_however_it_is_written(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let up = sign_up(&app, " E\u{301}cole@Bu\u{308}cher.example ", PASSWORD).await.expect(201);
    assert_eq!(up.body["account"]["email"], "\u{e9}cole@b\u{fc}cher.example");
    for same in ["\u{c9}cole@xn--bcher-kva.example", "\u{e9}cole@B\u{dc}CHER.example"] {
        sign_in(&app, same, PASSWORD).await.expect(200);
        let email = sign_up(&app, same, PASSWORD).await.expect(201).body["account"]["email"].clone();
        assert_eq!(email, up.body["account"]["email"]);
    }
    for broken in ["co\u{200b}ach@club.example", "coach@a..b", "coach@", "a b@club.example"] {
        sign_up(&app, broken, PASSWORD).await.expect_fault(422, "/email");
    }
}
