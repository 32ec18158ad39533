//! What an account and a network may do how often, and what is dropped when nobody needs it any more.

use chrono::Duration;
use lanewright::chores;
use lanewright::platform::db::Db;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, PASSWORD, TestApp, in_club};

/// Calls until it is refused for being too many; how many calls were not.
async fn until_too_many(mut call: impl AsyncFnMut() -> Answer) -> usize {
    for calls in 0..1_000 {
        let answer = call().await;
        if answer.status == 429 {
            assert_eq!(answer.body["type"], "/problems/too-many");
            assert!(answer.header("retry-after").parse::<u32>().unwrap() >= 1);
            return calls;
        }
        assert!(answer.status < 500, "{answer:?}");
    }
    panic!("there is no limit");
}

#[sqlx::test]
async fn sign_ups_of_one_network_are_limited(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let body = |n: usize| json!({"email": format!("p{n}@club.example"), "password": "short", "display_name": "P"});
    let calls = until_too_many(async || app.post_from("203.0.113.1", "/v1/auth/sign-up", body(0)).await).await;
    assert!(calls >= 120, "{calls}");
    app.post_from("203.0.113.2", "/v1/auth/sign-up", body(1)).await.expect(422);
}

#[sqlx::test]
async fn refreshes_of_one_device_are_limited_and_junk_does_not_count_for_it(pool: PgPool) {
    let app = TestApp::spawn_behind_proxy(pool).await;
    let admin = app.admin_of("North").await;
    let other = app.admin_of("South").await;
    // Junk that names the admin's account, from the admin's network.
    let mut junk = admin.refresh.clone();
    junk.replace_range(40..44, if junk.get(40..44) == Some("AAAA") { "BBBB" } else { "AAAA" });
    let refresh =
        async |from: &str, token: &str| app.post_from(from, "/v1/auth/refresh", json!({"refresh_token": token})).await;
    let calls = until_too_many(async || refresh("203.0.113.1", &junk).await).await;
    assert!(calls >= 60, "{calls}");
    let mut token = refresh("203.0.113.1", &admin.refresh).await.expect(200).body["refresh_token"].clone();
    let calls = until_too_many(async || {
        let answer = refresh("203.0.113.1", token.as_str().unwrap()).await;
        if answer.status == 200 {
            token = answer.body["refresh_token"].clone();
        }
        answer
    })
    .await;
    assert!(calls >= 29, "{calls}");
    refresh("203.0.113.1", &other.refresh).await.expect(200);
}

#[sqlx::test]
async fn invitations_clubs_and_passwords_are_limited_for_each_account(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (person, other) = (app.person("Ivo Ferret").await, app.person("Eve Otter").await);
    let weak = json!({"current": PASSWORD, "new": "short"});
    for (path, body, most) in [
        ("/v1/invitations/accept", json!({"token": "nonsense"}), 20),
        ("/v1/clubs", json!({"name": "", "time_zone": "Europe/London", "ruleset": "WA"}), 20),
        ("/v1/me/password", weak, 10),
    ] {
        let calls = until_too_many(async || person.call(Method::POST, path, &[], Some(body.clone())).await).await;
        assert!(calls >= most, "{path}: {calls}");
        let free = other.call(Method::POST, path, &[], Some(body)).await;
        assert!([404, 422].contains(&free.status), "{path}: {}", free.status);
    }
    // Another sign-in of the account changes the password all the same.
    let again = app.post("/v1/auth/sign-in", json!({"email": person.email, "password": PASSWORD})).await.expect(200);
    let bearer = format!("Bearer {}", again.body["access_token"].as_str().unwrap());
    let change = json!({"current": PASSWORD, "new": "six wickets in a row"}).to_string().into_bytes();
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    app.send(Method::POST, "/v1/me/password", &headers, Some(change)).await.expect(204);
}

