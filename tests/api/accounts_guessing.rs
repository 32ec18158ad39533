//! Strangers who guess passwords: held up, without holding the owner up.

use serde_json::json;
use sqlx::PgPool;

use crate::support::{Answer, PASSWORD, TestApp};

const OWNER: &str = "owner@club.example";
const HOME: &str = "198.51.100.7";

/// Signs in from a network; `earlier` is a refresh token that the device had before.
async fn sign_in(app: &TestApp, from: &str, email: &str, password: &str, earlier: Option<&str>) -> Answer {
    let mut body = json!({"email": email, "password": password});
    if let Some(token) = earlier {
        body["earlier_refresh_token"] = json!(token);
    }
    app.post_from(from, "/v1/auth/sign-in", body).await
}

async fn guess(app: &TestApp, from: &str) -> Answer {
    sign_in(app, from, OWNER, "not the password", None).await
}

/// The owner signs up at home; the refresh token of their phone.
async fn owner(app: &TestApp) -> String {
    let body = json!({"email": OWNER, "password": PASSWORD, "display_name": "Olga Owner"});
    let answer = app.post_from(HOME, "/v1/auth/sign-up", body).await.expect(201);
    answer.body["tokens"]["refresh_token"].as_str().unwrap().to_owned()
}

/// Guesses until it is refused; how many were looked at, and the refusal.
async fn until_refused(app: &TestApp, from: &str, email: &str) -> (usize, Answer) {
    for looked_at in 0..1_000 {
        let answer = sign_in(app, from, email, "not the password", None).await;
        if answer.status == 429 {
            return (looked_at, answer);
        }
        answer.expect(401);
    }
    panic!("{from} may guess for ever");
}

fn wait_of(refused: &Answer) -> usize {
    refused.header("retry-after").parse().unwrap()
}

/// Lets time pass for every limit.
async fn pass(app: &TestApp, seconds: i32) {
    sqlx::query("update throttles set refilled_at = (refilled_at at time zone 'UTC' - make_interval(secs => $1)) at time zone 'UTC'")
        .bind(f64::from(seconds))
        .execute(&app.pool)
        .await
        .unwrap();
}

#[sqlx::test]
async fn a_stranger_keeps_trying_and_the_owner_signs_in_at_first_try(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    owner(&app).await;
    let stranger = "203.0.113.9";
    let (at_once, refused) = until_refused(&app, stranger, OWNER).await;
    let wait = wait_of(&refused);
    for _ in 0..3 {
        guess(&app, stranger).await.expect(429);
        sign_in(&app, HOME, OWNER, PASSWORD, None).await.expect(200);
        sign_in(&app, "192.0.2.55", OWNER, PASSWORD, None).await.expect(200);
    }
    let (first, later) = (at_once + 86_400 / wait, 86_400 / wait);
    println!(
        "one network guesses the password of an account at most {first} times on the first day, then {later} a day"
    );
    assert!(first <= 110, "{at_once} at once, then one in {wait} s");
    for _ in 0..3 {
        pass(&app, 900).await;
        assert_eq!(until_refused(&app, stranger, OWNER).await.0, 1);
        sign_in(&app, HOME, OWNER, PASSWORD, None).await.expect(200);
    }
    pass(&app, 86_400).await;
    assert_eq!(until_refused(&app, stranger, OWNER).await.0, at_once, "what is not used is not saved up");
}

#[sqlx::test]
async fn strangers_on_many_networks_are_held_up_together_but_not_the_owner(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let phone = owner(&app).await;
    let mut looked_at = 0;
    let mut networks = 0;
    let refused = loop {
        networks += 1;
        let (more, refused) = until_refused(&app, &format!("203.0.113.{networks}"), OWNER).await;
        looked_at += more;
        if more == 0 {
            break refused;
        }
    };
    let (first, later) = (looked_at + 86_400 / wait_of(&refused), 86_400 / wait_of(&refused));
    println!("unknown networks together guess it at most {first} times on the first day, then {later} a day");
    assert!(first <= 500, "{looked_at} at once");
    sign_in(&app, "192.0.2.55", OWNER, PASSWORD, None).await.expect(429);
    let known = sign_in(&app, HOME, OWNER, PASSWORD, None).await.expect(200);
    let shown = sign_in(&app, "192.0.2.56", OWNER, PASSWORD, Some(&phone)).await.expect(200);
    let known_now = sign_in(&app, "192.0.2.56", OWNER, PASSWORD, None).await.expect(200);
    for answer in [known, shown, known_now] {
        assert!(answer.body["access_token"].is_string());
    }
}