#[sqlx::test]
async fn an_account_belongs_to_fifty_clubs_at_most(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let person = app.person("Ivo Ferret").await;
    let others = "insert into account_club (account_id, club_id, joined_at) select $1, gen_random_uuid(), now() from generate_series(1, $2)";
    let account: Uuid = person.account.parse().unwrap();
    sqlx::query(others).bind(account).bind(49).execute(&app.pool).await.unwrap();
    let found = async || {
        let body = json!({"name": "East", "time_zone": "Asia/Tokyo", "ruleset": "JAAF"});
        person.call(Method::POST, "/v1/clubs", &[], Some(body)).await
    };
    found().await.expect(201);
    let full = found().await.expect(409);
    assert!(full.body["detail"].as_str().unwrap().contains("at most 50 clubs"), "{}", full.body);
    let invitation = json!({"email": person.email, "role": "admin", "group_ids": []});
    let token = admin.post("/invitations", invitation).await.expect(201).body["token"].clone();
    let accept = async || person.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await;
    accept().await.expect(409);
    let rows: i64 = sqlx::query_scalar("select count(*) from account_club where account_id = $1")
        .bind(account)
        .fetch_one(&app.pool)
        .await
        .unwrap();
    assert_eq!(rows, 50, "nothing was stored");
    let leave = "delete from account_club where account_id = $1 and club_id = (select min(club_id::text)::uuid from account_club where account_id = $1 and club_id not in (select $2::uuid))";
    let kept: Uuid = admin.club.parse().unwrap();
    sqlx::query(leave).bind(account).bind(kept).execute(&app.pool).await.unwrap();
    accept().await.expect(200);
}

#[sqlx::test]
async fn the_document_says_where_too_many_calls_are_refused(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let paths = app.get("/openapi.json").await.expect(200).body["paths"].clone();
    for path in [
        "/v1/auth/sign-up",
        "/v1/auth/sign-in",
        "/v1/auth/refresh",
        "/v1/invitations/accept",
        "/v1/clubs",
        "/v1/me/password",
        "/v1/clubs/{club_id}/changes",
    ] {
        let refusal = &paths[path]["post"]["responses"]["429"];
        assert!(refusal["content"]["application/problem+json"].is_object(), "{path}: {refusal}");
        assert_eq!(refusal["headers"]["Retry-After"]["schema"]["type"], "integer", "{path}: {refusal}");
    }
    assert!(paths["/v1/invitations/accept"]["post"]["responses"]["410"].is_object());
    assert!(paths["/v1/auth/refresh"]["post"]["responses"]["409"].is_object());
}

async fn count(app: &TestApp, table: &str) -> i64 {
    sqlx::query_scalar(sqlx::AssertSqlSafe(format!("select count(*) from {table}"))).fetch_one(&app.pool).await.unwrap()
}

/// How many rows of a table the club has.
async fn count_in(app: &TestApp, club: &str, table: &str) -> i64 {
    let mut tx = app.pool.begin().await.unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!("set local app.club_id = '{club}'"))).execute(&mut *tx).await.unwrap();
    let sql = format!("select count(*) from {table}");
    sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_one(&mut *tx).await.unwrap()
}

fn db(app: &TestApp) -> Db {
    Db::lazy((*app.pool.connect_options()).clone(), 1)
}

#[sqlx::test]
async fn what_nobody_needs_any_more_is_dropped_and_the_rest_stays(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let sign_in = async || {
        app.post("/v1/auth/sign-in", json!({"email": admin.email, "password": PASSWORD})).await.expect(200).body
    };
    let (ended, silent) = (sign_in().await, sign_in().await);
    app.post("/v1/auth/sign-out", json!({"refresh_token": ended["refresh_token"]})).await.expect(204);
    app.post("/v1/auth/sign-in", json!({"email": "ghost@club.example", "password": PASSWORD})).await.expect(401);
    for name in ["expired", "young"] {
        let body = json!({"email": format!("{name}@club.example"), "role": "viewer", "group_ids": [group]});
        admin.post("/invitations", body).await.expect(201);
    }
    admin.get("/changes").await.expect(200);
    let held = |age: &str, decided: &str| {
        format!(
            "insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at, outcome, decided_at) \
             values ('{}', gen_random_uuid(), 'run', gen_random_uuid(), gen_random_uuid(), gen_random_uuid(), '{{}}', 'reference', '[]', now() - interval '{age}', {decided})",
            admin.club
        )
    };
    let rows = [
        held("400 days", "null, null"),
        held("100 days", "'accepted', now() - interval '91 days'"),
        held("100 days", "'rejected', now() - interval '89 days'"),
        "insert into sync_device (club_id, id, member_id, name, generation, pulled_at)
         select id, gen_random_uuid(), gen_random_uuid(), 'x', n, now() - interval '91 days' from clubs, generate_series(0, 1) n"
            .to_owned(),
        "insert into op_receipt (club_id, op_id, digest, entity_id, status, rev, at)
         select id, gen_random_uuid(), '', gen_random_uuid(), 200, 1, now() - make_interval(days => n) from clubs, generate_series(89, 91, 2) n"
            .to_owned(),
    ];
    in_club(&app.pool, &admin.club, &rows.join("; ")).await;

    let young = chores::compact(&db(&app), Duration::zero()).await.unwrap().unwrap();
    assert_eq!((young.sign_ins, young.invitations, young.throttles), (0, 0, 0), "young rows stay: {young:?}");
    assert_eq!(young.records, 3, "a decided fact, a device and a receipt: {young:?}");
    assert_eq!(count_in(&app, &admin.club, "held_item").await, 2, "what is not decided stays, however old");
    assert_eq!(count_in(&app, &admin.club, "sync_device").await, 2, "of old ones that which was told to copy afresh");
    assert_eq!(count_in(&app, &admin.club, "op_receipt").await, 1);

    for statement in [
        "update devices set revoked_at = now() - interval '31 days' where revoked_at is not null",
        "update refresh_tokens set expires_at = now() - interval '1 day', issued_at = now() - interval '61 days' where device_id = (select max(id::text)::uuid from devices where revoked_at is null)",
        "update devices set last_used_at = now() - interval '62 days' where id = (select max(id::text)::uuid from devices where revoked_at is null)",
        "update throttles set refilled_at = now() - interval '25 hours'",
    ] {
        sqlx::query(statement).execute(&app.pool).await.unwrap();
    }
    in_club(
        &app.pool,
        &admin.club,
        "update invitations set expires_at = now() - interval '31 days' where email = 'expired@club.example'",
    )
    .await;
    let (devices, tokens) = (count(&app, "devices").await, count(&app, "refresh_tokens").await);
    let old = chores::compact(&db(&app), Duration::zero()).await.unwrap().unwrap();
    assert_eq!(old.invitations, 1, "{old:?}");
    assert!(old.throttles >= 3, "{old:?}");
    assert_eq!(count(&app, "throttles").await, 0);
    assert_eq!((count(&app, "devices").await, count(&app, "refresh_tokens").await), (devices - 2, tokens - 2));
    let open = admin.get("/invitations").await.expect(200).body;
    assert_eq!(open["items"][0]["email"], "young@club.example");
    app.post("/v1/auth/refresh", json!({"refresh_token": silent["refresh_token"]})).await.expect(401);
    app.post("/v1/auth/refresh", json!({"refresh_token": admin.refresh})).await.expect(200);
}

#[sqlx::test]
async fn one_instance_at_a_time_drops_what_is_old(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (one, two) = (db(&app), db(&app));
    assert!(chores::compact(&one, Duration::hours(6)).await.unwrap().is_some());
    assert!(chores::compact(&two, Duration::hours(6)).await.unwrap().is_none(), "it was done a moment ago");
    assert!(chores::compact(&two, Duration::zero()).await.unwrap().is_some());
    sqlx::query("update chores set holder = gen_random_uuid(), held_until = now() + interval '1 hour'")
        .execute(&app.pool)
        .await
        .unwrap();
    assert!(chores::compact(&one, Duration::zero()).await.unwrap().is_none(), "another instance is at it");
    sqlx::query("update chores set held_until = now() - interval '1 second'").execute(&app.pool).await.unwrap();
    assert!(chores::compact(&one, Duration::zero()).await.unwrap().is_some(), "that one died");
    let row: Value = sqlx::query_scalar("select to_jsonb(c) from chores c").fetch_one(&app.pool).await.unwrap();
    assert_eq!(row["name"], "compact");
}