#[sqlx::test]
async fn a_device_that_is_known_has_tries_of_its_own(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let phone = owner(&app).await;
    for _ in 0..10 {
        sign_in(&app, "203.0.113.1", OWNER, "not the password", Some(&phone)).await.expect(401);
    }
    sign_in(&app, "203.0.113.1", OWNER, PASSWORD, Some(&phone)).await.expect(429);
    sign_in(&app, "203.0.113.1", OWNER, PASSWORD, None).await.expect(200);
    // A token of somebody else's account opens nothing.
    let other = json!({"email": "thief@club.example", "password": PASSWORD, "display_name": "Theo Thief"});
    let other = app.post_from("203.0.113.2", "/v1/auth/sign-up", other).await.expect(201);
    let theirs = other.body["tokens"]["refresh_token"].as_str().unwrap();
    for _ in 0..10 {
        sign_in(&app, "203.0.113.2", OWNER, "not the password", Some(theirs)).await.expect(401);
    }
    sign_in(&app, "203.0.113.2", OWNER, "not the password", Some(theirs)).await.expect(429);
}

#[sqlx::test]
async fn an_unknown_address_is_held_up_like_a_known_one(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    owner(&app).await;
    let (known, refused) = until_refused(&app, "203.0.113.1", OWNER).await;
    let (unknown, ghost) = until_refused(&app, "203.0.113.2", "ghost@club.example").await;
    assert_eq!(known, unknown);
    assert_eq!((&refused.body["type"], &refused.body["title"]), (&ghost.body["type"], &ghost.body["title"]));
    let names: Vec<String> = sqlx::query_scalar("select bucket from throttles").fetch_all(&app.pool).await.unwrap();
    assert!(names.iter().all(|name| !name.contains('@') && !name.contains("203.")), "{names:?}");
}

#[sqlx::test]
async fn a_household_counts_as_one_and_only_the_proxys_word_counts(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool.clone()).await;
    owner(&app).await;
    for n in 1..=10 {
        guess(&app, &format!("2001:db8:1:2::{n:x}")).await.expect(401);
    }
    guess(&app, "2001:db8:1:2:ffff::1").await.expect(429);
    guess(&app, "2001:db8:1:3::1").await.expect(401);
    // Whatever a client writes before the proxy's entry.
    for n in 1..=10 {
        guess(&app, &format!("10.0.0.{n}, 203.0.113.1")).await.expect(401);
    }
    guess(&app, "10.0.0.99, 203.0.113.1").await.expect(429);
    // Without a proxy the header means nothing.
    let open = TestApp::spawn(pool).await;
    for n in 1..=10 {
        guess(&open, &format!("192.0.2.{n}")).await.expect(401);
    }
    guess(&open, "192.0.2.99").await.expect(429);
}

#[sqlx::test]
async fn limits_hold_over_two_instances(pool: PgPool) {
    let one = TestApp::spawn_behind_proxy(pool.clone()).await;
    let two = TestApp::spawn_behind_proxy(pool).await;
    owner(&one).await;
    for _ in 0..5 {
        guess(&one, "203.0.113.1").await.expect(401);
        guess(&two, "203.0.113.1").await.expect(401);
    }
    guess(&one, "203.0.113.1").await.expect(429);
    guess(&two, "203.0.113.1").await.expect(429);
    sign_in(&two, HOME, OWNER, PASSWORD, None).await.expect(200);
}

#[sqlx::test]
async fn a_right_password_takes_nothing_from_anybody(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    owner(&app).await;
    for _ in 0..15 {
        sign_in(&app, HOME, OWNER, PASSWORD, None).await.expect(200);
    }
    for _ in 0..9 {
        guess(&app, HOME).await.expect(401);
    }
    sign_in(&app, HOME, OWNER, PASSWORD, None).await.expect(200);
    // Earlier mistakes are forgotten.
    for _ in 0..10 {
        guess(&app, HOME).await.expect(401);
    }
    guess(&app, HOME).await.expect(429);
}
